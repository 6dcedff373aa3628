"""A corner that repeats another corner's value to the last bit: the unit fills in a missing one."""

from itertools import combinations

import numpy as np

from canwheel.corners import CORNERS, Corner
from canwheel.outcome import Finding, NotJudged, Outcome
from canwheel.track.motion import (
    MOVING_KPH,
    Motion,
    samples_in,
    smooth,
    squared_box,
    triple_surplus,
)
from canwheel.track.wheel_track import FloatColumn, WheelSamples, WheelTrack

SAME_SHARE = 0.995
"""Two corners are one when so many samples agree to the last bit. Sound ones never do: at a step of
1 km/h they agree in nine samples of ten at best, on a straight road."""

FEWEST_CHANGES = 30
"""The shared value must have changed this often, lest it be two frozen or coarse ones."""

CALM_S = 1.0
"""Turns show in means over this long, bumps in what is left. [s]"""

FEWEST_TURN_S = 2.0
"""So much turning it takes before the misfit in turns counts. [s]"""

TURN_SHARE = 0.03
"""A left/right difference of more than this over speed is a turn..."""

TURN_STEPS = 2.5
"""... when it is also so many steps of the signal; fewer may be rounding."""

TURN_PACE_KPH = 6.0
"""Slower, some sensors do not read yet. [km/h]"""

FINE_KPH = 0.15
"""Only a signal whose step is finer than this carries the road's bumps. [km/h]"""

QUICK_S = 0.025
"""And only one sent this often. [s]"""

LEAST_MISFIT_PCT = 0.05
"""Nothing fits better than this; it keeps tiny misfits from being compared. [%]"""

SURE_IN_TURNS = 1.6
"""The copy is named when the misfit with its value taken at its word is so many times that with the
other one's; below, either may be the copy. In turns..."""

SURE_ON_BUMPS = 1.3
"""... and where the drive had none, on bumps: on a real road a wheel differs from the one on its
axle by 0.3 %, from one on the other axle by 0.5 %."""

ERROR_KPH = 1e-6
"""Equal means equal; this only forgives arithmetic. [km/h]"""


def find_copied(track: WheelTrack, motion: Motion) -> Outcome:
    """Find corners that are another's copy, and say which of the two is.

    The original fits the rest: it keeps to the wheel on its side through turns, and shares its
    bumps with the wheel on its axle. Where neither shows, both are doubtful.
    """
    findings: list[Finding] = []
    not_judged: list[NotJudged] = []
    for one, other in combinations(CORNERS, 2):
        if {one, other} <= {finding.corner for finding in findings}:
            continue  # of three or four with one value, each is told once
        changes = _changes_if_same(track, motion, one, other)
        if changes is None:
            continue
        if changes < FEWEST_CHANGES:
            why = "too little driving, or too coarse a signal, to tell a copy from a twin"
            not_judged += [NotJudged(one, "copied", why), NotJudged(other, "copied", why)]
            continue
        copy = _which_is_the_copy(track, one, other)
        suspects = [(one, other), (other, one)]
        if copy is not None:
            suspects = [(copy, other if copy is one else one)]
        findings += [
            _describe(track, suspect, of, sure=copy is not None) for suspect, of in suspects
        ]
    return Outcome(findings=tuple(findings), not_judged=tuple(not_judged))


def _changes_if_same(track: WheelTrack, motion: Motion, one: Corner, other: Corner) -> int | None:
    """How often the shared value changed while moving; None when the two are not the same."""
    if not motion.moving.any():
        return None
    first = track.wheel(one).speed_kph
    known = np.nan_to_num(first) > MOVING_KPH
    same_share = 0.0
    for second in _beside(track.wheel(one), track.wheel(other)):
        both = known & ~np.isnan(second)
        if both.sum() > FEWEST_CHANGES:
            same = np.abs(first[both] - second[both]) < ERROR_KPH
            same_share = max(same_share, float(np.mean(same)))
    if same_share < SAME_SHARE:
        return None
    return int(np.sum(np.diff(first[known]) != 0))


