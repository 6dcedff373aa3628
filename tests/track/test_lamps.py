"""When each warning lamp went out, counted from the recording's start and from moving off."""

import math
from dataclasses import replace

import numpy as np
import pytest

from canwheel.track.lamps import Lamp, measure_lamps
from canwheel.track.wheel_track import HelperSamples, WheelSamples, WheelTrack

NONE = np.empty(0)
SILENT = WheelSamples(
    time_s=NONE,
    speed_kph=NONE,
    raw=np.empty(0, np.int64),
    flagged=np.empty(0, np.bool_),
    index=np.empty(0, np.int64),
    resolution_kph=0.01,
    period_s=0.02,
)


def lamps_of(values: list[float], first_moving_s: float | None = 2.0) -> tuple[Lamp, ...]:
    """One value a second from 0 s on, of the anti-lock lamp."""
    samples = HelperSamples(np.arange(float(len(values))), np.array(values, float))
    track = WheelTrack(
        wheels=(SILENT, SILENT, SILENT, SILENT),
        time_s=NONE,
        speed_kph=np.empty((0, 4)),
        duration_s=10.0,
        helpers={"lamp_abs": samples, "speed": samples},
    )
    return measure_lamps(track, first_moving_s)


@pytest.mark.parametrize(
    ("values", "went_out_s", "after_moving_s", "lit_again_s"),
    [
        ([1, 1, 1, 1, 0, 0], 4.0, 2.0, None),
        ([1, 0, 0, 0, 0, 0], 1.0, -1.0, None),
        ([1, 1, 1, 0, 0, 1], 3.0, 1.0, 5.0),
        ([3, 3, 2, 0, 0, 1, 0, 1], 3.0, 1.0, 5.0),
        ([1, math.nan, math.nan, 0], 3.0, 1.0, None),
        ([1, 1, 1], None, None, None),
    ],
)
def test_a_lamp_that_is_lit_at_first(
    values: list[float],
    went_out_s: float | None,
    after_moving_s: float | None,
    lit_again_s: float | None,
) -> None:
    (lamp,) = lamps_of(values)
    assert lamp.lit_at_start
    assert (lamp.name, lamp.went_out_s) == ("abs", went_out_s)
    assert (lamp.after_moving_s, lamp.lit_again_s) == (after_moving_s, lit_again_s)


def test_a_lamp_that_is_out_at_first() -> None:
    (lamp,) = lamps_of([0, 0, 1, 1])
    assert not lamp.lit_at_start
    assert (lamp.went_out_s, lamp.lit_again_s) == (None, 2.0)


def test_a_car_that_never_moved() -> None:
    (lamp,) = lamps_of([1, 0], first_moving_s=None)
    assert (lamp.went_out_s, lamp.after_moving_s) == (1.0, None)


def test_a_recording_that_begins_on_the_road_does_not_tell_when_the_car_moved_off() -> None:
    track = WheelTrack(
        wheels=(SILENT, SILENT, SILENT, SILENT),
        time_s=np.arange(0.5, 6.0),
        speed_kph=np.full((6, 4), 40.0),
        duration_s=6.0,
        helpers={"lamp_abs": HelperSamples(np.arange(6.0), np.array([1.0, 1, 0, 0, 0, 0]))},
    )
    (moving,) = measure_lamps(track, first_moving_s=0.5)
    assert (moving.went_out_s, moving.after_moving_s, moving.out_as_usual) == (2.0, None, None)
    (standing,) = measure_lamps(track, first_moving_s=1.5)
    assert standing.after_moving_s == 0.5


@pytest.mark.parametrize("values", [[], [math.nan, math.nan]])
def test_a_lamp_that_was_never_heard_of_is_left_out(values: list[float]) -> None:
    assert lamps_of(values) == ()


def test_the_speed_at_which_a_lamp_lights_again_is_that_of_the_nearest_sample() -> None:
    lamp_signal = HelperSamples(np.arange(8.0), np.array([1, 1, 0, 0, 0, 1, 1, 1.0]))
    time_s = np.array([0.0, 1.0, 2.0, 3.0, 4.1, 5.2, 6.3])
    speed_kph = np.column_stack([time_s * 10, time_s * 10, time_s * 0, time_s * 10])
    track = WheelTrack(
        wheels=(SILENT, SILENT, SILENT, SILENT),
        time_s=time_s,
        speed_kph=speed_kph,  # one corner is dead: the car's speed is that of the others
        duration_s=10.0,
        helpers={"lamp_abs": lamp_signal},
    )
    (lamp,) = measure_lamps(track, 1.0)
    assert (lamp.lit_again_s, lamp.lit_again_kph) == (5.0, 52.0)
    (lost,) = measure_lamps(replace(track, time_s=time_s / 3), 1.0)
    assert lost.lit_again_kph is None


@pytest.mark.parametrize(
    ("after_moving_s", "as_usual"), [(None, None), (-2.0, True), (30.0, True), (30.1, False)]
)
def test_half_a_minute_is_usual(after_moving_s: float | None, *, as_usual: bool | None) -> None:
    # Common practice, no source.
    lamp = Lamp(
        "abs", lit_at_start=True, went_out_s=40.0, after_moving_s=after_moving_s, lit_again_s=None
    )
    assert lamp.out_as_usual is as_usual
