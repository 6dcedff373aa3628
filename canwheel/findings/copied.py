"""A corner that repeats another corner's value to the last bit: the unit fills in a missing one."""

from itertools import combinations

import numpy as np

from canwheel.corners import CORNERS, Corner
from canwheel.outcome import Finding, NotJudged, Outcome
from canwheel.track.motion import (
    MOVING_KPH,
    TURNING_SHARE,
    Motion,
    samples_in,
    smooth,
    squared_box,
    triple_surplus,
)
from canwheel.track.wheel_track import FloatColumn, WheelTrack

SAME_SHARE = 0.995
"""Two corners are one when so many samples agree to the last bit. Sound ones never do: at a step of
1 km/h they agree in nine samples of ten at best, on a straight road."""

FEWEST_CHANGES = 30
"""The shared value must have changed this often, lest it be two frozen or coarse ones."""

CALM_S = 1.0
"""Turns show in means over this long, bumps in what is left. [s]"""

FEWEST_TURN_S = 2.0
"""So much turning it takes before the misfit in turns counts. [s]"""

TURN_PACE_KPH = 6.0
"""Slower, some sensors do not read yet. [km/h]"""

LEAST_MISFIT_PCT = 0.05
"""Nothing fits better than this; it keeps tiny misfits from being compared. [%]"""

SURE_RATIO = 1.3
"""The copy is named when the misfit with it taken at its word is this much larger than with the
other one; below, either may be the copy."""

ERROR_KPH = 1e-6
"""Equal means equal; this only forgives arithmetic. [km/h]"""


def find_copied(track: WheelTrack, motion: Motion) -> Outcome:
    """Find corners that are another's copy, and say which of the two is.

    The original fits the rest: it keeps to the wheel on its side through turns, and shares its
    bumps with the wheel on its axle. Where neither shows, both are doubtful.
    """
    findings, not_judged = [], []
    for one, other in combinations(CORNERS, 2):
        changes = _changes_if_same(track, motion, one, other)
        if changes is None:
            continue
        if changes < FEWEST_CHANGES:
            why = "too little driving, or too coarse a signal, to tell a copy from a twin"
            not_judged += [NotJudged(one, "copied", why), NotJudged(other, "copied", why)]
            continue
        misfit_one, misfit_other = _misfits(track, one, other)
        sure = max(misfit_one, misfit_other) > SURE_RATIO * min(misfit_one, misfit_other)
        suspects = [(one, other)] if misfit_one > misfit_other else [(other, one)]
        if not sure:
            suspects = [(one, other), (other, one)]
        findings += [_describe(track, copy, of, sure=sure) for copy, of in suspects]
    return Outcome(findings=tuple(findings), not_judged=tuple(not_judged))


def _changes_if_same(track: WheelTrack, motion: Motion, one: Corner, other: Corner) -> int | None:
    """How often the shared value changed while moving; None when the two are not the same."""
    # By position where both have a sample for each frame: in two messages, a copy comes later.
    first, second = track.wheel(one).speed_kph, track.wheel(other).speed_kph
    if len(first) != len(second):
        first, second = (track.speed_kph[:, c.position] for c in (one, other))
    known = ~np.isnan(first) & ~np.isnan(second)
    known &= np.maximum(np.nan_to_num(first), np.nan_to_num(second)) > MOVING_KPH
    if not known.any() or not motion.moving.any():
        return None
    same = np.abs(first[known] - second[known]) < ERROR_KPH
    if np.mean(same) < SAME_SHARE:
        return None
    return int(np.sum(np.diff(first[known]) != 0))


def _misfits(track: WheelTrack, one: Corner, other: Corner) -> tuple[float, float]:
    """How badly the shared value suits the place of the one and of the other.

    Two things tell: the three corners that remain when the copy is left out fit a rigid body in
    turns; and a wheel shares its bumps with the wheel on its axle.
    """
    samples = samples_in(track, CALM_S)
    calm = smooth(track.speed_kph, samples)
    quick = track.speed_kph - calm
    misfits = []
    for place, rival in ((one, other), (other, one)):
        in_turns = _turn_misfit(track, calm, without=rival)
        on_bumps = 1.0 if place.mirror is rival else _bump_misfit(calm, quick, place)
        misfits.append(in_turns * on_bumps)
    return misfits[0], misfits[1]


def _turn_misfit(track: WheelTrack, calm: FloatColumn, *, without: Corner) -> float:
    """How far three corners are from those of one car in turns, 1 when there are no turns. [%]"""
    surplus, difference, pace = triple_surplus(calm, without)
    with np.errstate(invalid="ignore", divide="ignore"):
        turning = (np.abs(difference) > TURNING_SHARE * pace) & (pace > TURN_PACE_KPH)
        misfit = (surplus - squared_box(track) * difference**2) / (2 * pace**2)
    if turning.sum() < samples_in(track, FEWEST_TURN_S):
        return 1.0
    # The median, not the mean square: kerbs and slip throw single samples far off.
    return 100 * float(np.median(np.abs(misfit[turning]))) + LEAST_MISFIT_PCT


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
