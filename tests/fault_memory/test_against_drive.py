"""Stored codes beside findings."""

import pytest

from canwheel.corners import CORNERS, Corner
from canwheel.fault_memory.against_drive import compare_readings, compare_with_drive
from canwheel.fault_memory.documents import CodesDocument, StoredCode, UnitFacts
from canwheel.outcome import FAULT_KINDS, FaultKind, Finding, Span

SENSOR = {Corner.FL: 0x4031, Corner.FR: 0x4034, Corner.RL: 0x4037, Corner.RR: 0x403A}


def reading(*codes: tuple[int, int]) -> CodesDocument:
    return CodesDocument(
        read_at="2026-11-02T10:00:00+00:00",
        unit=UnitFacts(request_id=0x7A0, response_id=0x7A8),
        status_supported=0xFF,
        codes=tuple(StoredCode.reported(number, status) for number, status in codes),
        answer="",
    )


def finding(corner: Corner, kind: FaultKind = "no_signal") -> Finding:
    return Finding(corner, kind, 0.99, (Span(0.0, 1.0),), 1, "It stays at zero.")


def sensor(corner: Corner, failure: int = 0x13) -> int:
    return SENSOR[corner] << 8 | failure


@pytest.mark.parametrize("corner", CORNERS)
def test_agreement(corner: Corner) -> None:
    (one,) = compare_with_drive([finding(corner)], reading((sensor(corner), 0x2F)))
    assert (one.relation, one.corner, one.findings) == ("agree", corner, ("no_signal",))
    assert one.type_fits
    assert corner.words in one.says


@pytest.mark.parametrize("corner", CORNERS)
def test_disagreement_names_both_corners_once(corner: Corner) -> None:
    (one,) = compare_with_drive([finding(corner.mirror)], reading((sensor(corner), 0x28)))
    assert (one.relation, one.corner) == ("disagree", corner)
    assert corner.words in one.says
    assert corner.mirror.words in one.says
    assert "crossed" in one.says


def test_both_mirrors_coded_is_no_disagreement() -> None:
    codes = reading((sensor(Corner.FL), 0x28), (sensor(Corner.FR), 0x28))
    left, right = compare_with_drive([finding(Corner.FR)], codes)
    assert (left.relation, left.corner) == ("code_without_finding", Corner.FL)
    assert (right.relation, right.corner) == ("agree", Corner.FR)


@pytest.mark.parametrize("other", [Corner.RL, Corner.RR])
def test_another_corner_is_two_silences(other: Corner) -> None:
    comparisons = compare_with_drive([finding(other)], reading((sensor(Corner.FL), 0x28)))
    assert [(one.relation, one.corner) for one in comparisons] == [
        ("code_without_finding", Corner.FL),
        ("finding_without_code", other),
    ]


def test_a_code_without_a_finding() -> None:
    codes = reading((sensor(Corner.RL, 0x1F), 0x28))
    (one,) = compare_with_drive([], codes)
    assert one.relation == "code_without_finding"
    assert "Drive more" in one.says
    (one,) = compare_with_drive([], codes, untested=[Corner.RL])
    assert "did not test that corner" in one.says


@pytest.mark.parametrize("kind", FAULT_KINDS)
def test_a_finding_without_a_code(kind: FaultKind) -> None:
    (one,) = compare_with_drive([finding(Corner.RR, kind)], reading())
    assert (one.relation, one.corner, one.codes) == ("finding_without_code", Corner.RR, ())
    assert one.says.endswith(".")


@pytest.mark.parametrize("high", [0x4035, 0x4040, 0x4045, 0x4050])
@pytest.mark.parametrize("corner", CORNERS)
def test_ambiguous_codes_are_never_compared(high: int, corner: Corner) -> None:
    comparisons = compare_with_drive([finding(corner)], reading((high << 8 | 0x13, 0x2F)))
    assert [(one.relation, one.corner) for one in comparisons] == [
        ("finding_without_code", corner),
        ("not_compared", None),
    ]


@pytest.mark.parametrize("status", [0x50, 0x10, 0x40, 0x00])
def test_codes_that_are_no_fault_are_left_out(status: int) -> None:
    assert compare_with_drive([], reading((sensor(Corner.FL), status))) == ()


@pytest.mark.parametrize(
    ("kind", "failure", "fits"),
    [
        ("no_signal", 0x11, True),
        ("no_signal", 0x62, False),
        ("no_signal", 0x01, None),  # a category alone says too little
        ("dropout", 0x1F, True),
        ("dropout", 0x2F, True),
        ("late_pickup", 0x36, True),
        ("wrong_ratio", 0x64, True),
        ("crossed", 0x64, None),
    ],
)
def test_failure_types(kind: FaultKind, failure: int, *, fits: bool | None) -> None:
    (one,) = compare_with_drive(
        [finding(Corner.FR, kind)], reading((sensor(Corner.FR, failure), 0x2F))
    )
    assert one.type_fits is fits


def test_a_ring_code_fits_ring_damage_by_its_category() -> None:
    (one,) = compare_with_drive([finding(Corner.FR, "ring_damage")], reading((0x403307, 0x2F)))
    assert one.type_fits is True


def test_a_lost_unit_and_missing_messages() -> None:
    missing = [finding(corner, "message_missing") for corner in CORNERS]
    *_, last = compare_with_drive(missing, reading((0xC12187, 0x28)))
    assert (last.relation, last.corner) == ("agree", None)
    (alone,) = compare_with_drive([], reading((0xC12187, 0x28)))
    assert alone.relation == "not_compared"


def test_rear_axle_codes() -> None:
    first, last = compare_with_drive([finding(Corner.RR)], reading((0x403D13, 0x28)))
    assert (first.relation, last.relation) == ("finding_without_code", "agree")
    (alone,) = compare_with_drive([], reading((0x403D13, 0x28)))
    assert alone.relation == "code_without_finding"


def test_what_became_of_each_code() -> None:
    before = reading(
        (sensor(Corner.FL), 0x2F),
        (sensor(Corner.FR), 0x28),
        (sensor(Corner.RL), 0x28),
        (sensor(Corner.RR), 0x28),
        (0xC12187, 0x50),
    )
    after = reading(
        (sensor(Corner.FL), 0x28),
        (sensor(Corner.FR), 0x50),
        (sensor(Corner.RR), 0x00),
        (0xC10087, 0x08),
    )
    changes = compare_readings(before, after)
    assert [(change.code, change.change) for change in changes] == [
        ("C0031-13", "still_there"),
        ("C0034-13", "not_yet_tested"),
        ("C0037-13", "gone"),
        ("C003A-13", "gone"),
        ("U0100-87", "new"),
    ]
    assert "no proof of repair" in changes[1].says
    assert "no proof of repair" in changes[2].says
    assert not any("repaired" in change.says for change in changes)
