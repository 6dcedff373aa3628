"""The judgement on a terminal: the verdict first, then the car, the figures, and what is next."""

from collections.abc import Iterable
from pathlib import Path

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from canwheel.corners import CORNERS, Side
from canwheel.judgement.proof import Claim, ComparisonVerdict, CornerRepair, Proof, RepairVerdict
from canwheel.judgement.verdict import CornerJudgement, CornerVerdict, DriveVerdict, Judgement
from canwheel.judgement.wording import KIND_WORDS, say_confidence, say_kinds, say_list
from canwheel.outcome import FaultKind, Finding
from canwheel.pipeline import Check, Comparison
from canwheel.track.lamps import Lamp, LampName
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
    printable,
    render_parts,
    section,
)

TWO_COLUMNS_FROM = 116
"""From this width on the findings stand beside the car. [columns]"""

_DRIVE_LOOK: dict[DriveVerdict, tuple[str, str]] = {
    "all_sound": ("ALL FOUR SOUND", GOOD),
    "fault_found": ("FAULT FOUND", FAULT),
    "not_enough_driving": ("NOT ENOUGH DRIVING", OPEN),
}
_COMPARE_LOOK: dict[ComparisonVerdict, tuple[str, str]] = {
    "repair_proven": ("REPAIR PROVEN", GOOD),
    "fault_still_there": ("FAULT STILL THERE", FAULT),
    "new_fault": ("NEW FAULT", FAULT),
    "repair_not_proven": ("REPAIR NOT PROVEN YET", OPEN),
    "nothing_to_prove": ("NOTHING TO PROVE", GOOD),
}
_CORNER_LOOK: dict[CornerVerdict, tuple[str, str]] = {
    "sound": ("█", GOOD),
    "faulty": ("X", FAULT),
    "doubtful": ("?", OPEN),
    "untested": ("░", OPEN),
}
_REPAIR_LOOK: dict[RepairVerdict, tuple[str, str, str]] = {
    "repaired": ("█", "REPAIRED", GOOD),
    "sound": ("█", "SOUND", GOOD),
    "still_faulty": ("X", "STILL FAULTY", FAULT),
    "newly_faulty": ("X", "NEWLY FAULTY", FAULT),
    "not_proven": ("?", "NOT PROVEN YET", OPEN),
}
_TELLING: dict[ComparisonVerdict, RepairVerdict] = {
    "repair_proven": "repaired",
    "fault_still_there": "still_faulty",
    "new_fault": "newly_faulty",
    "repair_not_proven": "not_proven",
}
"""Which corners the headline names."""

_LAMP_WORDS: dict[LampName, str] = {
    "abs": "Anti-lock lamp",
    "stability": "Stability lamp",
    "brake": "Brake lamp",
}


def render_check(check: Check, screen: Screen) -> str:
    """Return one drive's judgement as text."""
    judgement, side = check.judgement, check.vehicle.drive_side
    plan = draw_plan({j.corner: _corner_words(j) for j in judgement.corners}, side)
    subject = _say_subject(check.vehicle.vehicle.name, _file_name(check), _say_drive(judgement))
    parts = [
        banner(*_DRIVE_LOOK[judgement.verdict], _check_headline(judgement, side)),
        Text(f"{subject}\n", style=QUIET),
        *_car_and_findings(plan, _found("Found", judgement, side), screen),
        *section(
            "Check next" if judgement.with_verdict("faulty") else "Drive next",
            numbered(check.next_steps),
        ),
        *section("Figures", facts((*_figures(check), *_signals(check)))),
        *section("Not shown by this drive", bullets(_not_shown(judgement, side))),
        *section("Cautions", bullets(check.cautions)),
    ]
    return render_parts(parts, screen)


