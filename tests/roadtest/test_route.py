"""Routes: what is planned is what is driven."""

import numpy as np
import pytest

from canwheel.roadtest.motion import Motion
from canwheel.roadtest.route import (
    PARTS,
    Leg,
    Route,
    drive,
    hard_brake,
    lane_change,
    random_route,
    roundabout,
    stability_recipe,
    stand,
    stop,
    turn,
)


def driven(route: Route, seed: int = 0, *, wobble: float = 0.02, from_s: float = 0.0) -> Motion:
    return drive(route, np.random.default_rng(seed), wobble=wobble, from_s=from_s)


def test_length_is_the_length_of_the_legs() -> None:
    route = (Leg(500, 50), turn(90, 10, 18), Leg(300, 50), stop(3.0))
    length_m = 500 + np.pi / 2 * 10 + 300 + 4
    assert driven(route, wobble=0.0).travelled_m[-1] == pytest.approx(length_m, rel=0.002)


def test_turned_angle_is_the_angle_of_the_bend() -> None:
    motion = driven((Leg(60, 30), turn(90, 10, 18), Leg(60, 30)), wobble=0.0)
    turned = np.degrees(np.sum(motion.yaw_rate_rps) * 0.004)
    assert turned == pytest.approx(90, abs=1.0)


def test_lane_change_ends_in_the_direction_it_began() -> None:
    motion = driven((Leg(200, 90), *lane_change(90, left=True), Leg(200, 90)), wobble=0.0)
    assert np.degrees(np.sum(motion.yaw_rate_rps) * 0.004) == pytest.approx(0.0, abs=0.2)
    sideways_m = np.sum(np.sin(np.cumsum(motion.yaw_rate_rps) * 0.004) * motion.speed_mps) * 0.004
    assert 2.5 < sideways_m < 4.0  # a lane is 2.5 to 3.75 m wide (common practice, no source)


def test_roundabout_turns_on_by_its_quarters() -> None:
    motion = driven((Leg(50, 30), *roundabout(20, quarters=3), Leg(50, 30)), wobble=0.0)
    turned = np.degrees(np.sum(motion.yaw_rate_rps) * 0.004)
    assert turned == pytest.approx(-(270 - 70), abs=2.0)


def test_drive_begins_standing() -> None:
    motion = driven((stand(4.0), Leg(200, 50)))
    assert np.all(np.abs(motion.speed_mps[motion.time_s < 3.5]) < 0.05)
    assert np.all(motion.speed_mps[(motion.time_s > 5.5) & (motion.time_s < 8)] > 1)


def test_stop_stands_as_long_as_asked() -> None:
    motion = driven((Leg(200, 50), stop(8.0), Leg(200, 50)), wobble=0.0)
    standing = np.abs(motion.speed_mps) < 0.01
    assert np.sum(standing) * 0.004 == pytest.approx(8.0, abs=1.0)


def test_speed_keeps_within_the_limit_but_for_the_foot() -> None:
    motion = driven(random_route(np.random.default_rng(5), duration_s=300), wobble=0.0)
    assert np.max(motion.speed_mps) * 3.6 <= 100.0
    assert np.min(motion.acceleration_mps2) > -9.81  # no road car brakes harder than 1 g


def test_hard_brake_brakes_as_hard_as_asked() -> None:
    motion = driven((Leg(300, 60), *hard_brake(60, 10, brake_mps2=6.0), Leg(50, 30)), wobble=0.0)
    assert np.min(motion.acceleration_mps2) == pytest.approx(-6.0, abs=0.6)


def test_reverse_leg_is_driven_backwards() -> None:
    motion = driven((Leg(30, 10), stop(1.0), Leg(20, 5, 0.1, wait_s=1.0, reverse=True)))
    backwards = motion.speed_mps < 0
    assert np.sum(-motion.speed_mps[backwards]) * 0.004 == pytest.approx(20, rel=0.06)
    assert motion.travelled_m[-1] == pytest.approx(54, rel=0.05)


def test_stability_recipe_is_the_drive_of_the_rules() -> None:
    # 49 CFR 571.126 S7.10 and UN R140 §9.10, from memory: 48 ± 8 km/h within 30 s; within the
    # next two minutes at least one smooth turn each way and one brake application.
    motion = driven(stability_recipe(), wobble=0.0)
    kph = motion.speed_mps * 3.6
    reached_s = motion.time_s[np.argmax(kph > 40)]
    assert reached_s < 30
    window = (motion.time_s > reached_s) & (motion.time_s < reached_s + 120)
    assert np.max(kph) <= 56
    assert np.any(motion.lateral_mps2[window] > 1.5)
    assert np.any(motion.lateral_mps2[window] < -1.5)
    assert np.any(motion.acceleration_mps2[window] < -1.5)


@pytest.mark.parametrize("part", sorted(PARTS))
def test_every_part_is_a_drive_that_a_car_can_do(part: str) -> None:
    motion = driven(random_route(np.random.default_rng(2), duration_s=120, mix=(part,)), seed=2)
    assert motion.duration_s > 100
    assert np.all(np.isfinite(motion.speed_mps))
    assert np.max(np.abs(motion.lateral_mps2)) < 8  # road cars slide at 0.8 to 0.9 g (from memory)
    assert np.max(np.abs(motion.curvature)) <= 1 / 4.5  # no car turns tighter (common practice)


def test_town_has_stops_and_both_turns() -> None:
    motion = driven(random_route(np.random.default_rng(0), duration_s=400, mix=("town",)))
    moving = motion.speed_mps > 0.1
    assert np.count_nonzero(np.diff(moving.astype(int)) == 1) >= 3
    assert np.any(motion.curvature > 1 / 20)
    assert np.any(motion.curvature < -1 / 20)


def test_drive_may_start_on_the_way() -> None:
    assert driven((Leg(500, 60),), from_s=15.0).speed_mps[0] > 10


def test_empty_route_and_late_start_are_refused() -> None:
    with pytest.raises(ValueError, match="at least one leg"):
        driven(())
    with pytest.raises(ValueError, match="from_s"):
        driven((Leg(50, 30),), from_s=1000.0)
