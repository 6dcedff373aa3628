"""Each fault does to the readings what it does on a car, where and when it says, and no more."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from canwheel.corners import CORNERS, Corner
from canwheel.outcome import FAULT_KINDS
from canwheel.roadtest import faults
from canwheel.roadtest.faults import Effect
from canwheel.roadtest.motion import Motion
from canwheel.roadtest.scene import Condition, inside
from canwheel.roadtest.simulation import Drive, Scenario, simulate

EVERY_FAULT = (
    faults.NoSignal(Corner.RL, from_s=30.0),
    faults.LatePickup(Corner.FL, lowest_kph=20.0),
    faults.Dropout(Corner.RR, per_km=10.0, lasting_s=(0.2, 1.0), at_least=5),
    faults.Frozen(Corner.FR, from_s=20.0),
    faults.RingDamage(Corner.RL, off_centre=0.04),
    faults.WrongRatio(Corner.RL, teeth=44),
    faults.Crossed(Corner.FL, Corner.FR),
    faults.Erratic(Corner.FL),
    faults.FlaggedInvalid(Corner.RR, from_s=20.0, to_s=40.0),
    faults.MessageMissing(Corner.RR, from_s=20.0, to_s=30.0),
    faults.Copied(Corner.RL, Corner.RR),
)


def with_fault(scenario: Scenario, *effects: Effect) -> Drive:
    return simulate(replace(scenario, effects=effects), seed=11)


def test_there_is_one_of_every_kind() -> None:
    assert {fault.kind for fault in EVERY_FAULT} == set(FAULT_KINDS)


@pytest.mark.parametrize("fault", EVERY_FAULT, ids=lambda f: f.kind)
def test_the_other_corners_stay_as_they_were(
    scenario: Scenario, healthy: Drive, fault: Effect
) -> None:
    drive = with_fault(scenario, fault)
    touched = {fault.corner, getattr(fault, "other", fault.corner)}
    others = [corner.position for corner in CORNERS if corner not in touched]
    assert np.array_equal(drive.reading_kph[:, others], healthy.reading_kph[:, others])
    assert not drive.flagged[:, others].any()


def test_no_signal_reads_nothing_from_its_moment_on(scenario: Scenario, healthy: Drive) -> None:
    drive = with_fault(scenario, faults.NoSignal(Corner.RL, from_s=30.0))
    before = drive.time_s < 29.9
    assert np.array_equal(drive.reading_kph[before], healthy.reading_kph[before])
    assert np.all(drive.reading_kph[drive.time_s > 30.5, 2] == 0)


def test_late_pickup_reads_nothing_below_its_speed(scenario: Scenario, healthy: Drive) -> None:
    drive = with_fault(scenario, faults.LatePickup(Corner.FL, lowest_kph=20.0))
    slow = (healthy.reading_kph[:, 0] < 17) & (healthy.reading_kph[:, 0] > 0)
    fast = healthy.reading_kph[:, 0] > 24
    assert np.mean(drive.reading_kph[slow, 0] == 0) > 0.9
    assert np.mean(np.abs(drive.reading_kph - healthy.reading_kph)[fast, 0] < 0.5) > 0.97


def test_dropouts_are_where_the_truth_says(scenario: Scenario, healthy: Drive) -> None:
    drive = with_fault(
        scenario, faults.Dropout(Corner.RR, per_km=10, lasting_s=(0.3, 1.0), at_least=5)
    )
    (windows,) = drive.windows
    assert 3 <= len(windows) <= 30
    deep = np.column_stack((windows[:, 0] + 0.2, windows[:, 1]))
    fell = inside(drive.time_s, deep) & (healthy.reading_kph[:, 3] > 12)
    assert fell.any()
    assert np.all(drive.reading_kph[fell, 3] < 2)
    near = np.column_stack((windows[:, 0] - 0.1, windows[:, 1] + 0.2))
    away = ~inside(drive.time_s, near)
    assert np.allclose(drive.reading_kph[away], healthy.reading_kph[away])


@pytest.mark.parametrize(
    ("condition", "holds"),
    [
        ("left_turn", lambda m, n: m.curvature[n] > 0),
        ("right_turn", lambda m, n: m.curvature[n] < 0),
        ("braking", lambda m, n: m.acceleration_mps2[n] < -1),
        ("slow", lambda m, n: m.speed_mps[n] * 3.6 < 30),
        ("fast", lambda m, n: m.speed_mps[n] * 3.6 > 45),
    ],
)
def test_dropouts_keep_to_their_condition(
    scenario: Scenario, condition: Condition, holds: Callable[[Motion, int], bool]
) -> None:
    drive = with_fault(scenario, faults.Dropout(Corner.FL, condition, per_km=50, at_least=6))
    begin = np.searchsorted(drive.motion.time_s, drive.windows[0][:, 0])
    assert len(begin) > 0
    assert all(holds(drive.motion, min(n, len(drive.motion.time_s) - 1)) for n in begin)


def test_dropout_in_the_unit_may_last_a_single_reading(scenario: Scenario, healthy: Drive) -> None:
    fault = faults.Dropout(Corner.FL, per_km=20, lasting_s=(0.011, 0.012), in_unit=True)
    drive = with_fault(scenario, fault)
    zeros = (drive.reading_kph[:, 0] == 0) & (healthy.reading_kph[:, 0] > 0)
    runs = np.diff(np.flatnonzero(np.diff(np.pad(zeros, 1).astype(int))))[::2]
    assert runs.max() <= 2
    assert len(runs) == len(drive.windows[0])


def test_dropout_of_a_condition_that_never_comes_does_not_show(scenario: Scenario) -> None:
    parked = replace(scenario, route=scenario.route[:1])
    drive = with_fault(parked, faults.Dropout(Corner.FL, "fast"))
    assert len(drive.windows[0]) == 0


def test_frozen_stays_at_one_value_above_zero(scenario: Scenario) -> None:
    drive = with_fault(scenario, faults.Frozen(Corner.FR, from_s=20.0, to_s=50.0))
    ((begin, end),) = drive.windows[0]
    held = drive.reading_kph[(drive.time_s > begin) & (drive.time_s < end), 1]
    assert end - begin == pytest.approx(30.0)
    assert np.ptp(held) == 0
    assert held[0] > 10


def test_damaged_ring_ripples_with_the_wheel(scenario: Scenario, healthy: Drive) -> None:
    drive = with_fault(scenario, faults.RingDamage(Corner.RL, off_centre=0.05))
    moving = healthy.reading_kph[:, 2] > 20
    ratio = drive.reading_kph[moving, 2] / healthy.reading_kph[moving, 2]
    turns = np.cumsum(healthy.reading_kph[:, 2] / 3.6 * 0.01 / 1.935)[moving]
    wave = 2 * abs(np.mean((ratio - 1) * np.exp(-2j * np.pi * turns)))
    assert 0.02 < wave < 0.06
    assert abs(ratio.mean() - 1) < 0.003


@pytest.mark.parametrize(
    ("fault", "ratio"),
    [
        (faults.WrongRatio(Corner.RL, teeth=44), 44 / 48),
        (faults.WrongRatio(Corner.RL, tyre=1 / 1.08369), 1.08369),  # 175/65 R14 for 205/55 R16
        (faults.WrongRatio(Corner.RL, tyre=1.03142 / 1.0), 1 / 1.03142),
    ],
)
def test_wrong_ratio_is_one_factor_at_all_speeds(
    scenario: Scenario, healthy: Drive, fault: Effect, ratio: float
) -> None:
    drive = with_fault(scenario, fault)
    for low, high in ((15, 30), (30, 45), (45, 65)):
        band = (healthy.reading_kph[:, 2] > low) & (healthy.reading_kph[:, 2] < high)
        mean = drive.reading_kph[band, 2].mean() / healthy.reading_kph[band, 2].mean()
        assert mean == pytest.approx(ratio, rel=0.004)


def test_crossed_corners_sit_on_each_others_places(scenario: Scenario, healthy: Drive) -> None:
    drive = with_fault(scenario, faults.Crossed(Corner.FL, Corner.FR))
    assert np.array_equal(drive.reading_kph[:, [1, 0, 2, 3]], healthy.reading_kph)


def test_erratic_jumps_up_and_down_but_never_to_nothing(scenario: Scenario, healthy: Drive) -> None:
    drive = with_fault(scenario, faults.Erratic(Corner.FL, per_km=60))
    change = (drive.reading_kph - healthy.reading_kph)[:, 0]
    moving = healthy.reading_kph[:, 0] > 8
    assert change.max() > 8
    assert change.min() < -4
    assert np.all(drive.reading_kph[moving, 0] > 2)


def test_a_noisy_reading_shakes_about_the_right_one(scenario: Scenario, healthy: Drive) -> None:
    drive = with_fault(scenario, faults.Noisy(Corner.FL, sd_kph=2.0))
    sound = healthy.reading_kph[:, 0]
    off = (drive.reading_kph[:, 0] - sound)[sound > 20]
    assert np.mean(off) == pytest.approx(0, abs=0.1)
    assert np.std(off) == pytest.approx(2, rel=0.3)
    assert np.all(drive.reading_kph[sound == 0, 0] == 0)


@pytest.mark.parametrize("ratio", [0.5, 2.0])
def test_miscounted_pulses_halve_or_double_for_a_time(
    scenario: Scenario, healthy: Drive, ratio: float
) -> None:
    drive = with_fault(scenario, faults.Miscounted(Corner.RR, 20.0, 40.0, twice=ratio > 1))
    shown = drive.reading_kph[:, 3] / np.maximum(healthy.reading_kph[:, 3], 1.0)
    fast = healthy.reading_kph[:, 3] > 20
    during = (drive.time_s > 20.5) & (drive.time_s < 39.5)
    assert np.median(shown[fast & during]) == pytest.approx(ratio, rel=0.02)
    assert np.median(shown[fast & ~during]) == pytest.approx(1, rel=0.01)


def test_flagged_invalid_changes_no_reading(scenario: Scenario, healthy: Drive) -> None:
    drive = with_fault(scenario, faults.FlaggedInvalid(Corner.RR, from_s=20, to_s=40))
    assert np.array_equal(drive.reading_kph, healthy.reading_kph)
    assert np.array_equal(drive.flagged[:, 3], (drive.time_s >= 20) & (drive.time_s <= 40))


def test_copied_repeats_to_the_last_bit(scenario: Scenario) -> None:
    drive = with_fault(scenario, faults.Copied(Corner.RL, Corner.RR))
    assert np.array_equal(drive.reading_kph[:, 2], drive.reading_kph[:, 3])


def test_two_faults_at_once(scenario: Scenario) -> None:
    drive = with_fault(scenario, faults.NoSignal(Corner.RL), faults.WrongRatio(Corner.FR, teeth=52))
    assert np.all(drive.reading_kph[:, 2] == 0)
    fast = drive.reading_kph[:, 0] > 40
    ratio = drive.reading_kph[fast, 1].mean() / drive.reading_kph[fast, 0].mean()
    assert ratio == pytest.approx(52 / 48, rel=0.01)


@pytest.mark.parametrize("fault", EVERY_FAULT, ids=lambda f: f.kind)
def test_lamp_lights_for_the_faults_that_a_unit_sees(scenario: Scenario, fault: Effect) -> None:
    drive = with_fault(scenario, fault)
    lit = drive.lamp(np.array([1.0, 5.0, drive.motion.duration_s]))
    # common practice, no source: a unit sees no crossing, no copy, no ripple, no frozen value
    assert lit.tolist() == [True, False, fault.lights_lamp]


def test_lamp_of_a_stored_fault_goes_out_once_the_sensors_are_seen_to_work(
    scenario: Scenario,
) -> None:
    drive = simulate(replace(scenario, lamp_lit=True), seed=11)
    time_s = np.arange(0, drive.motion.duration_s, 0.1)
    lit = drive.lamp(time_s)
    went_out_s = time_s[np.argmin(lit)]
    speed = np.interp(went_out_s, drive.motion.time_s, drive.motion.speed_mps) * 3.6
    assert speed > 15  # UN Regulation 13-H: told by 15 km/h (from memory)
    assert not lit[time_s > went_out_s].any()
