"""Where a number ends, on numbers made by hand."""

import numpy as np
import pytest

from canwheel.discovery.endings import last_that_takes_part
from canwheel.discovery.fields import _best_length

BITS = 12
"""Of the number; four other bits stand below it."""


def pairs(number: np.ndarray, below: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Neighbouring raw values of a number of 12 bits with four bits below it."""
    raw = number.astype(np.int64) << 4 | below
    return raw[:-1], raw[1:]


def pull_aways(step: float) -> np.ndarray:
    """Rest, an even pull-away, an even braking, and rest, four times."""
    up = np.arange(0, 3000, step)
    once = np.concatenate([np.zeros(200), up, up[::-1], np.zeros(200)])
    return np.tile(once, 4)


STEPS = (1.0, 3.3, 12.6, 25.2, 40.9)


@pytest.mark.parametrize("step", STEPS)
def test_number_ends_where_bits_begin_that_flip_at_rest_too(step: float) -> None:
    number = pull_aways(step)
    chance = np.random.default_rng(1).integers(0, 16, len(number))
    before, after = pairs(number, chance)
    assert last_that_takes_part(before, after, BITS + 4) == BITS - 1


@pytest.mark.parametrize("step", STEPS)
def test_lowest_bits_without_a_pattern_are_the_numbers_if_they_rest_with_it(step: float) -> None:
    number = pull_aways(step)
    moving = np.gradient(number) != 0
    noise = np.random.default_rng(1).integers(0, 16, len(number)) * moving
    before, after = pairs(number, noise)
    assert last_that_takes_part(before, after, BITS + 4) == BITS + 3


@pytest.mark.parametrize("step", STEPS)
def test_counter_below_does_not_belong_to_it(step: float) -> None:
    number = pull_aways(step)
    before, after = pairs(number, np.arange(len(number)) % 16)
    assert last_that_takes_part(before, after, BITS + 4) == BITS - 1


def test_length_is_read_past_a_bit_that_flips_less_than_its_neighbours() -> None:
    # Measured on a simulated even pull-away of 25 steps a sending: the bit for 16 flips least.
    rate = np.array([0.12, 0.25, 0.48, 0.23, 0.37, 0.38, 0.45, 0.45])
    number = np.abs(np.arange(-255, 256))
    assert _best_length(number, rate, 7) == 8


def test_length_ends_before_the_number_above() -> None:
    rate = np.array([0.3, 0.45, 0.0, 0.01, 0.02, 0.04, 0.1, 0.2, 0.4])
    number = np.abs(np.arange(-127, 128))
    above = np.random.default_rng(1).integers(0, 4, len(number)) << 7
    assert _best_length(number | above, rate, 8) == 6
