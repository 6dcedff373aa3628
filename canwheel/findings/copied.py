"""A corner that repeats another corner's value to the last bit: the unit fills in a missing one."""

from itertools import combinations

import numpy as np

from canwheel.corners import CORNERS, Corner
from canwheel.outcome import Finding, NotJudged, Outcome
from canwheel.track.motion import MOVING_KPH, Motion, smooth
from canwheel.track.wheel_track import FloatColumn, WheelTrack

SAME_SHARE = 0.995
"""Two corners are one when so many samples agree to the last bit. Sound ones never do: at a step of
1 km/h they agree in nine samples of ten at best, on a straight road."""

FEWEST_CHANGES = 30
"""The shared value must have changed this often, lest it be two frozen or coarse ones."""

CALM_S = 1.0
"""Turns show in means over this long, bumps in what is left. [s]"""

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

    The place's neighbours are the wheel on its side, which it follows through turns, and the wheel
    on its axle, with which it shares the bumps; of these, only those outside the pair tell.
    """
    samples = max(1, round(CALM_S / max(track.wheel(one).period_s, 1e-3)))
    shared = track.speed_kph[:, one.position]
    misfits = []
    for place, rival in ((one, other), (other, one)):
        misfit = 1.0
        if place.same_side is not rival:
            misfit *= _spread(shared, track.speed_kph[:, place.same_side.position], samples)[0]
        if place.mirror is not rival:
            misfit *= _spread(shared, track.speed_kph[:, place.mirror.position], samples)[1]
        misfits.append(misfit)
    return misfits[0], misfits[1]


def _spread(first: FloatColumn, second: FloatColumn, samples: int) -> tuple[float, float]:
    """Standard deviation of a difference in speed over speed: slow part and quick part."""
    with np.errstate(invalid="ignore", divide="ignore"):
        share = (first - second) / np.maximum(second, MOVING_KPH)
    share = share[np.isfinite(share) & (second > 2 * MOVING_KPH)]
    slow = smooth(share, samples)
    return float(np.std(slow)) + 1e-6, float(np.std(share - slow)) + 1e-6


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
