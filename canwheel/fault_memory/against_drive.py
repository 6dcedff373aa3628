"""Stored codes beside what a drive showed: where they agree, and where one is silent.

Pure functions: findings and documents in, documents out. Nothing here changes a verdict. A code is
a memory of the past, and clearing one is no repair.
"""

from collections.abc import Iterable
from typing import Literal

import msgspec

from canwheel.corners import CORNERS, Corner
from canwheel.fault_memory.code_words import AMBIGUOUS_CODES, BRAKE_UNIT_LOST
from canwheel.fault_memory.documents import CodesDocument, StoredCode
from canwheel.fault_memory.status import STATE_WORDS
from canwheel.judgement.wording import say_kinds, say_list
from canwheel.outcome import FaultKind, Finding

Relation = Literal[
    "agree", "disagree", "code_without_finding", "finding_without_code", "not_compared"
]

_EXPECTED: dict[FaultKind, frozenset[int]] = {
    "no_signal": frozenset({0x11, 0x12, 0x13, 0x14, 0x15, 0x31}),
    "frozen": frozenset({0x11, 0x12, 0x13, 0x23, 0x24, 0x31}),
    "late_pickup": frozenset({0x21, 0x31, 0x36, 0x39}),
    "dropout": frozenset({0x1F, 0x2F, 0x31, 0x39}),
    "erratic": frozenset({0x1F, 0x2F, 0x27, 0x3A, 0x64}),
    "ring_damage": frozenset({0x25, 0x38, 0x39, 0x3A, 0x65, 0x66}),
    "wrong_ratio": frozenset({0x37, 0x36, 0x38, 0x62, 0x64, 0x4A}),
    "flagged_invalid": frozenset({0x29, 0x31}),
}
"""Failure types that fit what a drive shows (our reasoning, no source). Units differ; one that does
not fit says nothing against the code."""

_SELDOM_STORED: dict[FaultKind, str] = {
    "crossed": "crossed sensors each work, so that a unit usually stores nothing",
    "wrong_ratio": "a ring or tyre that is a little off is often within what a unit accepts",
    "late_pickup": "a late pick-up is often within what a unit accepts",
    "ring_damage": "many units do not see a small ripple",
    "copied": "what the bus repeats is not what the unit measured",
    "message_missing": "a missing message is a matter of the network, not of the sensor",
}
_NOT_STORED = (
    "the unit may have other limits, or the fault is on the way to the bus; codes may also have "
    "been cleared before"
)


class CodeComparison(msgspec.Struct, frozen=True):
    """One code, or one corner's findings, beside the other side.

    Attributes
    ----------
    relation : agree, disagree (the drive accuses the mirror corner), or one side is silent.
    corner : which corner it is about, None for a code that names none.
    codes : letter forms, none for a finding without a code.
    findings : kinds that the drive showed, at `corner` or, where they disagree, at its mirror.
    type_fits : whether a code's failure type is one that such a finding usually brings, None where
        it says too little.
    says : one plain sentence.
    """

    relation: Relation
    corner: Corner | None
    codes: tuple[str, ...]
    findings: tuple[FaultKind, ...]
    type_fits: bool | None
    says: str


def compare_with_drive(
    findings: Iterable[Finding],
    document: CodesDocument,
    *,
    untested: Iterable[Corner] = (),
) -> tuple[CodeComparison, ...]:
    """Put stored codes beside the findings of a drive.

    Parameters
    ----------
    findings : of one drive, in any order; leave out those that are too unsure to act on.
    document : the reading; only codes that stand for a fault are compared.
    untested : corners that the drive could not tell anything about.

    Returns
    -------
    In corner order those about a corner, then those about none.
    """
    found = list(findings)
    at_corner = {corner: _kinds(found, corner) for corner in CORNERS}
    codes = document.faults
    by_corner = {
        corner: tuple(code for code in codes if code.corner is corner) for corner in CORNERS
    }
    no_drive = frozenset(untested)
    accused = {  # a mirror that the drive accuses in a coded corner's stead
        corner.mirror: at_corner[corner.mirror]
        for corner in CORNERS
        if by_corner[corner] and not at_corner[corner] and not by_corner[corner.mirror]
    }
    comparisons = []
    for corner in CORNERS:
        here = at_corner[corner]
        if by_corner[corner] and here:
            comparisons.append(_agreement(corner, by_corner[corner], here))
        elif by_corner[corner] and accused.get(corner.mirror):
            comparisons.append(_disagreement(corner, by_corner[corner], accused[corner.mirror]))
        elif by_corner[corner]:
            comparisons.append(
                _code_alone(corner, by_corner[corner], is_untested=corner in no_drive)
            )
        elif here and corner not in accused:
            comparisons.append(_finding_alone(corner, here))
    comparisons += [
        _code_of_no_corner(code, found, at_corner) for code in codes if code.corner is None
    ]
    return tuple(comparisons)


def _kinds(findings: list[Finding], corner: Corner) -> tuple[FaultKind, ...]:
    return tuple(dict.fromkeys(f.kind for f in findings if f.corner is corner))


def _agreement(
    corner: Corner, codes: tuple[StoredCode, ...], kinds: tuple[FaultKind, ...]
) -> CodeComparison:
    texts = tuple(code.code for code in codes)
    fits = _type_fits(codes, kinds)
    says = f"{say_list(texts)} and the drive agree: {say_kinds(kinds)} at the {corner.words}"
    if fits:
        says += "; the failure type fits too"
    return CodeComparison("agree", corner, texts, kinds, fits, f"{says}.")


