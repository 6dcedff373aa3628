"""The four wheel speeds of a rigid car against worked figures.

The worked turn and the table were computed from the four textbook expressions (rear: v ∓ ωt/2;
front: ω·sqrt((R ∓ t/2)² + L²); Kiencke & Nielsen and Gillespie, from memory) for L = 2.65,
t_f = 1.55, t_r = 1.53 m, and rounded to the digits given here.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from canwheel.roadtest.car import Car, rolling_speeds, tyre_slip, wheel_speeds
from canwheel.roadtest.motion import STEP_S, FloatColumn, Motion

CAR = Car(wheelbase_m=2.65, front_track_m=1.55, rear_track_m=1.53)


def turn_kph(radius_m: float, kph: float, car: Car = CAR) -> FloatColumn:
    speed = np.array([kph / 3.6])
    kph_each: FloatColumn = rolling_speeds(car, speed, speed / radius_m)[0] * 3.6
    return kph_each


def test_worked_turn() -> None:
    assert turn_kph(20.0, 36.0) == pytest.approx([34.9322, 37.6980, 34.6230, 37.3770], abs=5e-5)


@pytest.mark.parametrize(
    ("radius_m", "kph", "expected"),
    [
        (8, 12, (11.543, 13.750, 10.852, 13.147)),
        (12, 20, (19.223, 21.745, 18.725, 21.275)),
        (50, 40, (39.437, 40.675, 39.388, 40.612)),
        (100, 60, (59.556, 60.486, 59.541, 60.459)),
        (300, 100, (99.746, 100.262, 99.745, 100.255)),
        (500, 120, (119.816, 120.188, 119.816, 120.184)),
    ],
)
def test_table_of_turns(radius_m: float, kph: float, expected: tuple[float, ...]) -> None:
    # 6e-4: the table is rounded to 0.001 (one entry, 13.147, is 13.1475 before rounding).
    assert turn_kph(radius_m, kph) == pytest.approx(expected, abs=6e-4)


def test_square_ratio_of_the_worked_turn_is_the_ratio_of_tracks() -> None:
    fl, fr, rl, rr = turn_kph(20.0, 36.0)
    assert (fr**2 - fl**2) / (rr**2 - rl**2) == pytest.approx(1.013072, abs=1e-6)


@given(
    radius_m=st.floats(5, 500),
    kph=st.floats(5, 150),
    drift=st.floats(-0.1, 0.1),
    track_m=st.floats(1.3, 1.8),
)
def test_three_corners_predict_the_fourth_where_the_tracks_are_equal(
    radius_m: float, kph: float, drift: float, track_m: float
) -> None:
    # British flag theorem: it holds for any point the car turns about, so with any rear slip.
    car = Car(front_track_m=track_m, rear_track_m=track_m)
    speed = np.array([kph / 3.6])
    fl, fr, rl, rr = rolling_speeds(car, speed, speed / radius_m, rear_slip_rad=drift)[0]
    assert np.sqrt(fl**2 + rr**2 - fr**2) == pytest.approx(rl, rel=1e-9)


@given(radius_m=st.floats(5, 500), kph=st.floats(5, 150))
def test_mirrored_turn_mirrors_the_speeds(radius_m: float, kph: float) -> None:
    left, right = turn_kph(radius_m, kph), turn_kph(-radius_m, kph)
    assert left[[1, 0, 3, 2]] == pytest.approx(right)


def test_backwards_the_same_speeds_are_negative() -> None:
    speed = np.array([2.0])
    forwards = rolling_speeds(CAR, speed, speed / 6.0)
    backwards = rolling_speeds(CAR, -speed, -speed / 6.0)
    assert backwards == pytest.approx(-forwards)


def steady(speed_mps: float, acceleration_mps2: float = 0.0, seconds: float = 4.0) -> Motion:
    time_s = np.arange(0, seconds, STEP_S)
    speed = speed_mps + acceleration_mps2 * time_s
    return Motion(speed, np.zeros(len(speed)))


def test_at_speed_side_slip_takes_the_front_to_rear_difference_away() -> None:
    # 100 m at 60 km/h: without slip the front mean is 0.035 % above the rear (table above).
    car = Car(rear_slip_rad_per_g=0.09)
    drift = car.rear_slip_rad_per_g * 0.283
    speed = np.array([60 / 3.6])
    fl, fr, rl, rr = rolling_speeds(car, speed, speed / 100, rear_slip_rad=drift)[0]
    assert (fl + fr) / (rl + rr) - 1 < 0.0002


def test_driven_wheels_run_ahead_when_speeding_up() -> None:
    slip = tyre_slip(Car(driven="rear"), steady(10, acceleration_mps2=2.0))[500]
    assert slip[2] > slip[0] + 0.01
    assert slip[2] == pytest.approx(slip[3])


def test_braked_wheels_run_behind_and_the_front_ones_more() -> None:
    slip = tyre_slip(Car(driven="front"), steady(30, acceleration_mps2=-6.0))[500]
    assert slip[0] < slip[2] < 0


def test_standing_car_does_not_turn_its_wheels() -> None:
    assert np.all(wheel_speeds(CAR, steady(0.0)) == 0)
