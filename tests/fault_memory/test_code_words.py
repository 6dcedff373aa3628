"""Codes in words, against public transcriptions of ISO 15031-6 and SAE J2012."""

import pytest

from canwheel.corners import Corner
from canwheel.fault_memory.code_words import AMBIGUOUS_CODES, describe_code, failure_words

PAIRS = [
    (0x403111, "C0031-11"),
    (0x40341F, "C0034-1F"),
    (0x403713, "C0037-13"),
    (0x403A31, "C003A-31"),
    (0xC12187, "U0121-87"),
    (0x503564, "C1035-64"),
    (0x923456, "B1234-56"),
    (0x012345, "P0123-45"),
]


@pytest.mark.parametrize(("number", "text"), PAIRS)
def test_letter_form(number: int, text: str) -> None:
    assert describe_code(number).text == text


def test_letter_form_of_every_two_byte_number_reads_back() -> None:
    """The form's own rule, applied the other way: letter, digit 0 to 3, three hex digits."""
    texts = [describe_code(high << 8).text for high in range(1 << 16)]
    back = ["PCBU".index(text[0]) << 14 | int(text[1]) << 12 | int(text[2:5], 16) for text in texts]
    assert back == list(range(1 << 16))


# public transcription of the current SAE J2012 list: ring, sensor, supply, wheel by wheel
CURRENT = [
    (0x4030, Corner.FL, "ring"),
    (0x4031, Corner.FL, "sensor"),
    (0x4032, Corner.FL, "supply"),
    (0x4033, Corner.FR, "ring"),
    (0x4034, Corner.FR, "sensor"),
    (0x4036, Corner.RL, "ring"),
    (0x4037, Corner.RL, "sensor"),
    (0x4038, Corner.RL, "supply"),
    (0x4039, Corner.RR, "ring"),
    (0x403A, Corner.RR, "sensor"),
    (0x403B, Corner.RR, "supply"),
]


@pytest.mark.parametrize(("high", "corner", "part"), CURRENT)
def test_wheel_codes_name_their_corner(high: int, corner: Corner, part: str) -> None:
    meaning = describe_code(high << 8 | 0x13)
    assert (meaning.corner, meaning.part) == (corner, part)
    assert corner.words in (meaning.meaning or "")
    assert meaning.failure == "circuit open"


@pytest.mark.parametrize("high", [0x4035, 0x4040, 0x4045, 0x4050])
@pytest.mark.parametrize("failure_type", [0x00, 0x11, 0x31, 0xFF])
def test_ambiguous_codes_never_name_a_corner(high: int, failure_type: int) -> None:
    """C0035 stands in both lists with different wheels; the other three only in the older one."""
    meaning = describe_code(high << 8 | failure_type)
    assert meaning.corner is None
    assert meaning.meaning is None
    assert "service information" in meaning.note


def test_no_other_code_names_a_corner() -> None:
    named = {high for high in range(1 << 16) if describe_code(high << 8).corner is not None}
    assert named == {high for high, _, _ in CURRENT}
    assert not named & AMBIGUOUS_CODES


def test_rear_axle_codes_name_no_corner() -> None:
    assert [describe_code(high << 8).part for high in (0x403C, 0x403D, 0x403E)] == [
        "ring",
        "sensor",
        "supply",
    ]


def test_unknown_codes_get_no_meaning() -> None:
    meaning = describe_code(0x503564)
    assert meaning.meaning is None
    assert meaning.note == ""
    assert meaning.failure == "signal plausibility failure"


# Two public transcriptions agree on these.
@pytest.mark.parametrize(
    ("failure_type", "words"),
    [
        (0x11, "circuit short to ground"),
        (0x12, "circuit short to battery"),
        (0x13, "circuit open"),
        (0x1F, "circuit intermittent"),
        (0x2F, "signal erratic"),
        (0x31, "no signal"),
        (0x36, "signal frequency too low"),
        (0x39, "too few pulses"),
        (0x3A, "too many pulses"),
        (0x62, "signal compare failure"),
        (0x64, "signal plausibility failure"),
        (0x87, "missing message"),
        (0x88, "bus off"),
    ],
)
def test_failure_types(failure_type: int, words: str) -> None:
    assert failure_words(failure_type) == words


def test_a_type_without_words_is_told_by_its_category() -> None:
    assert failure_words(0x2A) == "signal failure, type 2A not in the open list"
    assert failure_words(0xE5) == "failure type E5, not in the open list"


def test_every_failure_type_has_words() -> None:
    assert all(failure_words(each) for each in range(256))


@pytest.mark.parametrize("number", [-1, 1 << 24])
def test_a_number_of_another_size_is_refused(number: int) -> None:
    with pytest.raises(ValueError, match="three-byte"):
        describe_code(number)