def _beside(one: WheelSamples, other: WheelSamples) -> tuple[FloatColumn, ...]:
    """The other corner's sample just before, and just after, each of this one's, NaN where none.

    Units that send two messages fill both from one set of readings, one right after the other.
    """
    if len(other.time_s) == 0:
        return ()
    if one.time_s is other.time_s:
        return (other.speed_kph,)
    after = np.searchsorted(other.time_s, one.time_s)
    columns = []
    for at in (after - 1, after):
        inside = np.clip(at, 0, len(other.time_s) - 1)
        near = np.abs(other.time_s[inside] - one.time_s) < one.period_s
        columns.append(np.where(near, other.speed_kph[inside], np.nan))
    return tuple(columns)


def _which_is_the_copy(track: WheelTrack, one: Corner, other: Corner) -> Corner | None:
    """Which of two corners with one value does not fit its place; None where both do, or neither.

    Two things tell. In turns the three corners that remain when the copy is left out fit a rigid
    body; and a wheel shares its bumps with the wheel on its axle, which only fine and quick signals
    show, and only between axles.
    """
    samples = samples_in(track, CALM_S)
    calm = smooth(track.speed_kph, samples)
    own = track.wheel(one)
    fine, one_axle = own.resolution_kph < FINE_KPH, one.mirror is other
    if not fine and not one_axle:
        return None  # front and rear of a coarse signal differ by less than its rounding
    turns = _turn_misfits(track, calm, one, other)
    worse = 1.0 if turns is None else turns[0] / turns[1]
    needed = SURE_ON_BUMPS if turns is None else SURE_IN_TURNS
    if fine and not one_axle and own.period_s < QUICK_S:
        quick = track.speed_kph - calm
        worse *= _bump_misfit(calm, quick, one) / _bump_misfit(calm, quick, other)
    if worse > needed:
        return one
    return other if worse < 1 / needed else None


def _turn_misfits(
    track: WheelTrack, calm: FloatColumn, one: Corner, other: Corner
) -> tuple[float, float] | None:
    """How far the corners are from one car's in turns, without the other, and without the one. [%]

    None without turns. Either set of three may see a turn that is none, as its copy turns with the
    wrong side; both are asked about the same moments.
    """
    misfits, turning = [], np.zeros(len(calm), np.bool_)
    steps = TURN_STEPS * max(wheel.resolution_kph for wheel in track.wheels)
    for without in (other, one):
        surplus, difference, pace = triple_surplus(calm, without)
        with np.errstate(invalid="ignore", divide="ignore"):
            turning |= (difference > np.maximum(TURN_SHARE * pace, steps)) & (pace > TURN_PACE_KPH)
            misfits.append(np.abs(surplus - squared_box(track) * difference**2) / (2 * pace**2))
    turning &= np.isfinite(misfits[0]) & np.isfinite(misfits[1])
    if turning.sum() < samples_in(track, FEWEST_TURN_S):
        return None
    first, second = (100 * float(np.mean(m[turning])) + LEAST_MISFIT_PCT for m in misfits)
    return first, second


def _bump_misfit(calm: FloatColumn, quick: FloatColumn, place: Corner) -> float:
    """Spread of the quick part of a wheel against the one on its axle. [%]"""
    with np.errstate(invalid="ignore", divide="ignore"):
        apart = (quick[:, place.position] - quick[:, place.mirror.position]) / calm[:, 0]
    apart = apart[calm[:, 0] > TURN_PACE_KPH]
    # Here the single large throws are what tells, hence the standard deviation.
    return 100 * float(np.nanstd(apart)) + LEAST_MISFIT_PCT if len(apart) else 1.0


def _describe(track: WheelTrack, copy: Corner, of: Corner, *, sure: bool) -> Finding:
    doubt = "" if sure else " This drive cannot tell which of the two is the copy."
    return Finding(
        corner=copy,
        kind="copied",
        confidence=0.95 if sure else 0.5,
        spans=(track.whole,),
        count=1,
        says=f"Repeats the {of.words} value to the last bit for the whole drive.{doubt}",
        evidence={"of": of.value},
    )
