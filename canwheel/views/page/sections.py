"""The drives on the page: charts, what was found in each, and its worst moments close up."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from string import ascii_uppercase

import numpy as np

from canwheel.corners import CORNERS, Corner
from canwheel.judgement.wording import KIND_WORDS
from canwheel.outcome import FaultKind, Finding
from canwheel.pipeline import Check
from canwheel.track.wheel_track import WheelTrack
from canwheel.views.document import CheckDocument, FindingPart
from canwheel.views.page.charts import Drawing, Mark, draw_drive, draw_moment
from canwheel.views.page.moments import View, largest_difference, worst_moments
from canwheel.views.page.units import Units
from canwheel.views.words import say_date

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
    recorded : when its recording began, by the clock of this machine; empty where nobody knows.
    chart : the four speeds.
    findings : what was found in it.
    """

    title: str
    place: str
    document: CheckDocument
    recorded: str
    chart: Chart
    findings: tuple[FindingView, ...]


def view_drives(
    drives: Sequence[NamedDrive], units: Units, *, later: Sequence[NamedDrive] = ()
) -> list[DriveView]:
    """Make all that the page shows of the drives, findings lettered through.

    Parameters
    ----------
    drives : those to be shown first.
    units : of the page.
    later : those after the repair, shown next; what is gone in them is shown beside each finding
        of the first ones.
    """
    letters = _letters()
    whole = [*drives, *later]
    top_kph = max(_LEAST_TOP_KPH, *(_top_kph(check) for *_, check in whole))
    views = []
    for number, drive in enumerate(whole):
        title, place, document, check = drive
        found = [finding for judged in check.judgement.corners for finding in judged.findings]
        marks = [Mark(next(letters), finding) for finding in found]
        after = later if number < len(drives) else ()
        views.append(
            DriveView(
                title=title,
                place=place,
                document=document,
                recorded=say_date(document.capture.first_time) if check.summary.is_dated else "",
                chart=Chart(
                    alt=_say_chart(title, marks),
                    caption=_CUT if _highest_kph(check.track) > top_kph else "",
                    drawing=draw_drive(check.track, marks, units, top_kph=top_kph),
                ),
                findings=_view_findings(drive, marks, units, after),
            )
        )
    return views


_LEAST_TOP_KPH = 10.0
"""The speed axis of a car that never moved ends here. [km/h]"""

_MOST_ABOVE = 1.3
"""The speed axis ends at this share of the car's top speed, so that one wild reading does not press
all others flat."""

_CUT = "Some readings are higher than this chart."


def _top_kph(check: Check) -> float:
    """Where the speed axis of a drive has to end. [km/h]"""
    car_kph = check.judgement.coverage.top_speed_kph
    return min(max(car_kph, _highest_kph(check.track)), _MOST_ABOVE * car_kph)


def _highest_kph(track: WheelTrack) -> float:
    """Highest reading of any corner. [km/h]"""
    return max(
        float(np.max(np.nan_to_num(track.wheel(corner).speed_kph), initial=0.0))
        for corner in CORNERS
    )


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
    drive: NamedDrive, marks: Sequence[Mark], units: Units, later: Sequence[NamedDrive]
) -> tuple[FindingView, ...]:
    _, place, document, _ = drive
    counts = dict.fromkeys(CORNERS, 0)
    shown = []
    for mark in marks:
        corner = mark.finding.corner
        at, counts[corner] = counts[corner], counts[corner] + 1
        shown.append(
            FindingView(
                letter=mark.letter,
                corner=corner,
                place=f"{place}corners.{corner}.findings.{at}",
                part=document.corners[corner].findings[at],
                charts=(
                    *_view_moments(drive, mark, units, named=bool(later)),
                    *_view_gone(later, mark.finding, units),
                ),
            )
        )
    return tuple(shown)


def _view_moments(drive: NamedDrive, mark: Mark, units: Units, *, named: bool) -> Iterable[Chart]:
    """The worst moments of a finding."""
    title, _, _, check = drive
    finding = mark.finding
    view = View.of(check.track, finding.corner)
    for span in worst_moments(view, finding, check.track.duration_s):
        yield Chart(
            alt=(
                f"Close-up of {mark.letter}: what the {finding.corner.words} reads, and what the "
                "other three say that it should."
            ),
            caption=title if named else "",
            drawing=draw_moment(
                view, span, units, shown=finding.spans, from_zero=finding.kind not in FINE
            ),
        )


def _view_gone(later: Sequence[NamedDrive], finding: Finding, units: Units) -> Iterable[Chart]:
    """The largest difference that is left at a corner where nothing is found any more."""
    for title, _, _, check in later:
        if check.judgement.corner(finding.corner).findings:
            continue
        view = View.of(check.track, finding.corner)
        span = largest_difference(view, finding, check.track.duration_s)
        words = finding.corner.words
        yield Chart(
            alt=f"{title}: what the {words} reads where it differs most from the other three.",
            caption=f"{title}: the most that it still differs",
            drawing=draw_moment(view, span, units, from_zero=finding.kind not in FINE),
        )
