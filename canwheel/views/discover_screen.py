"""What was found without a DBC, on a terminal: the best candidate in full, the others in short."""

from collections.abc import Iterable

from rich.console import RenderableType
from rich.text import Text

from canwheel.capture.summary import CaptureSummary
from canwheel.discovery.confirm import Confirmation, ConfirmVerdict, PointName, PointOutcome
from canwheel.discovery.proposal import Candidate, Discovery, FieldState, SetKind, WheelField
from canwheel.plain_text import capital, printable
from canwheel.views.discover_document import CAUTION
from canwheel.views.plan import CornerWords, draw_plan
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
from canwheel.views.words import file_name, say_time

KIND_WORDS: dict[SetKind, str] = {
    "wheel speeds": "Wheel speeds",
    "copy": "A copy of the wheel speeds",
    "coarse copy": "A coarse copy of the wheel speeds",
    "pulse counters": "Counters of ring pulses",
}
STATE_WORDS: dict[FieldState, str] = {
    "live": "live",
    "faulty": "at times only",
    "silent": "dead: stands at rest",
    "frozen": "stands at one value",
    "no value": "says no value",
}
_POINT_MARKS: dict[PointOutcome, str] = {"fits": "fits", "contradicts": "NO", "not shown": "?"}
_VERDICTS: dict[ConfirmVerdict, tuple[str, str, str]] = {
    "confirmed": ("CONFIRMED", GOOD, "the second drive agrees with the proposal"),
    "contradicted": ("CONTRADICTED", FAULT, "the second drive speaks against the proposal"),
    "not_shown": ("NOT SHOWN", OPEN, "the second drive does not show enough of it"),
}
_UNTESTED: dict[PointName, str] = {"left": "left from right", "scale": "speed"}
"""Points that only a driver's word can test; a drive is confirmed without them, and says so."""


def render_discovery(summary: CaptureSummary, discovery: Discovery, screen: Screen) -> str:
    """Return what was found as text."""
    bus = discovery.bus
    searched = (
        f"{file_name(summary.file)}, {say_time(summary.duration_s)}: {summary.frames:,} frames,"
        f" {bus.messages} messages, {bus.numbers} bit fields that behave as numbers"
    )
    parts: list[RenderableType] = [_headline(discovery), Text(printable(searched), style=QUIET)]
    if discovery.candidates:
        parts += _in_full(discovery.candidates[0])
        parts += section(
            "Other candidates, behind it",
            bullets(_in_short(rank, c) for rank, c in _others(discovery)),
        )
    parts += section("Next", numbered(discovery.next_steps))
    if discovery.candidates:
        parts += section("Caution", bullets([CAUTION]))
    return render_parts(parts, screen)


def render_confirmation(confirmation: Confirmation, screen: Screen) -> str:
    """Return what a second drive says of a proposal as text."""
    word, style, headline = _VERDICTS[confirmation.verdict]
    untested = [
        _UNTESTED[point.name]
        for point in confirmation.points
        if point.name in _UNTESTED and point.outcome == "not shown"
    ]
    if untested and confirmation.verdict == "confirmed":
        headline += f"; not tested: {', '.join(untested)}"
    points = [
        (f"{_POINT_MARKS[point.outcome]:>4}  {point.name}", point.says)
        for point in confirmation.points
    ]
    files = f"{confirmation.dbc} against {file_name(confirmation.summary.file)}"
    return render_parts(
        [
            banner(word, style, headline),
            Text(printable(files), style=QUIET),
            *section("Points", facts(points)),
        ],
        screen,
    )


def _headline(discovery: Discovery) -> Text:
    if not discovery.candidates:
        return banner("NOTHING FOUND", OPEN, "nothing here behaves as the four wheels of a car")
    best = discovery.candidates[0]
    dead = [field for field in best.fields if field.state != "live"]
    what = "counters of ring pulses" if best.kind == "pulse counters" else "wheel speeds"
    if best.is_complete:
        told = "which corner is which is known"
    elif best.axles_by == "unknown":
        told = "which corner is which is not known"
    else:
        told = "left and right may be exchanged"
    fourth = ", one of them not live" if dead else ""
    return banner("PROPOSAL", GOOD if best.is_complete else OPEN, f"four {what}{fourth}; {told}")


def _in_full(best: Candidate) -> list[RenderableType]:
    corners = {field.place: _corner_words(best, field) for field in best.fields}
    parts: list[RenderableType] = [Text(), draw_plan(corners, None)]
    parts += section("Fields", facts(_field_row(best, field) for field in best.fields))
    parts += section("Why", bullets(best.reasons))
    parts += section("Scale", bullets([best.scale.says]))
    parts += section("Not known", bullets(best.warnings))
    return parts


def _corner_words(best: Candidate, field: WheelField) -> CornerWords:
    live = field.state == "live"
    tyre, style = ("█", GOOD) if live else ("X", FAULT)
    if not best.is_complete:
        tyre, style = ("?", OPEN) if live else ("X", FAULT)
    name = field.place.words if best.is_complete else f"{field.place.words}?"
    return CornerWords(tyre, capital(name), (_say_message(field), STATE_WORDS[field.state]), style)


def _field_row(best: Candidate, field: WheelField) -> tuple[str, str]:
    name = capital(field.place.words) + ("" if best.is_complete else "?")
    return name, f"{_say_message(field)}, {_say_bits(field)}, at rest {field.rest_raw:.0f}"


def _say_message(field: WheelField) -> str:
    digits = 8 if field.extended else 3
    return f"{field.can_id:0{digits}X}, every {1000 * field.period_s:.0f} ms"


def _say_bits(field: WheelField) -> str:
    order = "little-endian" if field.bits.byte_order == "little_endian" else "big-endian"
    return f"start {field.bits.start}, {field.bits.length} bits {order}"


def _others(discovery: Discovery) -> Iterable[tuple[int, Candidate]]:
    return enumerate(discovery.candidates[1:], start=2)


def _in_short(rank: int, candidate: Candidate) -> str:
    ids = dict.fromkeys(f"{field.can_id:X}" for field in candidate.fields)
    bits = candidate.fields[0].bits
    what = KIND_WORDS[candidate.kind]
    if candidate.copy_of is not None:
        what += f" (candidate {candidate.copy_of + 1})"
    return f"{rank}: {what}, in {' and '.join(ids)}, {bits.length} bits each"
