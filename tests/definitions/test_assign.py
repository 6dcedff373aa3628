"""From a DBC and a vehicle file to four corners: named, ambiguous, incomplete, contradicted."""

import tomllib
from collections.abc import Callable
from pathlib import Path

import msgspec
import pytest

from canwheel.corners import Corner
from canwheel.definitions.assign import assign_wheels, find_wheels
from canwheel.definitions.dbc import Definitions, read_definitions
from canwheel.definitions.undecided import AmbiguousWheelsError
from canwheel.errors import DefinitionsError, VehicleError
from canwheel.frames import IdPattern
from canwheel.vehicle import HelperSignals, Vehicle, WheelSignals

Define = Callable[[str], Definitions]

DATA = Path(__file__).parents[3] / "shared" / "data"


def message(name: str, number: int, *signals: str) -> str:
    """A message with 16-bit fields: ``name[ (scale,offset) unit]`` one after the other."""
    lines = [f"BO_ {number} {name}: 8 UNIT"]
    for i, signal in enumerate(signals):
        own_name, _, rest = signal.partition(" ")
        scaling, _, unit = rest.partition(" ")
        scaling = scaling or "(0.01,0)"
        lines.append(f' SG_ {own_name} : {16 * i}|16@1+ {scaling} [0|0] "{unit or "km/h"}" X')
    return "\n".join(lines) + "\n\n"


def comment(number: int, signal: str, text: str) -> str:
    return f'CM_ SG_ {number} {signal} "{text}";\n'


def paths(definitions: Definitions, vehicle: Vehicle | None = None) -> list[str]:
    return [place.path for place in find_wheels(definitions, vehicle or Vehicle()).wheels]


def test_four_messages_of_one_wheel_each(define: Define) -> None:
    text = "".join(
        message(f"WHEEL_{corner}", 100 + i, "SPEED", "TEMPERATURE (1,0) degC")
        for i, corner in enumerate(("FL", "FR", "RL", "RR"))
    )
    layout = find_wheels(define(text), Vehicle())
    assert [place.message for place in layout.wheels] == [
        "WHEEL_FL",
        "WHEEL_FR",
        "WHEEL_RL",
        "WHEEL_RR",
    ]
    assert layout.wheel_ids == tuple(IdPattern.exactly(100 + i, extended=False) for i in range(4))
    assert layout.wheel(Corner.RL).frame_id == 102


def test_the_axle_in_the_message_and_the_side_in_the_signal(define: Define) -> None:
    text = message("WHEELS_FRONT", 1, "SPEED_LEFT", "SPEED_RIGHT")
    text += message("WHEELS_REAR", 2, "SPEED_LEFT", "SPEED_RIGHT")
    assert paths(define(text)) == [
        "WHEELS_FRONT.SPEED_LEFT",
        "WHEELS_FRONT.SPEED_RIGHT",
        "WHEELS_REAR.SPEED_LEFT",
        "WHEELS_REAR.SPEED_RIGHT",
    ]


def test_speeds_whose_names_say_the_corner_and_nothing_else(define: Define) -> None:
    assert paths(
        define(message("ABS_1", 1, *(f"{c} (0.005,0) m/s" for c in ("VL", "VR", "HL", "HR"))))
    )
    torques = (f"{corner} (0.1,0) Nm" for corner in ("FL", "FR", "RL", "RR"))
    with pytest.raises(DefinitionsError, match="has no wheel speeds"):
        find_wheels(define(message("ABS_1", 1, *torques)), Vehicle())


def test_numbered_signals_with_the_corner_in_the_comment(define: Define) -> None:
    text = message("BRAKE", 1, "WSPD_1", "WSPD_2", "WSPD_3", "WSPD_4")
    for number, corner in enumerate(("rear right", "rear left", "front right", "front left"), 1):
        text += comment(1, f"WSPD_{number}", f"Speed of the {corner} wheel, filtered")
    assigned = assign_wheels(define(text), Vehicle())
    assert [place.signal for place in assigned.layout.wheels] == [
        "WSPD_4",
        "WSPD_3",
        "WSPD_2",
        "WSPD_1",
    ]
    assert set(assigned.why) == {"named in the comment"}


