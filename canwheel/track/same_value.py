"""Where two corners carry one value, to the last bit."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canwheel.corners import Corner
from canwheel.outcome import Span
from canwheel.track.motion import MOVING_KPH, Motion, smooth
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

SHORT_SHARE = 0.25
"""So many of the steps from sample to sample, the shortest, are single ones even where a recorder
lost most frames."""

FARTHEST, CELLS = 4, 4
"""Another message's sample that stands beside one comes within so many steps; and distances are
told apart by so many parts of a step."""

UNEVEN_STEP, UNEVEN_SHARE = 0.5, 0.1
"""Stamps may put frames of one message out of their order where so many of its steps are shorter
than so much of the usual one..."""

REACH = 4
"""... each of them by so many places at the most."""

ERROR_KPH = 1e-6
"""Equal means equal; this only forgives arithmetic. [km/h]"""

PART_CHANGES, PART_S = 150, 10.0
"""So often it must change, and for so long, where two corners are one for a part of the drive only.
Sound ones, in steps of 0.5 to 1 km/h, went together through 68 changes at the most (600 pairs of
corners); and while a car brakes evenly, what is between two messages makes up for a tyre. [s]"""

CALM_SHARE, CLEAR_STEPS = 0.25, 2.0
"""And by what they are apart elsewhere, a quarter of the time at the most, they would be apart by
so many steps of the signal there: wheels that run alike, without noise, are one for minutes too,
until the car turns or goes faster."""


@dataclass(frozen=True, slots=True)
class SameValue:
    """That two corners carry one value.

    Attributes
    ----------
    spans : when; the whole drive, or parts of it.
    changes : how often it changed meanwhile.
    is_whole : whether it is the whole drive.
    """

    spans: tuple[Span, ...]
    changes: int
    is_whole: bool


def find_same_value(
    track: WheelTrack, motion: Motion, one: Corner, other: Corner
) -> SameValue | None:
    """Find when two corners carry one value; None where they never do for long.

    Where they do all the way, but it hardly changed, that is told as well: they need not be a copy
    of each other.
    """
    if not motion.moving.any():
        return None
    # Of a message that comes more often, the other one holds some values only.
    one, other = sorted((one, other), key=lambda c: -np.nan_to_num(track.wheel(c).period_s))
    seldom, often = track.wheel(one), track.wheel(other)
    first = seldom.speed_kph
    known = np.nan_to_num(first) > MOVING_KPH
    step_kph = max(seldom.resolution_kph, often.resolution_kph)
    in_parts = None
    # Corners of the same two messages are beside one another alike.
    for beside in motion.once(_beside, track.first_beside(one), track.first_beside(other)):
        second = often.speed_kph[beside.at]
        both = known & beside.as_usual & ~np.isnan(second)
        value = first[both]
        apart_kph = np.abs(value - second[both])
        if len(value) <= FEWEST_CHANGES:
            continue
        if np.mean(apart_kph < ERROR_KPH) >= SAME_SHARE:
            changes = int(np.sum(np.diff(value) != 0))
            return SameValue((track.whole,), changes, is_whole=True)
        # Counts flicker by one from sample to sample, of two wheels alike for seconds.
        parts = None
        if not seldom.mean_over_s:
            parts = _parts(seldom.time_s[both], value, apart_kph, step_kph)
        if parts is not None and (in_parts is None or parts.changes > in_parts.changes):
            in_parts = parts
    return in_parts


def _parts(
    time_s: FloatColumn, value: FloatColumn, apart_kph: FloatColumn, step_kph: float
) -> SameValue | None:
    """Those stretches in which the value is the same, changes often, and need not be the same."""
    ends = np.concatenate(([-1], np.flatnonzero(apart_kph >= ERROR_KPH), [len(value)]))
    long = np.flatnonzero(np.diff(ends) > PART_CHANGES)
    if not len(long):
        return None
    elsewhere = np.ones(len(value), bool)
    for i in long:
        elsewhere[ends[i] + 1 : ends[i + 1]] = False
    if elsewhere.sum() < PART_CHANGES:
        return None
    usual_share = float(np.quantile(apart_kph[elsewhere] / value[elsewhere], CALM_SHARE))
    spans, total = [], 0
    for first, last in zip(ends[long] + 1, ends[long + 1] - 1, strict=True):
        inside = value[first : last + 1]
        changes = int(np.sum(np.diff(inside) != 0))
        clear = usual_share * float(np.median(inside)) > CLEAR_STEPS * step_kph
        if changes >= PART_CHANGES and time_s[last] - time_s[first] >= PART_S and clear:
            spans.append(Span(float(time_s[first]), float(time_s[last])))
            total += changes
    return SameValue(tuple(spans), total, is_whole=False) if spans else None


def may_be_same(one: WheelSamples, other: WheelSamples) -> bool:
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


@dataclass(frozen=True, slots=True, eq=False)
class _Beside:
    """One way of putting the samples of two messages side by side.

    Attributes
    ----------
    at : (n,) the other one's sample beside each.
    as_usual : (n,) whether it is as far from it as usual; if not, one in between was lost.
    """

    at: NDArray[np.int32]
    as_usual: NDArray[np.bool_]


def _beside(track: WheelTrack, _motion: Motion, one: Corner, other: Corner) -> list[_Beside]:
    """All ways of putting another message's samples beside this one's: each with that just before,
    each with that just after, and so on.

    Units that send two messages fill both from one set of readings, one right after the other, or
    the one with the readings that the other had last. Which of the two came first is told by their
    stamps; where these shake, by when they came on average; and where they stand for a batch, by
    their places in the recording.
    """  # noqa: D205 - one sentence, one fact
    own, their = track.wheel(one), track.wheel(other)
    if min(len(own.time_s), len(their.time_s)) < FEWEST_CHANGES:
        return []
    if one is other:
        return [_Beside(np.arange(len(own.time_s), dtype=np.int32), np.ones(len(own.time_s), bool))]
    ways: list[_Beside] = []
    for order in (_by_stamp, _on_average, _by_place):
        mine, theirs = order(own), order(their)
        step = _usual_step(mine)
        after = np.searchsorted(theirs, mine)
        nearest = np.searchsorted((theirs[1:] + theirs[:-1]) / 2, mine)
        for place in (after - 1, after, nearest - 1, nearest, nearest + 1):
            at = np.clip(place, 0, len(theirs) - 1).astype(np.int32)
            if any(np.array_equal(at, way.at) for way in ways):
                continue
            later = theirs[at] - mine
            as_usual = np.abs(later - _commonest(later, step)) < AS_USUAL_STEPS * step
            ways.append(_Beside(at, as_usual))
    return ways


def _usual_step(order: FloatColumn) -> float:
    """From one sample to the next where none in between was lost."""
    return float(np.quantile(np.diff(order), SHORT_SHARE))


def _commonest(later: FloatColumn, step: float) -> float:
    """The middle of the commonest distances: a median would lie between what came beside, and what
    came a step away because the one beside was lost.
    """  # noqa: D205 - one sentence, one fact
    if step <= 0:
        return float(np.median(later))
    cell = np.clip(np.round(later * (CELLS / step)), -CELLS * FARTHEST, CELLS * FARTHEST)
    near = cell.astype(np.intp) + CELLS * FARTHEST
    return float(np.median(later[near == np.argmax(np.bincount(near))]))


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
