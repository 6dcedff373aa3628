"""Stored codes on a terminal: what the unit reported, code by code, and what a clearing did."""

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.text import Text

from canwheel.corners import Side
from canwheel.fault_memory.documents import (
    ClearingDocument,
    ClearingVerdict,
    CodesDocument,
    ExtendedData,
    StoredCode,
    UnitFacts,
)
from canwheel.fault_memory.status import STATE_WORDS, CodeState
from canwheel.plain_text import capital, printable
from canwheel.views.terminal import (
    FAULT,
    GOOD,
    OPEN,
    QUIET,
    Screen,
    banner,
    bullets,
    render_parts,
    section,
)
from canwheel.views.words import say_moment

_STATE_STYLES: dict[CodeState, str] = {
    "fails_now": FAULT,
    "stored": OPEN,
    "pending": OPEN,
    "failed_before": OPEN,
    "not_yet_tested": OPEN,
    "passed": GOOD,
}

_CLEARING_LOOK: dict[ClearingVerdict, tuple[str, str, str]] = {
    "cleared": ("CLEARED", OPEN, "The unit cleared its stored codes; drive to confirm"),
    "came_back": ("CAME BACK", FAULT, "The unit cleared its codes, and a fault is stored again"),
    "nothing_stored": ("NOTHING STORED", GOOD, "Nothing was sent to clear anything"),
}

_EXTENDED_WORDS: dict[ExtendedData, str] = {
    "not_offered": "the unit offers no extended data",
    "in_part": "the unit gave extended data for some of the codes only",
    "broke_off": "asking for extended data broke off; the codes themselves are complete",
}

_CODE_WIDTH = len("C0034-1F  ")
_STANDARD_ID_BITS = 11


def render_codes(document: CodesDocument, screen: Screen, *, drive_side: Side | None = None) -> str:
    """Return one reading as text.

    Parameters
    ----------
    document : the reading.
    screen : what the terminal can show.
    drive_side : side the steering wheel is on, where it is known.
    """
    return render_parts(
        (
            banner(*_look(document)),
            _subject(document),
            *_code_section("Codes", document, drive_side),
            *section("Keep in mind", bullets(document.cautions)),
        ),
        screen,
    )


def render_clearing(
    document: ClearingDocument, screen: Screen, *, drive_side: Side | None = None
) -> str:
    """Return what a clearing did as text, and what the unit reports now.

    Parameters
    ----------
    document : the clearing.
    screen : what the terminal can show.
    drive_side : side the steering wheel is on, where it is known.
    """
    now = document.after or document.at_clearing
    return render_parts(
        (
            banner(*_CLEARING_LOOK[document.verdict]),
            _subject(now),
            *_code_section("The unit reports now", now, drive_side),
            *section("Keep in mind", bullets(document.cautions)),
        ),
        screen,
    )


def _look(document: CodesDocument) -> tuple[str, str, str]:
    """The banner: a memory that was cleared and not tested since says nothing, and so it is told.

    Right after clearing the status is 50: not completed since clearing, nor in this cycle (bits
    of ISO 14229-1, as udsoncan has them).
    """
    found = len(document.faults)
    if found:
        plural = "" if found == 1 else "s"
        return "CODES STORED", OPEN, f"The unit stores {found} fault{plural}"
    untested = sum(code.state == "not_yet_tested" for code in document.codes)
    if untested:
        codes = "1 code" if untested == 1 else f"{untested} codes"
        return "NOT YET TESTED", OPEN, f"No fault stored; {codes} not tested since clearing"
    return "NO CODE STORED", GOOD, "The unit reports no fault"


def _subject(document: CodesDocument) -> Text:
    parts = (document.vehicle, _say_unit(document.unit), f"read {say_moment(document.read_at)}")
    return Text(printable(" · ".join(part for part in parts if part)), style=QUIET)


def _say_unit(unit: UnitFacts) -> str:
    width = 3 if unit.id_bits == _STANDARD_ID_BITS else 8
    return f"unit {unit.request_id:0{width}X}/{unit.response_id:0{width}X}"


def _code_section(
    title: str, document: CodesDocument, drive_side: Side | None
) -> list[RenderableType]:
    lines = [_code_lines(code, drive_side) for code in document.codes]
    extended = _EXTENDED_WORDS.get(document.extended_data)
    if lines and extended is not None:
        lines.append(Group(Text(extended, style=QUIET)))
    return section(title, lines)


def _code_lines(code: StoredCode, drive_side: Side | None) -> Group:
    style = _STATE_STYLES[code.state]
    head = Text.assemble((code.code.ljust(_CODE_WIDTH), style), _say_meaning(code, drive_side))
    lines = [
        Text.assemble((STATE_WORDS[code.state], style), f"; {code.failure}"),
        Text(f"status {code.status:02X}: {', '.join(code.status_words) or 'no bit set'}"),
    ]
    if code.extended:
        lines.append(Text(f"extended data {code.extended.upper()}, the maker's own meaning"))
    if code.note:
        lines.append(Text(f"{capital(code.note)}."))
    return Group(head, *(Padding(line, (0, 0, 0, _CODE_WIDTH)) for line in lines))


def _say_meaning(code: StoredCode, drive_side: Side | None) -> str:
    if code.meaning is None:
        return "ambiguous" if code.note else "not in the open lists"
    if code.corner is None:
        return code.meaning
    return code.meaning.replace(code.corner.words, code.corner.described(drive_side))
