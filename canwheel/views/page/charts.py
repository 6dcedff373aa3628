"""The charts, as SVG that needs no script: lines that stretch, and words that keep their size.

A chart's lines lie in a box of their own that is stretched to whatever width the page or the paper
has; everything else is placed in per cent of it. Figures are read off under the pointer. No word in
a chart comes from a file.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from canwheel.corners import CORNERS, Corner
from canwheel.outcome import Finding, Span
from canwheel.track.wheel_track import FloatColumn, WheelTrack, within
from canwheel.views.page.moments import View
from canwheel.views.page.probes import Probe, read_off, say_clock
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
_X_TICKS, _Y_TICKS = 5, 7
_NICE_S = (0.5, 1, 2, 5, 10, 15, 20, 30, 60, 120, 300, 600, 900, 1200, 1800, 3600, 7200, 14400)
_NICE_SHARES = (1, 2, 5, 10)
_LEAST_RANGE = 1.0  # a close-up of a standing car is not one of its noise [km/h]
_HOUR_S = 3600.0
_DRIVE_PROBES, _MOMENT_PROBES = 120, 40

_LEAST_SHADE_PCT = 0.3
"""A mark is never narrower, so that a single sample of an hour is marked where it can be seen."""

_EDGE_PCT = 4.0
"""A tick's words nearer than this to an end of the axis are not centred on it but end there: a
printer cuts what sticks out of the page."""

_LABEL_TURNS_PCT = 60.0
"""Farther right than this a line's name stands left of its place."""

_LABEL_LOWEST_PCT = 85.0
"""Farther down than this a line's name stands above its place."""

_TELLS_APART = 0.03
"""A line is named where it is off by at least this share of the axis; nearer the others nobody
could see which one is meant."""


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


@dataclass(frozen=True, slots=True)
class Label:
    """A line's name, where it is farthest from the others. [% of the axes, from left and top]"""

    x_pct: float
    y_pct: float
    text: str
    above: bool

    @property
    def anchor(self) -> str:
        """Which end of the words stands there."""
        return "last" if self.x_pct > _LABEL_TURNS_PCT else "first"


@dataclass(frozen=True, slots=True)
class Shade:
    """A mark over a stretch of time. [% of the axis]"""

    at_pct: float
    width_pct: float
    text: str = ""


@dataclass(frozen=True, slots=True)
class Drawing:
    """One chart, in per cent of its own width and height.

    Attributes
    ----------
    lines : in the order in which they are drawn.
    legend : the same in the order in which they are told.
    shades, letters : marked evidence.
    labels : names of the lines in question.
    x_ticks, y_ticks : of time and of speed.
    x_title, y_title : what the axes count, with their units.
    probes : what is read in each short stretch, from left to right.
    """

    lines: tuple[Line, ...]
    legend: tuple[Line, ...]
    shades: tuple[Shade, ...]
    letters: tuple[Tick, ...]
    labels: tuple[Label, ...]
    x_ticks: tuple[Tick, ...]
    y_ticks: tuple[Tick, ...]
    x_title: str
    y_title: str
    probes: tuple[Probe, ...]


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
        return tuple(Tick(self.x_pct(s), say_clock(s, 1 if s % 1 else 0)) for s in times_s)

    @property
    def x_title(self) -> str:
        return "Time, h:min:s" if self.span.to_s >= _HOUR_S else "Time, min:s"

    @property
    def y_title(self) -> str:
        return f"Speed, {self.units.speed}"

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
    columns = [
        (corner.words, track.wheel(corner).time_s, track.wheel(corner).speed_kph)
        for corner in CORNERS
    ]
    return Drawing(
        lines=tuple(lines[corner] for corner in on_top),
        legend=tuple(lines[corner] for corner in CORNERS),
        shades=_shade(_marked(marks), frame),
        letters=_letters(marks, frame),
        labels=_labels(track, marks, frame),
        x_ticks=frame.x_ticks(),
        y_ticks=frame.y_ticks(),
        x_title=frame.x_title,
        y_title=frame.y_title,
        probes=read_off(columns, frame.span, units, _DRIVE_PROBES),
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
    told_under_pointer = [
        (f"{view.corner.words} reads", part.time_s, part.own_kph),
        ("expected", part.time_s, expected),
    ]
    few = len(part.time_s) < DOTS_BELOW
    dots = (frame.dots("own dots", part.time_s, part.own_kph),) if few else ()
    return Drawing(
        lines=(band, own, *dots, middle),
        legend=told,
        shades=_shade(((span, "") for span in shown), frame),
        letters=(),
        labels=(),
        x_ticks=frame.x_ticks(),
        y_ticks=frame.y_ticks(),
        x_title=frame.x_title,
        y_title=frame.y_title,
        probes=read_off(told_under_pointer, span, units, _MOMENT_PROBES),
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


def _marked(marks: Sequence[Mark]) -> list[tuple[Span, str]]:
    return [(span, mark.letter) for mark in marks for span in mark.finding.spans]


def _shade(spans: Iterable[tuple[Span, str]], frame: _Frame) -> tuple[Shade, ...]:
    """Marks over the spans; those too near to be told apart become one."""
    seen = frame.span
    shown = [
        (Span(max(span.from_s, seen.from_s), min(span.to_s, seen.to_s)), letter)
        for span, letter in sorted(spans, key=lambda one: one[0].from_s)
        if span.to_s >= seen.from_s and span.from_s <= seen.to_s
    ]
    joined: list[tuple[Span, tuple[str, ...]]] = []
    for span, letter in shown:
        if joined and span.from_s - joined[-1][0].to_s < frame.length_s / _MOST_MARKS:
            last, letters = joined[-1]
            both = Span(last.from_s, max(span.to_s, last.to_s))
            joined[-1] = (both, tuple(dict.fromkeys((*letters, letter))))
        else:
            joined.append((span, (letter,)))
    return tuple(
        Shade(
            frame.x_pct(span.from_s),
            max(round(frame.x_pct(span.to_s) - frame.x_pct(span.from_s), 3), _LEAST_SHADE_PCT),
            " ".join(letters),
        )
        for span, letters in joined
    )


def _labels(track: WheelTrack, marks: Sequence[Mark], frame: _Frame) -> tuple[Label, ...]:
    """The names of the corners in question, each where it is farthest from the other three."""
    labels = {}
    for mark in marks:
        corner = mark.finding.corner
        if corner in labels:
            continue
        view = View.of(track, corner)
        off_kph = np.where(within(view.time_s, mark.finding.spans), view.difference_kph(), 0.0)
        if not len(off_kph) or off_kph.max() < _TELLS_APART * (frame.high_kph - frame.low_kph):
            continue
        row = int(off_kph.argmax())
        own_kph = view.own_kph[row : row + 1]
        y_pct = round(float(np.clip(100 * frame.y(own_kph)[0], 0, 100)), 3)
        higher = bool(own_kph[0] > view.most_kph[row])
        labels[corner] = Label(
            x_pct=frame.x_pct(float(view.time_s[row])),
            y_pct=y_pct,
            text=corner.words,
            above=higher or y_pct > _LABEL_LOWEST_PCT,
        )
    return tuple(labels.values())


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
