"""Four, and three, wheels of a rigid body: what turns tell, from motion written down elsewhere."""

from itertools import permutations
from typing import Any

import numpy as np
import pytest

from canwheel.discovery.comparing import smoothed
from canwheel.discovery.motion import fit_rigid_body
from canwheel.discovery.rest import find_rest
from canwheel.discovery.search import lags
from canwheel.discovery.triangle import fit_triangle

TURN_TABLE = np.array(
    [
        [11.543, 13.750, 10.852, 13.147],
        [19.223, 21.745, 18.725, 21.275],
        [39.437, 40.675, 39.388, 40.612],
    ]
)
"""FACTS.md section 6: left turns of 8, 12 and 50 m radius. [km/h]"""


def test_the_published_turns_obey_the_relation_up_to_unequal_tracks() -> None:
    """The table's tracks differ (1.55 and 1.53 m): 1.3 % of the sides' difference is left."""
    fl, fr, rl, rr = TURN_TABLE.T
    left = (fl**2 + rr**2 - fr**2 - rl**2) / (fr**2 - fl**2 + rr**2 - rl**2)
    assert np.all(np.abs(left) < 0.014)


@pytest.mark.parametrize("order", list(permutations(range(4)))[::3])
def test_halves_and_front_follow_the_wheels(order: tuple[int, ...], town: Any) -> None:
    body = fit_rigid_body(town.time_s[::5], town.kph[::5][:, order])
    assert body.halves is not None
    wheels = [{order[k] for k in half} for half in body.halves]
    assert {0, 2} in wheels
    assert {1, 3} in wheels
    assert body.front is not None
    assert {order[k] for k in body.front} == {0, 1}
    assert body.across < 0.1


def test_sides_have_the_sign_of_the_turn(town: Any) -> None:
    body = fit_rigid_body(town.time_s[::5], town.kph[::5])
    assert body.halves is not None
    left_first = set(body.halves[0]) == {0, 2}
    time_s = town.time_s[::5]
    left_turn = np.nanmean(body.sides[(time_s > 45) & (time_s < 49)])
    right_turn = np.nanmean(body.sides[(time_s > 97) & (time_s < 101)])
    assert (left_turn < 0) == left_first  # in a left turn the left wheels run slower
    assert (right_turn > 0) == left_first


def test_a_straight_road_tells_no_sides(make_drive: Any) -> None:
    drive = make_drive(turns=())
    body = fit_rigid_body(drive.time_s[::5], drive.kph[::5])
    assert body.halves is None
    assert body.front is None


@pytest.mark.parametrize("dead", range(4))
def test_three_wheels_tell_the_side_and_the_axle(dead: int, town: Any) -> None:
    live = [k for k in range(4) if k != dead]
    triangle = fit_triangle(town.time_s[::5], town.kph[::5][:, live])
    assert triangle.pair is not None
    assert triangle.alone is not None
    front, rear = (live[k] for k in triangle.pair)
    assert (front, rear) in {(0, 2), (1, 3)}
    assert live[triangle.alone] % 2 == dead % 2
    assert triangle.alone_is_front == (live[triangle.alone] < 2)


def test_rest_is_what_all_hold_and_leave_gently(town: Any) -> None:
    time_s, raw = town.time_s[::5], np.round(town.kph[::5] * 100) + 6767
    raw[:30] = 0xFFFF  # a mark before the unit has values, left by a jump
    rest = find_rest(time_s, raw)
    assert rest is not None
    assert rest.raw.tolist() == [6767] * 4
    standing = (town.kph[::5] == 0).all(axis=1)[30:].sum() * (time_s[1] - time_s[0])
    assert rest.seen_s == pytest.approx(standing, abs=3.0)


def test_rest_may_differ_from_field_to_field(town: Any) -> None:
    raw = np.round(town.kph[::5] * 100) + np.array([10_000, 10_000, 10_200, 10_000])
    rest = find_rest(town.time_s[::5], raw)
    assert rest is not None
    assert rest.raw.tolist() == [10_000, 10_000, 10_200, 10_000]


def test_no_rest_in_a_drive_without_a_stop(make_drive: Any) -> None:
    drive = make_drive(((0, 30), (30, 50), (60, 35)), ())
    assert find_rest(drive.time_s[::5], np.round(drive.kph[::5] * 100)) is None


def test_late_copies_lag_and_wheels_do_not(town: Any) -> None:
    time_s, mean = town.time_s[::5], town.kph[::5].mean(axis=1)
    late = [np.interp(time_s - delay, time_s, mean) for delay in (0.0, 0.04, 0.1, 0.15)]
    assert lags(time_s, np.column_stack(late))
    assert not lags(time_s, town.kph[::5])


def test_smoothing_is_a_moving_mean() -> None:
    value = np.array([1.0, 2.0, 3.0, np.nan, 5.0, 6.0, 7.0, 8.0, 9.0])
    want = [np.nan, 2.0, np.nan, np.nan, np.nan, 6.0, 7.0, 8.0, np.nan]
    assert np.array_equal(smoothed(value, 3), want, equal_nan=True)
