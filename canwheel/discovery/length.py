"""How far a number reaches above the bits that moved: bits that stand still may belong to it."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from canwheel.discovery.fields import LONGEST
from canwheel.discovery.places import BYTE_BITS, Place
from canwheel.discovery.survey import Survey

_RANGE = (1.6, 18.0)
"""What a wheel-speed field can hold, over the fastest of the drive: fields reach 150 to 700 km/h
(common practice, no source), drives 40 to 90."""

_USUAL_RANGE = 5.5


def full_length(
    survey: Survey,
    places: Sequence[Place],
    length: int,
    steps: NDArray[np.float64],
    rest_raw: float,
) -> int:
    """Return the length that is likeliest of those that the still bits above leave open.

    No data can show whether a bit that never moved belongs to the number below it or to nothing. A
    length that ends at a byte's edge, or at the next of the four, is preferred if the range that it
    gives is a likely one.

    Parameters
    ----------
    survey : the bus.
    places : where each of the four ends.
    length : bits that moved.
    steps : (t,) raw steps above rest.
    rest_raw : raw value of rest within `length` bits.
    """
    room = min(_room(survey, place, places, length) for place in places)
    top = max(1.0, float(np.percentile(steps, 99.5)))
    best = length
    best_apart = np.inf
    for one in range(length, min(LONGEST, length + room) + 1):
        above = still_value(survey, places[0], length, one)
        reach = ((1 << one) - rest_raw - above) / top
        apart = abs(np.log(max(reach, 1e-3) / _USUAL_RANGE))
        ends = all((place.lsb - one + 1) % BYTE_BITS == 0 for place in places)
        fills = one == length + room and _is_packed(places, one)
        if (ends or fills) and _RANGE[0] <= reach <= _RANGE[1]:
            apart -= 2.0
        if apart < best_apart:
            best, best_apart = one, apart
    return best


def _room(survey: Survey, place: Place, places: Sequence[Place], length: int) -> int:
    """How many bits above a field stand still and belong to none of the others."""
    rate = survey.rates[place.stream].rate[place.byte_order]
    taken = {
        bit
        for other in places
        if other.stream == place.stream and other.lsb != place.lsb
        for bit in range(other.lsb - length + 1, other.lsb + 1)
    }
    room = 0
    for bit in range(place.lsb - length, -1, -1):
        if rate[bit] > 0 or bit in taken:
            break
        room += 1
    return room


def still_value(survey: Survey, place: Place, length: int, longer: int) -> int:
    """What the still bits above add to the value."""
    ones = survey.rates[place.stream].ones[place.byte_order]
    return sum(
        1 << bit
        for bit in range(length, longer)
        if ones[place.lsb - bit] > 0.5  # noqa: PLR2004
    )


def _is_packed(places: Sequence[Place], length: int) -> bool:
    """Whether the fields stand right beside one another at that length."""
    by_stream: dict[int, list[int]] = {}
    for place in places:
        by_stream.setdefault(place.stream, []).append(place.lsb)
    return all(len(at) > 1 and np.all(np.diff(sorted(at)) == length) for at in by_stream.values())
