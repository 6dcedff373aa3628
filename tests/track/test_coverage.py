"""What a drive exercised: distance, speed bands, turns, stops."""

from typing import Any

import numpy as np
import pytest

from canwheel.corners import CORNERS, Corner
from canwheel.outcome import Span
from canwheel.track.coverage import SPEED_BANDS_KPH, TURNS, measure_coverage
from canwheel.track.motion import estimate_motion
from canwheel.track.wheel_track import WheelTrack


def covered(track: WheelTrack) -> Any:
    return measure_coverage(track, estimate_motion(track))


def test_distance_and_bands_of_steady_driving(make_drive: Any) -> None:
    # A minute each at 10, 20, 40, 60 and 90 km/h: 1/6, 1/3, 2/3, 1 and 1.5 km.
    knots = [
        (60 * k + at, kph) for k, kph in enumerate((10, 20, 40, 60, 90)) for at in (0.01, 59.99)
    ]
    coverage = covered(make_drive(knots, ()).track())
    assert [low for low, _ in SPEED_BANDS_KPH] == [0, 15, 30, 50, 80]
    for corner in coverage.corners:
        assert corner.km.sum(axis=1) == pytest.approx([1 / 6, 1 / 3, 2 / 3, 1, 1.5], rel=0.01)
        assert corner.km[:, TURNS.index("straight")].sum() == pytest.approx(3.67, rel=0.01)
        assert corner.read_km == pytest.approx(3.5, rel=0.01)  # above 15 km/h
    assert coverage.distance_km == pytest.approx(3.67, rel=0.01)
    assert coverage.top_speed_kph == pytest.approx(90, abs=1)
    assert coverage.moving_s == pytest.approx(300, abs=1)
    assert coverage.straight_s == pytest.approx(300, abs=1)


def test_turns_by_side(make_drive: Any) -> None:
    drive = make_drive([(0, 36), (100, 36)], [(10, 20, 30.0), (40, 70, -30.0)])
    coverage = covered(drive.track())
    assert coverage.left_turn_s == pytest.approx(9.5, abs=1)
    assert coverage.right_turn_s == pytest.approx(29.5, abs=1)
    km = coverage.corners[0].km.sum(axis=0)
    assert km == pytest.approx([0.61, 0.095, 0.295], abs=0.012)


def test_turns_and_sides_of_the_mirrored_drive(town: Any) -> None:
    here, there = covered(town.track()), covered(town.track(town.kph[:, [1, 0, 3, 2]]))
    assert there.left_turn_s == pytest.approx(here.right_turn_s, abs=0.1)
    assert there.right_turn_s == pytest.approx(here.left_turn_s, abs=0.1)


@pytest.mark.parametrize(("stands_s", "stops"), [(0.0, 0), (3.0, 1), (60.0, 1)])
def test_stops(make_drive: Any, stands_s: float, stops: int) -> None:
    low = 0.0 if stands_s else 5.0
    knots = [(0, 40), (10, 40), (20, low), (20.01 + stands_s, low), (30 + stands_s, 40)]
    assert covered(make_drive(knots, ()).track()).stops == stops


def test_the_stop_at_the_end_counts_and_standing_at_first_does_not(town: Any) -> None:
    # It stands, drives, stops at 110 s, drives and stops at 152 s.
    coverage = covered(town.track())
    assert coverage.stops == 2
    assert coverage.first_moving_s == pytest.approx(4.2, abs=0.3)


def test_a_car_that_never_moved(make_drive: Any) -> None:
    coverage = covered(make_drive([(0, 0), (20, 0)], ()).track())
    assert coverage.first_moving_s is None
    assert (coverage.distance_km, coverage.moving_s, coverage.stops) == (0, 0, 0)
    assert coverage.corners[0].km.sum() == 0


def test_a_corner_that_was_not_read_covers_nothing_meanwhile(town: Any) -> None:
    track = town.track().without({Corner.FR: [Span(0, 60)]})
    coverage = covered(track)
    for corner in CORNERS:
        km = coverage.corners[corner.position].km.sum()
        whole = coverage.distance_km
        assert (km < whole - 0.4) if corner is Corner.FR else km == pytest.approx(whole)


def test_distance_within_stretches(make_drive: Any) -> None:
    drive = make_drive([(0, 36), (200, 36)], [(50, 101, 30.0)])
    driving = covered(drive.track()).driving
    km = driving.km_within([Span(10, 20), Span(60, 90), Span(80, 100)])
    assert km.sum() == pytest.approx(0.5, rel=0.01)
    assert km.sum(axis=0) == pytest.approx([0.1, 0.4, 0.0], abs=0.005)
    assert driving.km_within([]).sum() == 0
    everything = driving.km_where(np.ones(len(driving.time_s), bool))
    assert everything.sum() == pytest.approx(2.0, rel=0.01)


def test_nobody_knows_the_way_in_a_gap(make_drive: Any) -> None:
    drive = make_drive([(0, 36), (100, 36)], ())
    present = np.repeat(~drive.at(30, 70)[:, None], 4, axis=1)
    coverage = covered(drive.track(present=present))
    assert coverage.distance_km == pytest.approx(0.6, rel=0.02)
    assert coverage.corners[2].km.sum() == pytest.approx(0.6, rel=0.02)
    assert coverage.moving_s == pytest.approx(60, abs=1)
