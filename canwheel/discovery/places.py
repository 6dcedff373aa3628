"""Places of bits in a payload, how often each flips, and numbers read from them.

The bits are counted along a line of falling significance, one for each byte order: in a big-endian
one the first byte's highest bit comes first, in a little-endian one the last byte's.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canwheel.definitions.columns import extract_bits
from canwheel.definitions.layout import BitField, ByteOrder
from canwheel.discovery.streams import Stream

BYTE_ORDERS: tuple[ByteOrder, ...] = ("big_endian", "little_endian")

LOOKED_AT = 6000
"""Sendings of a stream that are looked at for a first opinion, evenly spread over the drive."""

BYTE_BITS = 8


@dataclass(frozen=True, slots=True)
class Place:
    """Where a number ends: a stream's index, a byte order, and its lowest bit in that line."""

    stream: int
    byte_order: ByteOrder
    lsb: int

    @property
    def reading_order(self) -> tuple[int, int]:
        """What fields are ordered by as they stand: message, then first byte first."""
        return self.stream, -self.lsb if self.byte_order == "little_endian" else self.lsb


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
    pairs = spread(len(stream) - 1, 4 * LOOKED_AT)
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


def within_a_byte(lsb: int, length: int) -> bool:
    """Whether a field stays in one byte, so that both byte orders are the same bits."""
    return (lsb - length + 1) // BYTE_BITS == lsb // BYTE_BITS


def read_field(stream: Stream, field: BitField) -> NDArray[np.int64]:
    """Return a field's raw values in all sendings, below nought where it is signed. (n,)"""
    raw = extract_bits(padded(stream.data), field).astype(np.int64)
    return two_complement(raw, field.length) if field.is_signed else raw


def two_complement(raw: NDArray[np.int64], length: int) -> NDArray[np.int64]:
    """Return raw values as signed numbers of so many bits. (n,)"""
    half = 1 << (length - 1)
    return np.where(raw >= half, raw - 2 * half, raw)


def padded(data: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return (n, w) payloads of at least eight bytes, zero-filled, as the extraction asks for."""
    short = 8 - data.shape[1]
    return data if short <= 0 else np.pad(data, ((0, 0), (0, short)))


def spread(count: int, most: int) -> NDArray[np.intp]:
    """Return at most so many positions, evenly spread. (k,)"""
    if count <= most:
        return np.arange(max(count, 0))
    return np.linspace(0, count - 1, most).astype(np.intp)
