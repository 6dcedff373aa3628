"""Bit fields of a stream that behave as numbers, told by which bits flip and how values move.

The bits of a payload are looked at in a line of falling significance, once for each byte order. A
number's lowest bit flips often and the bit after it belongs to something else: a drop of the flip
rate, the end of a byte, a counter. From each such end the number is read upwards as far as its
values go on moving in small steps: a bit too few makes it wrap, a bit too many makes it jump.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from canwheel.definitions.columns import extract_bits
from canwheel.definitions.layout import ByteOrder
from canwheel.discovery.endings import last_that_takes_part, possible_ends
from canwheel.discovery.places import (
    BYTE_ORDERS,
    LOOKED_AT,
    BitRates,
    Place,
    bit_field,
    padded,
    spread,
    within_a_byte,
)
from canwheel.discovery.streams import Stream

FieldKind = Literal["number", "pulse counter"]

SHORTEST, LONGEST = 8, 16
"""Lengths that are looked for: below 8 bits no wheel speed is worth judging. [bits]"""

_FEWEST_STEPS = 12
"""Raw steps that a number must cover for its movement to be seen."""

_MOST_JUMPS = 0.02
"""Share of steps that may be jumps; a sensor that fails now and then has a few."""

_ONE_WAY = 0.98
"""Share of the steps that go one way in a counter; the rest are sendings that got lost."""

_ALL_ONE_WAY = 0.998
"""The same for one that does not start again in the drive: a speed, even one that only rises,
wavers."""

_PAIRS = 4000
"""Pairs of neighbouring sendings by which a number's lowest bit is told."""

_SHORT = 8
"""A number of so many bits that can only end at one place ends there. [bits]"""

_RISE, _RISE_FLOOR = 2.0, 0.002
"""A bit may flip more often than the two below it by so much, and still be the same number's: in
an even pull-away a number's steps are alike, and some bit of it flips far less than its
neighbours."""

_ROUGHEST = 0.08
"""Usual step between two looks, as a share of the range: a speed that is looked at every 0.1 s
moves by a hundredth of its range, random bits by a third."""


@dataclass(frozen=True, slots=True, eq=False)
class Field:
    """A bit field of one stream.

    Attributes
    ----------
    stream : index into the streams.
    byte_order : of the field.
    lsb : place of its lowest bit in the line of falling significance of that byte order.
    length : bits up to its highest one that ever moved.
    kind : what it counts in: a value, or pulses modulo 2**length.
    time_s : (k,) when it was looked at. [s]
    value : (k,) raw values; of a pulse counter, pulses a second.
    roughness : mean step between two looks, as a share of the range.
    """

    stream: int
    byte_order: ByteOrder
    lsb: int
    length: int
    kind: FieldKind
    time_s: NDArray[np.float64]
    value: NDArray[np.float64]
    roughness: float

    @property
    def line_bits(self) -> range:
        """The places that it takes up in the line."""
        return range(self.lsb - self.length + 1, self.lsb + 1)

    @property
    def place(self) -> Place:
        """Where it ends."""
        return Place(self.stream, self.byte_order, self.lsb)


@dataclass(frozen=True, slots=True, eq=False)
class _Looks:
    """What is looked at of a stream.

    Attributes
    ----------
    stream, number : whose, and its index.
    time_s, data : (k,) and (k, w), sendings spread over the drive.
    before, after : (m, w) each, neighbouring sendings.
    """

    stream: Stream
    number: int
    time_s: NDArray[np.float64]
    data: NDArray[np.uint8]
    before: NDArray[np.uint8]
    after: NDArray[np.uint8]

    @classmethod
    def at(cls, stream: Stream, number: int) -> "_Looks":
        """Look at a stream."""
        rows = spread(len(stream), LOOKED_AT)
        pairs = spread(len(stream) - 1, _PAIRS)
        return cls(
            stream=stream,
            number=number,
            time_s=stream.time_s[rows],
            data=padded(stream.data[rows]),
            before=padded(stream.data[pairs]),
            after=padded(stream.data[pairs + 1]),
        )

    def field(self, byte_order: ByteOrder, lsb: int, length: int) -> Field | None:
        """Return the number at a place, None where the values do not behave as one's."""
        bits = bit_field(byte_order, lsb, length, self.stream.bits)
        value = extract_bits(self.data, bits).astype(np.float64)
        roughness = _roughness(value, length)
        if roughness is None:
            return None
        return Field(self.number, byte_order, lsb, length, "number", self.time_s, value, roughness)