def test_numbered_signals_without_a_word(define: Define) -> None:
    text = message("BRAKE", 1, "WHEEL_1", "WHEEL_2", "WHEEL_3", "WHEEL_4")
    with pytest.raises(AmbiguousWheelsError, match="do not say which corner") as caught:
        find_wheels(define(text), Vehicle())
    pasted = msgspec.convert(tomllib.loads(caught.value.details), Vehicle)
    assert paths(define(text), pasted) == [f"BRAKE.WHEEL_{number}" for number in range(1, 5)]


def test_wheels_in_words_that_are_not_known_are_listed(define: Define) -> None:
    """The words for the corners are no part of what makes them alike."""
    words = ("VelRuedaDelIzq", "VelRuedaDelDer", "VelRuedaTrasIzq", "VelRuedaTrasDer")
    with pytest.raises(AmbiguousWheelsError, match="do not say which corner") as caught:
        find_wheels(define(message("FRENO", 1, *words)), Vehicle())
    pasted = msgspec.convert(tomllib.loads(caught.value.details), Vehicle)
    assert pasted.wheels.RL == "FRENO.VelRuedaTrasIzq"


def test_speeds_that_nothing_calls_a_wheels_are_listed(define: Define) -> None:
    """A person may know the language."""
    text = message("FRENO", 1, "KOLO_LP", "KOLO_PP", "PEDAL (0.5,0) %", "RATE (1,0) deg/s")
    with pytest.raises(DefinitionsError, match="has no wheel speeds") as caught:
        find_wheels(define(text), Vehicle())
    assert caught.value.details.splitlines()[1:] == ["FRENO.KOLO_LP (km/h)", "FRENO.KOLO_PP (km/h)"]


def test_lettered_signals_without_a_word(define: Define) -> None:
    text = message("UNIT_2", 1, "SPD_A", "SPD_B", "SPD_C", "SPD_D")
    with pytest.raises(AmbiguousWheelsError):
        find_wheels(define(text), Vehicle())
    given = WheelSignals(FL="UNIT_2.SPD_B", FR="UNIT_2.SPD_A", RL="UNIT_2.SPD_D", RR="UNIT_2.SPD_C")
    assert paths(define(text), Vehicle(wheels=given))[0] == "UNIT_2.SPD_B"


def test_two_equal_sets_are_told_with_lines_to_paste(define: Define) -> None:
    corners = ("WHEEL_FL", "WHEEL_FR", "WHEEL_RL", "WHEEL_RR")
    text = message("UNIT_A", 1, *corners) + message("UNIT_B", 2, *corners)
    definitions = define(text)
    with pytest.raises(AmbiguousWheelsError, match="2 sets") as caught:
        find_wheels(definitions, Vehicle())
    first, second = caught.value.details.split("\n\n")
    for block, unit in ((first, "UNIT_A"), (second, "UNIT_B")):
        pasted = msgspec.convert(tomllib.loads(block), Vehicle)
        assert paths(definitions, pasted) == [f"{unit}.{corner}" for corner in corners]
    assert len(caught.value.families) == 2


def test_one_line_settles_two_equal_sets(define: Define) -> None:
    corners = ("WHEEL_FL", "WHEEL_FR", "WHEEL_RL", "WHEEL_RR")
    definitions = define(message("UNIT_A", 1, *corners) + message("UNIT_B", 2, *corners))
    one = Vehicle(wheels=WheelSignals(RL="UNIT_B.WHEEL_RL"))
    assert paths(definitions, one) == [f"UNIT_B.{corner}" for corner in corners]


