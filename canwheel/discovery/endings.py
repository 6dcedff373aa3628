"""Where a number ends: its lowest bit, told by flip rates and by what moves with the number."""

from collections.abc import Iterator
from typing import NamedTuple

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

_LEAST_REST = 0.02
"""Share of the sendings in which a number rests, so that a bit can be seen to rest with it."""

_FINE = 60
"""Values that the bits above a bit take at least, for their usual one to be rest and no other."""

_STILL, _BUSY = 0.03, 0.1
"""A bit that belongs to a number flips no more often than this while that rests, for it is not all
rest that looks so, and at least so often otherwise: others' highest bits hardly move."""


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
    bit falls from one to nought, and the reverse. Where the number moves by many steps at a time
    that shows nothing; then a bit that flips on the way and is still while the number rests takes
    part. A bit that does neither is noise, or belongs to something else.

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
        flips = _flips(before, after, low)
        if count < _FEWEST_MOVES:
            if flips is not None and flips.at_rest > _STILL:
                break
            last = place  # nothing speaks against it
            continue
        was, now = (before >> low) & 1, (after >> low) & 1
        fits = np.where(above == 1, (was == 1) & (now == 0), (was == 0) & (now == 1))
        chance = _BY_CHANCE + _SURE * float(np.sqrt(_BY_CHANCE * (1 - _BY_CHANCE) / count))
        rests = flips is not None and flips.at_rest <= _STILL and flips.on_the_way >= _BUSY
        if float(np.mean(fits[one_step])) < chance and not rests:
            break
        last = place
    return last


class _Flips(NamedTuple):
    """How often a bit flips while all above it rests, and otherwise."""

    at_rest: float
    on_the_way: float


def _flips(before: NDArray[np.int64], after: NDArray[np.int64], low: int) -> _Flips | None:
    """How often a bit flips, None where the bits above it hardly rest at one value, or always."""
    above = before >> (low + 1)
    steady = above == after >> (low + 1)
    if not steady.any() or len(np.unique(above)) < _FINE:
        return None  # so coarsely an even speed looks like rest
    values, counts = np.unique(above[steady], return_counts=True)
    resting = steady & (above == values[np.argmax(counts)])
    count = np.count_nonzero(resting)
    if count < max(_FEWEST_MOVES, _LEAST_REST * len(before)) or count == len(before):
        return None
    flipped = ((before ^ after) >> low & 1) > 0
    return _Flips(float(np.mean(flipped[resting])), float(np.mean(flipped[~resting])))
