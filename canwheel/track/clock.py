"""The recorder's clock: put right where it stepped or stood still, so that time only rises."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canwheel.errors import CaptureError
from canwheel.outcome import Span

STEP_BACK_NS = 50_000_000
"""Frames of several channels or adapters may be written a little out of order; a stamp further
back than this is the clock's own step. [ns]"""

LEAP_NS = 3_600_000_000_000
"""Nobody leaves a recorder running over an hour without a frame on a drive; a longer leap is the
clock being set. [ns]"""

QUICKEST_FRAME_NS = 20_000
"""No bus carries a frame in less: 47 bits at least (ISO 11898-1), at a megabit a second or more of
them where the data phase is quicker. [ns]"""

FALLING_SHARE = 0.25
"""Frames that two adapters hand over in batches go back now and then; stamps that go back so often,
and so far, are in no order of time..."""

FAR_BACK_NS = 1_000_000_000
"""... while a poor clock shakes them by some hundredths of a second. [ns]"""

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
    time_s : (n,) never falling by more than the disorder of the recording. [s]
    steps : one span a step, from the last good time to the first one after it.
    """

    time_s: NDArray[np.float64]
    steps: tuple[Span, ...]


def require_running_clock(time_ns: NDArray[np.int64], file: str) -> None:
    """Refuse time stamps by which nobody can tell how the car moved.

    Parameters
    ----------
    time_ns : (n,) stamps of one channel in the order of the capture. [ns]
    file : the recording, for the message.

    Raises
    ------
    CaptureError : the stamps stand still, fall, or are in no order.
    """
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
    step_after = np.flatnonzero((delta < -STEP_BACK_NS) | (delta > LEAP_NS))
    shift = np.zeros(len(time_ns), np.int64)
    np.add.at(shift, step_after + 1, -delta[step_after])
    time_s = (time_ns - first_time_ns + np.cumsum(shift)) / 1e9
    steps = tuple(Span(float(time_s[i]), float(time_s[i + 1])) for i in step_after)
    return Clock(time_s, steps)


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
