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
from canwheel.plain_text import capital
from canwheel.track.wheel_track import FloatColumn, WheelTrack, within
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
from canwheel.views.page.moments import View
from canwheel.views.page.probes import Probe, read_off
from canwheel.views.page.thinning import thin_line
from canwheel.views.page.units import Units

DOTS_BELOW = 160
"""With fewer samples than this in a close-up every one is drawn as a dot."""

_MOST_MARKS = 120
_Y_TICKS = 7
_LEAST_RANGE = 1.0  # a close-up of a standing car is not one of its noise [km/h]
_HOUR_S = 3600.0
_DRIVE_PROBES, _MOMENT_PROBES = 120, 40

_LEAST_SHADE_PCT = 0.3
"""A mark is never narrower, so that a single sample of an hour is marked where it can be seen."""

_LABEL_TURNS_PCT = 60.0
"""Farther right than this a line's name stands left of its place."""

_LABEL_LOWEST_PCT = 85.0
"""Farther down than this a line's name stands above its place."""

_TELLS_APART = 0.03
"""A line is named where it is off by at least this share of the axis; nearer the others nobody
could see which one is meant."""


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
        return time_ticks(self.span.from_s, self.span.to_s, self.length_s)

    @property
    def x_title(self) -> str:
        return "Time, h:min:s" if self.span.to_s >= _HOUR_S else "Time, min:s"

    @property
    def y_title(self) -> str:
        return f"Speed, {self.units.speed}"

    def y_ticks(self) -> tuple[Tick, ...]:
        low, high = self.units.convert(self.low_kph), self.units.convert(self.high_kph)
        return value_ticks(low, high, _Y_TICKS)

    def line(self, name: str, look: str, time_s: FloatColumn, speed_kph: FloatColumn) -> Line:
        return Line(name, look, path_through(*self._points(time_s, speed_kph)))

    def dots(self, look: str, time_s: FloatColumn, speed_kph: FloatColumn) -> Line:
        """Points of no length, which a round line end makes dots of."""
        points = zip(*self._points(time_s, speed_kph), strict=True)
        path = "".join(f"M{x:.0f} {y:.0f}h0" for x, y in points if not math.isnan(y))
        return Line("", look, path)

    def band(self, name: str, look: str, view: View) -> Line:
        """The area between the least and the most that a corner may read."""
        known = ~(np.isnan(view.least_kph) | np.isnan(view.most_kph))
        time_s = view.time_s[known]
        there = path_through(*self._points(time_s, view.most_kph[known]))
        back = path_through(*self._points(time_s[::-1], view.least_kph[known][::-1]))
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
