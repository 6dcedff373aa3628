"""The binomial distribution's upper tail, against scipy's."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binom

from canwheel.track.binomial import binomial_tail


@given(st.integers(0, 60), st.integers(0, 60), st.floats(0, 1))
@settings(deadline=None)
def test_the_tail_as_scipy_has_it(count: int, trials: int, share: float) -> None:
    expected = binom.sf(count - 1, trials, share)
    assert binomial_tail(count, trials, share) == pytest.approx(expected, rel=1e-9, abs=1e-300)


@pytest.mark.parametrize(("count", "trials", "share"), [(1, 2, -0.1), (1, 2, 1.1), (-1, 2, 0.5)])
def test_an_impossible_tail(count: int, trials: int, share: float) -> None:
    with pytest.raises(ValueError, match="no binomial tail"):
        binomial_tail(count, trials, share)
