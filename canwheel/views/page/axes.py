"""What every chart is laid out on: the stretched box, its ticks, and paths in it."""

import math
from dataclasses import dataclass

from canwheel.track.wheel_track import FloatColumn
from canwheel.views.page.probes import say_clock

WIDTH, HEIGHT = 10_000, 1_000
"""Of the box that the lines lie in; the template has the same figures."""

BELOW_ZERO, ABOVE_TOP = 0.03, 0.12
"""The speed axis reaches so far past its ends, so that a line at zero is seen and letters have
room; shares of its length."""

_X_TICKS = 5
_NICE_S = (0.5, 1, 2, 5, 10, 15, 20, 30, 60, 120, 300, 600, 900, 1200, 1800, 3600, 7200, 14400)
_NICE_SHARES = (1, 2, 5, 10)

_EDGE_PCT = 4.0
"""A tick's words nearer than this to an end of the axis are not centred on it but end there: a
printer cuts what sticks out of the page."""


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a chart.

    Attributes
    ----------
    name : in the legend; empty for none.
    look : class that the style sheet gives colour, dashes and width to.
    path : SVG path in the stretched box.
    """

    name: str
    look: str
    path: str


@dataclass(frozen=True, slots=True)
class Tick:
    """A tick, or a letter over a mark. [% of the axis, from left or top]"""

    at_pct: float
    text: str

    @property
    def anchor(self) -> str:
        """Which part of the words stands at the tick, as the style sheet names it."""
        if self.at_pct < _EDGE_PCT:
            return "first"
        return "last" if self.at_pct > 100 - _EDGE_PCT else "inner"


def time_ticks(first_s: float, last_s: float, length_s: float) -> tuple[Tick, ...]:
    """Ticks at round times from the first to the last, on an axis of that length. [s]"""
    step_s = next((s for s in _NICE_S if length_s / s <= _X_TICKS), _NICE_S[-1])
    numbers = range(math.ceil(first_s / step_s), math.floor(last_s / step_s) + 1)
    times_s = [round(n * step_s, 1) for n in numbers]
    return tuple(
        Tick(round(100 * (s - first_s) / length_s, 3), say_clock(s, 1 if s % 1 else 0))
        for s in times_s
    )


def value_ticks(low: float, high: float, most: int, *, sign: str = "") -> tuple[Tick, ...]:
    """Ticks at round values of an axis from low to high.

    Parameters
    ----------
    most : about so many of them.
    sign : what parts thousands.
    """
    power = 10.0 ** math.floor(math.log10((high - low) / most))
    step = next(s * power for s in _NICE_SHARES if (high - low) / (s * power) <= most)
    decimals = max(0, -math.floor(math.log10(step) + 1e-9))
    values = [n * step for n in range(math.ceil(low / step), math.floor(high / step) + 1)]
    return tuple(
        Tick(round(100 * (high - value) / (high - low), 3), f"{value:{sign}.{decimals}f}")
        for value in values
    )


def path_through(x: FloatColumn, y: FloatColumn) -> str:
    """An SVG path through (n,) points, begun anew after each that is not known (NaN)."""
    pieces, pen_is_down = [], False
    for at, value in zip(x.tolist(), y.tolist(), strict=True):
        if math.isnan(value):
            pen_is_down = False
            continue
        pieces.append(f"{'L' if pen_is_down else 'M'}{at:.0f} {value:.0f}")
        pen_is_down = True
    return "".join(pieces)
