"""Fields that guard the rest of a payload: sums, exclusive ors and cyclic redundancy checks."""

import numpy as np
from numpy.typing import NDArray

from canwheel.roadtest.bus_layout import SentMessage
from canwheel.roadtest.packing import Payloads

CHECKS = frozenset({"checksum", "xor", "crc8"})
"""Quantities that are made when the rest of the payload stands."""

_POLYNOMIAL = 0x1D
"""Of CRC-8 SAE J1850, x^8 + x^4 + x^3 + x^2 + 1."""


def _table() -> NDArray[np.uint8]:
    """What every byte makes of a remainder of zero. (256,)"""
    remainder = np.arange(256)
    for _ in range(8):
        carry = remainder & 0x80
        remainder = (remainder << 1 & 0xFF) ^ np.where(carry, _POLYNOMIAL, 0)
    return remainder.astype(np.uint8)


_CRC8 = _table()


def crc8_column(payloads: Payloads) -> NDArray[np.uint8]:
    """CRC-8 SAE J1850 of every row: begins with and is inverted by all ones. (n,)"""
    remainder = np.full(len(payloads), 0xFF, np.uint8)
    for column in payloads.T:
        remainder = _CRC8[remainder ^ column]
    return ~remainder


def check_column(kind: str, payloads: Payloads, message: SentMessage) -> NDArray[np.int64]:
    """The guarding number of every payload, in which its own field is still zero. (n,)

    Parameters
    ----------
    kind : one of `CHECKS`; the identifier goes in, as is usual on cars.
    """
    guarded = payloads[:, : message.length]
    if kind == "crc8":
        salt = np.full((len(guarded), 1), message.frame_id & 0xFF, np.uint8)
        return crc8_column(np.concatenate((guarded, salt), axis=1)).astype(np.int64)
    if kind == "xor":
        ored: NDArray[np.int64] = np.bitwise_xor.reduce(guarded, axis=1).astype(np.int64)
        return ored ^ (message.frame_id & 0xFF)
    total: NDArray[np.int64] = guarded.sum(axis=1, dtype=np.int64)
    return total + message.frame_id