def render_comparison(comparison: Comparison, screen: Screen) -> str:
    """Return the judgement of two drives as text."""
    before, after, proof = comparison.before, comparison.after, comparison.proof
    side = after.vehicle.drive_side
    plan = draw_plan({r.corner: _repair_words(r) for r in proof.corners}, side)
    files = f"{_file_name(before)}, then {_file_name(after)}"
    shown = [
        *section("The proof", bullets(_say_claim(claim, side) for claim in proof.claims)),
        *_found("Found by the second drive", after.judgement, side),
    ]
    parts = [
        banner(*_COMPARE_LOOK[proof.verdict], _compare_headline(proof, side)),
        Text(_say_subject(after.vehicle.vehicle.name, files), style=QUIET),
        Text(_say_still_to_drive(proof), style=OPEN),
        *_car_and_findings(plan, shown, screen),
        *section("Next", numbered(comparison.next_steps)),
        *_found("Found by the first drive", before.judgement, side),
        *section("Figures of the first drive", facts(_figures(before))),
        *section("Figures of the second drive", facts(_figures(after))),
        *section("Signals", facts(_signals(after))),
        *section("Not shown by the second drive", bullets(_not_shown(after.judgement, side))),
        *section("Cautions", bullets(comparison.cautions)),
    ]
    return render_parts(parts, screen)


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


def _check_headline(judgement: Judgement, side: Side | None) -> str:
    told = judgement.with_verdict("faulty") or judgement.with_verdict("doubtful")
    if told:
        return _say_corners(told, side)
    if judgement.verdict == "all_sound":
        return "no fault in what was driven"
    untested = judgement.with_verdict("untested")
    if len(untested) == len(judgement.corners):
        return "no corner could be tested"
    return f"untested: {say_list([j.corner.described(side) for j in untested])}"


def _say_corners(corners: Iterable[CornerJudgement], side: Side | None) -> str:
    return "; ".join(
        f"{judged.corner.described(side)}: {say_kinds(_kinds(judged.findings))}"
        for judged in corners
    )


def _compare_headline(proof: Proof, side: Side | None) -> str:
    told = [r for r in proof.corners if r.verdict == _TELLING.get(proof.verdict)]
    if not told:
        sound = proof.verdict == "nothing_to_prove"
        return "both drives are sound" if sound else "the first drive shows no sure fault"
    return "; ".join(_say_repair(repair, side) for repair in told)


def _say_repair(repair: CornerRepair, side: Side | None) -> str:
    where = repair.corner.described(side)
    match repair.verdict:
        case "repaired":
            return f"{where}: {say_kinds(repair.before)}, now gone"
        case "not_proven":
            return f"{where}: {say_kinds(repair.before or repair.after) or 'not tested'}"
        case _:
            return f"{where}: {say_kinds(repair.after)}"


def _say_still_to_drive(proof: Proof) -> str:
    lines = "".join(f"\nStill to drive: {phrase}" for phrase in proof.to_drive.phrases)
    return f"{lines}\n" if lines else ""


def _kinds(findings: Iterable[Finding]) -> tuple[FaultKind, ...]:
    return tuple(dict.fromkeys(finding.kind for finding in findings))


def _corner_words(judged: CornerJudgement) -> CornerWords:
    tyre, style = _CORNER_LOOK[judged.verdict]
    if judged.findings:
        notes = tuple(KIND_WORDS[kind] for kind in _kinds(judged.findings))
    elif judged.typical_error_pct is None:
        notes = (f"{judged.coverage.read_km:.1f} km read",)
    else:
        notes = (
            f"agrees to {judged.typical_error_pct:.1f} %",
            f"{judged.coverage.read_km:.1f} km read",
        )
    return CornerWords(tyre, judged.verdict.upper(), notes, style)


def _repair_words(repair: CornerRepair) -> CornerWords:
    tyre, word, style = _REPAIR_LOOK[repair.verdict]
    notes: tuple[str, ...] = ()
    if repair.before or repair.after:
        notes = (
            f"before: {say_kinds(repair.before) or 'nothing found'}",
            f"after: {say_kinds(repair.after) or 'nothing found'}",
        )
    return CornerWords(tyre, word, notes, style)


def _found(title: str, judgement: Judgement, side: Side | None) -> list[RenderableType]:
    """Findings, then what looks like a fault and is none."""
    findings = [
        f"{_capital(judged.corner.described(side))}, {KIND_WORDS[finding.kind]}: {finding.says} "
        f"Confidence {finding.confidence:.0%}."
        for judged in judgement.corners
        for finding in judged.findings
    ]
    events = [
        f"{'The car' if event.corner is None else _capital(event.corner.described(side))}, "
        f"{event.kind.replace('_', ' ')}: {event.says}"
        for event in judgement.events
    ]
    return [
        *section(title, bullets(findings)),
        *section("Looks like a fault and is none", bullets(events)),
    ]


