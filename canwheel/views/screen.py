"""The judgement on a terminal: the verdict first, then the car, the figures, and what is next."""

from collections.abc import Mapping

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from canwheel.corners import CORNERS, Side
from canwheel.fault_memory.against_drive import Relation
from canwheel.judgement.proof import ComparisonVerdict, CornerRepair, Proof, RepairVerdict
from canwheel.judgement.verdict import CornerJudgement, CornerVerdict, DriveVerdict, Judgement
from canwheel.judgement.wording import KIND_WORDS, say_kinds, say_list
from canwheel.pipeline import Check, CodesBeside, CodesCompared, Comparison
from canwheel.plain_text import capital, printable
from canwheel.views.plan import PLAN_WIDTH, CornerWords, draw_plan
from canwheel.views.terminal import (
    FAULT,
    GOOD,
    OPEN,
    QUIET,
    Screen,
    banner,
    bullets,
    facts,
    numbered,
    render_parts,
    section,
)
from canwheel.views.words import (
    COMPARISON_WORDS,
    CORNER_WORDS,
    DRIVE_WORDS,
    EVENTS_TITLE,
    LAMP_WORDS,
    RELATION_WORDS,
    REPAIR_WORDS,
    file_name,
    headline_check,
    headline_comparison,
    kinds_of,
    name_drives,
    not_shown,
    say_claim,
    say_drive,
    say_event,
    say_lamp,
    say_time,
    say_turns,
    say_unit,
)

Named = Mapping[str, Check]
"""Drives by what they are called."""

TWO_COLUMNS_FROM = 116
"""From this width on the findings stand beside the car. [columns]"""

_DRIVE_STYLES: dict[DriveVerdict, str] = {
    "all_sound": GOOD,
    "fault_found": FAULT,
    "not_enough_driving": OPEN,
}
_COMPARISON_STYLES: dict[ComparisonVerdict, str] = {
    "repair_proven": GOOD,
    "fault_still_there": FAULT,
    "new_fault": FAULT,
    "repair_not_proven": OPEN,
    "nothing_to_prove": GOOD,
}
_CORNER_LOOK: dict[CornerVerdict, tuple[str, str]] = {
    "sound": ("█", GOOD),
    "faulty": ("X", FAULT),
    "doubtful": ("?", OPEN),
    "untested": ("░", OPEN),
}
_REPAIR_LOOK: dict[RepairVerdict, tuple[str, str]] = {
    "repaired": ("█", GOOD),
    "sound": ("█", GOOD),
    "still_faulty": ("X", FAULT),
    "newly_faulty": ("X", FAULT),
    "not_proven": ("?", OPEN),
}
_RELATION_STYLES: dict[Relation, str] = {
    "agree": GOOD,
    "disagree": FAULT,
    "code_without_finding": OPEN,
    "finding_without_code": OPEN,
    "not_compared": QUIET,
}


def render_check(check: Check, screen: Screen) -> str:
    """Return one drive's judgement as text."""
    judgement, side = check.judgement, check.vehicle.drive_side
    plan = draw_plan({j.corner: _corner_words(j) for j in judgement.corners}, side)
    name = file_name(check.summary.file)
    subject = _say_subject(check.vehicle.vehicle.name, name, say_drive(judgement.coverage))
    style = _DRIVE_STYLES[judgement.verdict]
    parts = [
        banner(DRIVE_WORDS[judgement.verdict].upper(), style, headline_check(judgement, side)),
        Text(f"{subject}\n", style=QUIET),
        *_car_and_findings(plan, _found("Found", judgement, side), screen),
        *section(
            "Check next" if judgement.with_verdict("faulty") else "Drive next",
            numbered(check.next_steps),
        ),
        *_codes("Stored codes", check.codes),
        *section("Figures", facts((*_figures(check), *_signals(check)))),
        *section("Not shown by this drive", bullets(not_shown(judgement, side))),
        *section("Cautions", bullets(check.cautions)),
    ]
    return render_parts(parts, screen)


def render_comparison(comparison: Comparison, screen: Screen) -> str:
    """Return the judgement of the drives before and after a repair as text."""
    proof, after = comparison.proof, comparison.judged_after
    side = comparison.after_drives[-1].vehicle.drive_side
    plan = draw_plan({r.corner: _repair_words(r) for r in proof.corners}, side)
    befores, afters = _named_drives(comparison)
    shown = [
        *section("The proof", bullets(say_claim(claim, side) for claim in proof.claims)),
        *_found_by(afters, side),
    ]
    style = _COMPARISON_STYLES[proof.verdict]
    parts = [
        banner(COMPARISON_WORDS[proof.verdict].upper(), style, headline_comparison(proof, side)),
        Text(_say_files(comparison), style=QUIET),
        Text(_say_still_to_drive(proof), style=OPEN),
        *_car_and_findings(plan, shown, screen),
        *section("Next", numbered(comparison.next_steps)),
        *_found_by(befores, side),
        *_compared_codes(comparison.codes),
        *_figures_of(befores),
        *_figures_of(afters),
        *section("Signals", facts(_signals(comparison.after_drives[-1]))),
        *section(f"Not shown by {_second(len(afters))}", bullets(not_shown(after, side))),
        *section("Cautions", bullets(comparison.cautions)),
    ]
    return render_parts(parts, screen)


def _named_drives(comparison: Comparison) -> tuple[Named, Named]:
    """The drives of both sides with their names."""
    before, after = comparison.before_drives, comparison.after_drives
    first = name_drives("the first drive", "before", len(before))
    second = name_drives("the second drive", "after", len(after))
    return dict(zip(first, before, strict=True)), dict(zip(second, after, strict=True))


