"""What moments go with."""

from typing import Any

import numpy as np
import pytest

from canwheel.track.circumstances import SIGNIFICANCE, find_circumstances
from canwheel.track.coverage import trace_driving
from canwheel.track.motion import estimate_motion


def found_in(drive: Any, times_s: Any, from_kph: float = 10.0) -> Any:
    track = drive.track()
    motion = estimate_motion(track)
    return find_circumstances(track, motion, trace_driving(track, motion), times_s, from_kph)


def test_left_turns(make_drive: Any) -> None:
    drive = make_drive([(0, 36), (200, 36)], [(20, 40, 30.0), (100, 110, 30.0), (130, 150, -30.0)])
    first, *_ = found_in(drive, [24.0, 27.0, 31.0, 35.0, 37.0, 104.0])
    assert (first.words, first.turn, first.moments) == ("turning left", "left", 6)
    assert first.share == pytest.approx(28.5 / 200, abs=0.02)
    assert first.chance == pytest.approx(first.share**6, rel=0.01)


def test_right_turns(make_drive: Any) -> None:
    drive = make_drive([(0, 36), (200, 36)], [(20, 40, 30.0), (130, 150, -30.0)])
    first, *_ = found_in(drive, [133.0, 136.0, 139.0, 142.0, 145.0, 147.0])
    assert first.turn == "right"


def test_a_speed_band(make_drive: Any) -> None:
    drive = make_drive([(0, 40), (90, 40), (100, 65), (120, 65), (130, 40), (220, 40)], ())
    bands = found_in(drive, [101.0, 104.0, 107.0, 111.0, 115.0, 119.0])
    assert {b.band for b in bands if b.band is not None} == {3}
    assert any("50" in b.words for b in bands)


def test_braking(make_drive: Any) -> None:
    knots = [(t, kph) for k in range(6) for t, kph in ((20 * k, 60), (20 * k + 12, 60))]
    knots = sorted(knots + [(20 * k + 15.0, 40.0) for k in range(6)])
    times_s = [20 * k + 13.5 for k in range(6)]
    found = found_in(make_drive(knots, ()), times_s)
    assert "braking" in {c.words for c in found}


def test_rough_road(make_drive: Any) -> None:
    drive = make_drive([(0, 40), (200, 40)], (), noise=0.001)
    rough = drive.at(60, 85)
    shake = 0.02 * np.random.default_rng(2).normal(size=(int(rough.sum()), 1))
    drive.kph[rough] *= 1 + shake
    found = found_in(drive, [62.0, 66.0, 70.0, 74.0, 78.0, 82.0])
    assert [c.words for c in found] == ["rough road"]


def test_what_is_spread_over_the_drive_goes_with_nothing(make_drive: Any) -> None:
    drive = make_drive([(0, 40), (200, 40)], [(20, 60, 60.0)])
    assert found_in(drive, np.linspace(15, 190, 12)) == ()


def test_at_the_edge_of_two_bands_neither_is_a_circumstance(make_drive: Any) -> None:
    drive = make_drive([(0, 50), (200, 50)], ())
    assert found_in(drive, np.linspace(15, 190, 12)) == ()


def test_chance_alone_seldom_makes_a_circumstance(make_drive: Any) -> None:
    drive = make_drive()
    rng = np.random.default_rng(5)
    moving = drive.time_s[drive.kph.min(axis=1) > 12]
    told = sum(bool(found_in(drive, np.sort(rng.choice(moving, 8)))) for _ in range(60))
    # Moments at random in time lean a little to where the car is slow, hence the slack.
    assert told <= 60 * SIGNIFICANCE + 5


def test_two_moments_are_no_pattern(make_drive: Any) -> None:
    drive = make_drive([(0, 36), (200, 36)], [(20, 40, 30.0)])
    assert found_in(drive, [25.0, 30.0]) == ()


def test_a_car_that_stood(make_drive: Any) -> None:
    assert found_in(make_drive([(0, 0), (60, 0)], ()), [10.0, 20.0, 30.0, 40.0]) == ()


def test_moments_below_the_speed_asked_for(make_drive: Any) -> None:
    drive = make_drive([(0, 20), (60, 20)], [(20, 40, 20.0)])
    assert found_in(drive, [25.0, 28.0, 31.0, 34.0], from_kph=40.0) == ()
