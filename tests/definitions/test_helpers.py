"""Helper signals: taken from a DBC only where it leaves no doubt."""

from collections.abc import Callable

import pytest

from canwheel.definitions.dbc import Definitions
from canwheel.definitions.helpers import plain_helpers

Define = Callable[[str], Definitions]


def signal(name: str, bits: int, unit: str = "", said: str = "", *, number: int = 1) -> str:
    """A message with one signal, and a comment on it."""
    text = (
        f'BO_ {number} M{number}: 8 X\n SG_ {name} : 0|{bits}@1+ (0.1,-50) [-50|70] "{unit}" X\n\n'
    )
    return text + (f'CM_ SG_ {number} {name} "{said}";\n' if said else "")


@pytest.mark.parametrize(
    ("text", "helper"),
    [
        (signal("STEERING_ANGLE", 16, "deg", "left is positive"), "steering"),
        (signal("SteeringWheelAngle", 14, "deg", "positive: turned to the left"), "steering"),
        (signal("YawRate", 16, "deg/s", "positive = left"), "yaw_rate"),
        (signal("BRAKE_PEDAL", 1), "brake"),
        (signal("BrakePressed", 1), "brake"),
        (signal("ABS_WARNING_LAMP", 1), "lamp_abs"),
        (signal("ESP_Lampe", 2), "lamp_stability"),
    ],
)
def test_plain_ones(text: str, helper: str, define: Define) -> None:
    assert list(plain_helpers(define(text))) == [helper]


@pytest.mark.parametrize(
    "text",
    [
        signal("STEERING_ANGLE", 16, "deg"),  # which way is positive?
        signal("STEERING_ANGLE", 16, "deg", "left or right"),
        signal("STEERING_ANGLE", 16, "deg", "left is positive, right is positive"),
        signal("STEERING_ANGLE_SPEED", 16, "deg/s", "left is positive"),
        signal("STEERING_TORQUE", 16, "Nm", "left is positive"),
        signal("YAW_RATE_VALID", 1, "", "left is positive"),
        signal("BRAKE_PRESSURE", 8, "bar"),
        signal("PARKING_BRAKE_SWITCH", 1),
        signal("BRAKE_PEDAL", 1) + signal("BRAKE_PEDAL_2", 1, number=2),  # which of the two?
        signal("VEHICLE_SPEED", 16, "km/h"),  # of the wheels, or not? no name tells
        signal("ABS_ACTIVE", 1),
    ],
)
def test_doubtful_ones(text: str, define: Define) -> None:
    assert plain_helpers(define(text)) == {}


def test_an_angle_that_counts_to_the_right_is_turned_round(define: Define) -> None:
    text = signal("STEERING_ANGLE", 16, "deg", "positive is right and negative is left")
    place = plain_helpers(define(text))["steering"]
    assert (place.scale, place.offset) == (-0.1, 50)
    assert (place.minimum, place.maximum) == (-70, 50)


SIZE = ' SG_ STEERING_ANGLE_SIZE : 16|14@1+ (0.1,0) [0|720] "deg" X\n'


def flagged(name: str, beside: str = SIZE) -> str:
    """A message with a one-bit signal, and what stands beside it."""
    return f'BO_ 1 M1: 8 X\n SG_ {name} : 0|1@1+ (1,0) [0|1] "" X\n{beside}\n'


@pytest.mark.parametrize(
    ("name", "of_one"),
    [("STEERING_IS_RIGHT", -1), ("SteeringAngleLeft", 1), ("STEER_DIR_RIGHT", -1)],
)
def test_a_flag_beside_the_size_of_the_angle_tells_the_side(
    name: str, of_one: int, define: Define
) -> None:
    place = plain_helpers(define(flagged(name)))["steering"]
    assert place.signal == name
    assert (place.offset, place.scale + place.offset) == (-of_one, of_one)


@pytest.mark.parametrize(
    "text",
    [
        flagged("STEERING_IS_RIGHT", beside=""),  # it may tell where the driver sits
        flagged("STEERING_BUTTON_RIGHT"),
        flagged("STEERING_LEFT_RIGHT"),
        flagged("IS_RIGHT"),
    ],
)
def test_other_flags_do_not(text: str, define: Define) -> None:
    assert plain_helpers(define(text)) == {}
