"""Where a copy begins and ends: the original runs on through the seam, the copy steps onto it.

Of two corners with one value for a part of the drive, each is looked at shortly before the part
and shortly after it, as a ratio to the two others: the value within the part goes on from the one
of the two that it belongs to.
"""

import math
from collections.abc import Sequence

import numpy as np

from canwheel.corners import CORNERS, Corner
from canwheel.outcome import Span
from canwheel.track.motion import Motion, samples_in, smooth
from canwheel.track.placing import Placing
from canwheel.track.wheel_track import FloatColumn, WheelTrack

LOOK_S = 1.0
"""Means over this long are compared, on both sides of a seam. [s]"""

CLEAR_S = 0.2
"""Left out at a seam: units smooth. [s]"""

PACE_KPH = 6.0
"""Slower, some sensors do not read yet. [km/h]"""

CLEAR_ERRORS = 7.0
"""The two must differ by so many times what a ratio changes by anyway, over all seams."""

USUAL = 0.6745
"""Half of all normal errors are smaller than so many standard deviations."""


def placed_by_seams(
    track: WheelTrack, motion: Motion, one: Corner, other: Corner, spans: Sequence[Span]
) -> Placing | None:
    """Ask the seams of the parts in which two corners are one.

    None where the car stood at each of them, or the two differ there by too little.

    Parameters
    ----------
    spans : the parts. [s]
    """
    rest = [corner.position for corner in CORNERS if corner not in {one, other}]
    slow = ~(np.nan_to_num(motion.speed_kph) > PACE_KPH)
    with np.errstate(divide="ignore", invalid="ignore"):
        logs = np.log(track.speed_kph)
        logs[slow | ~np.isfinite(logs).all(axis=1)] = np.nan
    ratios = logs[:, [one.position, other.position]] - logs[:, rest].mean(axis=1)[:, None]
    calm = smooth(ratios, samples_in(track, LOOK_S))
    step_s = CLEAR_S + LOOK_S / 2
    seams = [(s.from_s - step_s, s.from_s + step_s) for s in spans]
    seams += [(s.to_s + step_s, s.to_s - step_s) for s in spans]
    apart_s, within_s = (at for at in zip(*seams, strict=True))
    own, value = _at(track, calm, apart_s), _at(track, calm, within_s)[:, 0]
    lever, answer = own[:, 0] - own[:, 1], value - own.mean(axis=1)
    known = np.isfinite(lever) & np.isfinite(answer)
    lever, answer = lever[known], answer[known]
    weight = float(lever @ lever)
    usual = _usual_change(calm[:, 0], samples_in(track, 2 * step_s))
    if not math.sqrt(weight) > CLEAR_ERRORS * usual:
        return None
    return Placing(float(lever @ answer) / weight, usual / math.sqrt(weight))


def _at(track: WheelTrack, calm: FloatColumn, time_s: Sequence[float]) -> FloatColumn:
    """(k, 2) what stands there at some times; NaN before the drive and after it."""
    rows = np.searchsorted(track.time_s, time_s)
    outside = (rows == 0) | (rows == len(calm))
    there: FloatColumn = calm[np.minimum(rows, len(calm) - 1)]
    return np.where(outside[:, None], np.nan, there)


def _usual_change(calm: FloatColumn, samples: int) -> float:
    """One standard deviation of what bumps and turns change a ratio by over so many samples."""
    change = np.abs(calm[samples:] - calm[:-samples])
    change = change[np.isfinite(change)]
    return float(np.median(change)) / USUAL if len(change) else math.inf
