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
