"""Where a number ends: its lowest bit, told by flip rates and by what moves with the number."""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from canwheel.discovery.places import BYTE_BITS

_DROP = 0.6
"""After a number's lowest bit, the next one flips less than this share of its rate, unless ..."""

_ALWAYS = 0.9
"""... it flips nearly every time, as a counter's lowest bit does and no measured number's."""

_FEWEST_BITS = 4
"""A number has more bits than this above its lowest one."""

_BY_CHANCE, _SURE = 0.25, 3.0
"""Share of a number's single steps with which a bit goes along by chance, and the standard
deviations by which it must do so oftener. The lowest bit of a number that wavers by one step goes
along with two thirds of them, by two steps with 37 %, by three with 30 % (computed)."""

_FEWEST_MOVES = 40
"""Single steps below which nothing can be said of a bit."""


def possible_ends(rate: NDArray[np.float64]) -> Iterator[int]:
    """Yield the places of a line where a number can end: its lowest bit.

    Parameters
    ----------
    rate : (bits,) how often each bit flips, in the line of falling significance.
    """
    after = np.append(rate[1:], 0.0)
    byte_end = np.arange(len(rate)) % BYTE_BITS == BYTE_BITS - 1
    drop = (after < _DROP * rate) | (after > _ALWAYS)
    usable = (rate > 0) & (rate <= _ALWAYS) & (drop | byte_end)
    for lsb in np.flatnonzero(usable).tolist():
        if lsb >= _FEWEST_BITS - 1:
            yield lsb


def last_that_takes_part(before: NDArray[np.int64], after: NDArray[np.int64], length: int) -> int:
    """Return which bit is the last that moves with the number, counted from the highest one.

    While a number moves by one step its next lower bit takes part: the number goes up where that
    bit falls from one to nought, and the reverse. A bit that does not is noise, or belongs to
    something else.

    Parameters
    ----------
    before, after : (n,) raw values in neighbouring sendings.
    length : their bits.
    """
    last = 0
    for place in range(1, length):
        low = length - 1 - place
        above = (after >> (low + 1)) - (before >> (low + 1))
        one_step = np.abs(above) == 1
        count = np.count_nonzero(one_step)
        if count < _FEWEST_MOVES:
            last = place  # nothing speaks against it
            continue
        was, now = (before >> low) & 1, (after >> low) & 1
        fits = np.where(above == 1, (was == 1) & (now == 0), (was == 0) & (now == 1))
        chance = _BY_CHANCE + _SURE * float(np.sqrt(_BY_CHANCE * (1 - _BY_CHANCE) / count))
        if float(np.mean(fits[one_step])) < chance:
            break
        last = place
    return last
