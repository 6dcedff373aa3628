"""Jumps of one corner, and whether they come at one place of the turning wheel."""

from typing import Any

import numpy as np
import pytest

from canwheel.corners import CORNERS, Corner
from canwheel.track.jumps import Jumps, distance_m, find_jumps
from canwheel.track.motion import estimate_motion


def jumps_at(times_s: Any, at_m: Any) -> Jumps:
    return Jumps(spans=tuple(times_s), largest_kph=10.0, at_kph=30.0, at_m=np.asarray(at_m, float))


def test_jumps_are_found_where_they_are(town: Any) -> None:
    kph = town.kph.copy()
    starts_s = (15.0, 21.0, 26.0, 64.0)
    for start_s in starts_s:
        kph[town.at(start_s, start_s + 0.05), 2] += 14
    track = town.track(kph)
    motion = estimate_motion(track)
    jumps = find_jumps(track, motion, Corner.RL)
    assert jumps is not None
    assert [span.from_s for span in jumps.spans] == pytest.approx(starts_s, abs=0.03)
    assert jumps.largest_kph == pytest.approx(14, abs=1)
    assert jumps.at_kph == pytest.approx(50, abs=6)
    for corner in CORNERS:
        if corner is not Corner.RL:
            assert find_jumps(track, motion, corner) is None


def test_the_way_that_a_wheel_has_rolled(town: Any) -> None:
    track = town.track()
    own = track.wheel(Corner.FL)
    rolled_m = distance_m(own.time_s, own.speed_kph)
    assert rolled_m[-1] == pytest.approx(1478, rel=0.01)
    assert np.all(np.diff(rolled_m) >= 0)


def test_at_one_place_of_the_wheel() -> None:
    turns = np.cumsum([1, 2, 1, 3, 1, 1, 2, 5, 1, 2, 4, 1] * 3)
    place = jumps_at([], turns * 1.94 + np.random.default_rng(1).normal(0, 0.02, 36))
    found = place.place_on_the_wheel()
    assert found is not None
    circumference_m, chance = found
    assert circumference_m == pytest.approx(1.94, rel=0.01)
    assert chance < 1e-6


def test_anywhere_on_the_wheel() -> None:
    rng = np.random.default_rng(2)
    told = [
        found
        for _ in range(50)
        if (found := jumps_at([], np.cumsum(rng.uniform(1, 12, 30))).place_on_the_wheel())
        and found[1] < 0.01
    ]
    assert told == []


@pytest.mark.parametrize("jumps", [4, 6, 10])
def test_the_chance_of_a_semblance_is_no_smaller_than_it_is(jumps: int) -> None:
    """Of random places, no more seem to be one than the stated chance says."""
    rng = np.random.default_rng(jumps)
    chances = [
        found[1]
        for _ in range(3000)
        if (found := jumps_at([], np.cumsum(rng.uniform(1, 25, jumps))).place_on_the_wheel())
    ]
    for level in (0.1, 0.02, 0.005):
        assert np.sum(np.array(chances) < level) <= 3000 * level * 1.3


def test_jumps_do_not_spoil_the_way_between_them(make_drive: Any) -> None:
    drive = make_drive([(0, 80), (60, 80)], (), period_s=0.02)
    turns = np.cumsum(drive.kph[:, 1] / 3.6 * 0.02) / 1.94
    at = np.flatnonzero(np.diff(np.floor(turns)) > 0)[::3]
    size = np.random.default_rng(1).uniform(15, 160, len(at))
    track = drive.track(drive.spoilt(1, drive.kph[at, 1] + size, at))
    jumps = find_jumps(track, estimate_motion(track), Corner.FR)
    assert jumps is not None
    place = jumps.place_on_the_wheel()
    assert place is not None
    assert place[0] == pytest.approx(1.94, rel=0.01)
    assert place[1] < 1e-6


def test_too_far_apart_to_tell() -> None:
    assert jumps_at([], [0.0, 500.0, 1100.0]).place_on_the_wheel() is None
    assert jumps_at([], [3.0]).place_on_the_wheel() is None