def _second(count: int) -> str:
    return "the second drive" if count == 1 else "the drives after the repair"


def _say_files(comparison: Comparison) -> str:
    before, after = (
        say_list([file_name(drive.summary.file) for drive in drives])
        for drives in (comparison.before_drives, comparison.after_drives)
    )
    return _say_subject(comparison.after.vehicle.vehicle.name, f"{before}, then {after}")


def _found_by(drives: Named, side: Side | None) -> list[RenderableType]:
    return [
        part
        for name, drive in drives.items()
        for part in _found(f"Found by {name}", drive.judgement, side)
    ]


def _figures_of(drives: Named) -> list[RenderableType]:
    return [
        part
        for name, drive in drives.items()
        for part in section(f"Figures of {name}", facts(_figures(drive)))
    ]


def _codes(title: str, codes: CodesBeside | None) -> list[RenderableType]:
    """Stored codes beside a drive."""
    if codes is None:
        return []
    lines = [
        _code_line(RELATION_WORDS[one.relation], _RELATION_STYLES[one.relation], one.says)
        for one in codes.beside
    ]
    if not codes.reading.faults:
        lines.append(Text("The unit stores no fault."))
    return section(title, lines)


def _compared_codes(codes: CodesCompared | None) -> list[RenderableType]:
    if codes is None:
        return []
    changes = [Text(printable(change.says)) for change in codes.changes]
    return [
        *_codes("Stored codes before the repair", codes.before),
        *_codes("Stored codes after the repair", codes.after),
        *section("What became of the codes", changes),
    ]


def _code_line(word: str, style: str, says: str) -> Text:
    return Text.assemble((f"{word}: ", style), printable(says))


def _car_and_findings(
    plan: Text, found: list[RenderableType], screen: Screen
) -> list[RenderableType]:
    """The car with the findings below it, or beside it where there is room."""
    if screen.width < TWO_COLUMNS_FROM:
        return [plan, *found]
    grid = Table.grid(padding=(0, 2))
    grid.add_column(width=PLAN_WIDTH)
    grid.add_column()
    grid.add_row(plan, Group(*found))
    return [grid]


def _say_still_to_drive(proof: Proof) -> str:
    lines = "".join(f"\nStill to drive: {phrase}" for phrase in proof.to_drive.phrases)
    return f"{lines}\n" if lines else ""


def _corner_words(judged: CornerJudgement) -> CornerWords:
    tyre, style = _CORNER_LOOK[judged.verdict]
    if judged.findings:
        notes = tuple(KIND_WORDS[kind] for kind in kinds_of(judged.findings))
    elif judged.typical_error_pct is None:
        notes = (f"{judged.coverage.read_km:.1f} km read",)
    else:
        notes = (
            f"agrees to {judged.typical_error_pct:.1f} %",
            f"{judged.coverage.read_km:.1f} km read",
        )
    return CornerWords(tyre, CORNER_WORDS[judged.verdict].upper(), notes, style)


def _repair_words(repair: CornerRepair) -> CornerWords:
    tyre, style = _REPAIR_LOOK[repair.verdict]
    notes: tuple[str, ...] = ()
    if repair.before or repair.after:
        notes = (
            f"before: {say_kinds(repair.before) or 'nothing found'}",
            f"after: {say_kinds(repair.after) or 'nothing found'}",
        )
    return CornerWords(tyre, REPAIR_WORDS[repair.verdict].upper(), notes, style)


def _found(title: str, judgement: Judgement, side: Side | None) -> list[RenderableType]:
    """Findings, then what looks like a fault and need not be one."""
    findings = [
        f"{capital(judged.corner.described(side))}, {KIND_WORDS[finding.kind]}: {finding.says} "
        f"Confidence {finding.confidence:.0%}."
        for judged in judgement.corners
        for finding in judged.findings
    ]
    events = [
        f"{'The car' if event.corner is None else capital(event.corner.described(side))}, "
        f"{say_event(event.kind)}: {event.says}"
        for event in judgement.events
    ]
    return [
        *section(title, bullets(findings)),
        *section(EVENTS_TITLE, bullets(events)),
    ]


def _figures(check: Check) -> list[tuple[str, str]]:
    coverage, summary = check.judgement.coverage, check.summary
    rows = [
        ("Recording", _say_recording(check)),
        ("Driven", say_drive(coverage)),
        ("of it", say_turns(coverage)),
        *((LAMP_WORDS[lamp.name], say_lamp(lamp)) for lamp in check.judgement.lamps),
    ]
    if summary.first_unreadable is not None:
        where = f"the first is line {summary.first_unreadable.number}"
        rows.insert(1, ("Unreadable", f"{summary.unreadable_lines} lines; {where}"))
    if summary.damage:
        rows.insert(1, ("Damaged", summary.damage))
    return rows


def _signals(check: Check) -> list[tuple[str, str]]:
    layout = check.layout
    return [
        ("Definitions", f"{file_name(layout.file)}, {say_unit(layout.unit)}"),
        *((capital(corner.words), layout.wheel(corner).path) for corner in CORNERS),
    ]


def _say_recording(check: Check) -> str:
    summary = check.summary
    cut = "; its last line is cut off" if summary.cut_last_line else ""
    length = f"{summary.frames:,} frames in {say_time(summary.duration_s)}"
    return f"{file_name(summary.file)}: {length}, wheels on channel {check.channel}{cut}"


def _say_subject(name: str | None, *parts: str) -> str:
    return " · ".join(printable(part) for part in (name, *parts) if part)
