"""Bit fields of a stream that behave as numbers, told by which bits flip and how values move.

The bits of a payload are looked at in a line of falling significance, once for each byte order. A
number's lowest bit flips often and the bit after it belongs to something else: a drop of the flip
rate, the end of a byte, a counter. From each such end the number is read upwards as far as its
values go on moving in small steps: a bit too few makes it wrap, a bit too many makes it jump.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from canwheel.definitions.columns import extract_bits
from canwheel.definitions.layout import BitField, ByteOrder
from canwheel.discovery.streams import Stream

FieldKind = Literal["number", "pulse counter"]

BYTE_ORDERS: tuple[ByteOrder, ...] = ("big_endian", "little_endian")

SHORTEST, LONGEST = 8, 16
"""Lengths that are looked for: below 8 bits no wheel speed is worth judging. [bits]"""

_LOOKED_AT = 6000
"""Sendings of a stream that are looked at for a first opinion, evenly spread over the drive."""

_DROP = 0.6
"""After a number's lowest bit, the next one flips less than this share of its rate, unless ..."""

_ALWAYS = 0.9
"""... it flips nearly every time, as a counter's lowest bit does and no measured number's."""

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

_BY_CHANCE, _SURE = 0.25, 3.0
"""Share of a number's single steps with which a bit goes along by chance, and the standard
deviations by which it must do so oftener. The lowest bit of a number that wavers by one step goes
along with two thirds of them, by two steps with 37 %, by three with 30 % (computed)."""

_FEWEST_MOVES = 40
"""Single steps below which nothing can be said of a bit."""

_RISE, _RISE_FLOOR = 2.0, 0.002
"""A bit may flip more often than the one below it by so much, and still be the same number's."""

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


@dataclass(frozen=True, slots=True, eq=False)
class BitRates:
    """How often each bit of a stream flips between one sending and the next.

    Attributes
    ----------
    rate : by byte order, (bits,) in the line of falling significance.
    ones : by byte order, (bits,) share of the sendings in which the bit is set.
    """

    rate: dict[ByteOrder, NDArray[np.float64]]
    ones: dict[ByteOrder, NDArray[np.float64]]


