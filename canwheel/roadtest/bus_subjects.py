"""What the messages of a car's bus are about: which numbers stand together, in which usual sizes.

Sizes, steps and cycles are usual ones (common practice, no source).
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from canwheel.corners import CORNERS
from canwheel.roadtest.bus_layout import Quantity
from canwheel.roadtest.chance import happens


@dataclass(frozen=True, slots=True)
class Number:
    """One way of sending a quantity."""

    quantity: Quantity
    length: int
    scale: float = 1.0
    offset: float = 0.0
    is_signed: bool = False
    unit: str = ""
    maximum: float = 0.0


Numbers = tuple[Number, ...]


def _signed_or_shifted(
    rng: np.random.Generator, quantity: Quantity, length: int, scale: float
) -> Number:
    """A number that may be negative: signed, or counted from below."""
    if happens(rng, 0.5):
        return Number(quantity, length, scale, is_signed=True)
    return Number(quantity, length, scale, -scale * (1 << length - 1))


def _pick(rng: np.random.Generator, *choices: Number) -> Number:
    return choices[int(rng.integers(len(choices)))]


def _engine(rng: np.random.Generator) -> Numbers:
    return (
        _pick(rng, Number("engine_speed", 16, 0.25), Number("engine_speed", 14, 0.5)),
        _pick(rng, Number("pedal", 8, 0.4), Number("pedal", 10, 0.1)),
        _pick(rng, Number("torque", 12, 0.2, -100.0), Number("torque", 16, 0.1, -400.0)),
        _pick(rng, Number("throttle", 8, 0.5), Number("throttle", 12, 0.05)),
    )


def _torques(rng: np.random.Generator) -> Numbers:
    """Four torques of one size, alike and not the same."""
    length, scale = ((12, 0.25), (10, 0.5), (16, 0.05))[int(rng.integers(3))]
    return tuple(Number("torque", length, scale, -100.0) for _ in range(4))


def _air(rng: np.random.Generator) -> Numbers:
    return (
        Number("air_mass", 16, 0.05),
        Number("fuel_used", int(rng.choice((8, 16)))),
        Number("engine_speed", 8, 32.0),
    )


def _temperatures(rng: np.random.Generator) -> Numbers:
    step = 1.0 if happens(rng, 0.5) else 0.75
    return (
        Number("coolant", 8, step, -48.0),
        Number("oil", 8, step, -48.0),
        Number("outside", 8, 0.5, -40.0),
        Number("battery", 8, 0.1),
    )


def _pedals(rng: np.random.Generator) -> Numbers:
    return (
        Number("brake", 1),
        Number("clutch", 8, 0.5),
        Number("brake_pressure", 12 if happens(rng, 0.5) else 10, 0.1),
        Number("pedal", 8, 0.5),
    )


def _steering(rng: np.random.Generator) -> Numbers:
    return (
        _signed_or_shifted(rng, "steering", 16, 0.1),
        _pick(rng, Number("steering_rate", 8, 4.0), Number("steering_rate", 15, 0.05)),
        _signed_or_shifted(rng, "steering_torque", 12, 0.01),
    )


def _motion(rng: np.random.Generator) -> Numbers:
    length = int(rng.choice((12, 14, 16)))
    step = {12: 0.05, 14: 0.02, 16: 0.005}[length]
    return (
        _signed_or_shifted(rng, "yaw_rate", length, step),
        _signed_or_shifted(rng, "lateral", 12, 0.01),
        _signed_or_shifted(rng, "longitudinal", 12, 0.01),
    )


def _gearbox(rng: np.random.Generator) -> Numbers:
    return (
        Number("gear", 4),
        _pick(rng, Number("output_speed", 16, 0.25), Number("output_speed", 13, 1.0)),
        Number("torque", 12, 0.25, -100.0),
    )


def _car_speed(rng: np.random.Generator) -> Numbers:
    """The brake unit's own speed of the car, and what it counts of the way."""
    return (
        _pick(rng, Number("car_speed", 16, 0.01), Number("car_speed", 12, 0.1)),
        Number("distance", int(rng.choice((8, 12, 16)))),
        Number("longitudinal", 10, 0.03, -15.0),
    )


def _dash(rng: np.random.Generator) -> Numbers:
    return (
        _pick(rng, Number("speed", 8), Number("speed", 16, 0.01), Number("speed", 9, 0.5)),
        Number("odometer", 24, 0.1 if happens(rng, 0.5) else 1.0),
        Number("fuel", 8, 0.5),
        Number("outside", 8, 0.5, -40.0),
    )


