"""Raw values and fields that say that there is no value."""

from collections.abc import Callable

import pytest

from canwheel.definitions.assign import find_wheels
from canwheel.definitions.dbc import Definitions
from canwheel.definitions.layout import BitField, RawRange, SignalPlace
from canwheel.definitions.meaning import all_ones, words_without_value
from canwheel.frames import IdPattern
from canwheel.vehicle import Vehicle

WORDS_WITHOUT = (
    "invalid|Invalid|INVALID_VALUE|not valid|error|Error|ERR|fault|Faulty|Fault detected|SNA|"
    "Signal not available|not available|NotAvailable|NOT_AVAILABLE|N/A|NoDataExists|No signal|"
    "Unknown|init|Init|Initializing|ungültig|Ungueltig|Fehler|Fehlerwert|nicht verfügbar|Defekt|"
    "Unterspannung|reserved|undefined|invalide|non valido|errore|sensor failure"
)
WORDS_WITH = (
    "standstill|valid|ok|normal|forward|Stillstand|gültig|active|0 km/h|information|minimum"
)


@pytest.mark.parametrize("word", WORDS_WITHOUT.split("|"))
def test_words_that_say_no_value(word: str) -> None:
    assert words_without_value({65535: word}) == (RawRange(65535, 65535, word),)


@pytest.mark.parametrize("word", WORDS_WITH.split("|"))
def test_words_that_do_not(word: str) -> None:
    assert words_without_value({1: word}) == ()


def test_an_initial_nought_is_a_reading_but_not_in_a_field_of_states() -> None:
    assert words_without_value({0: "Init"}) == ()
    assert words_without_value({0: "Error"}) != ()
    assert words_without_value({0: "Not initialized"}, zero_can_be_unset=True) != ()


def place(length: int, scale: float, unit: str, maximum: float | None, **kind: bool) -> SignalPlace:
    return SignalPlace(
        message="M",
        signal="S",
        frame_id=1,
        ids=IdPattern.exactly(1, extended=False),
        bits=BitField(0, length, "little_endian", **kind),
        scale=scale,
        offset=0.0,
        unit=unit,
        minimum=0.0,
        maximum=maximum,
    )


@pytest.mark.parametrize(
    ("signal", "is_mark"),
    [
        (place(16, 0.01, "km/h", 250.0), True),
        (place(16, 0.01, "km/h", 655.34), True),
        (place(15, 0.01, "km/h", 327.67), False),  # within the stated range
        (place(15, 0.01, "km/h", 15.0), False),  # no car stops at 15 km/h: a slip
        (place(13, 0.0087, "", 1.0), False),
        (place(15, 0.01, "km/h", None), False),
        # no car reaches it, whatever is stated
        (place(16, 0.01, "km/h", 655.35), True),
        (place(16, 0.01, "km/h", 15.0), True),
        (place(16, 0.0078125, "km/h", None), True),
        (place(12, 0.1, "km/h", None), True),
        (place(16, 0.005, "m/s", None), True),
        (place(16, 0.05, "rpm", None), False),  # 381 km/h
        (place(16, 0.01, "", None), False),  # of no unit nobody knows
        (place(8, 1.0, "", 254.0), True),
        (place(10, 1.0, "", 1000.0), True),
        (place(2, 1.0, "", 2.0), False),
        (place(16, 0.01, "km/h", 250.0, is_signed=True), False),
        (place(32, 0.01, "km/h", 250.0, is_float=True), False),
    ],
)
def test_all_ones_beyond_the_stated_maximum(signal: SignalPlace, *, is_mark: bool) -> None:
    highest = (1 << signal.bits.length) - 1
    assert all_ones(signal) == ((RawRange(highest, highest, "all ones"),) if is_mark else ())


def test_counters_that_leave_out_their_highest_values_start_again_earlier() -> None:
    assert place(8, 1.0, "", 255.0).counter_modulus == 256
    assert place(8, 1.0, "", None).counter_modulus == 256
    assert place(8, 0.5, "pulse count", 127.5).counter_modulus == 256
    assert place(8, 1.0, "", 254.0).counter_modulus == 255
    assert place(10, 1.0, "", 1000.0).counter_modulus == 1001
    assert place(8, 1.0, "", 1.0).counter_modulus == 256


FOUR = "".join(
    f' SG_ WheelSpeed_{corner} : {16 * i}|12@1+ (0.1,0) [0|400] "km/h" X\n'
    for i, corner in enumerate(("FL", "FR", "RL", "RR"))
)


def beside(field: str, table: str = "") -> str:
    """Four wheel speeds with such a field beside each, and its value table."""
    names = [field.format(corner) for corner in ("FL", "FR", "RL", "RR")]
    fields = "".join(
        f' SG_ {name} : {12 + 16 * i}|2@1+ (1,0) [0|3] "" X\n' for i, name in enumerate(names)
    )
    tables = "".join(f"VAL_ 1 {name} {table} ;\n" for name in names) if table else ""
    return f"BO_ 1 WHEELS: 8 X\n{FOUR}{fields}\n{tables}"


@pytest.mark.parametrize(
    ("field", "table", "valid"),
    [
        ("WheelSpeed_{}_Invalid", "", {0}),
        ("WheelSpeed_{}_Error", "", {0}),
        ("Fehler_WheelSpeed_{}", "", {0}),
        ("WheelSpeed_{}_Quality", '0 "faulty" 1 "no data" 3 "ok"', {2, 3}),
        ("WheelSpeed_{}_Status", '0 "valid" 1 "invalid"', {0, 2, 3}),
        ("WhlSpdValidity{}", '0 "Valid" 1 "Invalid"', {0, 2, 3}),
    ],
)
def test_fields_that_say_whether_a_speed_counts(
    field: str, table: str, valid: set[int], define: Callable[[str], Definitions]
) -> None:
    layout = find_wheels(define(beside(field, table)), Vehicle())
    for corner, wheel in zip(("FL", "FR", "RL", "RR"), layout.wheels, strict=True):
        assert [entry.signal for entry in wheel.validity] == [field.format(corner)]
        assert wheel.validity[0].valid == valid


@pytest.mark.parametrize(
    ("field", "table"),
    [
        ("WheelSpeed_{}_Quality", ""),  # set for good or for bad? nobody says
        ("WheelSpeed_{}_Validity", ""),
        ("WheelSpeed_{}_Status", '0 "forward" 1 "backward"'),
        ("WheelSpeed_{}_Status", '0 "error" 1 "fault" 2 "invalid" 3 "not available"'),
        ("Door_{}_Invalid", ""),
        ("WheelDir_{}", '0 "invalid" 1 "forward"'),
    ],
)
def test_fields_that_do_not(field: str, table: str, define: Callable[[str], Definitions]) -> None:
    layout = find_wheels(define(beside(field, table)), Vehicle())
    assert [wheel.validity for wheel in layout.wheels] == [()] * 4


def test_a_single_bit_called_valid_is_set_for_good(
    define: Callable[[str], Definitions],
) -> None:
    text = beside("WheelSpeed_{}_Valid").replace("|2@1+ (1,0) [0|3]", "|1@1+ (1,0) [0|1]")
    layout = find_wheels(define(text), Vehicle())
    assert {wheel.validity[0].valid for wheel in layout.wheels} == {frozenset({1})}
