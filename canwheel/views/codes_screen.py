"""Stored codes on the terminal."""

from collections.abc import Iterable
from datetime import datetime

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.text import Text

from canwheel.corners import Side
from canwheel.fault_memory.documents import ClearingDocument, CodesDocument, StoredCode, UnitFacts
from canwheel.fault_memory.status import STATE_WORDS, CodeState

_STYLES: dict[CodeState, str] = {
    "fails_now": "bold red",
    "stored": "bold yellow",
    "pending": "yellow",
    "failed_before": "yellow",
    "not_yet_tested": "cyan",
    "passed": "green",
}

_INDENT = 10  # width of a code in letter form, "C0034-1F", and two spaces

_EXTENDED_WORDS = {
    "not_offered": "The unit offers no extended data.",
    "in_part": "The unit gave extended data for some of the codes only.",
}


def render_codes(document: CodesDocument, *, drive_side: Side | None = None) -> RenderableType:
    """One reading, code by code.

    Parameters
    ----------
    document : the reading.
    drive_side : side the steering wheel is on, where it is known.
    """
    extended = _EXTENDED_WORDS.get(document.extended_data)
    return Group(
        *_reading_lines(document, drive_side),
        *([] if extended is None else [Text(extended)]),
        *_caution_lines(document.cautions),
    )


def render_clearing(
    document: ClearingDocument, *, drive_side: Side | None = None
) -> RenderableType:
    """Tell what a clearing did: what was there, and what the unit reports now."""
    if document.after is None:
        return Group(
            Text("The unit stores no fault: nothing was sent to clear it.", style="bold"),
            Text(""),
            *_caution_lines(document.cautions),
        )
    cleared = document.verdict == "cleared"
    headline = Text(
        "The unit cleared its stored codes."
        if cleared
        else "The unit cleared its stored codes, and a fault stands in the memory again.",
        style="bold" if cleared else "bold red",
    )
    return Group(
        headline,
        Text(""),
        *_reading_lines(document.after, drive_side),
        *_caution_lines(document.cautions),
    )


def _reading_lines(document: CodesDocument, drive_side: Side | None) -> list[RenderableType]:
    lines: list[RenderableType] = [Text(_headline(document), style="bold"), Text("")]
    for code in document.codes:
        lines += [*_code_lines(code, drive_side), Text("")]
    return lines


def _headline(document: CodesDocument) -> str:
    who = _unit_words(document.unit)
    if document.vehicle:
        who = f"{document.vehicle}, {who}"
    faults, others = len(document.faults), len(document.codes) - len(document.faults)
    what = {0: "no stored fault", 1: "1 stored fault"}.get(faults, f"{faults} stored faults")
    if others:
        what += f", {others} reported without a fault"
    return f"{who}, read {_moment(document.read_at)}: {what}"


def _unit_words(unit: UnitFacts) -> str:
    width = 3 if unit.id_bits == 11 else 8  # noqa: PLR2004  bits of a standard identifier
    return f"unit {unit.request_id:0{width}X}/{unit.response_id:0{width}X}"


def _moment(read_at: str) -> str:
    try:
        return datetime.fromisoformat(read_at).astimezone().strftime("%Y-%m-%d %H:%M")
    except ValueError:  # somebody edited the file
        return read_at


def _code_lines(code: StoredCode, drive_side: Side | None) -> list[RenderableType]:
    style = _STYLES[code.state]
    head = Text(f"{code.code}  ", style=style)
    head.append(_meaning(code, drive_side))
    lines = [
        Text.assemble((STATE_WORDS[code.state], style), f"; {code.failure}"),
        Text(f"status {code.status:02X}: {', '.join(code.status_words) or 'no bit set'}"),
    ]
    if code.extended:
        lines.append(Text(f"extended data {code.extended.upper()} (the maker's own meaning)"))
    if code.note:
        lines.append(Text(f"{code.note[0].upper()}{code.note[1:]}.", style="bold"))
    return [head, *(Padding(line, (0, 0, 0, _INDENT)) for line in lines)]


def _meaning(code: StoredCode, drive_side: Side | None) -> str:
    if code.meaning is None:
        return "not in the open lists" if not code.note else "ambiguous"
    if code.corner is None or drive_side is None:
        return code.meaning
    return code.meaning.replace(code.corner.words, code.corner.described(drive_side))


def _caution_lines(cautions: Iterable[str]) -> list[RenderableType]:
    return [Text(caution) for caution in cautions]
