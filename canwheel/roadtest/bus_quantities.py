"""What the rest of a car's bus talks about, all told by the same drive.

Sizes and time constants are those of a usual car (common practice, no source).
"""

from collections.abc import Callable

import numpy as np

from canwheel.roadtest.bus_layout import Quantity, SentSignal
from canwheel.roadtest.motion import KPH, STEP_S, FloatColumn, moving_average
from canwheel.roadtest.simulation import Drive

Teller = Callable[[Drive, SentSignal, FloatColumn, np.random.Generator], FloatColumn]

_UNTIL_WARM_S = 400.0
_BRAKE_BAR_PER_MPS2 = 9.0
_FINAL_DRIVE = 3.7
_CLUTCH_MPS = 2.0
_STANDING_MPS = 0.1
_BLINK_S = 0.7
_BLINK_PER_M = 1 / 60
"""A bend sharper than this is signalled. [1/m]"""


def _unit(signal: SentSignal) -> float:
    """How many of the signal's unit one km/h is."""
    return {"mph": 1 / 1.609344, "m/s": 1 / KPH}.get(signal.unit, 1.0)


def _car_speed(
    drive: Drive, signal: SentSignal, sent_s: FloatColumn, rng: np.random.Generator
) -> FloatColumn:
    """Speed of the car as the brake unit makes it of the four wheels. The same for all who ask."""
    del rng
    kph = np.median(np.abs(drive.reading_kph), axis=1)
    kph = moving_average(kph, round(0.06 / drive.scenario.unit.measure_s))
    return np.interp(sent_s - 0.04, drive.time_s, kph) * _unit(signal)


def _late_speed(
    drive: Drive, signal: SentSignal, sent_s: FloatColumn, rng: np.random.Generator
) -> FloatColumn:
    """Speed as another unit passes it on: later, smoother, a little more or less."""
    over_s = rng.uniform(0.05, 0.6)
    kph = moving_average(np.abs(drive.motion.speed_mps) * KPH, round(over_s / STEP_S))
    late = drive.motion.at(kph, sent_s - over_s / 2 - rng.uniform(0.0, 0.1))
    return late * rng.uniform(0.99, 1.04) * _unit(signal)


def _axle_speed(columns: slice) -> Teller:
    def tell(
        drive: Drive, signal: SentSignal, sent_s: FloatColumn, rng: np.random.Generator
    ) -> FloatColumn:
        del rng
        mps = moving_average(drive.wheel_mps[:, columns].mean(axis=1), round(0.03 / STEP_S))
        return np.abs(drive.motion.at(mps, sent_s)) * KPH * _unit(signal)

    return tell


def _output_speed(
    drive: Drive, signal: SentSignal, sent_s: FloatColumn, rng: np.random.Generator
) -> FloatColumn:
    """Revolutions of the gearbox's output shaft, through the final drive. [rpm]"""
    del signal, rng
    car = drive.scenario.car
    driven = slice(2, 4) if car.driven == "rear" else slice(0, 2)
    mps = drive.motion.at(np.abs(drive.wheel_mps[:, driven].mean(axis=1)), sent_s)
    rpm: FloatColumn = mps / car.circumference_m * 60 * _FINAL_DRIVE
    return rpm


def _distance(
    drive: Drive, signal: SentSignal, sent_s: FloatColumn, rng: np.random.Generator
) -> FloatColumn:
    """A count of short pieces of way that starts again when its field is full."""
    step_m = (0.02, 0.05, 0.2, 1.0)[int(rng.integers(4))]
    pieces = drive.motion.at(drive.motion.travelled_m, sent_s) / step_m
    return np.floor(pieces + rng.integers(1 << signal.length)) % (1 << signal.length)


def _lateral(
    drive: Drive, signal: SentSignal, sent_s: FloatColumn, rng: np.random.Generator
) -> FloatColumn:
    del signal
    return drive.motion.at(drive.motion.lateral_mps2, sent_s) + _shaking(drive, sent_s, rng, 0.12)


def _longitudinal(
    drive: Drive, signal: SentSignal, sent_s: FloatColumn, rng: np.random.Generator
) -> FloatColumn:
    del signal
    return drive.motion.at(drive.motion.acceleration_mps2, sent_s) + _shaking(
        drive, sent_s, rng, 0.15
    )


def _shaking(
    drive: Drive, sent_s: FloatColumn, rng: np.random.Generator, size: float
) -> FloatColumn:
    """A sensor's noise: little while the car stands, more on the road."""
    moving = np.minimum(drive.motion.at(np.abs(drive.motion.speed_mps), sent_s) / 5.0, 1.0)
    return rng.uniform(-0.2, 0.2) + rng.normal(0.0, size, len(sent_s)) * (0.15 + moving)


