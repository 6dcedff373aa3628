"""The last minute as a drawing: nothing short is lost, and no value is not zero."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from canwheel.views.past import PAST_S, draw_past, full_scale_kph


def drawn(
    speed_kph: np.ndarray, *, period_s: float = 0.02, width: int = 120, rows: int = 4
) -> list[str]:
    time_s = np.arange(len(speed_kph)) * period_s
    text = draw_past(time_s, speed_kph, width=width, rows=rows, full_kph=100.0)
    lines = text.split("\n")
    assert len(lines) == rows
    assert {len(line) for line in lines} == {width}
    return lines


def heights(lines: list[str]) -> list[int]:
    """Eighths of a line filled in each column, by the code points of the block characters."""
    fill = [[0 if sign == " " else ord(sign) - 0x2580 for sign in line] for line in lines]
    return list(np.sum(fill, axis=0))


def test_a_steady_speed_fills_its_share() -> None:
    assert heights(drawn(np.full(6000, 50.0))) == [16] * 120


@given(at=st.integers(3001, 5998))
def test_one_sample_at_zero_is_always_drawn(at: int) -> None:
    """A drop-out of 20 ms in a minute: half a second's column shows the least of its time."""
    speed_kph = np.full(6000, 80.0)
    speed_kph[at] = 0.0
    assert heights(drawn(speed_kph)).count(1) == 1


def test_no_value_is_empty_and_zero_is_a_line() -> None:
    speed_kph = np.concatenate([np.full(1500, np.nan), np.zeros(1500)])
    assert heights(drawn(speed_kph)) == [0] * 60 + [1] * 60


def test_slow_messages_leave_no_holes() -> None:
    assert heights(drawn(np.full(100, 25.0), period_s=1.0)) == [8] * 120


def test_a_short_drive_stands_at_the_right() -> None:
    marks = heights(drawn(np.full(1500, 25.0)))  # 30 s
    assert marks[:58] == [0] * 58
    assert marks[62:] == [8] * 58


@pytest.mark.parametrize("count", [0, 1])
def test_next_to_nothing_can_be_drawn(count: int) -> None:
    drawn(np.full(count, 10.0))


def test_the_scale_is_the_fastest_corner_s_of_the_last_minute() -> None:
    time_s = np.arange(0, 200.0, 0.1)
    speed_kph = np.zeros((len(time_s), 4))
    assert full_scale_kph(time_s, speed_kph) == 20.0
    speed_kph[time_s < 200 - PAST_S - 1] = 130.0
    assert full_scale_kph(time_s, speed_kph) == 20.0
    speed_kph[-5, 2] = 61.5
    speed_kph[-6, 1] = np.nan
    assert full_scale_kph(time_s, speed_kph) == 61.5
    assert full_scale_kph(time_s[:0], speed_kph[:0]) == 20.0
