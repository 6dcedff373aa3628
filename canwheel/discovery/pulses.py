"""Counters of ring pulses: bit fields that rise with the distance and start again at nought."""

import numpy as np
from numpy.typing import NDArray

from canwheel.definitions.columns import extract_bits
from canwheel.discovery.fields import LONGEST, SHORTEST, Field
from canwheel.discovery.places import (
    BYTE_BITS,
    BYTE_ORDERS,
    BitRates,
    bit_field,
    padded,
    within_a_byte,
)
from canwheel.discovery.streams import Stream

_RATE_OVER_S = 0.4
"""Pulses are counted over so long; over a single sending there are too few of them. [s]"""

_MOST_AT_ONCE = 0.25
"""Share of its range that a counter may rise by between two sendings and still be told apart from
one that falls."""

_FEWEST_PULSES = 200
"""Fewer pulses in a whole drive show no speed."""

_LEAST_RATE, _LEAST_SHARE, _TOLERANCE = 0.02, 0.1, 0.05
"""How often a counter's lowest bit flips at least, how often the one above it, as a share of that,
and by how much oftener that may seem."""

_MOST_ODD = 0.01
"""Share of the steps that may break the rule: sendings that got lost."""


def pulse_fields_of(stream: Stream, number: int, rates: BitRates) -> list[Field]:
    """Return the pulse counters of a stream, as fields whose value is pulses a second.

    Parameters
    ----------
    stream, number, rates : as for ``fields_of``.
    """
    fields = []
    for byte_order in BYTE_ORDERS:
        rate = rates.rate[byte_order]
        for lsb in np.flatnonzero(_can_end(rate)).tolist():
            longest = min(LONGEST, lsb + 1)
            if longest < SHORTEST:
                continue
            place = bit_field(byte_order, lsb, longest, stream.bits)
            whole = extract_bits(padded(stream.data), place).astype(np.int64)
            found = _longest_counter(whole, rate, lsb, longest)
            if found is None:
                continue
            length, rise = found
            if byte_order == "little_endian" and within_a_byte(lsb, length):
                continue  # the same bits as in the other byte order
            times, speed = _speed(stream.time_s, rise)
            fields.append(
                Field(number, byte_order, lsb, length, "pulse counter", times, speed, 0.0)
            )
    return fields


def _can_end(rate: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Where a counter can end: at the end of a byte, and the bit above flips half as often."""
    lowest = np.arange(len(rate)) % BYTE_BITS == BYTE_BITS - 1
    above = np.concatenate([[0.0], rate[:-1]])
    moves = (rate > _LEAST_RATE) & (above > _LEAST_SHARE * rate)
    ends: NDArray[np.bool_] = lowest & moves & (above <= rate + _TOLERANCE)
    return ends


def _longest_counter(
    whole: NDArray[np.int64], rate: NDArray[np.float64], lsb: int, longest: int
) -> tuple[int, NDArray[np.int64]] | None:
    """Return length and rise between sendings of the counter that ends here, None for none."""
    for length in range(_reach(rate, lsb, longest), SHORTEST - 1, -1):
        if rate[lsb - length + 1] == 0:
            continue
        rise = np.diff(whole & ((1 << length) - 1)) % (1 << length)
        odd = rise > _MOST_AT_ONCE * (1 << length)
        if np.mean(odd) <= _MOST_ODD and _varies(np.where(odd, 0, rise), length):
            return length, np.where(odd, 0, rise)
    return None


def _reach(rate: NDArray[np.float64], lsb: int, longest: int) -> int:
    """How far up a counter can go.

    Its lowest bits flip as the pulses of one sending make them, those above each half as often as
    the one below; where bits that have become rare get frequent again, another counter ends.
    """
    upwards = rate[lsb - longest + 1 : lsb + 1][::-1]
    rare = np.minimum.accumulate(upwards) < np.maximum.accumulate(upwards) / 2
    again = rare & (upwards > 2 * np.minimum.accumulate(upwards) + _TOLERANCE)
    return int(np.argmax(again)) if again.any() else longest


def _varies(rise: NDArray[np.int64], length: int) -> bool:
    """Whether a counter goes round, and at a pace that changes as a car's does."""
    if rise.sum() < max(_FEWEST_PULSES, 2 << length):
        return False
    low, high = np.percentile(rise, (10, 90))
    slow, fast = np.percentile(np.convolve(rise, np.ones(16) / 16, "valid"), (10, 90))
    return bool(high > low and fast > 1.2 * slow + 0.05)


def _speed(
    time_s: NDArray[np.float64], rise: NDArray[np.int64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Pulses a second, over moments that overlap. (k,) and (k,)"""
    total = np.concatenate([[0], np.cumsum(rise)]).astype(np.float64)
    period_s = (time_s[-1] - time_s[0]) / max(1, len(time_s) - 1)
    window = max(1, round(_RATE_OVER_S / max(period_s, 1e-4)))
    lasts = np.maximum(time_s[window:] - time_s[:-window], 1e-6)
    return (time_s[window:] + time_s[:-window]) / 2, (total[window:] - total[:-window]) / lasts
