"""A judgement, made of the numbers of its JSON document, to the page.

The template escapes whatever it is given: signal names, file names and the job file's words are
text on the page and never markup. The page has no script, and its content security policy tells
the browser to run none and to fetch nothing. So it opens at once, prints as it is, and works where
scripts are switched off.
"""

import math
from dataclasses import dataclass, field
from datetime import datetime
from importlib.resources import files
from typing import Any

from canwheel.corners import CORNERS, Corner, Side
from canwheel.fault_memory.status import STATE_WORDS
from canwheel.job import Job
from canwheel.judgement.wording import KIND_WORDS, say_band, say_confidence, say_kinds
from canwheel.pipeline import Check, Comparison
from canwheel.plain_text import capital
from canwheel.track.lamps import USUAL_OUT_S
from canwheel.vehicle import Vehicle
from canwheel.version import VERSION
from canwheel.views.document import (
    BandPart,
    CheckDocument,
    CompareDocument,
    document_check,
    document_comparison,
)
from canwheel.views.page.axes import HEIGHT, WIDTH
from canwheel.views.page.plan import plan_check, plan_comparison
from canwheel.views.page.sections import NamedDrive, view_drives
from canwheel.views.page.template import content_policy, make_environment
from canwheel.views.page.units import SpeedName, Units
from canwheel.views.words import (
    COMPARISON_WORDS,
    CORNER_WORDS,
    DRIVE_WORDS,
    EVENTS_TITLE,
    LAMP_WORDS,
    RELATION_WORDS,
    file_name,
    headline_check,
    headline_comparison,
    not_shown,
    say_claim,
    say_lamp,
    say_moment,
    say_time,
)

_MEANING = {
    "all_sound": "All four wheel-speed signals agree with one another in what was driven.",
    "fault_found": "What is named here does not fit what the other wheels say.",
    "not_enough_driving": "What was driven is not enough to tell.",
    "repair_proven": "What showed the fault was driven again, and the fault did not come.",
    "fault_still_there": "The driving after the repair shows the fault again.",
    "new_fault": "The driving after the repair shows a fault that was not there before.",
    "repair_not_proven": "The driving after the repair does not show enough to be sure.",
    "nothing_to_prove": "No fault showed before, and none after.",
}
"""The verdict for somebody who does not know the trade."""

_TONES = {
    "all_sound": "good",
    "fault_found": "fault",
    "not_enough_driving": "open",
    "repair_proven": "good",
    "fault_still_there": "fault",
    "new_fault": "fault",
    "repair_not_proven": "open",
    "nothing_to_prove": "good",
}

_JOB_LABELS = {
    "vehicle": "Vehicle",
    "registration": "Registration",
    "odometer_before": "Odometer before",
    "odometer_after": "Odometer after",
    "complaint": "Complaint",
    "work_done": "Work done",
    "part": "Part",
    "technician": "Technician",
    "notes": "Notes",
}


@dataclass(frozen=True, slots=True)
class PageNotes:
    """What goes on a page beside the judgement.

    Attributes
    ----------
    job : what was done and by whom.
    speed : unit of speed.
    made_at : the page's date; None for now.
    """

    job: Job = field(default_factory=Job)
    speed: SpeedName = "km/h"
    made_at: datetime | None = None


def render_check_page(check: Check, notes: PageNotes | None = None) -> str:
    """Return one drive's judgement as an HTML page."""
    notes = notes or PageNotes()
    document = document_check(check)
    units = Units(notes.speed)
    side = check.vehicle.drive_side
    drives = view_drives([("The drive", "", document, check)], units)
    return _render(
        notes,
        document,
        units,
        word=DRIVE_WORDS[document.verdict],
        headline=headline_check(check.judgement, side),
        side=side,
        plan=plan_check(document, side),
        sides=[drives],
        not_shown=not_shown(check.judgement, side),
        not_shown_by="this drive",
        next_title="Check next" if check.judgement.with_verdict("faulty") else "Drive next",
        codes=[] if document.codes is None else [("", "codes", document.codes)],
        code_changes=[],
        names=_names(notes.job, check.vehicle),
    )


