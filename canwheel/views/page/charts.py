"""The charts, as SVG that needs no script: lines that stretch, and words that keep their size.

A chart's lines lie in a box of their own that is stretched to whatever width the page or the paper
has; everything else is placed in per cent of it. No word in a chart comes from a file.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from canwheel.corners import CORNERS, Corner
from canwheel.outcome import Finding, Span
from canwheel.track.wheel_track import FloatColumn, WheelTrack
from canwheel.views.page.moments import View
from canwheel.views.page.thinning import thin_line
from canwheel.views.page.units import Units
from canwheel.views.words import capital

WIDTH, HEIGHT = 10_000, 1_000
"""Of the box that the lines lie in; the template has the same figures."""

BELOW_ZERO, ABOVE_TOP = 0.03, 0.12
"""The speed axis reaches so far past its ends, so that a line at zero is seen and letters have
room; shares of its length."""

DOTS_BELOW = 160
"""With fewer samples than this in a close-up every one is drawn as a dot."""

_MOST_MARKS = 120
_X_TICKS, _Y_TICKS = 5, 6
_NICE_S = (0.5, 1, 2, 5, 10, 15, 20, 30, 60, 120, 300, 600, 900, 1200, 1800, 3600, 7200, 14400)
_NICE_SHARES = (1, 2, 5, 10)
_LEAST_RANGE = 1.0  # a close-up of a standing car is not one of its noise [km/h]


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


@dataclass(frozen=True, slots=True)
class Shade:
    """A mark over a stretch of time. [% of the axis]"""

    at_pct: float
    width_pct: float


@dataclass(frozen=True, slots=True)
class Drawing:
    """One chart, in per cent of its own width and height.

    Attributes
    ----------
    lines : in the order in which they are drawn.
    legend : the same in the order in which they are told.
    shades, letters : marked evidence.
    x_ticks, y_ticks : of time and of speed.
    unit : of speed.
    """

    lines: tuple[Line, ...]
    legend: tuple[Line, ...]
    shades: tuple[Shade, ...]
    letters: tuple[Tick, ...]
    x_ticks: tuple[Tick, ...]
    y_ticks: tuple[Tick, ...]
    unit: str


@dataclass(frozen=True, slots=True)
class Mark:
    """Evidence to be marked on a chart: a letter and when it shows."""

    letter: str
    finding: Finding


@dataclass(frozen=True, slots=True)
class _Frame:
    """Which times and speeds a chart shows; speeds are km/h, whatever is written beside them."""

    span: Span
    low_kph: float
    high_kph: float
    units: Units

    @classmethod
    def around(cls, span: Span, low_kph: float, high_kph: float, units: Units) -> "_Frame":
        """Leave room below and above."""
        length = max(high_kph - low_kph, _LEAST_RANGE)
        return cls(span, low_kph - BELOW_ZERO * length, high_kph + ABOVE_TOP * length, units)

    @property
    def length_s(self) -> float:
        return max(self.span.to_s - self.span.from_s, 1e-3)

    def x(self, time_s: FloatColumn) -> FloatColumn:
        """0 to 1, from left."""
        return (time_s - self.span.from_s) / self.length_s

    def y(self, speed_kph: FloatColumn) -> FloatColumn:
        """0 to 1, from top."""
        return (self.high_kph - speed_kph) / (self.high_kph - self.low_kph)

    def x_pct(self, at_s: float) -> float:
        """Per cent from left."""
        return round(100 * (at_s - self.span.from_s) / self.length_s, 3)

    def x_ticks(self) -> tuple[Tick, ...]:
        step_s = next((s for s in _NICE_S if self.length_s / s <= _X_TICKS), _NICE_S[-1])
        first, last = math.ceil(self.span.from_s / step_s), math.floor(self.span.to_s / step_s)
        times_s = [round(i * step_s, 1) for i in range(first, last + 1)]
        return tuple(Tick(self.x_pct(at_s), _clock(at_s)) for at_s in times_s)

    def y_ticks(self) -> tuple[Tick, ...]:
        low, high = self.units.convert(self.low_kph), self.units.convert(self.high_kph)
        power = 10.0 ** math.floor(math.log10((high - low) / _Y_TICKS))
        step = next(s * power for s in _NICE_SHARES if (high - low) / (s * power) <= _Y_TICKS)
        decimals = max(0, -math.floor(math.log10(step) + 1e-9))
        values = [i * step for i in range(math.ceil(low / step), math.floor(high / step) + 1)]
        return tuple(
            Tick(round(100 * (high - value) / (high - low), 3), f"{value:.{decimals}f}")
            for value in values
        )

    def line(self, name: str, look: str, time_s: FloatColumn, speed_kph: FloatColumn) -> Line:
        return Line(name, look, _path(*self._points(time_s, speed_kph)))

    def dots(self, look: str, time_s: FloatColumn, speed_kph: FloatColumn) -> Line:
        """Points of no length, which a round line end makes dots of."""
        points = zip(*self._points(time_s, speed_kph), strict=True)
        path = "".join(f"M{x:.0f} {y:.0f}h0" for x, y in points if not math.isnan(y))
        return Line("", look, path)

    def band(self, name: str, look: str, view: View) -> Line:
        """The area between the least and the most that a corner may read."""
        known = ~(np.isnan(view.least_kph) | np.isnan(view.most_kph))
        time_s = view.time_s[known]
        there = _path(*self._points(time_s, view.most_kph[known]))
        back = _path(*self._points(time_s[::-1], view.least_kph[known][::-1]))
        return Line(name, look, f"{there}{back.replace('M', 'L', 1)}Z" if there else "")

    def _points(
        self, time_s: FloatColumn, speed_kph: FloatColumn
    ) -> tuple[FloatColumn, FloatColumn]:
        return self.x(time_s) * WIDTH, self.y(speed_kph) * HEIGHT


def draw_drive(
    track: WheelTrack, marks: Sequence[Mark], units: Units, *, top_kph: float
) -> Drawing:
    """The four speeds over a whole drive, with the evidence marked.

    Parameters
    ----------
    track, marks : the drive, and what was found in it.
    units : of the page.
    top_kph : upper end of the speed axis, so that two drives can be compared. [km/h]
    """
    frame = _Frame.around(Span(0.0, max(track.duration_s, 1.0)), 0.0, top_kph, units)
    suspects = {mark.finding.corner for mark in marks}
    lines: Mapping[Corner, Line] = {
        corner: frame.line(
            capital(corner.words),
            f"{corner} thick" if corner in suspects else f"{corner}",
            *thin_line(track.wheel(corner).time_s, track.wheel(corner).speed_kph),
        )
        for corner in CORNERS
    }
    on_top = sorted(CORNERS, key=lambda corner: corner in suspects)
    spans = [span for mark in marks for span in mark.finding.spans]
    return Drawing(
        lines=tuple(lines[corner] for corner in on_top),
        legend=tuple(lines[corner] for corner in CORNERS),
        shades=_shade(spans, frame),
        letters=_letters(marks, frame),
        x_ticks=frame.x_ticks(),
        y_ticks=frame.y_ticks(),
        unit=units.speed,
    )


def draw_moment(
    view: View, span: Span, units: Units, *, shown: Iterable[Span] = (), from_zero: bool = True
) -> Drawing:
    """One corner close up, and what the other three say of it.

    Parameters
    ----------
    view, span : the corner, and which part of the drive.
    units : of the page.
    shown : when the fault showed, to be marked.
    from_zero : whether the speed axis begins at zero; a ripple is too fine for that.
    """
    part = view.cut(span).thinned()
    columns = np.concatenate([part.own_kph, part.least_kph, part.most_kph])
    known = columns[~np.isnan(columns)]
    low_kph = float(np.min(known, initial=0.0 if from_zero else math.inf)) if len(known) else 0.0
    high_kph = float(np.max(known, initial=low_kph + _LEAST_RANGE))
    frame = _Frame.around(span, low_kph, high_kph, units)
    expected = (part.least_kph + part.most_kph) / 2
    told = (
        frame.line(f"{capital(view.corner.words)} reads", "own", part.time_s, part.own_kph),
        frame.line("Expected from the other three", "expected", part.time_s, expected),
        frame.band("What they allow", "band", part),
    )
    own, middle, band = told
    few = len(part.time_s) < DOTS_BELOW
    dots = (frame.dots("own dots", part.time_s, part.own_kph),) if few else ()
    return Drawing(
        lines=(band, own, *dots, middle),
        legend=told,
        shades=_shade(shown, frame),
        letters=(),
        x_ticks=frame.x_ticks(),
        y_ticks=frame.y_ticks(),
        unit=units.speed,
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


def _shade(spans: Iterable[Span], frame: _Frame) -> tuple[Shade, ...]:
    """Marks over the spans; those too near to be told apart become one."""
    seen = frame.span
    shown = [
        Span(max(span.from_s, seen.from_s), min(span.to_s, seen.to_s))
        for span in sorted(spans, key=lambda span: span.from_s)
        if span.to_s >= seen.from_s and span.from_s <= seen.to_s
    ]
    joined: list[Span] = []
    for span in shown:
        if joined and span.from_s - joined[-1].to_s < frame.length_s / _MOST_MARKS:
            joined[-1] = Span(joined[-1].from_s, max(span.to_s, joined[-1].to_s))
        else:
            joined.append(span)
    return tuple(
        Shade(frame.x_pct(s.from_s), round(frame.x_pct(s.to_s) - frame.x_pct(s.from_s), 3))
        for s in joined
    )


def _letters(marks: Sequence[Mark], frame: _Frame) -> tuple[Tick, ...]:
    """A letter where each finding begins; those that begin together share a place."""
    letters: dict[float, str] = {}
    for mark in marks:
        at_pct = frame.x_pct(mark.finding.from_s)
        near = next((at for at in letters if abs(at - at_pct) < _LETTER_PCT), at_pct)
        letters[near] = f"{letters[near]} {mark.letter}" if near in letters else mark.letter
    return tuple(Tick(at_pct, text) for at_pct, text in letters.items())


_LETTER_PCT = 6.0
"""Nearer than this letters would lie on one another on a phone."""


def _clock(at_s: float) -> str:
    """``1:30``, ``0:02.5``, ``1:05:00``: minutes and seconds from the recording's start."""
    minutes, rest_s = divmod(at_s, 60)
    seconds = f"{rest_s:04.1f}" if at_s % 1 else f"{rest_s:02.0f}"
    hours, minutes = divmod(int(minutes), 60)
    return f"{hours}:{minutes:02}:{seconds}" if hours else f"{minutes}:{seconds}"
