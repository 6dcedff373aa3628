"""The recorder's clock: put right where it stepped or stood still, so that time only rises."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canwheel.errors import CaptureError
from canwheel.frames import Frames
from canwheel.outcome import Span

SLIGHT_NS = 50_000_000
"""Frames of several channels or adapters may be written out of order: a stamp no further back than
this is nothing else. [ns]"""

FAR_BACK_NS = 1_000_000_000
"""One further back than this is the clock's own step, or the stamps are in no order at all: who
writes for several adapters gathers for a fraction of a second, and a poor clock shakes by some
hundredths. Between the two the frames tell which it is. [ns]"""

TWICE = 1.5
"""A clock that steps back goes through the same time twice, and twice the frames have their stamps
in it; those that are merely written late leave no more in it than around it."""

LEAP_NS = 3_600_000_000_000
"""Nobody leaves a recorder running over an hour without a frame on a drive; a longer leap is the
clock being set. [ns]"""

QUICKEST_FRAME_NS = 20_000
"""No bus carries a frame in less: 47 bits at least (ISO 11898-1), at a megabit a second or more of
them where the data phase is quicker. [ns]"""

FALLING_SHARE = 0.25
"""Frames that two adapters hand over in batches go back now and then; stamps that go back so often,
and far, are in no order of time."""

SELDOM_S = 3.0
"""No wheel-speed message comes so seldom: they are sent every 5 to 100 ms (common practice, no
source), so that stamps in milliseconds, read as seconds, stand 5 s apart and more. At one a second,
as a thinned recording may have them, a drive can just be judged. [s]"""

FEWEST_STAMPS = 50
"""Of fewer frames than this a clock is not told to stand: an adapter may hand them over at once."""

_BASE_WINDOW = 8
"""Batches over which a period is measured, a sample that comes alone being one, so that frames
handed over together count fairly."""

_TOGETHER_SHARE = 0.25
"""Samples that come within this share of their mean distance were handed over together..."""

_LONGEST_BATCH_S = 1.0
"""... that mean being one of distances up to this: longer ones are gaps. No logger that we know of
keeps frames back for longer (common practice, no source). [s]"""


@dataclass(frozen=True, slots=True, eq=False)
class Clock:
    """Time of each frame from the capture's first one, free of steps; and when it stepped.

    Attributes
    ----------
    time_s : (n,) never falling by more than the disorder of the recording, which `put_in_order`
        takes out. [s]
    steps : one span a step, from the last good time to the first one after it.
    """

    time_s: NDArray[np.float64]
    steps: tuple[Span, ...]


def require_running_clock(frames: Frames, file: str) -> None:
    """Refuse time stamps by which nobody can tell how the car moved.

    Parameters
    ----------
    frames : of one channel, in the order of the capture.
    file : the recording, for the message.

    Raises
    ------
    CaptureError : the stamps stand still, fall, are in no order, or are too far apart.
    """
    time_ns = frames.time_ns
    if len(time_ns) < FEWEST_STAMPS:
        return
    if np.ptp(time_ns) < len(time_ns) * QUICKEST_FRAME_NS:
        raise CaptureError(
            f"the time stamps stand still: {len(time_ns):,} frames within"
            f" {np.ptp(time_ns) / 1e6:.3g} ms",
            where=file,
            remedy="record, or export, again with absolute time stamps",
        )
    delta = np.diff(time_ns)
    falling = float(np.mean(delta < 0))
    back = delta[delta < 0]
    in_no_order = falling > FALLING_SHARE and -np.median(back) > FAR_BACK_NS
    if in_no_order or falling > 1 - FALLING_SHARE:
        how = "fall from frame to frame" if falling > 1 - FALLING_SHARE else "are in no order"
        raise CaptureError(
            f"the time stamps {how}: {falling:.0%} of them go back",
            where=file,
            remedy="sort the recording by time, the oldest frame first",
        )
    can_ids, counts = np.unique(frames.can_id, return_counts=True)
    of_one = time_ns[frames.can_id == can_ids[np.argmax(counts)]]
    period_s = usual_period_s(np.sort(of_one) / 1e9)
    if period_s > SELDOM_S:
        raise CaptureError(
            f"by its time stamps the commonest message here comes once in {period_s:,.0f} s; no"
            " wheel-speed message comes so seldom",
            where=file,
            remedy=(
                "give the stamps in seconds, as they may be in milliseconds or microseconds, or"
                " record again without leaving frames out"
            ),
        )


def correct_clock(time_ns: NDArray[np.int64], first_time_ns: int) -> Clock:
    """Take steps of the clock out: the time after a step goes on where the time before it ended.

    Parameters
    ----------
    time_ns : (n,) stamps in the order of the capture. [ns]
    first_time_ns : the capture's first stamp. [ns]
    """
    if len(time_ns) == 0:
        return Clock(np.empty(0), ())
    delta = np.diff(time_ns)
    far = np.flatnonzero((delta < -FAR_BACK_NS) | (delta > LEAP_NS))
    without_far = _without_steps(time_ns, far)
    near = np.flatnonzero((delta < -SLIGHT_NS) & (delta >= -FAR_BACK_NS))
    near = near[_gone_through_twice(without_far, near)]
    step_after = np.sort(np.concatenate((far, near)))
    time_s = (_without_steps(time_ns, step_after) - first_time_ns) / 1e9
    steps = tuple(Span(float(time_s[i]), float(time_s[i + 1])) for i in step_after)
    return Clock(time_s, steps)


def put_in_order(frames: Frames, first_time_ns: int) -> tuple[Frames, Clock]:
    """Sort frames that were written a little late to where their stamps say; time never falls then.

    Parameters
    ----------
    frames : in the order of the capture; those with one stamp keep it.
    first_time_ns : the capture's first stamp. [ns]
    """
    clock = correct_clock(frames.time_ns, first_time_ns)
    if not np.any(np.diff(clock.time_s) < 0):
        return frames, clock
    order = np.argsort(clock.time_s, kind="stable")
    return frames.select(order), Clock(clock.time_s[order], clock.steps)


def _without_steps(time_ns: NDArray[np.int64], step_after: NDArray[np.intp]) -> NDArray[np.int64]:
    """(n,) stamps that stand still over each of these steps, and go on from there. [ns]"""
    shift = np.zeros(len(time_ns), np.int64)
    shift[step_after + 1] = time_ns[step_after] - time_ns[step_after + 1]
    moved: NDArray[np.int64] = time_ns + np.cumsum(shift)
    return moved


def _gone_through_twice(time_ns: NDArray[np.int64], falls: NDArray[np.intp]) -> NDArray[np.bool_]:
    """Whether each fall of (n,) stamps is the clock's: the time it falls back over comes twice.

    As many frames as that time holds are counted before and after it, so long each.

    Parameters
    ----------
    falls : (k,) positions of the last frame before each.
    """
    in_order = np.sort(time_ns)
    top, bottom = np.maximum.accumulate(time_ns)[falls], time_ns[falls + 1]
    edges = np.array([2 * bottom - top, bottom, top, 2 * top - bottom])
    before, inside, after = np.diff(np.searchsorted(in_order, edges), axis=0)
    twice: NDArray[np.bool_] = inside > TWICE * np.maximum(before, after) + 1
    return twice


def usual_period_s(time_s: NDArray[np.float64]) -> float:
    """Usual time between (n,) samples that never fall; NaN where all came at once. [s]"""
    first = _batches(time_s)
    if len(first) < 2:  # noqa: PLR2004 - a period needs two batches
        return float("nan")
    window = min(_BASE_WINDOW, len(first) - 1)
    begin, end = first[:-window], first[window:]
    return float(np.median((time_s[end] - time_s[begin]) / (end - begin)))


def spread_batches(time_s: NDArray[np.float64], period_s: float) -> NDArray[np.float64]:
    """Strictly rising times from sorted ones: what came together is spread to what comes next.

    Parameters
    ----------
    time_s : (n,) never falling. [s]
    period_s : usual time between samples, the farthest that they are spread apart. [s]
    """
    first = _batches(time_s)
    if len(first) == len(time_s):
        return time_s
    step = period_s if period_s > 0 else 1e-6
    count = np.diff(first, append=len(time_s))
    room = np.diff(time_s[first], append=np.inf)
    pace = np.minimum(room / count, step)
    place = np.arange(len(time_s)) - np.repeat(first, count)
    spread: NDArray[np.float64] = np.repeat(time_s[first], count) + place * np.repeat(pace, count)
    return spread


def _batches(time_s: NDArray[np.float64]) -> NDArray[np.intp]:
    """Position of the first sample of each batch; one that comes alone is a batch of its own."""
    if len(time_s) < 2:  # noqa: PLR2004 - one sample is no batch
        return np.arange(len(time_s))
    step_s = np.diff(time_s)
    apart_s = _TOGETHER_SHARE * np.mean(np.minimum(step_s, _LONGEST_BATCH_S))
    return np.append(0, np.flatnonzero(step_s > apart_s) + 1)
