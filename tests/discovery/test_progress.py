"""How far discovery has come: what is seen, what is missing, and that it costs little."""

from typing import Any

import numpy as np

from canwheel.corners import Corner
from canwheel.discovery.progress import DiscoverySoFar, progress_of
from canwheel.frames import Frames


def told_until(frames: Frames, until_s: float) -> DiscoverySoFar:
    so_far = DiscoverySoFar()
    time_s = (frames.time_ns - frames.time_ns[0]) / 1e9
    so_far.add(frames.select(time_s <= until_s))
    so_far.look(at_once=True)
    return so_far


def test_the_drive_fills_the_list(make_bus: Any) -> None:
    """Of the town drive: turns at 43 to 51 s (left) and 95 to 103 s (right), stops at 0 and 110."""
    frames = make_bus()
    assert not told_until(frames, 3.0).progress.found
    one_turn = told_until(frames, 70.0).progress
    assert one_turn.found
    assert sum(one_turn.turns) == max(one_turn.turns) > 0
    assert "tight turn the other way" in one_turn.says
    whole = told_until(frames, 200.0).progress
    assert min(whole.turns) > 0
    assert whole.stops >= 2
    assert whole.enough
    assert "enough for discovery" in whole.says


def test_a_dead_corner_does_not_stop_the_count(make_bus: Any) -> None:
    whole = told_until(make_bus(dead={Corner.RL: 0}), 1e9).progress
    assert min(whole.turns) > 0
    assert whole.enough


def test_in_pieces_or_at_once_is_the_same(make_bus: Any) -> None:
    frames = make_bus()
    pieces = DiscoverySoFar()
    for first in range(0, len(frames), 997):
        pieces.add(frames.select(np.arange(first, min(first + 997, len(frames)))))
    assert pieces.look(at_once=True) == told_until(frames, 1e9).progress


def test_memory_does_not_grow_with_the_drive(make_bus: Any, monkeypatch: Any) -> None:
    monkeypatch.setattr("canwheel.discovery.progress._MOST_FRAMES", 4000)
    frames = make_bus()
    so_far = told_until(frames, 1e9)
    kept = sum(len(part) for part in so_far._parts)  # noqa: SLF001
    assert kept <= 4000
    assert so_far.progress.found  # a quarter of the frames still shows the wheels


def test_looking_takes_a_small_share_of_the_time(make_bus: Any) -> None:
    now = [0.0]
    so_far = DiscoverySoFar(clock=lambda: now[0])
    so_far.add(make_bus())
    now[0] = 1.0
    assert not so_far.look().found  # too soon
    now[0] = 6.0
    assert so_far.look().found


def test_nothing_found_says_what_to_do() -> None:
    assert "drive off" in progress_of(None).says
    assert not progress_of(None).enough