def _steering_rate(
    drive: Drive, signal: SentSignal, sent_s: FloatColumn, rng: np.random.Generator
) -> FloatColumn:
    """How fast the steering wheel is turned; without a sign in an unsigned field. [deg/s]"""
    turned = np.gradient(drive.motion.curvature, STEP_S) * 2400.0
    rate = drive.motion.at(turned, sent_s) + rng.normal(0.0, 1.0, len(sent_s))
    return rate if signal.is_signed or signal.offset < 0 else np.abs(rate)


def _steering_torque(
    drive: Drive, signal: SentSignal, sent_s: FloatColumn, rng: np.random.Generator
) -> FloatColumn:
    del signal
    pull = drive.motion.at(drive.motion.curvature, sent_s) * 20.0
    return pull + rng.normal(0.0, 0.15, len(sent_s))


def _push(drive: Drive, sent_s: FloatColumn) -> FloatColumn:
    """What the engine pulls with, as a share of all it can, negative when it holds back."""
    motion = drive.motion
    force = motion.acceleration_mps2 * 0.22 + np.abs(motion.speed_mps) * 0.008
    return np.clip(motion.at(force, sent_s), -0.1, 1.0)


def _torque(
    drive: Drive, signal: SentSignal, sent_s: FloatColumn, rng: np.random.Generator
) -> FloatColumn:
    """Asked for, given, or at most possible: alike and not the same. [Nm]"""
    del signal
    asked = _push(drive, sent_s - rng.uniform(0.0, 0.15)) * rng.uniform(250.0, 290.0)
    return asked + rng.uniform(5.0, 20.0) + rng.normal(0.0, 1.0, len(sent_s))


def _air_mass(
    drive: Drive, signal: SentSignal, sent_s: FloatColumn, rng: np.random.Generator
) -> FloatColumn:
    del signal
    return 12.0 + 180.0 * np.maximum(_push(drive, sent_s), 0.0) + rng.normal(0, 0.8, len(sent_s))


def _throttle(
    drive: Drive, signal: SentSignal, sent_s: FloatColumn, rng: np.random.Generator
) -> FloatColumn:
    del signal
    opened = 100.0 * np.maximum(_push(drive, sent_s - rng.uniform(0.0, 0.1)), 0.0) ** 0.8
    return np.minimum(opened + 3.0 + rng.normal(0.0, 0.2, len(sent_s)), 100.0)


def _clutch(
    drive: Drive, signal: SentSignal, sent_s: FloatColumn, rng: np.random.Generator
) -> FloatColumn:
    """Pressed while the car is slow."""
    del signal, rng
    slow = np.abs(drive.motion.speed_mps) < _CLUTCH_MPS
    return drive.motion.at(slow.astype(float), sent_s) * 100.0


def _brake_pressure(
    drive: Drive, signal: SentSignal, sent_s: FloatColumn, rng: np.random.Generator
) -> FloatColumn:
    """Pressure of the master cylinder; a foot holds the car at a stop. [bar]"""
    del signal
    motion = drive.motion
    braking = np.maximum(-motion.acceleration_mps2 - 0.6, 0.0) * _BRAKE_BAR_PER_MPS2
    held = np.where(np.abs(motion.speed_mps) < _STANDING_MPS, 14.0, 0.0)
    bar = motion.at(moving_average(braking + held, round(0.3 / STEP_S)), sent_s)
    return np.maximum(bar + rng.normal(0.0, 0.1, len(sent_s)), 0.0)


def _wheel_pressure(
    drive: Drive, signal: SentSignal, sent_s: FloatColumn, rng: np.random.Generator
) -> FloatColumn:
    """Pressure at one wheel: a share of the whole, with its own noise. [bar]"""
    return _brake_pressure(drive, signal, sent_s, rng) * rng.uniform(0.75, 1.0)


def _fuel_used(
    drive: Drive, signal: SentSignal, sent_s: FloatColumn, rng: np.random.Generator
) -> FloatColumn:
    """A count of injected fuel that starts again when its field is full."""
    push = np.maximum(_push(drive, drive.motion.time_s), 0.0) + 0.04
    total = drive.motion.at(np.cumsum(push) * STEP_S, sent_s) * rng.uniform(20.0, 90.0)
    count: FloatColumn = np.floor(total) % (1 << signal.length)
    return count


def _warming(cold: float, warm: float, noise: float = 0.0) -> Teller:
    """Something that gets warm over the drive, one car's a little otherwise than another's."""

    def tell(
        drive: Drive, signal: SentSignal, sent_s: FloatColumn, rng: np.random.Generator
    ) -> FloatColumn:
        del drive, signal
        begin = cold + rng.uniform(0.0, 0.7) * (warm - cold)
        end = warm * rng.uniform(0.97, 1.03)
        level = end + (begin - end) * np.exp(-sent_s / _UNTIL_WARM_S)
        return level + rng.normal(0.0, noise, len(sent_s)) if noise else level

    return tell


