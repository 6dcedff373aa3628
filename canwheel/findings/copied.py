"""A corner that repeats another corner's value to the last bit: the unit fills in a missing one."""

from collections.abc import Iterator
from itertools import combinations

import numpy as np

from canwheel.corners import CORNERS, Corner
from canwheel.outcome import Finding, NotJudged, Outcome
from canwheel.track.motion import MOVING_KPH, Motion, smooth
from canwheel.track.placing import placed_by_slip, placed_by_steering, placed_by_turns
from canwheel.track.road_echo import placed_by_road
from canwheel.track.wheel_track import FloatColumn, WheelSamples, WheelTrack

SAME_SHARE = 0.995
"""Two corners are one when so many samples agree to the last bit. Sound ones never do: at a step of
1 km/h they agree in nine samples of ten at best, on a straight road."""

FEWEST_CHANGES = 30
"""The shared value must have changed this often, lest it be two frozen or coarse ones."""

AVERAGE_OVER_S = 5.0
"""Over so long stamps that shake, and batches of them, come out even. [s]"""

AS_USUAL_STEPS = 0.5
"""By so many of its own steps, what repeats another message may come sooner or later than usual: by
more, a frame in between was lost."""

UNEVEN_STEP, UNEVEN_SHARE = 0.5, 0.1
"""Stamps may put frames of one message out of their order where so many of its steps are shorter
than so much of the usual one..."""

REACH = 4
"""... each of them by so many places at the most."""

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
        why = None
        if changes is None and _may_be_same(track.wheel(one), track.wheel(other)):
            why = "its time stamps are too uneven to tell a copy from a twin"
        elif changes is not None and changes < FEWEST_CHANGES:
            why = "too little driving, or too coarse a signal, to tell a copy from a twin"
        if why is not None:
            not_judged += [NotJudged(one, "copied", why), NotJudged(other, "copied", why)]
        if changes is None or why is not None:
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
    # Of a message that comes more often, the other one holds some values only.
    seldom, often = sorted(
        (track.wheel(one), track.wheel(other)), key=lambda wheel: -np.nan_to_num(wheel.period_s)
    )
    first = seldom.speed_kph
    known = np.nan_to_num(first) > MOVING_KPH
    for second in _beside(seldom, often):
        both = known & ~np.isnan(second)
        same = np.abs(first[both] - second[both]) < ERROR_KPH
        if len(same) > FEWEST_CHANGES and np.mean(same) >= SAME_SHARE:
            return int(np.sum(np.diff(first[both]) != 0))
    return None


def _beside(one: WheelSamples, other: WheelSamples) -> Iterator[FloatColumn]:
    """Give the other corner's samples beside this one's: all those just before, all those just
    after, and so on; NaN where they are not as far from it as usual, for one in between was lost.

    Units that send two messages fill both from one set of readings, one right after the other, or
    the one with the readings that the other had last. Which of the two came first is told by their
    stamps; where these shake, by when they came on average; and where they stand for a batch, by
    their places in the recording.
    """  # noqa: D205 - one sentence, one fact
    if min(len(one.time_s), len(other.time_s)) < FEWEST_CHANGES:
        return
    if one.time_s is other.time_s:
        yield other.speed_kph
        return
    for order in (_by_stamp, _on_average, _by_place):
        mine, theirs = order(one), order(other)
        step = np.median(np.diff(mine))
        after = np.searchsorted(theirs, mine)
        nearest = np.searchsorted((theirs[1:] + theirs[:-1]) / 2, mine)
        for at in (after - 1, after, nearest - 1, nearest, nearest + 1):
            inside = np.clip(at, 0, len(theirs) - 1)
            later = theirs[inside] - mine
            as_usual = np.abs(later - np.median(later)) < AS_USUAL_STEPS * step
            yield np.where(as_usual, other.speed_kph[inside], np.nan)


def _may_be_same(one: WheelSamples, other: WheelSamples) -> bool:
    """Whether stamps that put frames of one message out of their order hide a copy.

    Then each value of the one stands somewhere near among those of the other.
    """
    known = np.flatnonzero(np.nan_to_num(one.speed_kph) > MOVING_KPH)
    if one.time_s is other.time_s or min(len(known), len(other.time_s)) < FEWEST_CHANGES:
        return False
    step_s = np.diff(one.time_s)
    if np.mean(step_s < UNEVEN_STEP * np.median(step_s)) < UNEVEN_SHARE:
        return False
    near = np.searchsorted(other.time_s, one.time_s[known])[:, None] + np.arange(-REACH, REACH)
    values = other.speed_kph[np.clip(near, 0, len(other.time_s) - 1)]
    same = np.abs(values - one.speed_kph[known, None]) < ERROR_KPH
    return bool(np.mean(same.any(axis=1)) >= SAME_SHARE)


def _by_stamp(wheel: WheelSamples) -> FloatColumn:
    return wheel.time_s


def _on_average(wheel: WheelSamples) -> FloatColumn:
    """(n,) when each sample came by those around it: even, where stamps are not. [s]"""
    even_s = wheel.period_s * np.arange(len(wheel.time_s))
    on_average: FloatColumn = even_s + smooth(
        wheel.time_s - even_s, round(AVERAGE_OVER_S / wheel.period_s)
    )
    return on_average


def _by_place(wheel: WheelSamples) -> FloatColumn:
    return wheel.index.astype(np.float64)


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
