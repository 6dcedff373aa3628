"""A recording settles what a DBC leaves open."""

from collections.abc import Callable
from pathlib import Path

import pytest

from canwheel.definitions.dbc import Definitions
from canwheel.definitions.survey import find_wheels_of, measure_rates, survey_corners
from canwheel.definitions.undecided import AmbiguousWheelsError
from canwheel.errors import CaptureError
from canwheel.vehicle import Vehicle, WheelSignals

Define = Callable[[str], Definitions]


def unit(number: int, name: str, scale: float) -> str:
    """Four wheel speeds in one message."""
    signals = "".join(
        f' SG_ WHEEL_{corner} : {16 * i}|16@1+ ({scale},0) [0|0] "km/h" X\n'
        for i, corner in enumerate(("FL", "FR", "RL", "RR"))
    )
    return f"BO_ {number} {name}: 8 UNIT\n{signals}\n"


@pytest.fixture
def recording(tmp_path: Path) -> Callable[..., Path]:
    """Two seconds in which each of the identifiers comes 100 times."""

    def make(*can_ids: int) -> Path:
        path = tmp_path / "drive.log"
        lines = [
            f"({i / 50:.6f}) can0 {can_id:03X}#0000000000000000\n"
            for i in range(101)
            for can_id in can_ids
        ]
        path.write_text("".join(lines))
        return path

    return make


def test_of_two_equal_sets_the_one_that_was_heard(
    define: Define, recording: Callable[..., Path]
) -> None:
    definitions = define(unit(1, "OLD", 0.01) + unit(2, "NEW", 0.01))
    layout = find_wheels_of(definitions, Vehicle(), recording(2, 3))
    assert {place.message for place in layout.wheels} == {"NEW"}
    for heard in ((1, 2), (3,)):
        with pytest.raises(AmbiguousWheelsError):
            find_wheels_of(definitions, Vehicle(), recording(*heard))


def test_a_better_set_that_was_not_heard_gives_way(
    define: Define, recording: Callable[..., Path]
) -> None:
    definitions = define(unit(1, "FINE", 0.01) + unit(2, "COARSE", 0.1))
    for heard, taken in (((1, 2), "FINE"), ((2,), "COARSE"), ((3,), "FINE")):
        layout = find_wheels_of(definitions, Vehicle(), recording(*heard))
        assert {place.message for place in layout.wheels} == {taken}


def test_a_set_of_which_one_message_is_silent_still_comes_before_one_never_heard(
    define: Define, recording: Callable[..., Path]
) -> None:
    corners = ("FL", "FR", "RL", "RR")
    four = "".join(
        f'BO_ {10 + i} {corner}: 2 UNIT\n SG_ WHEEL_{corner} : 0|16@1+ (0.01,0) [0|0] "km/h" X\n\n'
        for i, corner in enumerate(corners)
    )
    definitions = define(unit(1, "ONE", 0.01) + four)
    for heard, taken in (((10, 11, 13), set(corners)), ((10, 11, 1), {"ONE"})):
        layout = find_wheels_of(definitions, Vehicle(), recording(*heard))
        assert {place.message for place in layout.wheels} == taken


def test_names_that_nothing_can_settle(define: Define, recording: Callable[..., Path]) -> None:
    text = unit(1, "UNIT", 0.01)
    for i, corner in enumerate(("FL", "FR", "RL", "RR")):
        text = text.replace(f"WHEEL_{corner}", f"WHEEL_{i}")
    with pytest.raises(AmbiguousWheelsError):
        find_wheels_of(define(text), Vehicle(), recording(1))


def test_one_set_needs_no_recording(define: Define, tmp_path: Path) -> None:
    layout = find_wheels_of(define(unit(1, "UNIT", 0.01)), Vehicle(), tmp_path / "nowhere.log")
    assert layout.wheels[0].message == "UNIT"


def test_what_is_no_file_is_left_to_the_reader(define: Define, tmp_path: Path) -> None:
    definitions = define(unit(1, "FINE", 0.01) + unit(2, "COARSE", 0.1))
    for capture in (Path("-"), tmp_path / "nowhere.log", tmp_path):
        assert find_wheels_of(definitions, Vehicle(), capture).wheels[0].message == "FINE"


def test_a_recording_that_cannot_be_read(define: Define, tmp_path: Path) -> None:
    definitions = define(unit(1, "FINE", 0.01) + unit(2, "COARSE", 0.1))
    path = tmp_path / "empty.log"
    path.write_text("")
    with pytest.raises(CaptureError):
        find_wheels_of(definitions, Vehicle(), path)
    with pytest.raises(CaptureError):
        survey_corners(definitions, Vehicle(), tmp_path / "nowhere.log")


def test_rates(define: Define, recording: Callable[..., Path]) -> None:
    definitions = define(unit(1, "HEARD", 0.01) + unit(2, "SILENT", 0.1))
    places = [message.signals[0].place for message in definitions.messages]
    rates = measure_rates(recording(1), places)
    assert [rates[place.ids] for place in places] == [50.5, 0.0]
    assert measure_rates(recording(1), []) == {}


def test_a_survey_tells_the_rate_of_what_only_the_vehicle_file_names(
    define: Define, recording: Callable[..., Path]
) -> None:
    text = unit(1, "UNIT", 0.01)
    names = [f"UNIT.SPD_{i}" for i in range(4)]
    for i, corner in enumerate(("FL", "FR", "RL", "RR")):
        text = text.replace(f"WHEEL_{corner}", f"SPD_{i}")
    wheels = WheelSignals(FL=names[0], FR=names[1], RL=names[2], RR=names[3])
    survey = survey_corners(define(text), Vehicle(wheels=wheels), recording(1))
    assert survey.rate(survey.assignment.layout.wheels[0]) == 50.5
    assert survey_corners(define(text), Vehicle(wheels=wheels)).per_second == {}


def test_what_was_passed_over_is_a_caution_of_the_layout(
    define: Define, recording: Callable[..., Path]
) -> None:
    text = unit(1, "UNIT", 0.01) + 'VAL_ 1 GONE 1 "x" ;\nVAL_ 1 LOST 1 "x" ;\n'
    (caution,) = find_wheels_of(define(text), Vehicle(), recording(1)).cautions
    assert caution == (
        "Not all of car.dbc could be used: line 7: value table for signal GONE, which is not "
        "there, and 1 more."
    )
