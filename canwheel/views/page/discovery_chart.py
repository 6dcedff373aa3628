"""The four numbers of a proposal over time, as SVG that needs no script.

As in `charts`: lines lie in a box that stretches to the page's width, and words keep their size.
"""

import math
from dataclasses import dataclass

import numpy as np

from canwheel.discovery.comparing import smoothed
from canwheel.discovery.proposal import Candidate
from canwheel.track.wheel_track import FloatColumn
from canwheel.views.page.charts import ABOVE_TOP, BELOW_ZERO, HEIGHT, WIDTH, Line, Tick
from canwheel.views.page.discovery_words import corner_names
from canwheel.views.page.thinning import thin_line
from canwheel.views.page.units import Units
from canwheel.views.words import capital

_X_TICKS, _Y_TICKS = 5, 6
_NICE_S = (1, 2, 5, 10, 15, 20, 30, 60, 120, 300, 600, 900, 1200, 1800, 3600, 7200, 14400)
_PARTED_S, _CLOSE_UP_S = 3.0, 24.0
"""A turn is where the fields part over some seconds; a close-up shows so much around it. [s]"""
_FEWEST_MOMENTS = 20
_LEAST_PARTED = 4.0
"""Nearer than this they only differ by rounding. [raw steps]"""
_EDGE_PCT = 4.0
"""Words nearer than this to the ends of the time axis stand inside it."""


@dataclass(frozen=True, slots=True)
class TraceChart:
    """A chart, in per cent of its own width and height.

    Attributes
    ----------
    lines : the four, in the order of the candidate's fields.
    x_ticks, y_ticks : of time, and of what the fields tell.
    y_title : what that is, with its unit.
    alt : the chart in words.
    """

    lines: tuple[Line, ...]
    x_ticks: tuple[Tick, ...]
    y_ticks: tuple[Tick, ...]
    y_title: str
    alt: str


def draw_traces(candidate: Candidate, units: Units) -> TraceChart:
    """Draw the four fields of a candidate over the whole recording.

    Speeds where the drive told what a step is worth, else raw steps above standstill.
    """
    traces = candidate.traces
    return _draw(candidate, units, traces.time_s, traces.steps, from_zero=True)


def draw_sharpest_turn(candidate: Candidate, units: Units) -> TraceChart | None:
    """Draw the moments in which the fields part most, close up; None where they never do."""
    time_s, steps = candidate.traces.time_s, candidate.traces.steps
    live = [n for n, field in enumerate(candidate.fields) if field.state == "live"]
    if len(time_s) < _FEWEST_MOMENTS or len(live) < 2:  # noqa: PLR2004 - apart needs two
        return None
    window = max(1, round(_PARTED_S / max(float(np.median(np.diff(time_s))), 1e-3)))
    lasting = np.nan_to_num(smoothed(np.ptp(steps[:, live], axis=1), window))
    row = int(np.argmax(lasting))
    if lasting[row] <= _LEAST_PARTED:
        return None
    rows = np.abs(time_s - time_s[row]) <= _CLOSE_UP_S / 2
    return _draw(candidate, units, time_s[rows], steps[rows], from_zero=False)


def _draw(
    candidate: Candidate, units: Units, time_s: FloatColumn, steps: FloatColumn, *, from_zero: bool
) -> TraceChart:
    kph = candidate.scale.kph
    values = steps * (1.0 if kph is None else units.convert(kph))
    known = values[np.isfinite(values)]
    low, high = (float(known.min()), float(known.max())) if len(known) else (0.0, 1.0)
    low, high = min(low, 0.0) if from_zero else low, max(high, low + 1.0)
    bottom = low - BELOW_ZERO * (high - low)
    top = high + ABOVE_TOP * (high - low)
    first_s = float(time_s[0]) if len(time_s) else 0.0
    length_s = max(float(time_s[-1]) - first_s, 1.0) if len(time_s) else 1.0
    lines = []
    for name, field, column in zip(
        corner_names(candidate), candidate.fields, values.T, strict=True
    ):
        times, thinned = thin_line(time_s, column)
        x = (times - first_s) / length_s * WIDTH
        y = (top - thinned) / (top - bottom) * HEIGHT
        look = f"{field.place}" if field.state == "live" else f"{field.place} thick"
        lines.append(Line(capital(name), look, _path(x, y)))
    relative = kph is not None and candidate.scale.by == "best fitting usual step"
    unit = "steps above standstill" if kph is None else units.speed
    return TraceChart(
        lines=tuple(lines),
        x_ticks=_time_ticks(first_s, length_s),
        y_ticks=_ticks(bottom, top),
        y_title=f"{'Raw value' if kph is None else 'Speed'}, {unit}{', relative' * relative}",
        alt=f"The four numbers over time, from {low:,.0f} to {high:,.0f} "
        f"{'steps' if kph is None else units.speed}.",
    )


def anchor(tick: Tick) -> str:
    """Which end of a time's words stands at its place, as the style sheet names it."""
    if tick.at_pct < _EDGE_PCT:
        return "first"
    return "last" if tick.at_pct > 100 - _EDGE_PCT else "inner"


def _time_ticks(first_s: float, length_s: float) -> tuple[Tick, ...]:
    step_s = next((s for s in _NICE_S if length_s / s <= _X_TICKS), _NICE_S[-1])
    numbers = range(math.ceil(first_s / step_s), math.floor((first_s + length_s) / step_s) + 1)
    return tuple(
        Tick(round(100 * (n * step_s - first_s) / length_s, 3), _clock(n * step_s)) for n in numbers
    )


def _ticks(low: float, high: float) -> tuple[Tick, ...]:
    power = 10.0 ** math.floor(math.log10((high - low) / _Y_TICKS))
    step = next(s * power for s in (1, 2, 5, 10) if (high - low) / (s * power) <= _Y_TICKS)
    decimals = max(0, -math.floor(math.log10(step) + 1e-9))
    numbers = range(math.ceil(low / step), math.floor(high / step) + 1)
    return tuple(
        Tick(round(100 * (high - n * step) / (high - low), 3), f"{n * step:,.{decimals}f}")
        for n in numbers
    )


def _path(x: FloatColumn, y: FloatColumn) -> str:
    """An SVG path through the points, begun anew after each that is not known."""
    pieces, pen_is_down = [], False
    for at, value in zip(x.tolist(), y.tolist(), strict=True):
        if math.isnan(value):
            pen_is_down = False
            continue
        pieces.append(f"{'L' if pen_is_down else 'M'}{at:.0f} {value:.0f}")
        pen_is_down = True
    return "".join(pieces)


def _clock(at_s: int) -> str:
    """``1:30``, ``1:05:00``."""
    minutes, rest_s = divmod(at_s, 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02}:{rest_s:02}" if hours else f"{minutes}:{rest_s:02}"