def _say_claim(claim: Claim, side: Side | None) -> str:
    subject = f"{_capital(claim.corner.described(side))}, {KIND_WORDS[claim.kind]}"
    if claim.still_there:
        return f"{subject}: still there in the second drive."
    if claim.pattern == "intermittent":
        times = "once" if claim.count == 1 else f"{claim.count} times"
        return (
            f"{subject}: {times} in {claim.before_km:.1f} km before; now {claim.clean_km:.1f} km "
            f"without, {claim.clean_km_needed:.1f} km are needed. The repair holds with a "
            f"confidence of {say_confidence(claim.confidence)}; 95% count as proof."
        )
    shown = "its speeds are repeated" if claim.proven else "its conditions are not all repeated yet"
    return (
        f"{subject}: there all the time before; now {claim.clean_km:.1f} km without, "
        f"{claim.clean_km_needed:.1f} km are needed, and {shown}."
    )


def _figures(check: Check) -> list[tuple[str, str]]:
    coverage, summary = check.judgement.coverage, check.summary
    turns = (
        f"straight {say_time(coverage.straight_s)}, left turns {say_time(coverage.left_turn_s)}, "
        f"right turns {say_time(coverage.right_turn_s)}, stops {coverage.stops}"
    )
    rows = [
        ("Recording", _say_recording(check)),
        ("Driven", _say_drive(check.judgement)),
        ("of it", turns),
        *((_LAMP_WORDS[lamp.name], _say_lamp(lamp)) for lamp in check.judgement.lamps),
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
        ("Definitions", f"{Path(layout.file).name}, speeds in {layout.unit}"),
        *((_capital(corner.words), layout.wheel(corner).path) for corner in CORNERS),
    ]


def _say_recording(check: Check) -> str:
    summary = check.summary
    cut = "; its last line is cut off" if summary.cut_last_line else ""
    return (
        f"{_file_name(check)}: {summary.frames:,} frames in {say_time(summary.duration_s)}, wheels "
        f"on channel {check.channel}{cut}"
    )


def _say_drive(judgement: Judgement) -> str:
    coverage = judgement.coverage
    if not coverage.moving_s:
        return "the car never moved"
    return (
        f"{coverage.distance_km:.1f} km in {say_time(coverage.moving_s)}, "
        f"up to {coverage.top_speed_kph:.0f} km/h"
    )


def _say_lamp(lamp: Lamp) -> str:
    if lamp.went_out_s is None:
        return "lit throughout" if lamp.lit_at_start else _say_lit_again(lamp, "never lit")
    if lamp.after_moving_s is None:
        when = f"out at {lamp.went_out_s:.1f} s"
    elif lamp.after_moving_s < 0:
        when = f"out {-lamp.after_moving_s:.1f} s before moving off"
    else:
        when = f"out {lamp.after_moving_s:.1f} s after moving off"
    return _say_lit_again(lamp, f"{when} and stayed out")


def _say_lit_again(lamp: Lamp, otherwise: str) -> str:
    if lamp.lit_again_s is None:
        return otherwise
    return f"{otherwise.removesuffix(' and stayed out')}, lit at {lamp.lit_again_s:.1f} s"


def _not_shown(judgement: Judgement, side: Side | None) -> list[str]:
    """Kinds that the drive could not show, those with one reason together."""
    corners: dict[tuple[FaultKind, str], list[CornerJudgement]] = {}
    for judged in judgement.corners:
        for entry in judged.not_judged:
            corners.setdefault((entry.kind, entry.why), []).append(judged)
    return [
        f"{KIND_WORDS[kind]}{_say_where(judged, side)}: {why}"
        for (kind, why), judged in corners.items()
    ]


def _say_where(corners: list[CornerJudgement], side: Side | None) -> str:
    if len(corners) > 3:  # noqa: PLR2004 - all four need no list
        return ""
    return f", {say_list([judged.corner.described(side) for judged in corners])}"


def say_time(seconds: float) -> str:
    """``42 s``, ``8 min 32 s``, ``1 h 5 min``."""
    minutes, rest_s = divmod(round(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    if hours:
        return f"{hours} h {minutes} min"
    return f"{minutes} min {rest_s} s" if minutes else f"{rest_s} s"


def _say_subject(name: str | None, *parts: str) -> str:
    return " · ".join(printable(part) for part in (name, *parts) if part)


def _file_name(check: Check) -> str:
    return Path(check.summary.file).name


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