def bit_field(byte_order: ByteOrder, lsb: int, length: int, bits: int) -> BitField:
    """Return a place in the line as a DBC tells it.

    Parameters
    ----------
    byte_order, lsb, length : of the field, as in ``Field``.
    bits : of the payload.
    """
    if byte_order == "little_endian":
        return BitField(bits - 1 - lsb, length, byte_order)
    msb = lsb - length + 1
    return BitField(8 * (msb // 8) + 7 - msb % 8, length, byte_order)


def payload_bits(field: BitField) -> frozenset[int]:
    """Return which bits of the payload a field takes up, counted byte * 8 + bit."""
    if field.byte_order == "little_endian":
        return frozenset(range(field.start, field.start + field.length))
    first = 8 * (field.start // 8) + 7 - field.start % 8
    line = range(first, first + field.length)
    return frozenset(8 * (place // 8) + 7 - place % 8 for place in line)


def bit_rates(stream: Stream) -> BitRates:
    """Measure how often each bit flips, and how often it is set.

    Looks at pairs of neighbouring sendings, at most some thousands of them.
    """
    pairs = _spread(len(stream) - 1, 4 * _LOOKED_AT)
    before, after = stream.data[pairs], stream.data[pairs + 1]
    flips = np.unpackbits(before ^ after, axis=1).mean(axis=0)
    ones = np.unpackbits(before, axis=1).mean(axis=0)
    return BitRates(
        {"big_endian": flips, "little_endian": _little_endian_line(flips)},
        {"big_endian": ones, "little_endian": _little_endian_line(ones)},
    )


def _little_endian_line(big_endian_line: NDArray[np.float64]) -> NDArray[np.float64]:
    """The same bits with the last byte first, each byte's highest bit first."""
    return np.ascontiguousarray(big_endian_line.reshape(-1, 8)[::-1]).ravel()


def fields_of(stream: Stream, number: int, rates: BitRates) -> list[Field]:
    """Return the fields of a stream that behave as numbers, in both byte orders.

    Parameters
    ----------
    stream : whose.
    number : its index.
    rates : its bits' flip rates.
    """
    rows = _spread(len(stream), _LOOKED_AT)
    data = padded(stream.data[rows])
    pairs = _spread(len(stream) - 1, _PAIRS)
    before, after = padded(stream.data[pairs]), padded(stream.data[pairs + 1])
    fields = []
    for byte_order in BYTE_ORDERS:
        rate = rates.rate[byte_order]
        by_top: dict[int, list[Field]] = {}
        for lsb in _ends(rate):
            field = _number(stream, number, byte_order, lsb, rate, rows, data)
            if field is not None:
                by_top.setdefault(field.line_bits.start, []).append(field)
        for alike in by_top.values():
            field = _rightly_ended(stream, alike, before, after, rows, data)
            if byte_order == "big_endian" or not _within_a_byte(field.lsb, field.length):
                fields.append(field)  # within a byte both byte orders are the same bits
    return fields


def field_at(
    stream: Stream, number: int, byte_order: ByteOrder, lsb: int, length: int
) -> Field | None:
    """Return the number at a given place, None where the values do not behave as one's.

    Parameters
    ----------
    stream, number : whose, and its index.
    byte_order, lsb, length : where it stands.
    """
    rows = _spread(len(stream), _LOOKED_AT)
    return _field(stream, number, byte_order, lsb, length, rows, padded(stream.data[rows]))


def _number(
    stream: Stream,
    number: int,
    byte_order: ByteOrder,
    lsb: int,
    rate: NDArray[np.float64],
    rows: NDArray[np.intp],
    data: NDArray[np.uint8],
) -> Field | None:
    """Return the number that ends at a place, None for none."""
    place = bit_field(byte_order, lsb, min(LONGEST, lsb + 1), stream.bits)
    whole = extract_bits(data, place).astype(np.int64)
    length = _best_length(whole, rate, lsb)
    if length is None:
        return None
    value = (whole & ((1 << length) - 1)).astype(np.float64)
    roughness = _roughness(value, length)
    if roughness is None:
        return None
    return Field(number, byte_order, lsb, length, "number", stream.time_s[rows], value, roughness)


def _field(
    stream: Stream,
    number: int,
    byte_order: ByteOrder,
    lsb: int,
    length: int,
    rows: NDArray[np.intp],
    data: NDArray[np.uint8],
) -> Field | None:
    value = extract_bits(data, bit_field(byte_order, lsb, length, stream.bits)).astype(np.float64)
    roughness = _roughness(value, length)
    if roughness is None:
        return None
    return Field(number, byte_order, lsb, length, "number", stream.time_s[rows], value, roughness)


def _rightly_ended(
    stream: Stream,
    alike: list[Field],
    before: NDArray[np.uint8],
    after: NDArray[np.uint8],
    rows: NDArray[np.intp],
    data: NDArray[np.uint8],
) -> Field:
    """Of numbers that begin at one bit, return the one that ends where the number does.

    While a number moves by one step its lowest bit takes part: up by one where it falls from one
    to nought, and the reverse. A bit that does not is noise, or belongs to something else; of the
    places where the number can end, the first one at or after the last bit that takes part counts.
    """
    alike = sorted(alike, key=lambda field: field.lsb)
    longest = alike[-1]
    if len(alike) == 1 and longest.length <= _SHORT:
        return longest
    place = bit_field(longest.byte_order, longest.lsb, longest.length, stream.bits)
    first = extract_bits(before, place).astype(np.int64)
    then = extract_bits(after, place).astype(np.int64)
    top = longest.line_bits.start
    last = _last_that_takes_part(first, then, longest.length)
    for field in alike:
        if field.lsb - top >= last:
            return field
    return longest


def _last_that_takes_part(before: NDArray[np.int64], after: NDArray[np.int64], length: int) -> int:
    """Return the place, counted from the highest bit, of the last bit that moves with the number."""
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


def read_field(stream: Stream, field: BitField) -> NDArray[np.int64]:
    """Return a field's raw values in all sendings. (n,)"""
    return extract_bits(padded(stream.data), field).astype(np.int64)


def padded(data: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return payloads of at least eight bytes, zero-filled, as the extraction asks for."""
    short = 8 - data.shape[1]
    return data if short <= 0 else np.pad(data, ((0, 0), (0, short)))


def _spread(count: int, most: int) -> NDArray[np.intp]:
    """At most so many positions, evenly spread."""
    if count <= most:
        return np.arange(max(count, 0))
    return np.linspace(0, count - 1, most).astype(np.intp)


def _within_a_byte(lsb: int, length: int) -> bool:
    return (lsb - length + 1) // 8 == lsb // 8


def _ends(rate: NDArray[np.float64]) -> Iterator[int]:
    """Places where a number can end: its lowest bit."""
    after = np.append(rate[1:], 0.0)
    moves = rate > 0
    byte_end = np.arange(len(rate)) % 8 == 7  # noqa: PLR2004 - a byte's lowest bit in the line
    drop = (after < _DROP * rate) | (after > _ALWAYS)
    usable = moves & (rate <= _ALWAYS) & (drop | byte_end)
    for lsb in np.flatnonzero(usable).tolist():
        if lsb + 1 >= _FEWEST_STEPS.bit_length():
            yield lsb


def _best_length(whole: NDArray[np.int64], rate: NDArray[np.float64], lsb: int) -> int | None:
    """Return how long the number is that ends here, None when nothing of it moves.

    Read upwards from its lowest bit, each bit flips less often than the one below it; a bit that
    flips far more often is the end of the number before. Among the lengths whose highest bit
    moves, the best is the one with the fewest jumps: steps over a quarter of what its bits hold.
    """
    best: tuple[int, int] | None = None
    busiest = rate[lsb]
    for length in range(1, min(LONGEST, lsb + 1) + 1):
        flips = rate[lsb - length + 1]
        if flips == 0:
            continue
        if flips > _RISE * busiest + _RISE_FLOOR:
            break
        busiest = flips
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
