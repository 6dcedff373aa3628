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
    rolled_m = distance_m(track.wheel(Corner.FL))
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


def test_too_far_apart_to_tell() -> None:
    assert jumps_at([], [0.0, 500.0, 1100.0]).place_on_the_wheel() is None
    assert jumps_at([], [3.0]).place_on_the_wheel() is None
