"""Whole columns of numbers into payload bits, where a DBC says that they stand."""

import numpy as np
from numpy.typing import NDArray

from canwheel.definitions.layout import BitField

Payloads = NDArray[np.uint8]


def pack_column(payloads: Payloads, bits: BitField, raw: NDArray[np.int64]) -> None:
    """Write one number into every payload, in place; what else stands there is kept.

    Parameters
    ----------
    payloads : (n, w) bytes, w at least ``bits.bytes_needed``.
    raw : (n,) numbers; of a negative one, or one too big, the lowest bits are taken.

    Raises
    ------
    ValueError : payloads too short for the field, or a floating-point field.
    """
    if bits.is_float:
        raise ValueError("floating-point fields are not packed")
    if payloads.shape[1] < bits.bytes_needed:
        raise ValueError(f"the field needs {bits.bytes_needed} bytes, not {payloads.shape[1]}")
    for byte, shift, value_bit, count in _pieces(bits):
        mask = (1 << count) - 1
        piece = ((raw >> value_bit) & mask).astype(np.uint8)
        payloads[:, byte] &= np.uint8(~(mask << shift) & 0xFF)
        payloads[:, byte] |= piece << np.uint8(shift)


def _pieces(bits: BitField) -> list[tuple[int, int, int, int]]:
    """Cut a field at byte borders: (byte, lowest bit in it, lowest bit of the number, bits)."""
    pieces = []
    if bits.byte_order == "little_endian":
        done = 0
        while done < bits.length:
            byte, shift = divmod(bits.start + done, 8)
            count = min(8 - shift, bits.length - done)
            pieces.append((byte, shift, done, count))
            done += count
        return pieces
    byte, top = divmod(bits.start, 8)
    left = bits.length
    while left > 0:
        count = min(top + 1, left)
        left -= count
        pieces.append((byte, top + 1 - count, left, count))
        byte, top = byte + 1, 7
    return pieces


def to_raw(
    values: NDArray[np.float64], bits: BitField, scale: float, offset: float
) -> NDArray[np.int64]:
    """Round physical values to raw numbers, held within what the field can say."""
    low = -(1 << bits.length - 1) if bits.is_signed else 0
    high = low + (1 << bits.length) - 1
    raw: NDArray[np.int64] = np.clip(np.rint((values - offset) / scale), low, high).astype(np.int64)
    return raw


def bit_places(bits: BitField) -> frozenset[int]:
    """Bits of the payload that a field takes, each as byte * 8 + bit, bit 0 the lowest."""
    return frozenset(
        8 * byte + bit
        for byte, shift, _, count in _pieces(bits)
        for bit in range(shift, shift + count)
    )
