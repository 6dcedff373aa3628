"""Rings, pick-ups and the brake unit's timing against computed figures of the trade.

Pulse rates: v / 3.6 / C * teeth, C = 1.9273 m, computed for the usual tooth counts. Ratios of tooth
counts: computed. The wheel that stands still, the pick-up speed of passive sensors (3 to 8 km/h)
and of active ones (0 to 2 km/h): textbook values, from memory.
"""

import numpy as np
import pytest

from canwheel.roadtest.motion import STEP_S, FloatColumn
from canwheel.roadtest.sensor import (
    BrakeUnit,
    Pickup,
    Pulses,
    Ring,
    measure_speed,
    pulse_times,
    smooth,
    tooth_places,
)

C_M = 1.9273
PERFECT = Ring(pitch_error=0.0, off_centre=0.0)
STEADY = Pickup(jitter=0.0)


def rng() -> np.random.Generator:
    return np.random.default_rng(1)


def pulses_at(kph: float, ring: Ring = PERFECT, seconds: float = 20.0) -> Pulses:
    speed = np.full(round(seconds / STEP_S), kph / 3.6)
    return pulse_times(ring, STEADY, speed, C_M, rng())


def read(pulses: Pulses, unit: BrakeUnit) -> tuple[FloatColumn, FloatColumn]:
    ready_s = np.arange(unit.measure_s, 20.0, unit.measure_s)
    return ready_s, measure_speed(unit, pulses, C_M, ready_s)


@pytest.mark.parametrize(
    ("teeth", "hertz"),
    [
        (44, (19.0, 31.7, 63.4, 317.1, 634.2, 1268.3)),
        (48, (20.8, 34.6, 69.2, 345.9, 691.8, 1383.6)),
        (52, (22.5, 37.5, 74.9, 374.7, 749.5, 1498.9)),
        (96, (41.5, 69.2, 138.4, 691.8, 1383.6, 2767.3)),
        (100, (43.2, 72.1, 144.1, 720.6, 1441.3, 2882.6)),
    ],
)
def test_pulse_rates(teeth: int, hertz: tuple[float, ...]) -> None:
    ring = Ring(teeth=teeth, pitch_error=0.0, off_centre=0.0)
    for kph, rate in zip((3, 5, 10, 50, 100, 200), hertz, strict=True):
        pulses = pulses_at(kph, ring)
        measured = (len(pulses) - 1) / (pulses[-1] - pulses[0])
        assert measured == pytest.approx(rate, abs=0.06)


@pytest.mark.parametrize(
    ("fitted", "told", "percent"),
    [(48, 44, 9.09), (44, 48, -8.33), (52, 48, 8.33), (48, 52, -7.69)],
)
def test_wrong_ring_reads_by_the_ratio_of_tooth_counts(
    fitted: int, told: int, percent: float
) -> None:
    ring = Ring(teeth=fitted, pitch_error=0.0, off_centre=0.0)
    _, kph = read(pulses_at(50, ring), BrakeUnit(teeth=told))
    assert (np.mean(kph[100:]) / 50 - 1) * 100 == pytest.approx(percent, abs=0.01)


@pytest.mark.parametrize(("teeth", "percent"), [(44, -2.27), (48, -2.08)])
def test_missing_tooth_lowers_the_mean_by_one_over_the_count(teeth: int, percent: float) -> None:
    ring = Ring(teeth=teeth, pitch_error=0.0, off_centre=0.0, missing=(5,))
    pulses = pulses_at(50, ring)
    rate = (len(pulses) - 1) / (pulses[-1] - pulses[0])
    whole = 50 / 3.6 / C_M * teeth
    assert (rate / whole - 1) * 100 == pytest.approx(percent, abs=0.05)


def test_off_centre_ring_ripples_once_a_revolution_by_its_amplitude() -> None:
    ring = Ring(pitch_error=0.0, off_centre=0.03)
    time_s, kph = read(pulses_at(30, ring), BrakeUnit(measure_s=0.01))
    turns = time_s * 30 / 3.6 / C_M
    for order, amplitude in ((1, 0.03), (2, 0.0), (3, 0.0)):
        wave = np.mean((kph[50:] / 30 - 1) * np.exp(-2j * np.pi * order * turns[50:]))
        assert 2 * abs(wave) == pytest.approx(amplitude, abs=0.002)


def test_bent_tooth_makes_many_orders() -> None:
    ring = Ring(pitch_error=0.0, off_centre=0.0, bent=((7, 0.5),))
    time_s, kph = read(pulses_at(20, ring), BrakeUnit(measure_s=0.01))
    turns = time_s * 20 / 3.6 / C_M
    waves = [
        2 * abs(np.mean((kph[50:] / 20 - 1) * np.exp(-2j * np.pi * order * turns[50:])))
        for order in range(1, 11)
    ]
    assert np.mean(waves[4:]) > 2 * waves[0]


def test_teeth_stand_in_order_and_all_but_the_missing_ones() -> None:
    places = tooth_places(Ring(teeth=48, missing=(3, 50)), rng())
    assert len(places) == 46
    assert np.all(np.diff(places) > 0)


def test_perfect_ring_reads_the_true_speed() -> None:
    _, kph = read(pulses_at(72.5), BrakeUnit())
    assert kph[100:] == pytest.approx(72.5, rel=1e-6)


def test_distance_is_told_by_the_number_of_pulses() -> None:
    speed = 10 + 5 * np.sin(np.arange(0, 60, STEP_S) / 7)
    pulses = pulse_times(PERFECT, STEADY, speed, C_M, rng())
    assert len(pulses) * C_M / 48 == pytest.approx(np.sum(speed) * STEP_S, abs=0.1)


def test_passive_pickup_is_silent_below_its_speed_and_an_active_one_is_not() -> None:
    speed = np.linspace(0, 12, 5000) / 3.6
    time_s = np.arange(5000) * STEP_S
    passive = pulse_times(PERFECT, Pickup(lowest_kph=5.0), speed, C_M, rng())
    active = pulse_times(PERFECT, Pickup(lowest_kph=0.3), speed, C_M, rng())
    assert np.interp(passive[0], time_s, speed) * 3.6 == pytest.approx(5.0, rel=0.08)
    assert np.interp(active[0], time_s, speed) * 3.6 < 1.0


def test_stopped_pulses_are_held_no_longer_than_they_may_be() -> None:
    pulses = pulses_at(50)
    unit = BrakeUnit(measure_s=0.01, timeout_s=0.2)
    time_s, kph = read(pulses[pulses < 10.0], unit)
    # One tooth pitch in 20 ms is C/48/0.02 s = 7.2 km/h: the speed can be no more by then.
    assert kph[np.searchsorted(time_s, 10.03)] < 7.3
    assert np.all(kph[time_s > 10.21] == 0)
    assert np.all(kph[(time_s > 1) & (time_s < 9.99)] > 49)


def test_no_pulses_no_speed() -> None:
    _, kph = read(np.empty(0), BrakeUnit())
    assert np.all(kph == 0)


def test_smoothing_looks_back_only_and_keeps_the_mean() -> None:
    unit = BrakeUnit(measure_s=0.01, smooth_s=0.05)
    step = np.where(np.arange(100) < 50, 20.0, 40.0)
    smoothed = smooth(unit, step)
    assert np.all(smoothed[:50] == 20)
    assert smoothed[50:55] == pytest.approx([24, 28, 32, 36, 40])
    assert np.all(smoothed[55:] == pytest.approx(40))
