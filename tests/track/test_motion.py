"""The car as a rigid body: what any three corners say of the fourth."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from canwheel.corners import CORNERS, Corner
from canwheel.track.motion import (
    MOVING_KPH,
    estimate_motion,
    expected_kph,
    middle_kph,
    others_kph,
    smooth,
    squared_box,
    squared_relation_kph,
    three_agree,
    triple_surplus,
    turn_share,
)

L, T_F, T_R = 2.65, 1.55, 1.53
WORKED_TURN = [34.9322, 37.6980, 34.6230, 37.3770]
"""A left turn of 20 m at 36 km/h: wheelbase 2.65 m, tracks 1.55 and 1.53 m. Rigid-body kinematics,
worked by hand: yaw rate 0.5 rad/s, each wheel's speed that times its distance to the turning point.
"""
TURNS = [
    # radius [m], speed [km/h], FL, FR, RL, RR [km/h], rear right over left [%], front over rear [%]
    (8, 12, 11.543, 13.750, 10.852, 13.147, 21.15, 5.388),
    (12, 20, 19.223, 21.745, 18.725, 21.275, 13.62, 2.419),
    (50, 40, 39.437, 40.675, 39.388, 40.612, 3.11, 0.140),
    (100, 60, 59.556, 60.486, 59.541, 60.459, 1.54, 0.035),
    (300, 100, 99.746, 100.262, 99.745, 100.255, 0.51, 0.004),
    (500, 120, 119.816, 120.188, 119.816, 120.184, 0.31, 0.001),
]
"""The same car in other turns."""

RigidBody = Callable[..., Any]


def turning(rigid_body: RigidBody, radius_m: float, speed_kph: float, **box: float) -> Any:
    return rigid_body(speed_kph, 1 / radius_m, **({"front_m": T_F, "rear_m": T_R} | box))


# --- the worked figures ---


def test_the_worked_turn(rigid_body: RigidBody) -> None:
    four = turning(rigid_body, 20.0, 36.0)
    assert four[0] == pytest.approx(WORKED_TURN, abs=5e-5)
    fl, fr, rl, rr = four[0]
    assert (fr**2 - fl**2) / (rr**2 - rl**2) == pytest.approx(T_F / T_R, rel=1e-9)
    assert (rr - rl) / 3.6 / T_R == pytest.approx(0.5)  # its yaw rate, rad/s


@pytest.mark.parametrize("row", TURNS, ids=lambda row: f"{row[0]} m")
def test_the_table_of_turns(rigid_body: RigidBody, row: tuple[float, ...]) -> None:
    radius_m, kph, *speeds, rear_pct, front_pct = row
    four = turning(rigid_body, radius_m, kph)[0]
    assert four == pytest.approx(speeds, abs=1e-3)
    assert 100 * (four[3] / four[2] - 1) == pytest.approx(rear_pct, abs=0.005)
    assert 100 * (four[:2].mean() / four[2:].mean() - 1) == pytest.approx(front_pct, abs=0.001)


# --- three say the fourth ---


@pytest.mark.parametrize("turn", [(20, 36), *(row[:2] for row in TURNS)])
@pytest.mark.parametrize("corner", CORNERS)
def test_three_corners_say_the_fourth(
    rigid_body: RigidBody, corner: Corner, turn: tuple[float, float]
) -> None:
    for radius_m in (turn[0], -turn[0]):
        equal = turning(rigid_body, radius_m, turn[1], rear_m=T_F)
        predicted = squared_relation_kph(equal, corner)
        assert predicted == pytest.approx(equal[:, corner.position], rel=1e-12)
        # Tracks 2 cm apart: the relation is off by their ratio, of a difference that is small.
        unequal = turning(rigid_body, radius_m, turn[1])
        predicted = squared_relation_kph(unequal, corner)
        assert predicted == pytest.approx(unequal[:, corner.position], rel=0.004)
        least, most = expected_kph(unequal, corner)
        own = unequal[:, corner.position]
        assert np.all((least * 0.995 <= own) & (own <= most * 1.005) | (turn[0] > 10))


def test_the_linear_relation_is_off_by_its_known_error(rigid_body: RigidBody) -> None:
    fl, fr, rl, rr = turning(rigid_body, 20.0, 36.0, rear_m=T_F)[0]
    assert fl + rr - fr - rl == pytest.approx(0.024, abs=0.0005)
    assert fl**2 + rr**2 - fr**2 - rl**2 == pytest.approx(0, abs=1e-9)


@given(
    radius_m=st.floats(3.5, 2000) | st.floats(-2000, -3.5),
    kph=st.floats(2, 150),
    wheelbase_m=st.floats(2.2, 4.0),
    track_m=st.floats(1.3, 1.8),
)
@settings(deadline=None)
def test_any_turn_of_any_car(
    rigid_body: RigidBody, radius_m: float, kph: float, wheelbase_m: float, track_m: float
) -> None:
    four = turning(
        rigid_body, radius_m, kph, wheelbase_m=wheelbase_m, front_m=track_m, rear_m=track_m
    )
    for corner in CORNERS:
        predicted = squared_relation_kph(four, corner)
        assert predicted == pytest.approx(four[:, corner.position], rel=1e-9)


def test_no_such_speed_is_nan() -> None:
    impossible = np.array([[5.0, 1.0, 1.0, 30.0]])
    assert np.isnan(squared_relation_kph(impossible, Corner.FL))[0]


# --- whether three can be three corners of one car ---


@pytest.mark.parametrize("corner", CORNERS)
@pytest.mark.parametrize("turn", [(4.5, 8), (8, 12), (20, 36), (50, 60), (500, 120)])
def test_three_corners_of_a_real_turn_agree(
    rigid_body: RigidBody, corner: Corner, turn: tuple[float, float]
) -> None:
    for radius_m in (turn[0], -turn[0]):
        assert three_agree(turning(rigid_body, radius_m, turn[1]), corner).all()


@pytest.mark.parametrize("wrong", CORNERS)
@pytest.mark.parametrize("factor", [0.0, 0.5, 1.6])
def test_with_a_grossly_wrong_one_among_them_they_do_not(
    rigid_body: RigidBody, wrong: Corner, factor: float
) -> None:
    four = turning(rigid_body, 500.0, 50.0)
    four[:, wrong.position] *= factor
    for left_out in CORNERS:
        agree = bool(three_agree(four, left_out)[0])
        assert agree is (left_out is wrong)


def test_no_tyre_corners_that_hard() -> None:
    # 40 and 60 km/h on one axle are a turn of 4 m radius at 50 km/h: five times what tyres hold.
    four = np.array([[40.0, 60.0, 40.0, 60.0]])
    assert not three_agree(four, Corner.RR)[0]


def test_the_surplus_of_rolling_wheels(rigid_body: RigidBody) -> None:
    four = turning(rigid_body, 12.0, 20.0, rear_m=T_F)
    for left_out in CORNERS:
        surplus, difference, pace = triple_surplus(four, left_out)
        rolled = (L / T_F * (four[:, 3] - four[:, 2])) ** 2
        if left_out.axle == "front":
            assert surplus == pytest.approx(rolled, rel=1e-9)
        assert difference > 0
        assert pace == pytest.approx(20, rel=0.03)


# --- what the others allow ---


def test_the_median_of_three_ignores_a_wild_one() -> None:
    four = np.array([[np.nan, 50.0, 50.5, 250.0], [np.nan, 50.0, 0.0, 50.5]])
    assert others_kph(four, Corner.FL).tolist() == [50.5, 50.0]


def test_of_two_the_slower_and_of_one_that_one() -> None:
    four = np.array(
        [[9.0, np.nan, 50.0, 90.0], [9.0, np.nan, np.nan, 90.0], [9.0, np.nan, np.nan, np.nan]]
    )
    assert others_kph(four, Corner.FL)[:2].tolist() == [50.0, 90.0]
    assert np.isnan(others_kph(four, Corner.FL)[2])


def test_what_is_expected_spans_median_and_relation(rigid_body: RigidBody) -> None:
    four = turning(rigid_body, 6.0, 10.0)
    for corner in CORNERS:
        least, most = expected_kph(four, corner)
        middle, own = others_kph(four, corner), four[:, corner.position]
        assert least <= middle <= most
        assert least * 0.99 < own < most * 1.01


def test_a_wrong_one_among_the_three_leaves_the_median_alone(rigid_body: RigidBody) -> None:
    four = turning(rigid_body, 500.0, 50.0)
    four[:, 3] = 0.0
    least, most = expected_kph(four, Corner.FL)
    assert least == most == pytest.approx(50, abs=0.3)


def test_two_or_one_allow_what_a_tight_turn_does(rigid_body: RigidBody) -> None:
    four = turning(rigid_body, 6.0, 9.0)
    for missing in ([0], [0, 1]):
        for corner in (Corner.RL, Corner.RR):
            some = four.copy()
            some[:, missing] = np.nan
            least, most = expected_kph(some, corner)
            assert least < four[:, corner.position] < most


@given(st.lists(st.floats(0, 250) | st.just(float("nan")), min_size=4, max_size=4))
@settings(deadline=None)
def test_medians_as_numpy_has_them(four: list[float]) -> None:
    table = np.array([four])
    known = [v for v in four if v == v]  # noqa: PLR0124 - all but NaN
    middle = middle_kph(table)[0]
    if known:
        assert middle == pytest.approx(float(np.median(known)))
    else:
        assert np.isnan(middle)
    for corner in CORNERS:
        rest = sorted(v for k, v in enumerate(four) if k != corner.position and v == v)  # noqa: PLR0124
        said = others_kph(table, corner)[0]
        if rest:
            assert said == (rest[1] if len(rest) == 3 else rest[0])
        else:
            assert np.isnan(said)


# --- turning, and the motion as a whole ---


def test_the_turn_is_positive_to_the_left(rigid_body: RigidBody) -> None:
    assert turn_share(turning(rigid_body, 20.0, 36.0))[0] == pytest.approx(T_R / 20, rel=0.02)
    assert turn_share(turning(rigid_body, -20.0, 36.0))[0] == pytest.approx(-T_R / 20, rel=0.02)


def test_one_wrong_corner_makes_no_turn() -> None:
    assert turn_share(np.array([[50.0, 0.0, 50.0, 50.0]]))[0] == 0
    assert turn_share(np.array([[50.0, 55.0, 50.0, 45.0]]))[0] == 0  # the axles contradict


def test_an_axle_that_is_not_read_leaves_the_other() -> None:
    four = np.array([[np.nan, 50.0, 49.0, 51.0], [49.0, 51.0, np.nan, 50.0]])
    assert turn_share(four) == pytest.approx([0.04, 0.04])


def test_the_mean_over_a_window_as_a_plain_loop_has_it() -> None:
    rng = np.random.default_rng(2)
    values = rng.normal(size=(50, 2))
    values[rng.random(values.shape) < 0.3] = np.nan
    half = 3
    calm = smooth(values, 2 * half)
    for row in range(50):
        window = values[max(0, row - half) : row + half + 1]
        for column in range(2):
            known = window[:, column][~np.isnan(window[:, column])]
            if len(known):
                assert calm[row, column] == pytest.approx(known.mean())
            else:
                assert np.isnan(calm[row, column])
    assert smooth(values, 1) is values
    assert len(smooth(np.empty((0, 4)), 9)) == 0


def test_the_motion_of_a_made_drive(make_drive: Any) -> None:
    drive = make_drive([(0, 0), (5, 0), (15, 36), (65, 36), (75, 0), (80, 0)], [(30, 50, 60.0)])
    motion = estimate_motion(drive.track())
    at = {second: int(np.searchsorted(drive.time_s, second)) for second in (2, 10, 40, 60, 70)}
    assert motion.distance_km == pytest.approx(0.6, rel=0.01)
    assert motion.top_kph == pytest.approx(36, abs=0.4)
    assert motion.accel_mps2[at[10]] == pytest.approx(1.0, abs=0.15)
    assert motion.accel_mps2[at[70]] == pytest.approx(-1.0, abs=0.15)
    assert motion.turn[at[40]] == pytest.approx(1.55 / 60, abs=0.005)
    assert motion.turn[at[60]] == pytest.approx(0, abs=0.005)
    assert np.isnan(motion.turn[at[2]])
    assert not motion.moving[at[2]]
    assert motion.moving[at[10]]


def test_the_motion_is_right_with_one_corner_dead(town: Any) -> None:
    sound = estimate_motion(town.track())
    lame = estimate_motion(town.track(town.spoilt(1, 0.0)))
    assert lame.distance_km == pytest.approx(sound.distance_km, rel=0.01)
    assert lame.top_kph == pytest.approx(sound.top_kph, abs=0.5)


def test_nobody_knows_what_the_car_did_in_a_gap(make_drive: Any) -> None:
    drive = make_drive([(0, 36), (100, 36)], ())
    present = np.repeat(~drive.at(40, 60)[:, None], 4, axis=1)
    assert estimate_motion(drive.track(present=present)).distance_km == pytest.approx(0.8, rel=0.01)


def test_hardly_any_samples(make_drive: Any) -> None:
    drive = make_drive([(0, 36), (1, 36)], ())
    for count in (0, 1, 2):
        present = np.zeros((len(drive.time_s), 4), bool)
        present[:count] = True
        motion = estimate_motion(drive.track(present=present))
        assert motion.distance_km == pytest.approx(0, abs=1e-3)
        assert len(motion.moving) == count


def test_standing_is_not_moving(make_drive: Any) -> None:
    track = make_drive([(0, MOVING_KPH * 0.6), (20, MOVING_KPH * 0.6)], ()).track()
    assert not estimate_motion(track).moving.any()


def test_the_box_of_the_vehicle_file_is_used(town: Any) -> None:
    assert squared_box(town.track(wheelbase_over_track=2.0)) == 4.0
    assert squared_box(town.track()) == pytest.approx((2.65 / 1.55) ** 2, rel=0.03)