def _disagreement(
    corner: Corner, codes: tuple[StoredCode, ...], mirrored: tuple[FaultKind, ...]
) -> CodeComparison:
    texts = tuple(code.code for code in codes)
    return CodeComparison(
        "disagree",
        corner,
        texts,
        mirrored,
        None,
        f"{say_list(texts)}: names the {corner.words}, but the drive accuses its mirror, the "
        f"{corner.mirror.words} ({say_kinds(mirrored)}). The wiring may be crossed, or the code "
        "list or the wheel signals named the wrong way round: find out which before a part is "
        "changed.",
    )


def _code_alone(
    corner: Corner, codes: tuple[StoredCode, ...], *, is_untested: bool
) -> CodeComparison:
    texts = tuple(code.code for code in codes)
    says = f"{say_list(texts)}: names the {corner.words}, where the drive showed nothing"
    if is_untested:
        says += ", but neither could it: it did not test that corner. Drive more."
    else:
        says += ": the fault comes and goes, or is gone. Drive more, and as it was when it showed."
    return CodeComparison("code_without_finding", corner, texts, (), None, says)


def _finding_alone(corner: Corner, kinds: tuple[FaultKind, ...]) -> CodeComparison:
    reason = next((_SELDOM_STORED[kind] for kind in kinds if kind in _SELDOM_STORED), _NOT_STORED)
    return CodeComparison(
        "finding_without_code",
        corner,
        (),
        kinds,
        None,
        f"The drive shows {say_kinds(kinds)} at the {corner.words}, and no stored code names it: "
        f"{reason}.",
    )


def _code_of_no_corner(
    code: StoredCode, findings: list[Finding], at_corner: dict[Corner, tuple[FaultKind, ...]]
) -> CodeComparison:
    relation: Relation = "not_compared"
    kinds: tuple[FaultKind, ...] = ()
    fits = None
    rear = tuple(dict.fromkeys(at_corner[Corner.RL] + at_corner[Corner.RR]))
    high = code.number >> 8
    if high in AMBIGUOUS_CODES:
        says = f": not compared, {code.note}"
    elif high == BRAKE_UNIT_LOST and any(f.kind == "message_missing" for f in findings):
        relation, kinds = "agree", ("message_missing",)
        says = " and the drive agree: the brake control unit's messages were missing"
    elif code.part is None:
        says = f" ({code.failure}) names no wheel by the open lists: see the service information"
    elif rear:  # a wheel code without a corner is one of the rear axle
        relation, kinds, fits = "agree", rear, _type_fits((code,), rear)
        says = f" and the drive agree: {say_kinds(rear)} on the rear axle"
    else:
        relation = "code_without_finding"
        says = " names the rear axle, where the drive showed nothing. Drive more"
    return CodeComparison(relation, None, (code.code,), kinds, fits, f"{code.code}{says}.")


def _type_fits(codes: tuple[StoredCode, ...], kinds: tuple[FaultKind, ...]) -> bool | None:
    """Whether a specific failure type of these codes goes with one of these kinds."""
    expected = frozenset[int]().union(*(_EXPECTED.get(kind, frozenset()) for kind in kinds))
    specific = [code.failure_type for code in codes if code.failure_type >> 4]
    if any(code.part == "ring" for code in codes) and "ring_damage" in kinds:
        return True
    if not expected or not specific:
        return None  # a category alone, or a kind that no type goes with
    return any(each in expected for each in specific)


ReadingChange = Literal["still_there", "not_yet_tested", "gone", "new"]

_NO_PROOF = "that is no proof of repair"


class CodeChange(msgspec.Struct, frozen=True):
    """What became of one code between two readings; never a repair by itself."""

    code: str
    corner: Corner | None
    change: ReadingChange
    says: str


def compare_readings(before: CodesDocument, after: CodesDocument) -> tuple[CodeChange, ...]:
    """Tell what became of each code: those of the first reading in its order, then new ones."""
    later = {code.number: code for code in after.codes}
    earlier = {code.number for code in before.faults}
    changes = [_change(code, later.get(code.number)) for code in before.faults]
    changes += [
        CodeChange(
            code.code, code.corner, "new", f"{code.code} is new ({STATE_WORDS[code.state]})."
        )
        for code in after.faults
        if code.number not in earlier
    ]
    return tuple(changes)


def _change(code: StoredCode, later: StoredCode | None) -> CodeChange:
    if later is None:
        says = f"{code.code} is no longer reported; {_NO_PROOF}, it may have been cleared."
        return CodeChange(code.code, code.corner, "gone", says)
    if later.is_fault:
        says = f"{code.code} is still there ({STATE_WORDS[later.state]})."
        return CodeChange(code.code, code.corner, "still_there", says)
    if later.state == "not_yet_tested":
        says = (
            f"{code.code} was cleared and is not yet tested since; {_NO_PROOF}: drive to confirm."
        )
        return CodeChange(code.code, code.corner, "not_yet_tested", says)
    says = f"{code.code}: the unit's own test has passed since; the drives must say the same."
    return CodeChange(code.code, code.corner, "gone", says)
