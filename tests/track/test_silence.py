"""Whether the recorder heard the rest of the bus while one message was silent."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from canwheel.corners import Corner
from canwheel.track.silence import others_per_s, was_listening


def test_the_usual_rate_of_other_frames(town: Any) -> None:
    assert others_per_s(town.track().wheel(Corner.FL)) == pytest.approx(3950)


def test_without_two_samples_there_is_no_rate(town: Any) -> None:
    wheel = town.track().wheel(Corner.FL)
    one = replace(wheel, time_s=wheel.time_s[:1], index=wheel.index[:1])
    assert others_per_s(one) == 0
    assert others_per_s(replace(wheel, period_s=float("nan"))) == 0


@pytest.mark.parametrize(
    ("silence_s", "heard", "listening"),
    [
        (2.0, 8000, True),  # everything else went on
        (2.0, 2000, True),  # the bus was quieter, but heard
        (2.0, 100, False),  # only those around the ends of the gap
        (2.0, 0, False),
        (0.5, 0, False),
    ],
)
def test_listening(town: Any, silence_s: float, heard: int, listening: object) -> None:
    wheel = town.track().wheel(Corner.FL)
    said = was_listening(wheel, np.array([silence_s]), np.array([heard]))
    assert bool(said[0]) is listening


@pytest.mark.parametrize(
    ("silence_s", "heard", "listening"),
    [
        (384.0, 3075, True),  # the slow background goes on to the end
        (4.0, 32, True),
        (1.0, 8, True),
        (4.0, 2, False),  # one at each end of the recorder's gap
        (0.6, 1, False),
    ],
)
def test_on_a_quiet_bus(town: Any, silence_s: float, heard: int, listening: object) -> None:
    """Nearly every frame is the wheels' own: eight others a second."""
    wheel = town.track().wheel(Corner.FL)
    samples = np.arange(len(wheel.time_s))
    quiet = replace(wheel, index=samples + (8 * wheel.time_s).astype(np.int64))
    assert others_per_s(quiet) == pytest.approx(8, rel=0.01)
    said = was_listening(quiet, np.array([silence_s]), np.array([heard]))
    assert bool(said[0]) is listening


def test_positions_that_fall_are_no_rate(town: Any) -> None:
    """As in a recording whose lines stand in falling order of time."""
    wheel = town.track().wheel(Corner.FL)
    falling = replace(wheel, index=wheel.index[::-1].copy())
    assert others_per_s(falling) == 0
    assert np.all(np.isfinite(was_listening(falling, np.array([2.0]), np.array([8000]))))
