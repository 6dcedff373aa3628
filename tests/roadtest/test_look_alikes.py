"""What looks like a fault and is none does to the wheels or the recording what it should."""

from dataclasses import replace

import numpy as np
import pytest

from canwheel.corners import Corner
from canwheel.frames import Frames
from canwheel.roadtest import look_alikes
from canwheel.roadtest.faults import Effect
from canwheel.roadtest.layouts import BAKERY_VAN
from canwheel.roadtest.motion import FloatColumn
from canwheel.roadtest.recording import record_frames
from canwheel.roadtest.scene import inside
from canwheel.roadtest.simulation import Drive, Scenario, simulate


def with_effect(scenario: Scenario, effect: Effect) -> Drive:
    return simulate(replace(scenario, effects=(effect,)), seed=11)


def test_wheel_locks_while_the_car_brakes(scenario: Scenario) -> None:
    drive = with_effect(scenario, look_alikes.WheelLock(Corner.FR, count=3))
    (windows,) = drive.windows
    assert len(windows) >= 1
    for begin, end in windows:
        middle = np.searchsorted(drive.motion.time_s, (begin + min(end, begin + 0.4)) / 2)
        assert abs(drive.wheel_mps[middle, 1]) < 0.3
        assert drive.motion.acceleration_mps2[np.searchsorted(drive.motion.time_s, begin)] < -0.9


def test_wheel_spins_while_the_car_starts(scenario: Scenario, healthy: Drive) -> None:
    drive = with_effect(scenario, look_alikes.WheelSpin(Corner.FL, both=True, gain_kph=15))
    extra_kph = (drive.wheel_mps - healthy.wheel_mps) * 3.6
    assert 10 < extra_kph[:, 0].max() < 25
    assert extra_kph[:, 1].max() > 8
    assert np.all(extra_kph[:, 2:] == 0)
    fastest = int(np.argmax(extra_kph[:, 0]))
    assert drive.motion.speed_mps[fastest] * 3.6 < 50


def test_stuck_car_spins_where_it_stands(scenario: Scenario, healthy: Drive) -> None:
    spin = look_alikes.WheelSpin(Corner.FL, count=1, stuck=True, lasting_s=(1.0, 1.1))
    drive = with_effect(scenario, spin)
    extra_kph = (drive.wheel_mps - healthy.wheel_mps)[:, 0] * 3.6
    begun = int(np.argmax(extra_kph > 1))
    assert abs(drive.motion.speed_mps[begun]) < 0.1
    assert extra_kph.max() > 8


def test_one_axle_turns_on_rollers(scenario: Scenario) -> None:
    drive = with_effect(scenario, look_alikes.OneAxleTurning(Corner.RL))
    assert np.all(drive.reading_kph[:, :2] == 0)
    assert drive.reading_kph[:, 2].max() > 40
    assert np.allclose(drive.wheel_mps[:, 2], drive.wheel_mps[:, 3])


def test_one_axle_begins_and_ends_while_the_car_stands(scenario: Scenario) -> None:
    drive = with_effect(scenario, look_alikes.OneAxleTurning(Corner.FL, 10.0, 50.0))
    (((begin, end),),) = drive.windows
    assert begin > 10
    for time_s in (begin, end):
        row = min(np.searchsorted(drive.motion.time_s, time_s), len(drive.motion.time_s) - 1)
        assert abs(drive.motion.speed_mps[row]) < 0.1


def test_anti_lock_lets_the_wheel_go_again_and_again(scenario: Scenario, healthy: Drive) -> None:
    lock = look_alikes.WheelLock(Corner.FR, 1, 0.7, 4.0, lasting_s=(1.5, 1.6))
    drive = with_effect(scenario, lock)
    (((begin, end),),) = drive.windows
    here = (drive.motion.time_s > begin) & (drive.motion.time_s < end)
    share = drive.wheel_mps[here, 1] / healthy.wheel_mps[here, 1]
    assert share.min() == pytest.approx(0.3, abs=0.03)
    assert np.count_nonzero(np.diff(np.sign(share - 0.65))) >= 6


def test_worn_tyre_turns_faster_by_its_ratio(scenario: Scenario, healthy: Drive) -> None:
    drive = with_effect(scenario, look_alikes.OtherTyre(Corner.RR, 0.992))
    fast = healthy.reading_kph[:, 3] > 30
    ratio = drive.reading_kph[fast, 3].mean() / healthy.reading_kph[fast, 3].mean()
    assert ratio == pytest.approx(1 / 0.992, rel=1e-3)


def recorded_s(drive: Drive) -> tuple[Frames, FloatColumn]:
    frames = record_frames(drive, BAKERY_VAN)
    return frames, (frames.time_ns - 1_790_000_000 * 10**9) / 1e9


def test_recording_gap_holds_nothing(scenario: Scenario) -> None:
    drive = with_effect(scenario, look_alikes.RecordingGap(Corner.FL, 20.0, 26.0))
    frames, time_s = recorded_s(drive)
    assert not inside(time_s, np.array([[20.0, 26.0]])).any()
    assert np.array_equal(frames.index, np.arange(len(frames)))


def test_clock_steps_back_and_goes_on(scenario: Scenario) -> None:
    drive = with_effect(scenario, look_alikes.ClockStep(Corner.FL, 30.0, -2.0))
    _, time_s = recorded_s(drive)
    steps = np.diff(time_s)
    assert np.count_nonzero(steps < 0) == 1
    assert steps.min() == pytest.approx(-2.0, abs=0.1)


@pytest.mark.parametrize("pattern", ["random", "bursts"])
def test_lost_frames_are_lost_at_their_share(
    scenario: Scenario, healthy: Drive, pattern: str
) -> None:
    drive = with_effect(scenario, look_alikes.LostFrames(Corner.FL, 0.4, pattern))
    kept = len(record_frames(drive, BAKERY_VAN)) / len(record_frames(healthy, BAKERY_VAN))
    assert kept == pytest.approx(0.6, abs=0.08)
