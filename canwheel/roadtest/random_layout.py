"""Any layout of a bus: units, steps, byte orders, one message or two, helpers or none."""

from dataclasses import replace

import numpy as np

from canwheel.corners import CORNERS, Corner
from canwheel.roadtest.bus_layout import (
    BusLayout,
    HelperQuantity,
    SentMessage,
    SentSignal,
    unit_per_kph,
)
from canwheel.roadtest.car import Car
from canwheel.roadtest.chance import happens
from canwheel.roadtest.sensor import BrakeUnit

_STEPS_KPH = (0.005, 0.01, 1 / 64, 0.03125, 0.0625, 0.1, 0.5, 1.0)
"""Steps of the number sent. [km/h]"""
_FASTEST_KPH = 255.0
_UNITS = ("km/h", "km/h", "km/h", "km/h", "mph", "m/s", "rpm", "rad/s")
_COUNTER_SHARE = 0.04
_FIRST_ID, _FIRST_LONG_ID = 0x0A0, 0x0A1C_4D20
_SLOT_BITS = 16
"""Four wheels share the eight bytes of a classical frame."""


def random_layout(
    rng: np.random.Generator,
    car: Car,
    unit: BrakeUnit,
    *,
    cycle_s: float,
    has_invalid: bool,
    may_count: bool = False,
    tells_turns: bool = False,
    one_message: bool = False,
) -> BusLayout:
    """Draw a layout and the vehicle file that goes with it.

    Parameters
    ----------
    cycle_s : of the wheel messages. [s]
    has_invalid : all ones mean "invalid".
    may_count : now and then counts of pulses take the speeds' place.
    tells_turns : steering angle, yaw rate, brake and dash speed are there too.
    one_message : all four in one. Two messages are filled at moments of their own here, and then
        a copy differs from its original by what the wheel did in between.
    """
    if may_count and not has_invalid and happens(rng, _COUNTER_SHARE / 0.5):
        wheel = _counter()
    else:
        wheel = _speed(rng, car, unit, has_invalid=has_invalid)
    big_endian = happens(rng, 0.5)
    order = [int(place) for place in rng.permutation(4)]
    groups = [[0, 1], [2, 3]] if happens(rng, 0.4) and not one_message else [order]
    extended = happens(rng, 0.2)
    first_id = _FIRST_LONG_ID if extended else _FIRST_ID
    slot_bits = int(rng.integers(wheel.length, _SLOT_BITS + 1))
    messages = tuple(
        SentMessage(
            name=f"WHEELS_{number}",
            frame_id=int(first_id + 0x10 * number + rng.integers(16)),
            signals=tuple(
                _placed(wheel, CORNERS[place], slot * slot_bits, big_endian=big_endian)
                for slot, place in enumerate(group)
            ),
            cycle_s=cycle_s,
            extended=extended,
        )
        for number, group in enumerate(groups)
    )
    if tells_turns:
        messages += _HELPERS
    angular = wheel.unit in {"rpm", "rad/s", "pulses"}
    known = angular or happens(rng, 0.5)
    vehicle = (_vehicle(car, unit) if known else "") + (_TURN_SIGNALS if tells_turns else "")
    return BusLayout("case", messages, vehicle_toml=vehicle)


def _speed(rng: np.random.Generator, car: Car, unit: BrakeUnit, *, has_invalid: bool) -> SentSignal:
    name = str(rng.choice(_UNITS))
    per_kph = unit_per_kph(name, circumference_m=car.circumference_m, teeth=unit.teeth)
    scale = float(rng.choice(_STEPS_KPH)) * per_kph
    fastest = _FASTEST_KPH * per_kph
    # A speed that may be negative needs an offset that makes room for it.
    below = round(0.1 * fastest / scale) if unit.tells_direction or happens(rng, 0.3) else 0
    length = int(np.ceil(np.log2(fastest / scale + below + 2)))
    return SentSignal(
        name="WHEEL_SPEED",
        quantity="zero",
        start=0,
        length=length,
        scale=scale,
        offset=-below * scale,
        unit=name,
        minimum=-below * scale,
        maximum=((1 << length) - 2 - below) * scale,
        invalid_raw=(1 << length) - 1 if has_invalid else None,
    )


def _counter() -> SentSignal:
    return SentSignal("WHEEL_PULSES", "zero", 0, 16, unit="pulses", maximum=65535)


def _placed(wheel: SentSignal, corner: Corner, first_bit: int, *, big_endian: bool) -> SentSignal:
    """Put a corner's signal from a bit of the payload on."""
    # A big-endian field is named by its top bit.
    start = first_bit // 8 * 8 + 7 - first_bit % 8 if big_endian else first_bit
    return replace(
        wheel,
        name=f"{wheel.name}_{corner}",
        quantity=corner,
        start=start,
        byte_order="big_endian" if big_endian else "little_endian",
    )


def _signed(name: str, quantity: HelperQuantity, scale: float, unit: str) -> SentSignal:
    limit = scale * 0x7FF0
    return SentSignal(
        name, quantity, 0, 16, scale, 0.0, unit, is_signed=True, minimum=-limit, maximum=limit
    )


_HELPERS = (
    SentMessage(
        "STEERING", 0x0C5, (_signed("STEERING_WHEEL_ANGLE", "steering", 0.1, "deg"),), 0.02, 2
    ),
    SentMessage("MOTION", 0x0C9, (_signed("YAW_RATE", "yaw_rate", 0.01, "deg/s"),), 0.02, 2),
    SentMessage("PEDALS", 0x0D1, (SentSignal("BRAKE_PRESSED", "brake", 0, 1, maximum=1),), 0.05, 1),
    SentMessage(
        "DASH",
        0x3A0,
        (SentSignal("DASH_SPEED", "speed", 0, 8, unit="km/h", maximum=250),),
        0.1,
        1,
    ),
)


_TURN_SIGNALS = (
    "[signals]\n"
    'steering = "STEERING.STEERING_WHEEL_ANGLE"\n'
    'yaw_rate = "MOTION.YAW_RATE"\n'
    'brake = "PEDALS.BRAKE_PRESSED"\n'
)
"""A vehicle file names them with left positive; the DBC alone does not say the sign."""


def _vehicle(car: Car, unit: BrakeUnit) -> str:
    """What the owner of such a car might know of it."""
    return (
        "[vehicle]\n"
        f'driven = "{car.driven}"\n'
        f"wheelbase_m = {car.wheelbase_m:.2f}\n"
        f"track_m = {(car.front_track_m + car.rear_track_m) / 2:.2f}\n"
        f"rolling_circumference_m = {car.circumference_m:.3f}\n"
        f"ring_teeth = {unit.teeth}\n"
    )
