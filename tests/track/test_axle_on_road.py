"""An axle that rolls on a road: its turns against the curvature that was driven."""

import math
from typing import Any

import numpy as np
import pytest

from canwheel.corners import CORNERS
from canwheel.outcome import Span
from canwheel.track.axle_on_road import find_road_signs
from canwheel.track.axles import AXLES

WHOLE = Span(0.0, 999.0)


@pytest.mark.parametrize("axle", AXLES)
@pytest.mark.parametrize("resolution_kph", [0.01, 0.5])
def test_it_turns_as_the_car_did(town: Any, axle: Any, resolution_kph: float) -> None:
    signs = find_road_signs(town.track(resolution_kph=resolution_kph), axle, WHOLE)
    assert signs is not None
    yaw_rad = town.curvature * town.kph.mean(axis=1) / 3.6 * np.gradient(town.time_s)
    sharp = np.abs(town.curvature) > 1 / 40  # wider ones are below the least turn
    for told_deg, way in ((signs.left_deg, 1), (signs.right_deg, -1)):
        driven_deg = math.degrees(np.sum(np.maximum(way * yaw_rad[sharp], 0)))
        assert told_deg == pytest.approx(driven_deg, rel=0.25)
    assert signs.km == pytest.approx(1.5, abs=0.1)
    assert not signs.is_driven


def test_steps_of_the_signal_are_no_turn(make_drive: Any) -> None:
    """At 15 km/h one of 1 km/h is 7 % of the speed."""
    drive = make_drive([(0, 0), (5, 14), (150, 16)], ())
    assert find_road_signs(drive.track(resolution_kph=1.0), CORNERS[:2], WHOLE) is None


def test_a_short_way_says_nothing(make_drive: Any) -> None:
    drive = make_drive([(0, 0), (5, 20), (40, 20)], [(8, 18, 8.0), (20, 30, -8.0)])
    assert find_road_signs(drive.track(), CORNERS[:2], WHOLE) is None
    assert find_road_signs(drive.track(), CORNERS[:2], Span(900.0, 999.0)) is None
