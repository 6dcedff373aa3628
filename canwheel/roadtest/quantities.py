"""What the car tells beside its wheel speeds: steering, brake, lamps, engine, counters."""

import numpy as np

from canwheel.corners import Corner
from canwheel.roadtest.bus_layout import Quantity, SentSignal, unit_per_kph
from canwheel.roadtest.bus_quantities import BUS_TELLERS, Teller
from canwheel.roadtest.motion import KPH, FloatColumn
from canwheel.roadtest.simulation import SELF_TEST_S, Drive

_STEERING_RATIO = 15.5
"""Steering-wheel angle over road-wheel angle of a usual car (common practice, no source)."""
_UNDERSTEER_RAD_PER_G = 0.04
_BRAKE_ON_MPS2 = -0.7
_STANDING_MPS = 0.1
_GEAR_KPH = (0.0, 14.0, 28.0, 45.0, 65.0, 90.0)
_RPM_PER_KPH = (130.0, 75.0, 50.0, 37.0, 30.0, 25.0)
_IDLE_RPM = 820.0


def tell(
    drive: Drive, signal: SentSignal, sent_s: FloatColumn, rng: np.random.Generator
) -> FloatColumn:
    """Values of one signal, in its own unit, at the times of sending. (k,)"""
    quantity = signal.quantity
    if isinstance(quantity, Corner):
        return _wheel(drive, signal, quantity, sent_s)
    return _TELLERS[quantity](drive, signal, sent_s, rng)


def latest(drive: Drive, sent_s: FloatColumn) -> np.ndarray[tuple[int], np.dtype[np.intp]]:
    """Row of the newest reading at each time of sending."""
    return np.maximum(np.searchsorted(drive.time_s, sent_s, side="right") - 1, 0)


def _wheel(drive: Drive, signal: SentSignal, corner: Corner, sent_s: FloatColumn) -> FloatColumn:
    kph = drive.reading_kph[:, corner.position]
    unit = drive.scenario.unit
    circumference_m = drive.scenario.car.circumference_m
    if signal.unit in _COUNTED:
        pulses = np.cumsum(np.abs(kph)) / KPH * unit.measure_s / circumference_m * unit.teeth
        return np.floor(np.interp(sent_s, drive.time_s, pulses)) % (signal.maximum + 1)
    return kph[latest(drive, sent_s)] * unit_per_kph(
        signal.unit, circumference_m=circumference_m, teeth=unit.teeth
    )


_COUNTED = frozenset({"pulses", "pulse", "counts", "count"})


def _speed(
    drive: Drive, signal: SentSignal, sent_s: FloatColumn, rng: np.random.Generator
) -> FloatColumn:
    """The dash speed: of the driven wheels, slow, and a little more than the truth."""
    del rng
    kph = np.abs(drive.motion.at(drive.motion.speed_mps, sent_s - 0.1)) * KPH
    return kph * 1.02 * (1 / 1.609344 if signal.unit == "mph" else 1.0)


def _steering(
    drive: Drive, signal: SentSignal, sent_s: FloatColumn, rng: np.random.Generator
) -> FloatColumn:
    motion = drive.motion
    road_wheel = np.arctan(motion.curvature * drive.scenario.car.wheelbase_m)
    road_wheel = road_wheel + motion.lateral_mps2 / 9.81 * _UNDERSTEER_RAD_PER_G
    degrees = np.degrees(motion.at(road_wheel, sent_s)) * _STEERING_RATIO
    degrees = degrees + 0.8 + rng.normal(0.0, 0.3, len(sent_s))
    return degrees if signal.unit != "rad" else np.radians(degrees)


def _yaw_rate(
    drive: Drive, signal: SentSignal, sent_s: FloatColumn, rng: np.random.Generator
) -> FloatColumn:
    degrees = np.degrees(drive.motion.at(drive.motion.yaw_rate_rps, sent_s))
    degrees = degrees + 0.12 + rng.normal(0.0, 0.15, len(sent_s))
    return degrees if signal.unit != "rad/s" else np.radians(degrees)