def test_what_was_heard_settles_two_equal_sets(define: Define) -> None:
    corners = ("WHEEL_FL", "WHEEL_FR", "WHEEL_RL", "WHEEL_RR")
    definitions = define(message("UNIT_A", 1, *corners) + message("UNIT_B", 2, *corners))
    layout = find_wheels(definitions, Vehicle(), heard=lambda ids: ids.value == 2)
    assert {place.message for place in layout.wheels} == {"UNIT_B"}
    with pytest.raises(AmbiguousWheelsError):
        find_wheels(definitions, Vehicle(), heard=lambda _: False)
    with pytest.raises(AmbiguousWheelsError):
        find_wheels(definitions, Vehicle(), heard=lambda _: True)


@pytest.mark.parametrize(
    ("better", "worse"),
    [
        ("(0.01,0) km/h", "(0.1,0) km/h"),
        ("(0.01,0) mph", "(0.03,0) km/h"),
        ("(0.02,0) km/h", "(0.01,0) m/s"),
        ("(1,0) km/h", "(0.01,0) -"),
        ("(0.01,0) -", "(1,0) pulses"),
    ],
)
def test_the_finer_the_plainer_and_speeds_before_counters(
    better: str, worse: str, define: Define
) -> None:
    corners = ("FL", "FR", "RL", "RR")
    text = message("WHEEL_A", 1, *(f"SPEED_{corner} {worse}" for corner in corners))
    text += message("WHEEL_B", 2, *(f"SPEED_{corner} {better}" for corner in corners))
    assigned = assign_wheels(define(text), Vehicle())
    assert {place.message for place in assigned.layout.wheels} == {"WHEEL_B"}
    assert [family.messages for family in assigned.runners_up] == [("WHEEL_A",)]


def test_the_brake_units_own_before_a_copy_for_show(define: Define) -> None:
    corners = [f"WHEEL_SPEED_{corner}" for corner in ("FL", "FR", "RL", "RR")]
    text = message("CLUSTER_WHEELS", 1, *(f"{name} (0.005,0) km/h" for name in corners))
    text += message("BRAKE_WHEELS", 2, *(f"{name} (0.05,0) km/h" for name in corners))
    assert paths(define(text))[0] == "BRAKE_WHEELS.WHEEL_SPEED_FL"


def test_other_things_with_a_place_on_the_car_are_no_wheels(define: Define) -> None:
    corners = ("FL", "FR", "RL", "RR")
    text = message("TYRES", 1, *(f"PRESSURE_{corner} (1,0) kPa" for corner in corners))
    text += message("TPMS_SPEEDS", 2, *(f"WHEEL_SPEED_{corner}" for corner in corners))
    text += message("DOORS", 3, *(f"WINDOW_SPEED_{corner} (1,0) rpm" for corner in corners))
    text += message("TORQUE", 4, *(f"WHEEL_TORQUE_{corner} (1,0) Nm" for corner in corners))
    text += message("RADAR_FL", 5, "TRACK_SPEED_A (1,0) m/s", "TRACK_SPEED_B (1,0) m/s")
    with pytest.raises(DefinitionsError, match="has no wheel speeds"):
        find_wheels(define(text), Vehicle())


def test_three_corners_are_not_four(define: Define) -> None:
    definitions = define(message("WHEELS", 1, "SPEED_FL", "SPEED_FR", "SPEED_RL"))
    with pytest.raises(DefinitionsError, match="no wheel speed for rear right") as caught:
        find_wheels(definitions, Vehicle())
    assert not isinstance(caught.value, AmbiguousWheelsError)
    assert "WHEELS.SPEED_RL (rear left, km/h)" in caught.value.details


def test_an_odd_fourth_is_completed_by_the_vehicle_file(define: Define) -> None:
    definitions = define(message("WHEELS", 1, "SPEED_FL", "SPEED_FR", "SPEED_RL", "SPEED_X"))
    vehicle = Vehicle(wheels=WheelSignals(RR="WHEELS.SPEED_X"))
    assert paths(definitions, vehicle)[3] == "WHEELS.SPEED_X"