def _switch(
    drive: Drive, signal: SentSignal, sent_s: FloatColumn, rng: np.random.Generator
) -> FloatColumn:
    """Something that is switched a few times a drive at most."""
    flips = np.sort(rng.uniform(0.0, drive.motion.duration_s, int(rng.integers(0, 4))))
    state = np.searchsorted(flips, sent_s) + int(rng.integers(2))
    return (state % min(1 << signal.length, 4)).astype(np.float64)


def _indicator(
    drive: Drive, signal: SentSignal, sent_s: FloatColumn, rng: np.random.Generator
) -> FloatColumn:
    """Blinking in sharp bends: 1 left, 2 right."""
    del signal, rng
    bend = drive.motion.at(drive.motion.curvature, sent_s + 1.5)
    side = np.where(bend > _BLINK_PER_M, 1.0, np.where(bend < -_BLINK_PER_M, 2.0, 0.0))
    lit: FloatColumn = side * (np.floor(sent_s / (_BLINK_S / 2)) % 2)
    return lit


def _clock(
    drive: Drive, signal: SentSignal, sent_s: FloatColumn, rng: np.random.Generator
) -> FloatColumn:
    """A time of day in its field's step, or an up-time."""
    del drive
    return (
        np.floor((sent_s + rng.uniform(0, 3000)) / signal.scale)
        % (1 << signal.length)
        * (signal.scale)
    )


def _constant(
    drive: Drive, signal: SentSignal, sent_s: FloatColumn, rng: np.random.Generator
) -> FloatColumn:
    """One number; nothing and everything are the most usual ones."""
    del drive
    full = (1 << signal.length) - 1
    number = (0, 0, full, int(rng.integers(0, full + 1)))[int(rng.integers(4))]
    return np.full(len(sent_s), float(number))


def _walk(
    drive: Drive, signal: SentSignal, sent_s: FloatColumn, rng: np.random.Generator
) -> FloatColumn:
    """Something that goes up and down for reasons of its own."""
    del drive
    middle = 1 << (signal.length - 1)
    path: FloatColumn = np.cumsum(rng.choice((-1.0, 0, 0, 0, 0, 0, 0, 1.0), len(sent_s)))
    return np.clip(middle + path, 0.0, 2.0 * middle - 1)


def _noise(
    drive: Drive, signal: SentSignal, sent_s: FloatColumn, rng: np.random.Generator
) -> FloatColumn:
    """Lowest bits that never rest, on some level."""
    del drive
    level = int(rng.integers(1 << signal.length))
    number = rng.integers(0, 4, len(sent_s)) + float(level)
    return np.clip(number, 0.0, (1 << signal.length) - 1.0)


def _random(
    drive: Drive, signal: SentSignal, sent_s: FloatColumn, rng: np.random.Generator
) -> FloatColumn:
    """Bits without a pattern, as what is enciphered or packed looks."""
    del drive
    return rng.integers(0, 1 << signal.length, len(sent_s)).astype(np.float64)


def _selector(
    drive: Drive, signal: SentSignal, sent_s: FloatColumn, rng: np.random.Generator
) -> FloatColumn:
    del drive, rng
    return np.mod(np.arange(len(sent_s), dtype=np.float64), signal.maximum + 1)


def _zero(
    drive: Drive, signal: SentSignal, sent_s: FloatColumn, rng: np.random.Generator
) -> FloatColumn:
    del drive, signal, rng
    return np.zeros(len(sent_s))


BUS_TELLERS: dict[Quantity, Teller] = {
    "car_speed": _car_speed,
    "late_speed": _late_speed,
    "front_speed": _axle_speed(slice(0, 2)),
    "rear_speed": _axle_speed(slice(2, 4)),
    "distance": _distance,
    "lateral": _lateral,
    "longitudinal": _longitudinal,
    "steering_rate": _steering_rate,
    "steering_torque": _steering_torque,
    "torque": _torque,
    "air_mass": _air_mass,
    "throttle": _throttle,
    "oil": _warming(20.0, 95.0),
    "output_speed": _output_speed,
    "clutch": _clutch,
    "brake_pressure": _brake_pressure,
    "wheel_pressure": _wheel_pressure,
    "fuel_used": _fuel_used,
    "outside": _warming(14.0, 15.0),
    "battery": _warming(13.8, 14.3, noise=0.03),
    "tyre_pressure": _warming(2.2, 2.5),
    "tyre_temperature": _warming(15.0, 35.0),
    "switch": _switch,
    "indicator": _indicator,
    "clock": _clock,
    "constant": _constant,
    "walk": _walk,
    "noise": _noise,
    "random": _random,
    "selector": _selector,
    "zero": _zero,
    "checksum": _zero,  # this one and the next two are made when the rest of the payload stands
    "crc8": _zero,
    "xor": _zero,
}
