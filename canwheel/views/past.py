"""The last minute of one corner's speed, drawn with block characters for a tall terminal."""

import numpy as np
from numpy.typing import NDArray

PAST_S = 60.0
"""How much of the drive's end is drawn. [s]"""

_EIGHTHS = " ▁▂▃▄▅▆▇█"
_LEVELS = 8  # of one character
_LEAST_KPH = 20.0  # the scale does not go below this, or a standing car's noise would fill it


def full_scale_kph(time_s: NDArray[np.float64], speed_kph: NDArray[np.float64]) -> float:
    """Speed that fills the height: the fastest corner's in the time that is drawn. [km/h]

    Parameters
    ----------
    time_s : (n,) rising. [s]
    speed_kph : (n, 4), NaN where there is no sample. [km/h]
    """
    recent = speed_kph[time_s >= _begin_s(time_s)]
    return max(_LEAST_KPH, float(np.nanmax(recent, initial=0.0)) if recent.size else 0.0)


def draw_past(
    time_s: NDArray[np.float64],
    speed_kph: NDArray[np.float64],
    *,
    width: int,
    rows: int,
    full_kph: float,
) -> str:
    """Return `rows` lines of `width` characters, the drive's end at the right.

    A column shows the least of its time, so that a moment at zero is always drawn; where the
    corner says nothing it is empty, and zero is a thin line.

    Parameters
    ----------
    time_s : (n,) rising. [s]
    speed_kph : (n,) of one corner, NaN where there is no sample. [km/h]
    width, rows : of the drawing.
    full_kph : speed that fills the height. [km/h]
    """
    least = _least_in_columns(time_s, speed_kph, width)
    known = ~np.isnan(least)
    share = np.clip(np.nan_to_num(least) / full_kph, 0.0, 1.0)
    eighths = np.where(known, np.maximum(1, np.rint(share * rows * _LEVELS)), 0).astype(int)
    lines = []
    for row in reversed(range(rows)):
        fill = np.clip(eighths - row * _LEVELS, 0, _LEVELS)
        lines.append("".join(_EIGHTHS[each] for each in fill))
    return "\n".join(lines)


def _begin_s(time_s: NDArray[np.float64]) -> float:
    return float(time_s[-1]) - PAST_S if len(time_s) else 0.0


def _least_in_columns(
    time_s: NDArray[np.float64], speed_kph: NDArray[np.float64], width: int
) -> NDArray[np.float64]:
    """(width,) least speed in each column's time; NaN where there is none."""
    least = np.full(width, np.nan)
    if not len(time_s):
        return least
    begin_s = _begin_s(time_s)
    edges_s = begin_s + np.arange(width + 1) * (PAST_S / width)
    inside = time_s >= begin_s
    column = np.minimum(((time_s[inside] - begin_s) / PAST_S * width).astype(int), width - 1)
    known = ~np.isnan(speed_kph[inside])
    filled = np.full(width, np.inf)
    np.minimum.at(filled, column[known], speed_kph[inside][known])
    heard = np.isin(np.arange(width), column)
    least[filled < np.inf] = filled[filled < np.inf]
    # messages slower than a column leave columns between two samples: those stand between them
    middle_s = (edges_s[:-1] + edges_s[1:]) / 2
    between = ~heard & (middle_s > time_s[0])
    least[between] = np.interp(middle_s[between], time_s, speed_kph)
    return least