def test_no_wheel_signals_at_all(define: Define) -> None:
    with pytest.raises(DefinitionsError, match="has no wheel speeds") as caught:
        find_wheels(define(message("ENGINE", 1, "SPEED (1,0) rpm")), Vehicle())
    assert "car.dbc" in str(caught.value)


def test_front_and_rear_in_different_steps(define: Define) -> None:
    text = message("WHEELS_FRONT", 1, "SPEED_FL (0.01,0)", "SPEED_FR (0.01,0)")
    text += message("WHEELS_REAR", 2, "SPEED_RL (0.02,0)", "SPEED_RR (0.02,0)")
    layout = find_wheels(define(text), Vehicle())
    assert [place.scale for place in layout.wheels] == [0.01, 0.01, 0.02, 0.02]
    assert "different scales" in layout.cautions[0]


def test_an_odd_offset_is_told(define: Define) -> None:
    text = message(
        "WHEELS", 1, "FL (0.01,-100)", "FR (0.01,-100)", "RL (0.01,-102)", "RR (0.01,-100)"
    )
    text = text.replace("WHEELS", "WHEEL_SPEEDS")
    assert "RL -102" in find_wheels(define(text), Vehicle()).cautions[0]


def test_an_unknown_unit_is_told(define: Define) -> None:
    text = message("W", 1, *(f"WHEEL_SPEED_{c} (0.01,0) yd/s" for c in ("FL", "FR", "RL", "RR")))
    layout = find_wheels(define(text), Vehicle())
    assert layout.unit == "proportional"
    assert "'yd/s'" in layout.cautions[0]


@pytest.mark.parametrize(
    ("wheels", "says"),
    [
        (
            {"FL": "WHEEL.SPEED_FL"},
            r"wheels\.FL: car\.dbc has no message WHEEL\. Did you mean WHEELS",
        ),
        ({"FL": "WHEELS.SPEED_LF"}, r"message WHEELS of car\.dbc has no signal SPEED_LF\. Did you"),
        ({"RR": "wheels.speed_rr"}, r"Did you mean WHEELS\.SPEED_RR"),
        ({"RR": "X.Y"}, r"Write it as the DBC does"),
        ({"FL": "WHEELS.SPEED_FL", "FR": "WHEELS.SPEED_FL"}, r"is already front left"),
        ({"FL": "ENGINE.SPEED", "RR": "WHEELS.SPEED_RR"}, r"different units: km/h, rpm"),
    ],
)
def test_what_the_vehicle_file_gets_wrong(
    wheels: dict[str, str], says: str, define: Define
) -> None:
    text = message("WHEELS", 1, "SPEED_FL", "SPEED_FR", "SPEED_RL", "SPEED_RR")
    definitions = define(text + message("ENGINE", 2, "SPEED (1,0) rpm"))
    with pytest.raises(VehicleError, match=says):
        find_wheels(definitions, Vehicle(wheels=WheelSignals(**wheels)))


def test_helpers_by_the_vehicle_file(define: Define) -> None:
    text = message("WHEELS", 1, "SPEED_FL", "SPEED_FR", "SPEED_RL", "SPEED_RR")
    definitions = define(text + message("DASH", 2, "SHOWN (1,0)"))
    layout = find_wheels(definitions, Vehicle(signals=HelperSignals(speed="DASH.SHOWN")))
    assert layout.helpers["speed"].path == "DASH.SHOWN"
    assert len(layout.wanted) == 2
    with pytest.raises(VehicleError, match=r"signals\.brake: car\.dbc has no message DISH"):
        find_wheels(definitions, Vehicle(signals=HelperSignals(brake="DISH.SHOWN")))


