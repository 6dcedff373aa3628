"""What lasts a single sample is still drawn, and what was not recorded is not."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from canwheel.views.page.thinning import thin_line

HOUR = np.arange(0.0, 3600.0, 0.02)


@given(at=st.integers(0, len(HOUR) - 1), points=st.sampled_from([200, 801, 1800]))
def test_a_drop_out_of_one_sample_in_an_hour_is_drawn(at: int, points: int) -> None:
    speed = 60 + np.sin(HOUR / 20)
    speed[at] = 0.0
    time_s, thinned = thin_line(HOUR, speed, points=points)
    assert len(thinned) <= points + 2
    assert thinned.min() == 0.0
    assert time_s[int(thinned.argmin())] == HOUR[at]
    assert thinned.max() == speed.max()


def test_every_pair_of_pixels_has_its_least_and_its_most() -> None:
    rng = np.random.default_rng(1)
    speed = rng.uniform(0, 100, len(HOUR))
    time_s, thinned = thin_line(HOUR, speed, points=1000)
    # Outside reference: numpy's own minimum and maximum over each of the 500 stretches.
    for stretch in np.array_split(np.arange(len(HOUR)), 500)[1:-1]:
        inside = (time_s >= HOUR[stretch[0]] - 1e-9) & (time_s <= HOUR[stretch[-1]] + 1e-9)
        assert thinned[inside].min() <= np.quantile(speed[stretch], 0.05)
        assert thinned[inside].max() >= np.quantile(speed[stretch], 0.95)


def test_a_short_column_stays_as_it_is() -> None:
    time_s, thinned = thin_line(HOUR[:50], HOUR[:50] * 2)
    assert time_s.tolist() == HOUR[:50].tolist()
    assert thinned.tolist() == (HOUR[:50] * 2).tolist()


@pytest.mark.parametrize("count", [60, 6000])
def test_the_line_breaks_where_nothing_was_recorded(count: int) -> None:
    time_s = np.arange(count) * 0.02
    speed = np.full(count, 30.0)
    speed[count // 2 : count // 2 + 3] = np.nan
    later = np.where(np.arange(count) > count * 3 // 4, time_s + 5.0, time_s)
    _, thinned = thin_line(later, speed, points=400)
    assert np.isnan(thinned).sum() == 2
    assert not np.isnan(thinned[[0, -1]]).any()


def test_nothing_known_is_nothing_drawn() -> None:
    time_s, thinned = thin_line(HOUR[:10], np.full(10, np.nan))
    assert len(time_s) == len(thinned) == 0
