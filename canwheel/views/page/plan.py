"""The plan of the car on the page: what stands at each of its four corners."""

from dataclasses import dataclass

from canwheel.corners import CORNERS, Corner, Side
from canwheel.judgement.proof import RepairVerdict
from canwheel.judgement.verdict import CornerVerdict
from canwheel.judgement.wording import KIND_WORDS, say_kinds
from canwheel.plain_text import capital
from canwheel.views.document import CheckDocument, CompareDocument
from canwheel.views.words import CORNER_WORDS, REPAIR_WORDS

_TONES: dict[CornerVerdict | RepairVerdict, str] = {
    "sound": "good",
    "repaired": "good",
    "faulty": "fault",
    "still_faulty": "fault",
    "newly_faulty": "fault",
    "doubtful": "open",
    "untested": "open",
    "not_proven": "open",
}
SIGNS = {"good": "✓", "fault": "✕", "open": "?"}
"""The same as the colours say, for eyes and printers that do not tell them apart."""


@dataclass(frozen=True, slots=True)
class PlanCorner:
    """One corner of the plan.

    Attributes
    ----------
    corner : which; `where` spells it out, `whose` tells whose side it is on, where that is known.
    word, tone, sign : the verdict, its colour by name, and its sign.
    notes : short lines below it.
    """

    corner: Corner
    where: str
    whose: str
    word: str
    tone: str
    sign: str
    notes: tuple[str, ...]


def plan_check(document: CheckDocument, side: Side | None) -> list[PlanCorner]:
    """The corners of one drive."""
    return [_judged_corner(document, corner, side) for corner in CORNERS]


def _judged_corner(document: CheckDocument, corner: Corner, side: Side | None) -> PlanCorner:
    part = document.corners[corner]
    kinds = dict.fromkeys(finding.kind for finding in part.findings)
    notes = [KIND_WORDS[kind] for kind in kinds]
    if not notes and part.typical_error_pct is not None:
        notes = [f"agrees to {part.typical_error_pct:.1f} %"]
    return _corner(corner, side, part.verdict, CORNER_WORDS[part.verdict], tuple(notes))


def plan_comparison(document: CompareDocument, side: Side | None) -> list[PlanCorner]:
    """The corners before and after a repair."""
    corners = []
    for corner in CORNERS:
        part = document.corners[corner]
        notes: tuple[str, ...] = ()
        if part.before or part.after:
            notes = (
                f"before: {say_kinds(part.before) or 'nothing found'}",
                f"after: {say_kinds(part.after) or 'nothing found'}",
            )
        corners.append(_corner(corner, side, part.verdict, REPAIR_WORDS[part.verdict], notes))
    return corners


def _corner(
    corner: Corner,
    side: Side | None,
    verdict: CornerVerdict | RepairVerdict,
    word: str,
    notes: tuple[str, ...],
) -> PlanCorner:
    tone = _TONES[verdict]
    return PlanCorner(
        corner=corner,
        where=capital(corner.words),
        whose="" if side is None else corner.whose_side(side),
        word=word,
        tone=tone,
        sign=SIGNS[tone],
        notes=notes,
    )
