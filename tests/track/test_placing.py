"""Where a value stands that two corners carry: the slopes, and their errors."""

from itertools import permutations
from typing import Any

import numpy as np
import pytest
from scipy import stats

from canwheel.corners import CORNERS
from canwheel.track.motion import estimate_motion
from canwheel.track.placing import (
    SURE_LOG_ODDS,
    Placing,
    placed_by_opposite_turns,
    placed_by_slip,
    placed_by_steering,
    placed_by_turns,
)
from canwheel.track.wheel_track import HelperSamples

PAIRS = list(permutations(range(4), 2))
HILLS = tuple((6.0 * k, 45 + (25 if k % 2 else 0)) for k in range(30))
"""Straight on, pulling and braking at 1.2 m/s² in turn, never hard."""


def placed(ask: Any, track: Any, one: int, other: int) -> Placing | None:
    answer: Placing | None = ask(track, estimate_motion(track), CORNERS[one], CORNERS[other])
    return answer


@pytest.mark.parametrize(("of", "copy"), PAIRS)
def test_turns_place_the_value_at_the_original(town: Any, of: int, copy: int) -> None:
    track = town.track(town.spoilt(copy, town.kph[:, of]))
    placing = placed(placed_by_turns, track, of, copy)
    assert placing is not None
    # The true slope is 1/2 by construction; how tight its turns are leaves some of it open where
    # only front and rear part.
    assert placing.lean == pytest.approx(
        0.5, abs=0.1 if CORNERS[of].same_side is not CORNERS[copy] else 0.3
    )
    assert placing.lean > 5 * placing.error


@pytest.mark.parametrize(("one", "other"), PAIRS)
def test_asked_the_other_way_round_the_sign_turns(town: Any, one: int, other: int) -> None:
    track = town.track(town.spoilt(other, town.kph[:, one]))
    there, back = (placed(placed_by_turns, track, *pair) for pair in ((one, other), (other, one)))
    assert there is not None
    assert back is not None
    assert back.lean == pytest.approx(-there.lean)
    assert back.error == pytest.approx(there.error)


def slipping(drive: Any, axle: int) -> Any:
    """The wheels of one axle run ahead under power and behind under the brake, by 1 % a m/s²."""
    accel = np.gradient(drive.kph.mean(axis=1) / 3.6, drive.time_s)
    kph = drive.kph.copy()
    kph[:, axle : axle + 2] *= 1 + 0.01 * accel[:, None]
    return kph


@pytest.mark.parametrize(
    ("of", "copy"), [p for p in PAIRS if CORNERS[p[0]].mirror is not CORNERS[p[1]]]
)
@pytest.mark.parametrize("axle", [0, 2])
def test_slip_places_it_without_a_turn(make_drive: Any, of: int, copy: int, axle: int) -> None:
    drive = make_drive(HILLS, ())
    kph = slipping(drive, axle)
    kph[:, copy] = kph[:, of]
    track = drive.track(kph)
    placing = placed(placed_by_slip, track, of, copy)
    assert placing is not None
    assert placing.lean == pytest.approx(0.5, abs=0.1)
    assert placing.lean > 5 * placing.error
    assert placed(placed_by_turns, track, of, copy) is None


def test_slip_says_nothing_of_two_on_one_axle(make_drive: Any) -> None:
    drive = make_drive(HILLS, ())
    kph = slipping(drive, 0)
    kph[:, 1] = kph[:, 0]
    assert placed(placed_by_slip, drive.track(kph), 0, 1) is None


def steered(drive: Any, kph: Any, *, per_curvature: float = 1.0) -> Any:
    """The drive with a steering signal that follows its bends."""
    steering = HelperSamples(drive.time_s, per_curvature * drive.curvature)
    return drive.track(kph, helpers={"steering": steering})


BENDS = tuple((10.0 * k + 2, 10.0 * k + 8, 300.0 if k % 2 else -220.0) for k in range(12))
"""Gentle ones, no sharper than a country road's: left and right differ by 0.5 to 0.7 %."""


@pytest.mark.parametrize(
    ("of", "copy"), [p for p in PAIRS if CORNERS[p[0]].same_side is not CORNERS[p[1]]]
)
@pytest.mark.parametrize("per_curvature", [1.0, -40.0])
def test_the_steering_tells_the_side_through_slip(
    make_drive: Any, of: int, copy: int, per_curvature: float
) -> None:
    drive = make_drive([(0, 50), (30, 70), (60, 50), (90, 70), (120, 50)], BENDS)
    kph = slipping(drive, 0)
    kph[:, copy] = kph[:, of]
    placing = placed(placed_by_steering, steered(drive, kph, per_curvature=per_curvature), of, copy)
    assert placing is not None
    assert placing.lean == pytest.approx(0.5, abs=0.2)
    assert placing.lean > 5 * placing.error


