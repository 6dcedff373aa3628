"""Where a fourth field belongs beside three live ones, and what stands there."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canwheel.definitions.layout import BitField
from canwheel.discovery.comparing import MOVING
from canwheel.discovery.fields import Field
from canwheel.discovery.places import BYTE_BITS, Place
from canwheel.discovery.proposal import FieldState
from canwheel.discovery.survey import Survey

_LIKE_THE_OTHERS = 0.12
"""A fourth that is alive at times is then as near to the others as this, of the speed."""

_ALIVE_FROM = 0.15
"""Share of the driving for which it must be, to be called alive at times."""

_MOSTLY_ALIVE = 0.5
"""A fourth that wanders while it is away from the others must be near them for this share."""

_STANDS = 0.9
"""Share of the time away from the others for which a dead or sleeping one stands at one value."""

_PACE = 1.7
"""Messages whose periods differ by less than this factor can belong together."""

_WAS_ALIVE = 0.01
"""Share of the driving for which a dead one must have been near the others to have been alive."""

_EVIDENCE: dict[FieldState, float] = {
    "live": 0.0,
    "faulty": 0.0,
    "no value": 0.05,
    "silent": 0.1,
    "frozen": 0.15,
}
"""What a fourth's state adds to the cost: bits that mean nothing stand at some value as well, at
nought most often."""


@dataclass(frozen=True, slots=True)
class Fourth:
    """A place where the fourth field can stand.

    Attributes
    ----------
    place : where it ends.
    state : what stands there.
    regular : how well the place completes the other three, 0 to 1.
    was_alive : whether it went along with them for a while at least.
    """

    place: Place
    state: FieldState
    regular: float
    was_alive: bool

    @property
    def cost(self) -> float:
        """How far it is from the ideal."""
        return 0.5 * (1 - self.regular) + (0.0 if self.was_alive else _EVIDENCE[self.state])


def fourth_places(
    survey: Survey, chosen: Sequence[Field], length: int
) -> Iterator[tuple[Place, float]]:
    """Yield the places that complete three fields to four, and how regularly each does.

    Parameters
    ----------
    survey : the bus.
    chosen : the three.
    length : bits of each.
    """
    by_stream: dict[int, list[int]] = {}
    for field in chosen:
        by_stream.setdefault(field.stream, []).append(field.lsb)
    order = chosen[0].byte_order
    shares = sorted(len(at) for at in by_stream.values())
    if shares == [3]:
        yield from _in_one_message(survey, chosen, length)
    elif shares == [1, 2]:
        full = next(at for at in by_stream.values() if len(at) > 1)
        stream, (taken,) = next((s, at) for s, at in by_stream.items() if len(at) == 1)
        room = range(length - 1, survey.streams[stream].bits)
        yield from (
            (Place(stream, order, lsb), 1.0) for lsb in full if lsb != taken and lsb in room
        )
    else:
        yield from _in_another_message(survey, chosen)


def _in_one_message(
    survey: Survey, chosen: Sequence[Field], length: int
) -> Iterator[tuple[Place, float]]:
    a, b, c = sorted(field.lsb for field in chosen)
    stream, order = chosen[0].stream, chosen[0].byte_order
    bits = survey.streams[stream].bits
    for lsb in dict.fromkeys((a + c - b, b + c - a, a + b - c)):
        four = sorted((a, b, c, lsb))
        gaps = np.diff(four)
        if not length - 1 <= lsb < bits or np.min(gaps) < length:
            continue
        regular = 0.9 if np.all(gaps == gaps[0]) else 0.7
        first = bits - 1 - four[-1] if order == "little_endian" else four[0] + 1
        yield Place(stream, order, lsb), regular + _begins_evenly(first)


def _begins_evenly(first: int) -> float:
    """Up to 0.1 where four fields begin at an even place of the payload, as blocks of them do."""
    evenness = max((size for size in (8, 16, 32, 64) if first % size == 0), default=4)
    return 0.025 * float(np.log2(evenness / 4))


def _in_another_message(survey: Survey, chosen: Sequence[Field]) -> Iterator[tuple[Place, float]]:
    """Messages like those of the three, at the same place; the nearest identifiers first."""
    first = survey.streams[chosen[0].stream]
    ids = [survey.streams[field.stream].can_id for field in chosen]
    for number, stream in enumerate(survey.streams):
        slow, fast = max(stream.period_s, first.period_s), min(stream.period_s, first.period_s)
        alike = stream.bits == first.bits and slow < _PACE * fast
        alike &= (stream.channel, stream.extended) == (first.channel, first.extended)
        if alike and stream.can_id not in ids:
            apart = min(abs(stream.can_id - one) for one in ids)
            place = Place(number, chosen[0].byte_order, chosen[0].lsb)
            yield place, 1.0 / (1.0 + apart / (2 * BYTE_BITS))


def state_of(
    value: NDArray[np.float64], raw: NDArray[np.float64], rest_raw: float, bits: BitField
) -> tuple[FieldState, bool] | None:
    """Say what a column is beside three live ones, and whether it was alive for a while.

    None when it has nothing to do with them.

    Parameters
    ----------
    value : (t,) raw values of the fourth.
    raw : (t, 3) those of the live ones.
    rest_raw : at which the car stands.
    bits : where the fourth stands.
    """
    middle = np.median(raw, axis=1)
    speed = np.abs(middle - rest_raw)
    moving = speed > MOVING * float(np.percentile(speed, 99))
    near = np.abs(value - middle)[moving] <= _LIKE_THE_OTHERS * speed[moving] + 1
    away = value[moving][~near]
    if not len(away):
        return "faulty", True
    values, counts = np.unique(away, return_counts=True)
    usual = float(values[np.argmax(counts)])
    alive = float(np.mean(near))
    was_alive = alive >= _WAS_ALIVE
    if counts.max() < _STANDS * len(away):  # it wanders
        return ("faulty", True) if alive > _MOSTLY_ALIVE else None
    if usual >= (1 << bits.length) - 2:
        return "no value", was_alive
    if alive >= _ALIVE_FROM:
        return "faulty", True
    return "silent" if usual in (rest_raw, 0.0) else "frozen", was_alive
