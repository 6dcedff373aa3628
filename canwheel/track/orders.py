"""The ripple of one corner's speed by distance: what repeats with each turn of the wheel.

A ring that sits off-centre speeds up and slows down once a turn; a missing or bent tooth does it
in jerks, many times a turn. Both repeat by wheel angle, not by time, so each sample of the relative
speed is placed at the distance that this same wheel had measured by then, and the spectrum over
distance is averaged over stretches. Samples come evenly in time: at one steady speed a ripple
quicker than half their rate looks like a slower one; a drive's many speeds tell the two apart.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canwheel.track.units import KPH_PER_MPS
from canwheel.track.wheel_track import FloatColumn, WheelSamples

STEP_M = 0.05
"""Grid over distance; ten orders of the smallest wheel are three steps long. [m]"""

HIGHEST_PER_M = 7.5
"""Ten orders of the smallest wheel, and what stands beside them. [1/m]"""

STRETCH_M = 64.0
"""Length of one stretch, about 33 turns: orders are 32 bins apart. [m]"""

SWELL_M = 6.0
"""Slower changes than this are the car's own, not the ring's: three turns... [m]"""

SWELL_SAMPLES = 12
"""... and at least so many samples, lest a ripple seen by a few be taken for the swell."""

FROM_KPH = 6.0
"""Below this sensors of some cars are silent. [km/h]"""

NYQUIST_SHARE = 0.4
"""Cycles a sample up to which a message rate shows a ripple for certain; half is the limit."""

REACH_SHARE = 1.2
"""Cycles a sample up to which it is looked for: units smooth away what is quicker."""

UNREAD_M = STRETCH_M / 4
"""Way that is laid out for what was not read, however long that was. [m]"""

OVERLAP_SHARE = 0.75
"""Stretches overlap by half under a taper; so many of them are independent (Welch's method)."""

MEDIAN_SHARE = 0.48
"""A median of exponential powers spreads as a mean of so many (ln 2 squared)."""

MOST_GAP_SHARE = 0.1
"""A stretch counts when no more of it than this was not read..."""

FEWEST_SAMPLES = 24
"""... and when it has so many samples."""

FEWEST_STRETCHES = 4.0
"""An amplitude from fewer stretches than this is none."""

SMOOTHING_S = np.arange(0.0, 0.125, 0.0025)
"""Units send means over no more than this. [s]"""

AS_GOOD = 1.03
"""A shorter one that fits nearly as well is taken: at one steady speed they all do."""

FADING_SHARE = 0.75
"""Cycles a sample from which a ripple looks like one so slow that it goes with the swell."""

FEWEST_TOLD = 20
"""Fewer stretches than this do not tell one smoothing from another."""

DEEPEST = 0.7
"""Cycles in a mean, up to which what it leaves of a ripple is told from nothing."""

CHUNK = 256
"""So many stretches are transformed at a time, to bound memory."""


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
    stretches : (m,) how many independent stretches, for `white`, may show that frequency.
    certain : (m,) how many of them are sampled densely enough to show it for certain; where there
        are enough, `power` is theirs.
    kph : (m,) how fast the car went, root mean square over those that `power` is of. [km/h]
    """

    per_metre: FloatColumn
    power: FloatColumn
    white: FloatColumn
    stretches: FloatColumn
    certain: FloatColumn
    kph: FloatColumn

    def at(self, column: FloatColumn, per_metre: FloatColumn) -> FloatColumn:
        """One of the columns at any frequencies, by interpolation."""
        return np.asarray(np.interp(per_metre, self.per_metre, column))


def ripple_spectrum(own: WheelSamples) -> RippleSpectrum | None:
    """Average the spectrum of one corner's relative speed over all stretches of the drive.

    Returns None where there is not even one stretch.
    """
    stretches = _stretches(own)
    if stretches is None:
        return None
    per_metre, power, fastest_kph = stretches
    hertz = fastest_kph[:, None] / KPH_PER_MPS * per_metre
    shown, certain = hertz < _reach_hz(own), hertz < certain_hz(own)
    visible = np.where(shown, power, np.nan)
    middle = _median_down(visible.T)[:, None] + np.finfo(float).tiny
    independent = OVERLAP_SHARE * MEDIAN_SHARE
    usual_power, kph = _best_known(power, fastest_kph, (certain, shown))
    return RippleSpectrum(
        per_metre=per_metre,
        power=usual_power,
        kph=kph,
        white=_median_down(visible / middle) / math.log(2),
        stretches=independent * shown.sum(axis=0),
        certain=independent * certain.sum(axis=0),
    )


def smoothing_s(own: WheelSamples, per_metre: float) -> float:
    """Time over which the unit seems to average, by what it leaves of a ripple at each speed. [s]

    A mean over T leaves sinc(f T) of it, and f goes with the speed. 0 where that explains nothing,
    or too few stretches say so; and of pulses counted, whose mean is known and taken off already.

    Parameters
    ----------
    per_metre : where the ripple stands out. [1/m]
    """
    stretches = _stretches(own)
    if stretches is None or own.mean_over_s > 0:
        return 0.0
    lines, power, fastest_kph = stretches
    hertz = fastest_kph / KPH_PER_MPS * per_metre
    told = hertz * own.period_s < FADING_SHARE
    if told.sum() < FEWEST_TOLD:
        return 0.0
    amplitude = np.sqrt(power[told, int(np.argmin(np.abs(lines - per_metre)))])
    cycles = hertz[told] * SMOOTHING_S[:, None]
    level = np.log(amplitude + np.finfo(float).tiny) - np.log(left_by_mean(cycles))
    off = np.mean(np.abs(level - np.median(level, axis=1, keepdims=True)), axis=1)
    return float(SMOOTHING_S[int(np.argmax(off <= AS_GOOD * off.min()))])


def _stretches(own: WheelSamples) -> tuple[FloatColumn, FloatColumn, FloatColumn] | None:
    """Power of each stretch, as `_stretch_powers`, without what a mean of counts took off it."""
    placed = _place_samples(own)
    if placed is None:
        return None
    per_metre, power, fastest_kph = _stretch_powers(placed)
    if len(power) == 0:
        return None
    if own.mean_over_s > 0:
        hertz = fastest_kph[:, None] / KPH_PER_MPS * per_metre
        power /= left_by_mean(hertz * own.mean_over_s) ** 2
    return per_metre, power, fastest_kph


def certain_hz(own: WheelSamples) -> float:
    """Frequency up to which a corner's messages show a ripple for certain. [Hz]"""
    return min(NYQUIST_SHARE / own.period_s, _left_by_counting_hz(own))


def _reach_hz(own: WheelSamples) -> float:
    return min(REACH_SHARE / own.period_s, _left_by_counting_hz(own))


def _left_by_counting_hz(own: WheelSamples) -> float:
    """Beyond this the mean of a count leaves noise alone."""
    return DEEPEST / own.mean_over_s if own.mean_over_s > 0 else math.inf


def left_by_mean(cycles: FloatColumn) -> FloatColumn:
    """Share of a sine's amplitude that a mean over so many of its cycles leaves.

    Deeper than `DEEPEST` no less is told, for noise is left there.
    """
    return np.asarray(np.sinc(np.minimum(cycles, DEEPEST)))


def _best_known(
    power: FloatColumn, speed_kph: FloatColumn, choices: tuple[NDArray[np.bool_], ...]
) -> tuple[FloatColumn, FloatColumn]:
    """Median down each column over the first choice of stretches that are enough for one.

    Over the last choice in any case. And the root mean square of their speeds.
    """
    known, kph = np.full((2, power.shape[1]), np.nan)
    for chosen in choices:
        independent = OVERLAP_SHARE * MEDIAN_SHARE * chosen.sum(axis=0)
        enough = np.isnan(known) & ((independent >= FEWEST_STRETCHES) | (chosen is choices[-1]))
        table = np.where(chosen[:, enough], power[:, enough], np.nan)
        known[enough] = _median_down(table)
        count = np.maximum(chosen[:, enough].sum(axis=0), 1)
        kph[enough] = np.sqrt(speed_kph**2 @ chosen[:, enough] / count)
    return known, kph


def _median_down(table: FloatColumn) -> FloatColumn:
    """Median of each column of what is there, NaN where nothing is.

    In single precision, which sorts twice as fast: no spectrum has seven figures.
    """
    with np.errstate(over="ignore"):
        order = np.sort(table.T.astype(np.float32), axis=1)  # NaN goes last
    count = np.sum(~np.isnan(order), axis=1)
    columns = np.arange(len(order))
    low = order[columns, np.maximum(count - 1, 0) // 2]
    high = order[columns, np.minimum(count // 2, order.shape[1] - 1)]
    median: FloatColumn = np.where(count > 0, (low.astype(np.float64) + high) / 2, np.nan)
    return median


@dataclass(frozen=True, slots=True, eq=False)
class _Placed:
    """Samples summed into the cells of a grid over distance, `STEP_M` apart."""

    ripple: FloatColumn  # (m,) sum of the relative speeds of the samples in each cell
    samples: FloatColumn  # (m,) how many
    speed_kph: FloatColumn  # (m,)
    unread: FloatColumn  # (m,) 1 where a gap in time lies, else 0


def _place_samples(own: WheelSamples) -> _Placed | None:
    """Lay the speed over its own swell, less one, out by the distance driven."""
    good = np.nan_to_num(own.speed_kph) > FROM_KPH
    if good.sum() < FEWEST_SAMPLES or not own.period_s > 0:
        return None
    time_s, speed = own.time_s[good], own.speed_kph[good]
    step_s = np.diff(time_s)
    step_m = (speed[1:] + speed[:-1]) / 2 / KPH_PER_MPS * step_s
    # A step too far for any ripple bounds the grid as well, whatever a signal says of its speed.
    broken = (step_s > 3 * own.period_s) | (step_m > UNREAD_M)
    at_m = np.concatenate(([0.0], np.cumsum(np.where(broken, UNREAD_M, step_m))))
    half_m = np.maximum(SWELL_M, SWELL_SAMPLES * own.period_s * speed / KPH_PER_MPS) / 2
    low, high = np.searchsorted(at_m, at_m - half_m), np.searchsorted(at_m, at_m + half_m, "right")
    total = np.concatenate(([0.0], np.cumsum(speed)))
    swell = (total[high] - total[low]) / (high - low)
    cell = (at_m / STEP_M).astype(np.intp)
    cells = int(cell[-1]) + 1
    unread = np.zeros(cells + 1)
    np.add.at(unread, cell[:-1][broken] + 1, 1.0)
    np.add.at(unread, cell[1:][broken], -1.0)
    return _Placed(
        ripple=np.bincount(cell, speed / swell - 1, cells).astype(np.float64),
        samples=np.bincount(cell, minlength=cells).astype(np.float64),
        speed_kph=np.interp(np.arange(cells) * STEP_M, at_m, speed),
        unread=np.cumsum(unread)[:cells],
    )


def _stretch_powers(placed: _Placed) -> tuple[FloatColumn, FloatColumn, FloatColumn]:
    """Power of each stretch that was read well enough, and the highest speed in it.

    Returns
    -------
    (m,) frequencies [1/m]; (stretches, m) squared amplitudes; (stretches,) [km/h].
    """
    size = round(STRETCH_M / STEP_M)
    per_metre = np.fft.rfftfreq(2 * size, STEP_M)
    kept = per_metre < HIGHEST_PER_M
    taper = np.hanning(size)
    powers, fastest = [np.empty((0, int(kept.sum())))], [np.empty(0)]
    starts = np.arange(0, max(0, len(placed.samples) - size + 1), size // 2)
    for chunk in np.array_split(starts, math.ceil(len(starts) / CHUNK) or 1):
        if len(chunk) == 0:
            continue
        ripple, samples, speed, unread = (
            np.lib.stride_tricks.sliding_window_view(column, size)[chunk]
            for column in (placed.ripple, placed.samples, placed.speed_kph, placed.unread)
        )
        read = (np.mean(unread, axis=1) <= MOST_GAP_SHARE) & (samples.sum(axis=1) >= FEWEST_SAMPLES)
        weight = samples[read] * taper
        weighed = ripple[read] * taper
        total = weight.sum(axis=1, keepdims=True)
        level = weighed.sum(axis=1, keepdims=True) / total
        lines = np.fft.rfft(weighed - level * weight, 2 * size, axis=1)[:, kept]
        powers.append(4 * (lines.real**2 + lines.imag**2) / total**2)
        fastest.append(speed[read].max(axis=1))
    power: FloatColumn = np.concatenate(powers)
    return np.asarray(per_metre[kept], np.float64), power, np.concatenate(fastest)