def test_the_steering_cannot_be_asked_of_one_side_or_where_it_is_not_sent(make_drive: Any) -> None:
    drive = make_drive([(0, 50), (120, 60)], BENDS)
    assert (
        placed(placed_by_steering, steered(drive, drive.spoilt(2, drive.kph[:, 0])), 0, 2) is None
    )
    assert placed(placed_by_steering, drive.track(drive.spoilt(1, drive.kph[:, 0])), 0, 1) is None


def test_without_turn_and_slip_nothing_is_sure(make_drive: Any) -> None:
    for seed in range(8):
        drive = make_drive([(0, 50), (120, 50)], (), seed=seed)
        track = drive.track(drive.spoilt(2, drive.kph[:, 0]))
        assert placed(placed_by_turns, track, 0, 2) is None
        by_slip = placed(placed_by_slip, track, 0, 2)
        assert by_slip is None or abs(by_slip.lean) < 5 * by_slip.error


def test_a_drive_too_short_to_ask(make_drive: Any) -> None:
    drive = make_drive([(0, 20), (3, 30)], ((1.0, 2.0, 12.0),))
    track = drive.track(drive.spoilt(1, drive.kph[:, 0]))
    assert placed(placed_by_turns, track, 0, 1) is None


@pytest.mark.parametrize(("of", "copy"), [(0, 1), (1, 0), (2, 0), (3, 1)])
def test_sensors_that_sleep_at_walking_pace_mislead_nobody(
    make_drive: Any, of: int, copy: int
) -> None:
    """The inner rear wheel of a full lock is silent while the others are read."""
    turns = [(5, 25, 4.8), (27, 50, -5.0), (52, 80, 4.6), (82, 115, -4.9)]
    profile = [(0, 0), *((at_s, 5.5 if at_s % 2 else 9.0) for at_s in range(4, 118, 3))]
    drive = make_drive(profile, turns)
    kph = np.where(drive.kph < [5.4, 3.2, 4.9, 5.2], 0.0, drive.kph)
    kph[:, copy] = kph[:, of]
    track = drive.track(kph)
    placing = placed_by_turns(track, estimate_motion(track), CORNERS[of], CORNERS[copy])
    assert placing is not None
    assert abs(placing.log_odds) > SURE_LOG_ODDS
    assert placing.lean == pytest.approx(0.5, abs=0.1)


@pytest.mark.parametrize(("of", "copy"), [(0, 2), (2, 0), (1, 3), (3, 1)])
@pytest.mark.parametrize("wheelbase_over_track", [1.5, 1.7, 2.0])
@pytest.mark.parametrize("every", [2, 4, 13])
def test_a_car_of_another_length_moves_no_value(
    make_drive: Any, of: int, copy: int, wheelbase_over_track: float, every: int
) -> None:
    """Most turns go one way, so that what a longer car adds to each does not even out."""
    bends = tuple((9.0 * k + 2, 9.0 * k + 8, 8.0 if k % every else -8.0) for k in range(13))
    drive = make_drive([(0, 15), (60, 20), (120, 14)], bends, noise=0.001)
    kph = drive.spoilt(copy, drive.kph[:, of])
    track = drive.track(kph, wheelbase_over_track=wheelbase_over_track)
    placing = placed(placed_by_opposite_turns, track, of, copy)
    assert placing is not None
    assert placing.error < 0.02
    assert placing.lean == pytest.approx(0.5, abs=0.3)


def test_odds_of_one_half_against_its_opposite() -> None:
    """As Student's distribution of four degrees of freedom has them (scipy)."""
    for lean, error in ((0.5, 0.1), (0.2, 0.1), (-0.4, 0.2), (3.0, 0.5)):
        placing, scale = Placing(lean, error), np.hypot(error, 0.1)
        at_first, at_second = (stats.t.logpdf((lean - at) / scale, 4) for at in (0.5, -0.5))
        assert placing.log_odds == pytest.approx(at_first - at_second)
        assert Placing(-lean, error).log_odds == pytest.approx(-placing.log_odds)
        assert Placing(lean, error, weight=0.5).log_odds == pytest.approx(placing.log_odds / 2)
    assert Placing(0.3, 0.25).log_odds == 0  # it may as well be nought


def test_left_turns_are_held_against_right_ones_of_one_side_only(town: Any) -> None:
    for of, copy in PAIRS:
        track = town.track(town.spoilt(copy, town.kph[:, of]))
        placing = placed(placed_by_opposite_turns, track, of, copy)
        assert (placing is None) == (CORNERS[of].same_side is not CORNERS[copy])