def _brake(
    drive: Drive, signal: SentSignal, sent_s: FloatColumn, rng: np.random.Generator
) -> FloatColumn:
    del signal, rng
    motion = drive.motion
    standing = np.abs(motion.speed_mps) < _STANDING_MPS
    on = (motion.acceleration_mps2 < _BRAKE_ON_MPS2) | standing
    return np.rint(motion.at(on.astype(float), sent_s))


def _lamp(
    drive: Drive, signal: SentSignal, sent_s: FloatColumn, rng: np.random.Generator
) -> FloatColumn:
    del signal, rng
    return drive.lamp(sent_s).astype(float)


def _brake_lamp(
    drive: Drive, signal: SentSignal, sent_s: FloatColumn, rng: np.random.Generator
) -> FloatColumn:
    del drive, signal, rng
    return (sent_s < SELF_TEST_S).astype(float)


def _gear(
    drive: Drive, signal: SentSignal, sent_s: FloatColumn, rng: np.random.Generator
) -> FloatColumn:
    del signal, rng
    kph = np.abs(drive.motion.at(drive.motion.speed_mps, sent_s)) * KPH
    return np.searchsorted(_GEAR_KPH, kph, side="right").astype(np.float64)


def _engine_speed(
    drive: Drive, signal: SentSignal, sent_s: FloatColumn, rng: np.random.Generator
) -> FloatColumn:
    kph = np.abs(drive.motion.at(drive.motion.speed_mps, sent_s)) * KPH
    gear = _gear(drive, signal, sent_s, rng).astype(int) - 1
    turning = kph * np.array(_RPM_PER_KPH)[np.clip(gear, 0, 5)]
    at_least_idle: FloatColumn = np.maximum(turning, _IDLE_RPM)
    return at_least_idle + rng.normal(0.0, 8.0, len(sent_s))


def _pedal(
    drive: Drive, signal: SentSignal, sent_s: FloatColumn, rng: np.random.Generator
) -> FloatColumn:
    del signal, rng
    motion = drive.motion
    push = motion.acceleration_mps2 * 18 + np.abs(motion.speed_mps) * 0.5
    percent: FloatColumn = np.minimum(np.maximum(motion.at(push, sent_s), 0.0), 100.0)
    return percent


def _coolant(
    drive: Drive, signal: SentSignal, sent_s: FloatColumn, rng: np.random.Generator
) -> FloatColumn:
    del drive, signal, rng
    return 88.0 - 40.0 * np.exp(-sent_s / 240.0)


def _fuel(
    drive: Drive, signal: SentSignal, sent_s: FloatColumn, rng: np.random.Generator
) -> FloatColumn:
    del signal, rng
    return 61.0 - drive.motion.at(drive.motion.travelled_m, sent_s) / 7000


def _odometer(
    drive: Drive, signal: SentSignal, sent_s: FloatColumn, rng: np.random.Generator
) -> FloatColumn:
    del signal, rng
    return 84_210.0 + drive.motion.at(drive.motion.travelled_m, sent_s) / 1000


def _counter(
    drive: Drive, signal: SentSignal, sent_s: FloatColumn, rng: np.random.Generator
) -> FloatColumn:
    del drive, rng
    return (np.arange(len(sent_s)) % (1 << signal.length)).astype(float)


_TELLERS: dict[Quantity, Teller] = {
    **BUS_TELLERS,
    "speed": _speed,
    "steering": _steering,
    "yaw_rate": _yaw_rate,
    "brake": _brake,
    "lamp_abs": _lamp,
    "lamp_stability": _lamp,
    "lamp_brake": _brake_lamp,
    "engine_speed": _engine_speed,
    "pedal": _pedal,
    "gear": _gear,
    "coolant": _coolant,
    "fuel": _fuel,
    "counter": _counter,
    "odometer": _odometer,
}
