"""The corners over one another when the car goes straight."""

from typing import Any

import numpy as np
import pytest

from canwheel.track.motion import estimate_motion
from canwheel.track.straight import straight_ratios
from canwheel.track.wheel_track import WheelTrack

TYRES = np.array([1.0, 1.004, 0.995, 1.002])


def ratios_of(track: WheelTrack) -> Any:
    return straight_ratios(track, estimate_motion(track))


def centred(scales: Any) -> Any:
    logs = np.log(np.asarray(scales))
    return logs - np.nanmean(logs)


def test_the_scales_of_the_tyres(make_drive: Any) -> None:
    ratios = ratios_of(make_drive(tyres=TYRES).track())
    assert ratios.log_ratio == pytest.approx(centred(TYRES), abs=0.001)
    assert np.all(ratios.sd < 0.001)
    assert ratios.straight_s > 20


def test_the_stated_error_is_the_real_one(make_drive: Any) -> None:
    misses = []
    for seed in range(6):
        ratios = ratios_of(make_drive(tyres=TYRES, noise=0.01, seed=seed).track())
        misses.append((ratios.log_ratio - centred(TYRES)) / ratios.sd)
    assert 0.2 < np.sqrt(np.mean(np.square(misses))) < 4


def test_turns_do_not_count(make_drive: Any) -> None:
    # A third of the way is one long wide bend.
    drive = make_drive([(0, 50), (120, 50)], [(20, 60, 60.0)], tyres=TYRES)
    assert ratios_of(drive.track()).log_ratio == pytest.approx(centred(TYRES), abs=0.0015)


def test_a_dead_corner_is_left_out(make_drive: Any) -> None:
    drive = make_drive(tyres=TYRES)
    ratios = ratios_of(drive.track(drive.spoilt(1, 0.0)))
    assert np.isnan(ratios.log_ratio[1])
    assert ratios.log_ratio[[0, 2, 3]] == pytest.approx(centred(TYRES[[0, 2, 3]]), abs=0.0015)


def test_two_corners_alone_say_nothing(make_drive: Any) -> None:
    drive = make_drive()
    kph = drive.kph.copy()
    kph[:, :2] = 0.0
    assert ratios_of(drive.track(kph)) is None


@pytest.mark.parametrize(
    ("knots", "turns"),
    [
        ([(0, 0), (10, 18), (60, 18)], ()),  # slow
        ([(0, 0), (10, 50), (13, 50), (20, 0)], ()),  # short
        ([(0, 0), (60, 0)], ()),  # standing
        ([(k * 8.0, (30, 75)[k % 2]) for k in range(10)], ()),  # never steady
    ],
)
def test_without_steady_straight_driving_there_is_none(
    make_drive: Any, knots: Any, turns: Any
) -> None:
    assert ratios_of(make_drive(knots, turns).track()) is None


def test_a_scale_that_is_far_off_is_measured_as_well(make_drive: Any) -> None:
    scales = TYRES * [1, 1, 44 / 48, 1]
    assert ratios_of(make_drive(tyres=scales).track()).log_ratio == pytest.approx(
        centred(scales), abs=0.001
    )
