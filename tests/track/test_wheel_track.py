"""Readings on other times, and parts of a drive taken out."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from canwheel.corners import Corner
from canwheel.outcome import Span
from canwheel.track.wheel_track import at_times, within

times = st.integers(0, 100).map(lambda tick: tick / 10)
spans = st.tuples(times, times).map(lambda pair: Span(min(pair), max(pair)))


@given(st.lists(times, max_size=40), st.lists(spans, max_size=6))
@settings(deadline=None)
def test_within_as_a_plain_loop_has_it(ticks: list[float], stretches: list[Span]) -> None:
    time_s = np.sort(np.array(ticks, float))
    expected = [any(s.from_s <= t <= s.to_s for s in stretches) for t in time_s]
    assert within(time_s, stretches).tolist() == expected


def test_a_corner_hidden_for_a_while_is_not_read_then(town: Any) -> None:
    track = town.track(rear_later_s=0.007)
    hidden = track.without({Corner.RL: [Span(20, 30), Span(70, 71)]})
    column = hidden.speed_kph[:, Corner.RL.position]
    inside = within(track.time_s, [Span(20, 30), Span(70, 71)])
    assert np.isnan(column[inside]).all()
    assert np.isnan(column).sum() <= inside.sum() + 8  # a sample beside each end at most
    own = hidden.wheel(Corner.RL)
    assert np.array_equal(np.isnan(own.speed_kph), within(own.time_s, [Span(20, 30), Span(70, 71)]))
    for other in (Corner.FL, Corner.FR, Corner.RR):
        assert hidden.wheel(other) is track.wheel(other)
        assert not np.isnan(hidden.speed_kph[:, other.position]).any()
    assert not np.isnan(track.speed_kph).any(), "the track itself is left as it was"


def test_nothing_hidden_is_the_same_track(town: Any) -> None:
    track = town.track()
    assert track.without({}) is track
    assert track.without({Corner.FL: []}) is track


def test_everything_hidden(town: Any) -> None:
    track = town.track()
    gone = track.without({Corner.FL: [track.whole]})
    assert np.isnan(gone.speed_kph[:, 0]).all()
    assert np.isnan(at_times(gone.wheel(Corner.FL), np.array([10.0, 20.0]))).all()


def test_no_reading_before_the_first_and_after_the_last_sample(town: Any) -> None:
    wheel = town.track().wheel(Corner.FL)
    asked = np.array([-1.0, -0.01, 0.0, 100.005, 155.99, 157.0])
    assert np.isnan(at_times(wheel, asked)).tolist() == [True, False, False, False, False, True]


def test_between_two_samples_it_is_linear(town: Any) -> None:
    wheel = town.track().wheel(Corner.RR)
    asked = wheel.time_s[1000:1010] + 0.005
    expected = 0.75 * wheel.speed_kph[1000:1010] + 0.25 * wheel.speed_kph[1001:1011]
    assert at_times(wheel, asked) == pytest.approx(expected)
