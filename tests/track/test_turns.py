"""The turns of a drive: how far the front runs ahead, against the rigid body's own figures."""

from typing import Any

import numpy as np
import pytest

from canwheel.corners import Corner
from canwheel.outcome import Span
from canwheel.track.motion import USUAL_WHEELBASE_OVER_TRACK, estimate_motion
from canwheel.track.turns import SIDES, find_turns


def turns_of(track: Any) -> Any:
    return find_turns(track, estimate_motion(track))


@pytest.mark.parametrize(("wheelbase_m", "track_m"), [(2.65, 1.55), (2.4, 1.5), (3.4, 1.65)])
def test_the_front_runs_ahead_by_wheelbase_over_track_squared(
    make_drive: Any, wheelbase_m: float, track_m: float
) -> None:
    box = {"wheelbase_m": wheelbase_m, "front_m": track_m, "rear_m": track_m}
    drive = make_drive(box=box)
    expected = (wheelbase_m / track_m / USUAL_WHEELBASE_OVER_TRACK) ** 2
    for order, sign in (([0, 1, 2, 3], 1), ([2, 3, 0, 1], -1)):
        turns = turns_of(drive.track(drive.kph[:, order]))
        for ahead in turns.front_ahead:
            assert ahead.value == pytest.approx(sign * expected, rel=0.15)
            assert ahead.error < 0.15


def test_quick_turns_are_not_asked(make_drive: Any) -> None:
    drive = make_drive([(0, 0), (8, 28), (95, 28)], [(12, 22, 12.0), (30, 40, -12.0)])
    turns = turns_of(drive.track())
    assert turns.sharp_s > 10
    assert turns.front_ahead == (None, None)


def test_a_corner_that_was_not_read_has_no_place(town: Any) -> None:
    track = town.track()
    assert turns_of(track.without({Corner.RL: [Span(0.0, 100.0)]})) is None
    assert turns_of(track.without({Corner.RL: [Span(0.0, 40.0)]})) is not None


@pytest.mark.parametrize("side", SIDES)
def test_what_one_side_gains_the_other_loses(town: Any, side: Any) -> None:
    front, rear = (corner.position for corner in side)
    kph = town.kph.copy()
    kph[:, [front, rear]] = kph[:, [rear, front]]
    assert turns_of(town.track(kph)).exchanged_side() == side
    assert turns_of(town.track()).exchanged_side() is None


@pytest.mark.parametrize("side", SIDES)
def test_sides_that_do_not_mirror_one_another_are_another_fault(town: Any, side: Any) -> None:
    """As noise that goes with itself: far ahead on one side, a third of it behind on the other."""
    fl, fr, rl, rr = town.kph.T
    rolling = (USUAL_WHEELBASE_OVER_TRACK * ((fr - fl) + (rr - rl)) / 2) ** 2
    kph = town.kph.copy()
    front, rear = side[0].mirror.position, side[1].position
    kph[:, front] = np.sqrt(kph[:, front] ** 2 + 0.6 * rolling)
    kph[:, rear] = np.sqrt(kph[:, rear] ** 2 + 1.6 * rolling)
    turns = turns_of(town.track(kph))
    assert turns.front_is_front[SIDES.index(side)] is False
    assert turns.front_is_front[1 - SIDES.index(side)] is True
    assert turns.exchanged_side() is None
