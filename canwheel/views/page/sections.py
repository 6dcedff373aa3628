"""The drives on the page: charts, what was found in each, and its worst moments close up."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from string import ascii_uppercase

from canwheel.corners import Corner
from canwheel.judgement.wording import KIND_WORDS
from canwheel.outcome import FaultKind, Finding
from canwheel.pipeline import Check
from canwheel.views.document import CheckDocument, FindingPart
from canwheel.views.page.charts import Drawing, Mark, draw_drive, draw_moment
from canwheel.views.page.moments import View, largest_difference, worst_moments
from canwheel.views.page.units import Units

NamedDrive = tuple[str, str, CheckDocument, Check]
"""What a drive is called, where it stands in the JSON document, and the drive."""

FINE: frozenset[FaultKind] = frozenset({"ring_damage"})
"""Kinds that would not be seen on a speed axis that begins at zero."""


@dataclass(frozen=True, slots=True)
class Chart:
    """One chart.

    Attributes
    ----------
    alt : what it shows, for those who cannot see it.
    caption : below it; empty for none.
    drawing : the chart itself.
    """

    alt: str
    caption: str
    drawing: Drawing


@dataclass(frozen=True, slots=True)
class FindingView:
    """One finding with its letter, its part of the document, and its close-ups."""

    letter: str
    corner: Corner
    place: str
    part: FindingPart
    charts: tuple[Chart, ...]


@dataclass(frozen=True, slots=True)
class DriveView:
    """One drive.

    Attributes
    ----------
    title : what it is called.
    place : where its document stands in the whole one: ``before.``, or nothing.
    document : its numbers.
    chart : the four speeds.
    findings : what was found in it.
    gone : close-ups of corners whose fault is not found in it any more.
    """

    title: str
    place: str
    document: CheckDocument
    chart: Chart
    findings: tuple[FindingView, ...]
    gone: tuple[Chart, ...]

    @property
    def charts(self) -> tuple[Chart, ...]:
        """All its charts."""
        close = (chart for finding in self.findings for chart in finding.charts)
        return (self.chart, *close, *self.gone)


def view_drives(
    drives: Sequence[NamedDrive],
    units: Units,
    *,
    gone_from: int | None = None,
    gone: Mapping[Corner, FaultKind] | None = None,
) -> list[DriveView]:
    """Make all that the page shows of the drives, findings lettered through.

    Parameters
    ----------
    drives : title, place in the document, document, drive.
    units : of the page.
    gone_from : the first drive after the repair, None without one.
    gone : corners whose fault has gone there, and which.
    """
    letters = _letters()
    top_kph = max(check.judgement.coverage.top_speed_kph for *_, check in drives)
    views = []
    for number, drive in enumerate(drives):
        title, place, document, check = drive
        look = gone if gone_from is not None and number >= gone_from else None
        marks = [Mark(next(letters), finding) for finding in _findings(check)]
        views.append(
            DriveView(
                title=title,
                place=place,
                document=document,
                chart=Chart(
                    alt=_say_chart(title, marks),
                    caption="",
                    drawing=draw_drive(check.track, marks, units, top_kph=max(top_kph, 10.0)),
                ),
                findings=_view_findings(drive, marks, units),
                gone=tuple(_view_gone(title, check, look or {}, units)),
            )
        )
    return views


def _findings(check: Check) -> list[Finding]:
    return [finding for judged in check.judgement.corners for finding in judged.findings]


def _letters() -> Iterator[str]:
    """``A`` to ``Z``, then ``A2`` and so on."""
    yield from ascii_uppercase
    number = 1
    while True:
        number += 1
        yield from (f"{letter}{number}" for letter in ascii_uppercase)


def _say_chart(title: str, marks: Sequence[Mark]) -> str:
    found = "; ".join(
        f"{mark.letter}: {mark.finding.corner.words}, {KIND_WORDS[mark.finding.kind]}"
        for mark in marks
    )
    marked = f" Marked: {found}." if found else " Nothing is marked: no fault was found in it."
    return f"{title}: the four wheel speeds over time.{marked}"


def _view_findings(
    drive: NamedDrive, marks: Sequence[Mark], units: Units
) -> tuple[FindingView, ...]:
    _, place, document, check = drive
    views: dict[Corner, View] = {}
    counts = dict.fromkeys(Corner, 0)
    shown = []
    for mark in marks:
        corner = mark.finding.corner
        if corner not in views:
            views[corner] = View.of(check.track, corner)
        at, counts[corner] = counts[corner], counts[corner] + 1
        moments = worst_moments(views[corner], mark.finding, check.track.duration_s)
        charts = tuple(
            Chart(
                alt=(
                    f"Close-up of {mark.letter}: what the {corner.words} reads, and what the "
                    "other three say that it should."
                ),
                caption="",
                drawing=draw_moment(
                    views[corner],
                    span,
                    units,
                    shown=mark.finding.spans,
                    from_zero=mark.finding.kind not in FINE,
                ),
            )
            for span in moments
        )
        shown.append(
            FindingView(
                letter=mark.letter,
                corner=corner,
                place=f"{place}corners.{corner}.findings.{at}",
                part=document.corners[corner].findings[at],
                charts=charts,
            )
        )
    return tuple(shown)


def _view_gone(
    title: str, check: Check, gone: Mapping[Corner, FaultKind], units: Units
) -> Iterable[Chart]:
    """The largest difference that is left at a corner whose fault is gone."""
    for corner, kind in gone.items():
        if check.judgement.corner(corner).findings:
            continue
        view = View.of(check.track, corner)
        span = largest_difference(view, kind, check.track.duration_s)
        yield Chart(
            alt=(
                f"{title}: what the {corner.words} reads where it differs most from what the other "
                "three say."
            ),
            caption=f"{title}: the {corner.words} where it differs most from the other three",
            drawing=draw_moment(view, span, units, from_zero=kind not in FINE),
        )
