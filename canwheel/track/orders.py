"""The ripple of one corner's speed by distance: what repeats with each turn of the wheel.

A ring that sits off-centre speeds up and slows down once a turn; a missing or bent tooth does it
in jerks, many times a turn. Both repeat by wheel angle, not by time, so the relative speed is laid
out over the distance that this same wheel measured and its spectrum is averaged over stretches.
"""

import math
from dataclasses import dataclass

import numpy as np

from canwheel.track.units import KPH_PER_MPS
from canwheel.track.wheel_track import FloatColumn, WheelSamples

STEP_M = 0.1
"""Grid over distance; carries ten orders of a wheel of two metres. [m]"""

STRETCH_M = 64.0
"""Length of one stretch, about 33 turns: orders are 32 bins apart. [m]"""

SWELL_M = 6.0
"""Slower changes than this are the car's own, not the ring's: three turns. [m]"""

FROM_KPH = 6.0
"""Below this sensors of some cars are silent. [km/h]"""

NYQUIST_SHARE = 0.4
"""Cycles a sample up to which a ripple is read; half would be the limit, and there it is lost."""

OVERLAP_SHARE = 0.75
"""Stretches overlap by half under a taper; so many of them are independent (Welch's method)."""

MEDIAN_SHARE = 0.48
"""A median of exponential powers spreads as a mean of so many (ln 2 squared)."""

WHOLE_SHARE = 0.9
"""A stretch counts when at least this share of it was read."""


@dataclass(frozen=True, slots=True, eq=False)
class RippleSpectrum:
    """Power of the relative speed by spatial frequency, the median over the drive's stretches.

    The median, so that a few wild ones, with jumps of another cause, do not outvote the rest.

    Attributes
    ----------
    per_metre : (m,) frequency. [1/m]
    power : (m,) squared amplitude of a sine there, as a fraction of speed; NaN: never seen.
    white : (m,) the same with each stretch first divided by its own middle power, so that loud
        stretches do not outvote quiet ones; only its ratios mean something.
    stretches : (m,) how many independent stretches, for `white`, could show that frequency.
    """

    per_metre: FloatColumn
    power: FloatColumn
    white: FloatColumn
    stretches: FloatColumn

    def at(self, column: FloatColumn, per_metre: FloatColumn) -> FloatColumn:
        """One of the columns at any frequencies, by interpolation."""
        return np.asarray(np.interp(per_metre, self.per_metre, column))


def ripple_spectrum(own: WheelSamples) -> RippleSpectrum | None:
    """Average the spectrum of one corner's relative speed over all stretches of the drive.

    Returns None where there is not even one stretch. A stretch shows only frequencies that its
    samples, at the speed driven, are dense enough for.
    """
    ratio, speed_kph = _relative_speed(own)
    size = round(STRETCH_M / STEP_M)
    if ratio is None or len(ratio) < size:
        return None
    starts = np.arange(0, len(ratio) - size + 1, size // 2)
    cut = np.lib.stride_tricks.sliding_window_view(ratio, size)[starts]
    fastest = np.nanmax(
        np.lib.stride_tricks.sliding_window_view(speed_kph, size)[starts], axis=1, initial=0.0
    )
    whole = np.mean(~np.isnan(cut), axis=1) >= WHOLE_SHARE
    if not whole.any():
        return None
    taper = np.hanning(size)
    lines = np.fft.rfft(np.nan_to_num(cut[whole]) * taper, 2 * size, axis=1)
    power: FloatColumn = 4 * np.abs(lines) ** 2 / taper.sum() ** 2
    per_metre = np.fft.rfftfreq(2 * size, STEP_M)
    highest = NYQUIST_SHARE * KPH_PER_MPS / (np.maximum(fastest[whole], 1.0) * own.period_s)
    shown = per_metre[None, :] < highest[:, None]
    visible = np.where(shown, power, np.nan)
    stretches = OVERLAP_SHARE * MEDIAN_SHARE * shown.sum(axis=0)
    middle = _median_down(visible.T)[:, None] + np.finfo(float).tiny
    return RippleSpectrum(
        per_metre=np.asarray(per_metre, float),
        power=_median_down(visible),
        white=_median_down(visible / middle) / math.log(2),
        stretches=stretches,
    )


def _median_down(table: FloatColumn) -> FloatColumn:
    """Median of each column of what is there, NaN where nothing is."""
    median = np.full(table.shape[1], np.nan)
    some = ~np.isnan(table).all(axis=0)
    median[some] = np.nanmedian(table[:, some], axis=0)
    return median


def _relative_speed(
    own: WheelSamples,
) -> tuple[FloatColumn | None, FloatColumn]:
    """Speed over its own swell, less one, and the speed, on a grid over the distance driven."""
    good = np.nan_to_num(own.speed_kph) > FROM_KPH
    if good.sum() < 2:  # noqa: PLR2004 - a line needs two points
        return None, np.empty(0)
    time_s, speed = own.time_s[good], own.speed_kph[good]
    step_s = np.diff(time_s)
    broken = step_s > 3 * own.period_s
    mean_mps = (speed[1:] + speed[:-1]) / 2 / KPH_PER_MPS
    at_m = np.concatenate(([0.0], np.cumsum(np.where(broken, STRETCH_M / 4, mean_mps * step_s))))
    grid = np.arange(0.0, at_m[-1], STEP_M)
    on_grid = np.interp(grid, at_m, speed)
    for i in np.flatnonzero(broken):
        on_grid[np.searchsorted(grid, at_m[i]) : np.searchsorted(grid, at_m[i + 1])] = np.nan
    half = round(SWELL_M / STEP_M / 2)
    known = ~np.isnan(on_grid)
    total = np.concatenate(([0.0], np.cumsum(np.where(known, on_grid, 0.0))))
    count = np.concatenate(([0], np.cumsum(known)))
    low = np.maximum(np.arange(len(grid)) - half, 0)
    high = np.minimum(np.arange(len(grid)) + half + 1, len(grid))
    with np.errstate(invalid="ignore", divide="ignore"):
        swell = (total[high] - total[low]) / (count[high] - count[low])
        return on_grid / swell - 1, on_grid
