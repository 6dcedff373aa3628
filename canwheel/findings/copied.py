"""A corner that repeats another corner's value to the last bit: the unit fills in a missing one."""

from itertools import combinations

import numpy as np

from canwheel.corners import CORNERS, Corner
from canwheel.outcome import Finding, NotJudged, Outcome
from canwheel.track.motion import MOVING_KPH, Motion
from canwheel.track.placing import placed_by_slip, placed_by_steering, placed_by_turns
from canwheel.track.road_echo import placed_by_road
from canwheel.track.wheel_track import FloatColumn, WheelSamples, WheelTrack

SAME_SHARE = 0.995
"""Two corners are one when so many samples agree to the last bit. Sound ones never do: at a step of
1 km/h they agree in nine samples of ten at best, on a straight road."""

FEWEST_CHANGES = 30
"""The shared value must have changed this often, lest it be two frozen or coarse ones."""

ERROR_KPH = 1e-6
"""Equal means equal; this only forgives arithmetic. [km/h]"""


def find_copied(track: WheelTrack, motion: Motion) -> Outcome:
    """Find corners that are another's copy, and say which of the two is.

    The original fits the rest: it keeps to the wheel on its side through turns, as the wheels or
    the steering tell them, slips with the wheel on its axle, and meets the road with it. Where none
    of these shows, both are doubtful.
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
        copy = _which_is_the_copy(track, motion, one, other)
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


def _which_is_the_copy(
    track: WheelTrack, motion: Motion, one: Corner, other: Corner
) -> Corner | None:
    """Which of two corners with one value does not fit its place; None where the drive is silent.

    All that can be asked is, and where two contradict one another, the third decides.
    """
    answers = [
        placing.lean > 0
        for ask in (placed_by_turns, placed_by_slip, placed_by_steering, placed_by_road)
        if (placing := ask(track, motion, one, other)) is not None and placing.is_sure
    ]
    if 2 * sum(answers) == len(answers):
        return None
    return other if 2 * sum(answers) > len(answers) else one


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
