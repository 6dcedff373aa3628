"""Which moments of a drive to show close up: those at which a corner differs most from the others.

The zoomed views of the page hold the corner's own samples, and the least and most that it may read
by what the other three say (`expected_kph`).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canwheel.corners import Corner
from canwheel.outcome import FaultKind, Finding, Span
from canwheel.track.motion import expected_kph
from canwheel.track.units import KPH_PER_MPS
from canwheel.track.wheel_track import FloatColumn, WheelTrack, within
from canwheel.vehicle import ASSUMED_CIRCUMFERENCE_M
from canwheel.views.page.thinning import POINTS, least_and_most

MOST_MOMENTS = 2
"""Of one finding; more say nothing new."""

_MOST_LOOKED_AT = 12
"""Spells among which moments that do not overlap are looked for."""

_USUAL_LENGTH_S = 12.0
_LENGTH_S: dict[FaultKind, float] = {"ring_damage": 5.0, "wrong_ratio": 20.0, "no_signal": 20.0}
"""How much of the drive a view shows: a few turns of the wheel where the ripple goes with them, a
pull-away where a corner stays at zero. [s]"""

_SHOWS_AS_THEY_MOVE: frozenset[FaultKind] = frozenset(
    {"no_signal", "late_pickup", "frozen", "flagged_invalid", "message_missing", "copied"}
)
"""Kinds that are plain to see where the others' speed changes and this corner's does not."""

_SHORTEST_LENGTH_S = 4.0
_ROOM = 1.5
"""Of a short spell, so much of its own length is shown on both sides."""

_LEAST_ROOM_S = 1.5

_SAMPLES_A_TURN = 6.0
"""So many samples of a turn draw its ripple as a wave."""

_READ_ABOVE_KPH = 10.0
"""Where nothing is read, the others must run faster than this for it to be worth showing. [km/h]"""


@dataclass(frozen=True, slots=True, eq=False)
class View:
    """One corner beside what the other three say of it, at its own sample times.

    Attributes
    ----------
    corner : which.
    time_s : (n,) [s]
    own_kph, least_kph, most_kph : (n,) what it reads, and the least and most that it may. [km/h]
    """

    corner: Corner
    time_s: FloatColumn
    own_kph: FloatColumn
    least_kph: FloatColumn
    most_kph: FloatColumn

    @classmethod
    def of(cls, track: WheelTrack, corner: Corner) -> "View":
        """The whole drive as one corner and the others see it."""
        speed_kph = track.seen_from(corner)
        least, most = expected_kph(speed_kph, corner)
        own = track.wheel(corner)
        return cls(corner, own.time_s, speed_kph[:, corner.position], least, most)

    def cut(self, span: Span) -> "View":
        """What lies within a span."""
        return self._rows(within(self.time_s, [span]))

    def thinned(self, points: int = POINTS) -> "View":
        """The least and the most of its own samples in each stretch, where there are many."""
        filled = np.where(np.isnan(self.own_kph), -1.0, self.own_kph)
        if len(filled) <= points:
            return self
        return self._rows(least_and_most(self.time_s, filled, points))

    def _rows(self, rows: NDArray[np.bool_] | NDArray[np.intp]) -> "View":
        return View(
            self.corner,
            self.time_s[rows],
            self.own_kph[rows],
            self.least_kph[rows],
            self.most_kph[rows],
        )

    def difference_kph(self) -> FloatColumn:
        """(n,) how far it is outside what the others allow, 0 inside or where nobody knows."""
        below, above = self.least_kph - self.own_kph, self.own_kph - self.most_kph
        outside: FloatColumn = np.maximum(np.nan_to_num(np.fmax(below, above)), 0.0)
        return outside

    def lacking_kph(self) -> FloatColumn:
        """(n,) the same, and where the corner has no value while the others run, their speed."""
        silent = np.isnan(self.own_kph) & (self.least_kph > _READ_ABOVE_KPH)
        return np.where(silent, np.nan_to_num(self.least_kph), self.difference_kph())


def worst_moments(view: View, finding: Finding, duration_s: float) -> tuple[Span, ...]:
    """Return the spans that show a finding best, in order of time.

    Parameters
    ----------
    view : of the finding's corner.
    finding : with the spans in which it showed.
    duration_s : of the drive. [s]
    """
    lacking = _as_seen(view, finding, view.lacking_kph())
    length_s = _LENGTH_S.get(finding.kind, _USUAL_LENGTH_S)
    worth = [float(lacking[within(view.time_s, [span])].sum()) for span in finding.spans]
    best = np.argsort(worth, kind="stable")[::-1][:_MOST_LOOKED_AT]
    moments = [
        _worst_stretch(view, lacking, span, length_s, moving=finding.kind in _SHOWS_AS_THEY_MOVE)
        if span.to_s - span.from_s > length_s
        else _with_room(span, length_s)
        for span in (finding.spans[int(i)] for i in best)
    ]
    if len(finding.spans) == 1 and finding.from_s > length_s / 2:
        # It began on the way: that moment tells most.
        moments.insert(0, Span(finding.from_s - length_s / 3, finding.from_s + length_s * 2 / 3))
    inside = [Span(max(0.0, m.from_s), min(duration_s, m.to_s)) for m in moments]
    return _apart(inside)


def largest_difference(view: View, finding: Finding, duration_s: float) -> Span:
    """Return the span in which a sound corner differs most from what the others say.

    Parameters
    ----------
    view : of the corner, in a drive in which it is sound.
    finding : of another drive, whose fault is gone in this one.
    duration_s : of this drive. [s]
    """
    whole = Span(0.0, duration_s)
    length_s = _LENGTH_S.get(finding.kind, _USUAL_LENGTH_S)
    if duration_s <= length_s:
        return whole
    return _worst_stretch(
        view, _as_seen(view, finding, view.difference_kph()), whole, length_s, moving=False
    )


def _as_seen(view: View, finding: Finding, lacking: FloatColumn) -> FloatColumn:
    """(n,) how far the corner is off, as far as a close-up can show it.

    A ripple of the wheel's turn is seen where each turn has several samples; faster, they beat
    with it and draw a figure that no wheel makes.
    """
    if finding.kind != "ring_damage" or len(view.time_s) < 2:  # noqa: PLR2004 - a step needs two
        return lacking
    circumference_m = float(finding.evidence.get("circumference_m", ASSUMED_CIRCUMFERENCE_M))
    period_s = float(np.median(np.diff(view.time_s)))
    fastest_kph = KPH_PER_MPS * circumference_m / (_SAMPLES_A_TURN * period_s)
    shown = (view.least_kph > _READ_ABOVE_KPH) & (view.most_kph < fastest_kph)
    share = np.where(shown, lacking / np.where(shown, view.most_kph, 1.0), 0.0)
    return share if share.any() else lacking


def _with_room(span: Span, length_s: float) -> Span:
    """A short spell with some of the drive on both sides."""
    own_s = span.to_s - span.from_s
    room_s = max(_LEAST_ROOM_S, _ROOM * own_s, (_SHORTEST_LENGTH_S - own_s) / 2)
    room_s = min(room_s, max(_LEAST_ROOM_S, length_s - own_s))
    return Span(span.from_s - room_s, span.to_s + room_s)


def _worst_stretch(
    view: View, lacking: FloatColumn, span: Span, length_s: float, *, moving: bool
) -> Span:
    """The part of a long spell that shows it best; with `moving`, rather where speed changes."""
    starts_s = np.arange(span.from_s, max(span.to_s - length_s, span.from_s) + 0.01, length_s / 4)
    first = np.searchsorted(view.time_s, starts_s)
    last = np.searchsorted(view.time_s, starts_s + length_s)
    total = np.concatenate([[0.0], np.cumsum(lacking)])
    worth = total[last] - total[first]
    if moving:
        rows = zip(first, last, strict=True)
        worth = worth * [_range_kph(view.least_kph[begin:end]) for begin, end in rows]
    best_s = float(starts_s[int(np.argmax(worth))])
    return Span(best_s, best_s + length_s)


def _range_kph(speed_kph: FloatColumn) -> float:
    known = speed_kph[~np.isnan(speed_kph)]
    return float(np.ptp(known)) if len(known) else 0.0


def _apart(spans: Sequence[Span]) -> tuple[Span, ...]:
    """The first ones that do not overlap, in order of time."""
    kept: list[Span] = []
    for span in spans:
        if all(span.from_s >= other.to_s or span.to_s <= other.from_s for other in kept):
            kept.append(span)
    return tuple(sorted(kept[:MOST_MOMENTS], key=lambda span: span.from_s))
