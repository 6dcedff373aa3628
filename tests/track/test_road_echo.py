"""At which axle a value was measured, by the road that the rear wheels repeat after the front."""

from itertools import permutations
from typing import Any

import numpy as np
import pytest

from canwheel.corners import CORNERS
from canwheel.track.motion import estimate_motion
from canwheel.track.placing import SURE_LOG_ODDS, Placing
from canwheel.track.road_echo import placed_by_road

FRONT_AND_REAR = [p for p in permutations(range(4), 2) if CORNERS[p[0]].mirror is not CORNERS[p[1]]]
STRAIGHT = [(0, 40), (60, 70), (150, 50)]


def on_a_road(
    make_drive: Any,
    *,
    wheelbase_m: float = 2.7,
    alike: float = 0.5,
    seed: int = 1,
    period_s: float = 0.01,
) -> tuple[Any, Any]:
    """A straight drive over bumps: each side has its own, and `alike` of them under both."""
    drive = make_drive(STRAIGHT, (), noise=0.0005, period_s=period_s)
    rng = np.random.default_rng(seed)
    at_m = np.cumsum(drive.kph.mean(axis=1) / 3.6 * period_s)
    places_m = np.arange(0, at_m[-1] + 10, 0.5)
    both, *sides = rng.normal(0, 0.004, (3, len(places_m)))
    kph = drive.kph.copy()
    for corner in CORNERS:
        bumps = np.sqrt(1 - alike) * sides[corner.side == "right"] + np.sqrt(alike) * both
        behind_m = wheelbase_m if corner.axle == "rear" else 0.0
        kph[:, corner.position] *= 1 + np.interp(at_m - behind_m, places_m, bumps)
    return drive, kph


def placed(drive: Any, kph: Any, one: int, other: int) -> Placing | None:
    track = drive.track(kph)
    return placed_by_road(track, estimate_motion(track), CORNERS[one], CORNERS[other])


@pytest.mark.parametrize(("of", "copy"), FRONT_AND_REAR)
@pytest.mark.parametrize("wheelbase_m", [2.4, 3.3])
def test_the_road_places_the_value_at_the_original(
    make_drive: Any, of: int, copy: int, wheelbase_m: float
) -> None:
    drive, kph = on_a_road(make_drive, wheelbase_m=wheelbase_m)
    kph[:, copy] = kph[:, of]
    there, back = placed(drive, kph, of, copy), placed(drive, kph, copy, of)
    assert there is not None
    assert back is not None
    assert there.lean > 0
    assert abs(there.log_odds) > SURE_LOG_ODDS
    assert back.lean == pytest.approx(-there.lean)


def test_one_axle_meets_the_road_at_one_time(make_drive: Any) -> None:
    drive, kph = on_a_road(make_drive)
    kph[:, 1] = kph[:, 0]
    assert placed(drive, kph, 0, 1) is None


def test_noise_that_no_wheel_repeats_says_nothing(make_drive: Any) -> None:
    for seed in range(6):
        drive = make_drive(STRAIGHT, (), noise=0.0)
        own = np.random.default_rng(seed).normal(1, 0.004, drive.kph.shape)
        kph = drive.kph * own
        kph[:, 2] = kph[:, 0]
        placing = placed(drive, kph, 0, 2)
        assert placing is None or abs(placing.log_odds) <= SURE_LOG_ODDS


def test_too_short_a_way_says_nothing(make_drive: Any) -> None:
    drive = make_drive([(0, 40), (30, 50)], ())
    assert placed(drive, drive.spoilt(2, drive.kph[:, 0]), 0, 2) is None
    parked = make_drive([(0, 0), (30, 0)], ())
    assert placed(parked, parked.kph, 0, 2) is None


@pytest.mark.parametrize(("period_s", "resolution_kph"), [(0.2, 0.01), (0.01, 1.0)])
def test_readings_too_far_apart_or_too_coarse_say_nothing(
    make_drive: Any, period_s: float, resolution_kph: float
) -> None:
    drive, kph = on_a_road(make_drive, period_s=period_s)
    kph[:, 3] = kph[:, 1]
    track = drive.track(kph, resolution_kph=resolution_kph)
    assert placed_by_road(track, estimate_motion(track), CORNERS[1], CORNERS[3]) is None
