"""Speeds of a few wheels beside one another: each one's own ratio, and what is left without it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

MOVING = 0.08
"""A car moves for sure from this share of its top speed on; steps and lags count too much below."""

SMOOTH_S = 0.6
"""Differences are averaged over so long: a wheel's noise goes, a turn's difference stays. [s]"""

TURNS_FROM = 0.02
"""Least half difference of the two sides, of the speed, that the busiest twentieth of a drive with
turns shows: a bend of 37 m radius on a track of 1.5 m. Slip of driven wheels stays below."""

SURE = 5.0
"""Standard deviations by which front and rear must differ in turns."""

AWAY = 0.6
"""A wheel this share of the speed off the others sleeps or drops out: no turn parts them so far."""

_STRAIGHTEST = 30
"""So many per cent of the driving, the straightest, tell each one's own ratio."""

_NEVER_DIFFER = 0.98
"""Share of the moments in which a pair is equal to the last bit; wheels differ by noise alone."""

FloatColumn = NDArray[np.float64]
FloatTable = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Compared:
    """Speeds beside one another.

    Attributes
    ----------
    moving : (t,) when the car moved.
    sound : (t,) when it did and none was far off the others.
    square : (t, k) squares of the speeds over that of their mean, without their own ratios;
        NaN while not sound.
    ratio : (k,) each one's own, to their mean, straight on.
    spread : usual difference of fastest and slowest straight on, of the speed; NaN where nothing is
        sound.
    window : moments to average over.
    """

    moving: NDArray[np.bool_]
    sound: NDArray[np.bool_]
    square: FloatTable
    ratio: FloatColumn
    spread: float
    window: int


def compare_speeds(time_s: FloatColumn, speed: FloatTable) -> Compared:
    """Set speeds beside one another.

    Parameters
    ----------
    time_s : (t,) moments, evenly spaced. [s]
    speed : (t, k), nought at rest, in any one scale.
    """
    middle = np.median(speed, axis=1)
    moving = middle > MOVING * float(np.percentile(middle, 99))
    sound = moving & (np.max(np.abs(speed - middle[:, np.newaxis]), axis=1) < AWAY * middle)
    window = max(1, round(SMOOTH_S / max(1e-3, float(time_s[1] - time_s[0]))))
    relative = np.full(speed.shape, np.nan)
    relative[sound] = speed[sound] / speed[sound].mean(axis=1, keepdims=True)
    ratio: FloatColumn = np.ones(speed.shape[1])
    straight = sound
    for _ in range(3):
        width = np.ptp(smoothed(relative / ratio, window), axis=1)
        known = np.isfinite(width)
        if not known.any():
            break
        straight = known & sound & (width <= np.percentile(width[known], _STRAIGHTEST))
        own: FloatColumn = np.median(relative[straight], axis=0)
        ratio = own / own.mean()
    spread = float("nan")
    if straight.any():
        spread = float(np.median(np.ptp(relative[straight] / ratio, axis=1)))
    return Compared(moving, sound, (relative / ratio) ** 2, ratio, spread, window)


def smoothed(value: FloatTable, window: int) -> FloatTable:
    """(t, k) moving mean along the first axis; NaN where one of the values is."""
    if window <= 1 or len(value) < window:
        return value
    known = np.isfinite(value)
    none = np.zeros((1, *value.shape[1:]))
    total = np.cumsum(np.concatenate([none, np.where(known, value, 0.0)]), axis=0)
    count = np.cumsum(np.concatenate([none, known]), axis=0)
    full = count[window:] - count[:-window] == window
    inner = (total[window:] - total[:-window]) / window
    mean: FloatTable = np.full(value.shape, np.nan)
    half = window // 2
    mean[half : half + len(inner)] = np.where(full, inner, np.nan)
    return mean


def busiest(value: FloatColumn) -> float:
    """Size that a twentieth of (n,) values exceed; nought without any."""
    return float(np.percentile(np.abs(value), 95)) if len(value) else 0.0


@dataclass(frozen=True, slots=True)
class Growth:
    """By how much a difference grows with the square of another, and in standard deviations."""

    grows: float
    sure: float


def fit_growth(value: FloatColumn, sides: FloatColumn, window: int) -> Growth:
    """Fit ``a + b·sides + c·sides²``, leaving out what lies far off; c is what grows.

    Parameters
    ----------
    value, sides : (n,) each.
    window : moments that were averaged over, so that neighbours are not independent.
    """
    columns = np.column_stack([np.ones_like(sides), sides, sides**2])
    keep = np.ones(len(value), np.bool_)
    solution: FloatColumn = np.zeros(3)
    for _ in range(3):
        solved = np.linalg.lstsq(columns[keep], value[keep], rcond=None)[0]
        solution = solved.astype(np.float64, copy=False)
        off = np.abs(value - columns @ solution)
        keep = off <= 4 * np.median(off) + 1e-12
    rest = value[keep] - columns[keep] @ solution
    variance = float(np.mean(rest**2)) * 2 * window  # neighbours share most of their noise
    inverse = np.linalg.pinv(columns[keep].T @ columns[keep])
    deviation = float(np.sqrt(max(variance * inverse[2, 2], 1e-18)))
    grows = float(solution[2])
    return Growth(grows, abs(grows) / deviation)


def count_copies(speed: FloatTable) -> int:
    """How many pairs never differ.

    Parameters
    ----------
    speed : (t, k) while the car moves.
    """
    count = speed.shape[1] if len(speed) else 0
    return sum(
        float(np.mean(speed[:, a] == speed[:, b])) > _NEVER_DIFFER
        for a in range(count)
        for b in range(a + 1, count)
    )