def _passed_on(rng: np.random.Generator) -> Numbers:
    """A copy of the speed through another unit, beside what has nothing to do with it."""
    return (
        _pick(rng, Number("late_speed", 16, 0.01), Number("late_speed", 8, 1.0)),
        Number("walk", 8),
        Number("switch", 1),
    )


def _tyres(rng: np.random.Generator) -> Numbers:
    pressures = tuple(Number("tyre_pressure", 8, 0.0137) for _ in range(4))
    warm = tuple(Number("tyre_temperature", 8, 1.0, -50.0) for _ in range(4))
    return pressures + warm if happens(rng, 0.5) else pressures


def _seats(rng: np.random.Generator) -> Numbers:
    size = 1 if happens(rng, 0.5) else 2
    return (*(Number("switch", size) for _ in range(8)), Number("indicator", 2))


def _clock(rng: np.random.Generator) -> Numbers:
    if happens(rng, 0.5):
        return (Number("clock", 8, 1.0), Number("clock", 8, 60.0), Number("clock", 5, 3600.0))
    return (Number("clock", 32, 0.001), Number("constant", 8))


def _lamps(rng: np.random.Generator) -> Numbers:
    del rng
    return (
        Number("lamp_abs", 1),
        Number("lamp_stability", 1),
        Number("lamp_brake", 1),
        Number("constant", 16),
    )


def _odd(rng: np.random.Generator) -> Numbers:
    """What nobody can make sense of."""
    kinds: tuple[Quantity, ...] = ("constant", "constant", "walk", "noise", "switch", "counter")
    return tuple(
        Number(kinds[int(rng.integers(len(kinds)))], int(rng.choice((1, 2, 3, 4, 8, 8, 8, 12))))
        for _ in range(int(rng.integers(2, 8)))
    )


def _enciphered(rng: np.random.Generator) -> Numbers:
    """Bytes without a pattern."""
    return tuple(Number("random", 8) for _ in range(int(rng.integers(2, 8))))


def _four_of_their_own(rng: np.random.Generator) -> Numbers:
    """Four numbers of one size that go their own ways."""
    length = int(rng.choice((10, 12, 16)))
    return tuple(Number("walk", length) for _ in range(4))


def low_copies(rng: np.random.Generator) -> Numbers:
    """The four wheel speeds once more, coarsely, as a gateway passes them on to the dash."""
    length, scale = ((8, 1.0), (8, 0.9), (10, 0.5))[int(rng.integers(3))]
    return tuple(Number(corner, length, scale, unit="km/h") for corner in CORNERS)


def pulse_counts(rng: np.random.Generator) -> Numbers:
    """Counts of the four rings' pulses."""
    length = int(rng.choice((8, 10, 12, 16)))
    maximum = float((1 << length) - 1)
    return tuple(Number(corner, length, unit="pulses", maximum=maximum) for corner in CORNERS)


Subject = Callable[[np.random.Generator], Numbers]

_FAST_S, _USUAL_S, _SLOW_S = (0.01, 0.02, 0.02), (0.02, 0.04, 0.05, 0.1), (0.2, 0.5, 1.0)
SUBJECTS: tuple[tuple[Subject, tuple[float, ...]], ...] = (
    (_engine, _FAST_S),
    (_steering, _FAST_S),
    (_motion, _FAST_S),
    (_pedals, _USUAL_S),
    (_car_speed, _USUAL_S),
    (_gearbox, _USUAL_S),
    (_torques, _FAST_S),
    (_air, _USUAL_S),
    (_dash, (0.1, 0.1, 0.2)),
    (_temperatures, _SLOW_S),
    (_passed_on, _USUAL_S),
    (_tyres, _SLOW_S),
    (_seats, _SLOW_S),
    (_clock, _SLOW_S),
    (_lamps, _SLOW_S),
)
ODD: tuple[Subject, ...] = (_odd, _odd, _odd, _odd, _odd, _enciphered, _four_of_their_own)
ANY_S = (0.01, 0.02, 0.05, 0.1, 0.1, 0.2, 0.5, 1.0)
WHEEL_SUBJECTS: tuple[tuple[Subject, tuple[float, ...]], ...] = (
    (low_copies, (0.05, 0.1)),
    (pulse_counts, (0.02, 0.04)),
)
WHEEL_SUBJECT_SHARE = 0.35
