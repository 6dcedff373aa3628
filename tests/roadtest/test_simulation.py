"""The whole chain: the same seed gives the same drive; a sound car's corners agree."""

import time
from dataclasses import replace

import numpy as np
import pytest

from canwheel.roadtest.car import Car
from canwheel.roadtest.route import Leg, random_route
from canwheel.roadtest.sensor import BrakeUnit
from canwheel.roadtest.simulation import Drive, Scenario, simulate


def test_same_seed_same_drive_other_seed_another(scenario: Scenario, healthy: Drive) -> None:
    again = simulate(scenario, seed=11)
    assert np.array_equal(again.reading_kph, healthy.reading_kph)
    other = simulate(scenario, seed=12)
    assert not np.array_equal(other.reading_kph[:1000], healthy.reading_kph[:1000])


def test_readings_follow_the_wheels(healthy: Drive) -> None:
    true_kph = np.stack(
        [healthy.motion.at(column, healthy.time_s) for column in healthy.wheel_mps.T], axis=1
    )
    moving = true_kph.min(axis=1) > 10
    error = healthy.reading_kph[moving] - true_kph[moving] * 3.6
    assert np.all(np.abs(np.median(error, axis=0)) < 0.2)


def test_driven_distance_is_that_of_the_readings(healthy: Drive) -> None:
    measured_m = healthy.reading_kph[:, 2:].mean() / 3.6 * healthy.motion.duration_s
    assert measured_m == pytest.approx(healthy.motion.travelled_m[-1], rel=0.01)


def test_turns_show_as_on_a_car(healthy: Drive) -> None:
    left = healthy.motion.at(healthy.motion.curvature, healthy.time_s) > 1 / 15
    fl, fr, rl, rr = healthy.reading_kph[left & (healthy.reading_kph.min(axis=1) > 8)].T
    assert np.mean(fr / fl) > 1.05
    assert np.mean(rr / rl) > 1.08
    assert np.mean((fl + fr) / (rl + rr)) > 1.01


def test_unequal_tyres_show_in_the_mean() -> None:
    car = Car(tyre_ratio=(1.0, 1.004, 1.0, 1.0))
    drive = simulate(Scenario(car=car, route=(Leg(600, 60),)), seed=1)
    fast = drive.reading_kph[:, 0] > 30
    ratio = drive.reading_kph[fast, 1].mean() / drive.reading_kph[fast, 0].mean()
    assert ratio == pytest.approx(1 / 1.004, abs=1e-3)


def test_unit_that_tells_the_direction_says_minus_in_reverse() -> None:
    route = (Leg(20, 10, wait_s=2.0), Leg(30, 8, wait_s=1.0, reverse=True))
    unit = BrakeUnit(tells_direction=True)
    drive = simulate(Scenario(route=route, unit=unit), seed=1)
    assert drive.reading_kph.min() < -5
    unsigned = simulate(Scenario(route=route), seed=1)
    assert np.array_equal(np.abs(drive.reading_kph), unsigned.reading_kph)


def test_unit_latency_shifts_the_readings(scenario: Scenario) -> None:
    late = replace(scenario, unit=BrakeUnit(latency_s=(0.104, 0.004, 0.004, 0.004)))
    drive = simulate(late, seed=11)
    on_time = simulate(scenario, seed=11)
    assert np.allclose(drive.reading_kph[10:, 0], on_time.reading_kph[:-10, 0])
    assert np.array_equal(drive.reading_kph[:, 1], on_time.reading_kph[:, 1])


def test_ten_minutes_take_seconds_not_minutes() -> None:
    # A loop over samples in Python would take a minute; the limit leaves room for a busy machine.
    route = random_route(np.random.default_rng(1), duration_s=600)
    begin = time.process_time()
    simulate(Scenario(route=route), seed=1)
    assert time.process_time() - begin < 6.0