@pytest.mark.skipif(not DATA.is_dir(), reason="the folder of real drives is not beside the project")
@pytest.mark.parametrize(
    ("name", "standstill_raw"), [("road-minute.dbc", 6767), ("road-turns.dbc", 32768)]
)
def test_the_layouts_of_the_real_drives(name: str, standstill_raw: int) -> None:
    layout = find_wheels(read_definitions(DATA / name), Vehicle())
    assert [place.signal for place in layout.wheels] == [
        f"SPEED_{corner}" for corner in ("FL", "FR", "RL", "RR")
    ]
    assert layout.unit == "km/h"
    for place in layout.wheels:
        assert standstill_raw * place.scale + place.offset == pytest.approx(0)


def test_a_scale_of_zero_is_told_as_what_it_is(define: Define) -> None:
    corners = ("WHEEL_FL", "WHEEL_FR", "WHEEL_RL", "WHEEL_RR")
    nothing = message("BRAKE", 1, *(f"{corner} (0,0)" for corner in corners))
    with pytest.raises(DefinitionsError, match="scale of 0") as caught:
        find_wheels(define(nothing), Vehicle())
    assert "BRAKE.WHEEL_FL, BRAKE.WHEEL_FR" in str(caught.value)
    one = message("BRAKE", 1, *corners[:3], "WHEEL_RR (0,0)")
    for given in (WheelSignals(), WheelSignals(RR="BRAKE.WHEEL_RR")):
        with pytest.raises(DefinitionsError, match=r"scale of 0.* to BRAKE\.WHEEL_RR\."):
            find_wheels(define(one), Vehicle(wheels=given))
    useful = nothing + message("BRAKE_2", 2, *corners)
    assert paths(define(useful))[0] == "BRAKE_2.WHEEL_FL"


def test_one_wheel_in_another_unit_is_told_as_that(define: Define) -> None:
    text = message("BRAKE", 1, "WHEEL_FL", "WHEEL_FR", "WHEEL_RL", "WHEEL_RR (0.01,0) mph")
    with pytest.raises(DefinitionsError, match=r"different units: .*BRAKE\.WHEEL_RR mph") as caught:
        find_wheels(define(text), Vehicle())
    assert caught.value.remedy.startswith("write them in one unit")
    four = {corner.value: f"BRAKE.WHEEL_{corner.value}" for corner in Corner}
    with pytest.raises(VehicleError, match="different units") as named:
        find_wheels(define(text), Vehicle(wheels=WheelSignals(**four)))
    assert "write the four in one unit in the DBC file" in named.value.remedy


def test_two_messages_of_one_name_are_told_by_their_identifiers(define: Define) -> None:
    corners = ("WHEEL_FL", "WHEEL_FR", "WHEEL_RL", "WHEEL_RR")
    finer = [f"{corner} (0.009,0)" for corner in corners]
    for second in (corners, finer):
        text = message("BRAKE", 0x1A, *corners) + message("BRAKE", 0x1B, *second)
        with pytest.raises(DefinitionsError, match="several messages BRAKE") as caught:
            find_wheels(define(text), Vehicle())
        assert "0x1A and 0x1B" in caught.value.what or "0x1B and 0x1A" in caught.value.what
        assert "a name of its own" in caught.value.remedy
        assert caught.value.details == ""


def test_what_was_passed_over_is_told_where_wheels_are_missing(define: Define) -> None:
    corners = ("WHEEL_FL", "WHEEL_FR", "WHEEL_RL", "WHEEL_RR")
    engine = message("ENGINE", 5, "TORQUE (1,0) Nm")
    dropped = "line 1: message BRAKE, whose identifier has more than 29 bits"
    with pytest.raises(DefinitionsError, match="no wheel speeds") as caught:
        find_wheels(define(message("BRAKE", 99999999999, *corners) + engine), Vehicle())
    assert caught.value.details == f"not used, {dropped}"
    text = message("BRAKE", 99999999999, *corners[2:]) + message("FRONT", 1, *corners[:2])
    with pytest.raises(DefinitionsError, match="no wheel speed for rear left") as caught:
        find_wheels(define(text), Vehicle())
    assert caught.value.details.endswith(f"not used, {dropped}")