def render_comparison_page(comparison: Comparison, notes: PageNotes | None = None) -> str:
    """Return the judgement of the drives before and after a repair as an HTML page."""
    notes = notes or PageNotes()
    document = document_comparison(comparison)
    units = Units(notes.speed)
    vehicle = comparison.after_drives[-1].vehicle
    before, after = _both_sides(comparison, document)
    views = view_drives(before, units, later=after)
    codes = document.codes
    readings = (
        []
        if codes is None
        else [
            (name, f"codes.{key}", part)
            for name, key, part in (
                ("Before the repair", "before", codes.before),
                ("After the repair", "after", codes.after),
            )
            if part is not None
        ]
    )
    return _render(
        notes,
        document,
        units,
        word=COMPARISON_WORDS[document.verdict],
        headline=headline_comparison(comparison.proof, vehicle.drive_side),
        side=vehicle.drive_side,
        plan=plan_comparison(document, vehicle.drive_side),
        sides=[views[: len(before)], views[len(before) :]],
        not_shown=not_shown(comparison.judged_after, vehicle.drive_side),
        not_shown_by="the driving after the repair",
        next_title="Next",
        codes=readings,
        code_changes=[] if codes is None else codes.changes,
        names=_names(notes.job, vehicle),
    )


def _both_sides(
    comparison: Comparison, document: CompareDocument
) -> tuple[list[NamedDrive], list[NamedDrive]]:
    def side(name: str, key: str, drives: tuple[Check, ...]) -> list[NamedDrive]:
        first: CheckDocument = getattr(document, key)
        further: list[CheckDocument] = getattr(document, f"further_{key}")
        places = [f"{key}.", *(f"further_{key}.{i}." for i in range(len(further)))]
        many = len(drives) > 1
        names = [f"{name}, drive {i}" if many else name for i in range(1, len(drives) + 1)]
        return list(zip(names, places, [first, *further], drives, strict=True))

    return (
        side("Before the repair", "before", comparison.before_drives),
        side("After the repair", "after", comparison.after_drives),
    )


def _render(
    notes: PageNotes, document: CheckDocument | CompareDocument, units: Units, **facts: Any
) -> str:
    style = (files("canwheel.views.page") / "page.css").read_text(encoding="utf-8")
    environment = make_environment(
        {
            "capital": capital,
            "file_name": file_name,
            "time": say_time,
            "units": units.say,
            "lamp": say_lamp,
            "described": lambda corner, side: Corner(corner).described(side),
            "kinds": say_kinds,
            "band": _say_band,
            "confidence": say_confidence,
            "clock": _say_clock,
            "moment": say_moment,
        }
    )
    made_at = (notes.made_at or datetime.now().astimezone()).strftime("%Y-%m-%d %H:%M")
    drives = [drive for drives in facts["sides"] for drive in drives]
    return environment.get_template("page.html").render(
        **facts,
        document=document,
        comparing=isinstance(document, CompareDocument),
        units=units,
        tone=_TONES[document.verdict],
        meaning=_MEANING[document.verdict],
        claims=_say_claims(document, facts["side"]),
        claims_fail=_some_claim_fails(document),
        drives=drives,
        corners=CORNERS,
        corner_words=CORNER_WORDS,
        kind_words=KIND_WORDS,
        events_title=EVENTS_TITLE,
        lamp_words=LAMP_WORDS,
        relation_words=RELATION_WORDS,
        state_words=STATE_WORDS,
        usual_out_s=USUAL_OUT_S,
        job=_job_rows(notes.job),
        made_at=made_at,
        version=VERSION,
        style=style,
        policy=content_policy(style),
        box=(WIDTH, HEIGHT),
    )


def _say_claims(document: CheckDocument | CompareDocument, side: Side | None) -> list[str]:
    if isinstance(document, CheckDocument):
        return []
    return [say_claim(claim, side) for claim in document.proof.claims]


def _names(job: Job, vehicle: Vehicle) -> list[str]:
    """What the car is called: as the customer calls it, else as the vehicle file does."""
    return [name for name in (job.vehicle or vehicle.vehicle.name, job.registration) if name]


def _some_claim_fails(document: CheckDocument | CompareDocument) -> bool:
    """Whether a fault is still there: then there is no distance without it to be told."""
    if isinstance(document, CheckDocument):
        return False
    return any(claim.still_there for claim in document.proof.claims)


def _job_rows(job: Job) -> list[tuple[str, str]]:
    values = ((label, getattr(job, key)) for key, label in _JOB_LABELS.items())
    return [(label, str(value)) for label, value in values if value not in (None, "")]


def _say_band(band: BandPart) -> str:
    return say_band((band.from_kph, math.inf if band.to_kph is None else band.to_kph))


def _say_clock(at_s: float) -> str:
    """``1 min 31.2 s``."""
    minutes, rest_s = divmod(at_s, 60)
    return f"{int(minutes)} min {rest_s:.1f} s" if minutes else f"{rest_s:.1f} s"
