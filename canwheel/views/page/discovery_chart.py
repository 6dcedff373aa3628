"""The four numbers of a proposal over time, as SVG that needs no script.

As in `charts`: lines lie in a box that stretches to the page's width, and words keep their size.
"""

from dataclasses import dataclass

import numpy as np

from canwheel.discovery.comparing import smoothed
from canwheel.discovery.proposal import Candidate
from canwheel.plain_text import capital
from canwheel.track.wheel_track import FloatColumn
from canwheel.views.page.axes import (
    ABOVE_TOP,
    BELOW_ZERO,
    HEIGHT,
    WIDTH,
    Line,
    Tick,
    path_through,
    time_ticks,
    value_ticks,
)
from canwheel.views.page.discovery_words import corner_names
from canwheel.views.page.thinning import thin_line
from canwheel.views.page.units import Units

_Y_TICKS = 6
_PARTED_S, _CLOSE_UP_S = 3.0, 24.0
"""A turn is where the fields part over some seconds; a close-up shows so much around it. [s]"""
_FEWEST_MOMENTS = 20
_LEAST_PARTED = 4.0
"""Nearer than this they only differ by rounding. [raw steps]"""


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
        lines.append(Line(capital(name), look, path_through(x, y)))
    relative = kph is not None and candidate.scale.by == "best fitting usual step"
    unit = "steps above standstill" if kph is None else units.speed
    return TraceChart(
        lines=tuple(lines),
        x_ticks=time_ticks(first_s, first_s + length_s, length_s),
        y_ticks=value_ticks(bottom, top, _Y_TICKS, sign=","),
        y_title=f"{'Raw value' if kph is None else 'Speed'}, {unit}{', relative' * relative}",
        alt=f"The four numbers over time, from {low:,.0f} to {high:,.0f} "
        f"{'steps' if kph is None else units.speed}.",
    )