def fields_of(stream: Stream, number: int, rates: BitRates) -> list[Field]:
    """Return the fields of a stream that behave as numbers, in both byte orders.

    Parameters
    ----------
    stream : whose.
    number : its index.
    rates : its bits' flip rates.
    """
    looks = _Looks.at(stream, number)
    fields = []
    for byte_order in BYTE_ORDERS:
        by_top: dict[int, list[Field]] = {}
        for lsb in possible_ends(rates.rate[byte_order]):
            field = _ending_at(looks, byte_order, lsb, rates.rate[byte_order])
            if field is not None:
                by_top.setdefault(field.line_bits.start, []).append(field)
        for alike in by_top.values():
            field = _rightly_ended(looks, alike)
            if byte_order == "big_endian" or not within_a_byte(field.lsb, field.length):
                fields.append(field)  # within a byte both byte orders are the same bits
    return fields


def field_at(stream: Stream, place: Place, length: int) -> Field | None:
    """Return the number at a given place, None where the values do not behave as one's.

    Parameters
    ----------
    stream : the one that the place names.
    place, length : where it ends, and its bits.
    """
    return _Looks.at(stream, place.stream).field(place.byte_order, place.lsb, length)


def _ending_at(
    looks: _Looks, byte_order: ByteOrder, lsb: int, rate: NDArray[np.float64]
) -> Field | None:
    """Return the number that ends at a place, None for none."""
    bits = bit_field(byte_order, lsb, min(LONGEST, lsb + 1), looks.stream.bits)
    whole = extract_bits(looks.data, bits).astype(np.int64)
    length = _best_length(whole, rate, lsb)
    return None if length is None else looks.field(byte_order, lsb, length)


def _rightly_ended(looks: _Looks, alike: list[Field]) -> Field:
    """Of numbers that begin at one bit, return the one that ends where the number does.

    That is the first of the possible ends at or after the last bit that takes part in the number's
    movement.
    """
    alike = sorted(alike, key=lambda field: field.lsb)
    longest = alike[-1]
    if len(alike) == 1 and longest.length <= _SHORT:
        return longest
    bits = bit_field(longest.byte_order, longest.lsb, longest.length, looks.stream.bits)
    before, after = (
        extract_bits(data, bits).astype(np.int64) for data in (looks.before, looks.after)
    )
    last = last_that_takes_part(before, after, longest.length)
    top = longest.line_bits.start
    return next((field for field in alike if field.lsb - top >= last), longest)


def _best_length(whole: NDArray[np.int64], rate: NDArray[np.float64], lsb: int) -> int | None:
    """Return how long the number is that ends here, None when nothing of it moves.

    Read upwards from its lowest bit, each bit flips less often than those below it; a bit that
    flips far more often is the end of the number before. Among the lengths whose highest bit
    moves, the best is the one with the fewest jumps: steps over a quarter of what its bits hold.
    """
    best: tuple[int, int] | None = None
    below = (rate[lsb], rate[lsb])
    for length in range(1, min(LONGEST, lsb + 1) + 1):
        flips = rate[lsb - length + 1]
        if flips == 0:
            continue
        if flips > _RISE * max(below) + _RISE_FLOOR:
            break
        below = (below[1], flips)
        raw = whole & ((1 << length) - 1)
        jumps = int(np.count_nonzero(np.abs(np.diff(raw)) > (1 << length) / 4))
        if best is None or jumps <= best[1]:
            best = (length, jumps)
    return None if best is None else best[0]


def _roughness(value: NDArray[np.float64], length: int) -> float | None:
    """Return the mean step as a share of the range; None when this is no measured number's."""
    low, high = np.percentile(value, (0.5, 99.5))
    span = float(high - low)
    step = np.diff(value)
    jump = np.abs(step) > (1 << length) / 4
    if span < _FEWEST_STEPS or np.mean(jump) > _MOST_JUMPS or _only_rises(step[~jump], jump):
        return None
    roughness = float(np.mean(np.abs(step))) / span
    return roughness if roughness < _ROUGHEST else None


def _only_rises(step: NDArray[np.float64], jump: NDArray[np.bool_]) -> bool:
    """Whether values rise and rise, or fall and fall, and then start again, as a counter's do."""
    moves = step[step != 0]
    if len(moves) == 0:
        return True
    rising = float(np.mean(moves > 0))
    return max(rising, 1 - rising) > (_ONE_WAY if jump.any() else _ALL_ONE_WAY)
