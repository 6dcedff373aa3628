"""The recorder's clock: steps, repeats, leaps and batches never reach the judgement."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from canwheel.errors import CaptureError
from canwheel.track.clock import (
    correct_clock,
    require_running_clock,
    spread_batches,
    usual_period_s,
)

SECOND = 1_000_000_000
YEAR_S = 365 * 86400


def stamps(*times_s: float) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    return np.round(np.array(times_s) * SECOND).astype(np.int64)


def test_a_good_clock_is_left_alone() -> None:
    clock = correct_clock(stamps(100, 100.02, 100.04), 99 * SECOND)
    assert clock.time_s == pytest.approx([1.0, 1.02, 1.04])
    assert clock.steps == ()


@pytest.mark.parametrize("by_s", [-0.3, -3600.0, -YEAR_S, 7200.0, YEAR_S])
def test_time_goes_on_where_it_was_when_the_clock_steps(by_s: float) -> None:
    times_s = (100, 100.02, 100.04, 100.06 + by_s, 100.08 + by_s)
    clock = correct_clock(stamps(*times_s), 100 * SECOND)
    assert clock.time_s == pytest.approx([0, 0.02, 0.04, 0.04, 0.06])
    (step,) = clock.steps
    assert (step.from_s, step.to_s) == (pytest.approx(0.04), pytest.approx(0.04))


def test_there_and_back_again() -> None:
    # Set an hour and a half ahead by the time service, then set back by hand.
    clock = correct_clock(stamps(0, 1, 5402, 5403, 4, 5), 0)
    assert clock.time_s == pytest.approx([0, 1, 1, 2, 2, 3])
    assert len(clock.steps) == 2


def test_a_long_wait_is_no_step() -> None:
    clock = correct_clock(stamps(0, 1, 1801, 1802), 0)
    assert clock.time_s == pytest.approx([0, 1, 1801, 1802])
    assert clock.steps == ()


def test_frames_a_little_out_of_order_are_no_step() -> None:
    clock = correct_clock(stamps(0, 0.020, 0.012, 0.040), 0)
    assert clock.time_s == pytest.approx([0, 0.020, 0.012, 0.040])
    assert clock.steps == ()


def test_no_frames() -> None:
    clock = correct_clock(np.empty(0, np.int64), 0)
    assert len(clock.time_s) == 0
    assert clock.steps == ()


@given(
    st.lists(st.integers(-2 * YEAR_S * SECOND, 2 * YEAR_S * SECOND), min_size=1, max_size=40),
    st.integers(0, SECOND),
)
@settings(deadline=None)
def test_whatever_the_stamps_time_hardly_ever_falls(times_ns: list[int], first_ns: int) -> None:
    clock = correct_clock(np.array(times_ns, np.int64), first_ns)
    assert np.all(np.diff(clock.time_s) > -0.0501)
    assert np.all(np.isfinite(clock.time_s))


@pytest.mark.parametrize("frames", [4, 35, 100])
@pytest.mark.parametrize("each_s", [0.0, 1e-4])
def test_the_period_of_batches(frames: int, each_s: float) -> None:
    # An adapter that hands over so many frames at once, with one and the same stamp, or as quickly
    # as it can.
    batch_s = np.arange(40) * 0.01 * frames
    time_s = (batch_s[:, None] + each_s * np.arange(frames)).ravel()
    assert usual_period_s(time_s) == pytest.approx(0.01)
    assert spread_batches(time_s, 0.01) == pytest.approx(np.arange(len(time_s)) * 0.01)


def test_the_period_of_a_message_with_lost_frames() -> None:
    time_s = np.delete(np.arange(1000) * 0.02, [50, 51, 52, 300, 700])
    assert usual_period_s(time_s) == pytest.approx(0.02)


def test_the_period_of_one_or_two_samples() -> None:
    assert np.isnan(usual_period_s(np.array([])))
    assert np.isnan(usual_period_s(np.array([1.0])))
    assert usual_period_s(np.array([1.0, 1.5])) == pytest.approx(0.5)


def test_repeated_stamps_are_spread_over_the_time_to_the_next() -> None:
    time_s = np.repeat([0.0, 0.04, 0.08], 4)
    assert spread_batches(time_s, 0.01) == pytest.approx(np.arange(12) * 0.01)


def test_no_sample_is_moved_by_more_than_its_period() -> None:
    spread = spread_batches(np.array([0.0, 0.0, 5.0, 5.0]), 0.02)
    assert spread == pytest.approx([0.0, 0.02, 5.0, 5.02])


def test_all_frames_with_one_stamp() -> None:
    # Then even the usual period is nought.
    spread = spread_batches(np.zeros(5), 0.0)
    assert np.all(np.diff(spread) > 0)
    assert spread[-1] < 0.001


def test_times_without_a_repeat_are_returned_as_they_are() -> None:
    time_s = np.array([0.0, 0.1, 0.2])
    assert spread_batches(time_s, 0.1) is time_s


@given(st.lists(st.integers(0, 200), min_size=1, max_size=60), st.just(0.0) | st.floats(1e-4, 1.0))
@settings(deadline=None)
def test_spread_times_rise(ticks: list[int], period_s: float) -> None:
    time_s = np.sort(np.array(ticks, float)) / 10
    spread = spread_batches(time_s, period_s)
    assert np.all(np.diff(spread) > 0)
    assert spread[0] == time_s[0]
    assert np.all(spread <= time_s + np.arange(len(ticks)) * max(period_s, 1e-6) + 1e-9)


def test_stamps_that_stand_still_are_refused() -> None:
    for stamp in (0, 16_000_000):
        with pytest.raises(CaptureError, match="stand still") as refused:
            require_running_clock(np.full(500, stamp), "drive.log")
        assert str(refused.value).startswith("drive.log: ")
    barely = np.arange(500, dtype=np.int64) * 10_000  # no bus carries 100,000 frames a second
    with pytest.raises(CaptureError, match="stand still"):
        require_running_clock(barely, "drive.log")


def test_stamps_that_fall_or_are_in_no_order_are_refused() -> None:
    rising = np.arange(1000, dtype=np.int64) * 20_000_000
    with pytest.raises(CaptureError, match="fall from frame to frame"):
        require_running_clock(rising[::-1], "drive.log")
    with pytest.raises(CaptureError, match="in no order"):
        require_running_clock(np.random.default_rng(1).permutation(rising), "drive.log")


def test_stamps_as_recorders_give_them_are_let_pass() -> None:
    rising = np.arange(1000, dtype=np.int64) * 20_000_000
    stepped = rising.copy()
    stepped[500:] -= 3600 * SECOND
    in_batches = rising // (8 * 20_000_000)  # eight frames to a stamp
    disordered = rising.reshape(-1, 8).copy()
    disordered[:, [0, 1]] = disordered[:, [1, 0]]
    shaken = rising + np.random.default_rng(2).integers(-40_000_000, 40_000_000, 1000)
    batches = in_batches * 160_000_000
    for time_ns in (rising, stepped, batches, disordered.ravel(), shaken, rising[:3] * 0):
        require_running_clock(time_ns, "drive.log")
