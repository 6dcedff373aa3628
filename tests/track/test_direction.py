"""Which way the corners count."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from canwheel.corners import CORNERS, Corner
from canwheel.track.direction import find_opposite_sign
from canwheel.track.wheel_track import WheelTrack


def signed(track: WheelTrack, corners: Sequence[Corner], rows: Any = slice(None)) -> WheelTrack:
    """Return the drive as a unit gives it that puts a minus before some corners' speeds."""
    wheels = list(track.wheels)
    for corner in corners:
        own = track.wheel(corner)
        below_zero = np.zeros(len(own.time_s), np.bool_)
        below_zero[rows] = own.speed_kph[rows] > 0
        wheels[corner.position] = replace(own, below_zero=below_zero)
    fl, fr, rl, rr = wheels
    return replace(track, wheels=(fl, fr, rl, rr))


@pytest.mark.parametrize("corner", CORNERS)
def test_the_one_that_counts_backwards_is_found(town: Any, corner: Corner) -> None:
    assert find_opposite_sign(signed(town.track(), [corner])) == (corner,)


@pytest.mark.parametrize("corner", CORNERS)
def test_so_is_the_only_one_that_counts_forwards(town: Any, corner: Corner) -> None:
    others = [other for other in CORNERS if other is not corner]
    assert find_opposite_sign(signed(town.track(), others)) == (corner,)


def test_of_two_and_two_those_below_zero_are_named(town: Any) -> None:
    left = (Corner.FL, Corner.RL)
    assert find_opposite_sign(signed(town.track(), left)) == left


def test_a_unit_that_counts_backwards_throughout_is_none(town: Any) -> None:
    assert find_opposite_sign(signed(town.track(), CORNERS)) == ()
    assert find_opposite_sign(town.track()) == ()


def test_a_car_that_reverses_for_a_while_is_none(town: Any) -> None:
    reversing = town.at(43, 51)
    assert find_opposite_sign(signed(town.track(), CORNERS, reversing)) == ()
    # nor where one unit of the two signs its speeds
    assert find_opposite_sign(signed(town.track(), [Corner.FL, Corner.FR], reversing)) == ()


def test_a_corner_that_stays_at_a_value_below_zero_is_none(town: Any) -> None:
    stuck = town.track(town.spoilt(2, 15.0))
    assert find_opposite_sign(signed(stuck, [Corner.RL])) == ()
