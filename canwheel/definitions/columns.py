"""Raw payload columns to one signal's values, many frames at a time."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canwheel.definitions.layout import BitField, RawRange, SignalPlace
from canwheel.frames import Frames

_PIECE_ROWS = 1 << 15
"""Frames decoded at a time, so that the intermediate columns stay in the processor's cache.
Measured: 32 thousand is as fast as any, a million at once is half as fast."""

_WINDOW = 8
"""Bytes taken at once, as one 64-bit number."""

_FLOAT_TYPES = {16: (np.uint16, np.float16), 32: (np.uint32, np.float32), 64: (np.uint64, float)}
"""Width of a floating-point field to the types of its bits and of its number (IEEE 754)."""

Numbers = NDArray[np.int64] | NDArray[np.uint64] | NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class SignalColumn:
    """One signal over a drive: m frames carry it.

    Attributes
    ----------
    rows : (m,) positions in the frames, rising, of those that carry the signal.
    raw : (m,) the number as it stood on the bus; for a floating-point field, or an unsigned one
        of 64 bits, the bits themselves.
    value : (m,) raw * scale + offset, in the signal's unit; NaN where `flagged` or `clipped`.
    flagged : (m,) the raw number, or a field beside it, says that there is no value.
    clipped : (m,) a relative signal stands at its limit: the true value lies at or beyond it.
    too_short : frames of the right identifier that end before the signal does. Not in `rows`.
    """

    rows: NDArray[np.intp]
    raw: NDArray[np.int64]
    value: NDArray[np.float64]
    flagged: NDArray[np.bool_]
    clipped: NDArray[np.bool_]
    too_short: int = 0

    def __len__(self) -> int:
        """Return m, the number of frames that carry the signal."""
        return len(self.rows)


def decode_signal(frames: Frames, place: SignalPlace) -> SignalColumn:
    """Decode one signal from all the frames that carry it.

    Parameters
    ----------
    frames : n frames, of any identifiers.
    place : where the signal stands.

    Returns
    -------
    SignalColumn : one entry for each frame that carries it, in the frames' own order.
    """
    rows, too_short = _carrying_rows(frames, place)
    raw = np.empty(len(rows), np.int64)
    value = np.empty(len(rows), np.float64)
    flagged = np.empty(len(rows), np.bool_)
    clipped = np.zeros(len(rows), np.bool_)
    for first in range(0, len(rows), _PIECE_ROWS):
        piece = slice(first, first + _PIECE_ROWS)
        data = _rows_of(frames.data, rows[piece])
        field = extract_bits(data, place.bits)
        number = _as_numbers(field, place.bits)
        raw[piece] = (field if place.bits.is_float else number).view(np.int64)
        flagged[piece] = _is_no_value(data, place, number)
        value[piece] = _scaled(number, place)
        if place.relative_to is not None:
            clipped[piece] = _at_limit(number, place)
            _add_reference(data, place.relative_to, value[piece], flagged[piece])
    value[flagged | clipped] = np.nan
    return SignalColumn(rows, raw, value, flagged, clipped & ~flagged, too_short)


def extract_bits(data: NDArray[np.uint8], bits: BitField) -> NDArray[np.uint64]:
    """Take one field of 1 to 64 bits out of many payloads.

    Parameters
    ----------
    data : (n, w) payloads, w at least 8 and long enough for the field.
    bits : where the field stands.

    Returns
    -------
    (n,) uint64, the field's bits, right-aligned.
    """
    little = bits.byte_order == "little_endian"
    first_byte = bits.start // 8
    start = min(first_byte, data.shape[1] - _WINDOW)
    window = np.ascontiguousarray(data[:, start : start + _WINDOW])
    word = window.view("<u8" if little else ">u8")[:, 0].astype(np.uint64, copy=False)
    # Distance of the field's lowest bit from the lowest bit of the word; below zero when a
    # big-endian field ends in a ninth byte.
    if little:
        low = bits.start - 8 * start
    else:
        last_bit = 8 * first_byte + 7 - bits.start % 8 + bits.length - 1
        low = 8 * (start + _WINDOW) - 1 - last_bit
    if little and low + bits.length > 8 * _WINDOW:
        ninth = data[:, start + _WINDOW].astype(np.uint64)
        word = (word >> np.uint64(low)) | (ninth << np.uint64(64 - low))
    elif low < 0:
        ninth = data[:, start + _WINDOW].astype(np.uint64)
        word = (word << np.uint64(-low)) | (ninth >> np.uint64(8 + low))
    else:
        word = word >> np.uint64(low)
    return word & np.uint64((1 << bits.length) - 1)


def _carrying_rows(frames: Frames, place: SignalPlace) -> tuple[NDArray[np.intp], int]:
    """Positions of the frames that carry the signal, and how many were too short for it."""
    rows = np.flatnonzero(place.ids.matches(frames.can_id, frames.flags))
    too_short = 0
    for selector in place.multiplex:
        rows, missing = _long_enough(frames, rows, selector.selector.bytes_needed)
        too_short += missing
        chosen = extract_bits(_rows_of(frames.data, rows), selector.selector)
        rows = rows[np.isin(chosen, np.array(sorted(selector.values), np.uint64))]
    fields = [place.bits, *(beside.bits for beside in place.validity)]
    if place.relative_to is not None:
        fields.append(place.relative_to.bits)
    rows, missing = _long_enough(frames, rows, max(field.bytes_needed for field in fields))
    return rows, too_short + missing


def _long_enough(
    frames: Frames, rows: NDArray[np.intp], needed: int
) -> tuple[NDArray[np.intp], int]:
    """Those of the rows whose payload has at least `needed` bytes, and how many have not."""
    enough = frames.length[rows] >= needed
    kept = rows if enough.all() else rows[enough]
    return kept, len(rows) - len(kept)


def _rows_of(data: NDArray[np.uint8], rows: NDArray[np.intp]) -> NDArray[np.uint8]:
    """Pick the given rising rows; a view where they are without gaps, which saves the copy."""
    if len(rows) and rows[-1] - rows[0] == len(rows) - 1:
        return data[rows[0] : rows[-1] + 1]
    return data[rows]


def _as_numbers(field: NDArray[np.uint64], bits: BitField) -> Numbers:
    """Return a field's bits as the numbers they are: unsigned, signed or floating-point."""
    if bits.is_float:
        bits_type, float_type = _FLOAT_TYPES[bits.length]
        with np.errstate(invalid="ignore"):  # see _scaled
            return field.astype(bits_type).view(float_type).astype(np.float64)
    if bits.is_signed:
        unused = np.int64(64 - bits.length)
        return (field.view(np.int64) << unused) >> unused
    return field


def _scaled(number: Numbers, place: SignalPlace) -> NDArray[np.float64]:
    """Return raw * scale + offset. (n,), in the signal's unit."""
    # A floating-point field can hold anything, "signalling" not-a-numbers and the largest numbers
    # included; what comes of them is no reading, and no concern of the reader's terminal.
    with np.errstate(invalid="ignore", over="ignore"):
        return number.astype(np.float64) * place.scale + place.offset


def _is_no_value(data: NDArray[np.uint8], place: SignalPlace, number: Numbers) -> NDArray[np.bool_]:
    """Whether the number, or a field beside it, says that there is no value. (n,)"""
    no_value = _in_ranges(number, place.not_values)
    for beside in place.validity:
        state = extract_bits(data, beside.bits)
        no_value |= ~np.isin(state, np.array(sorted(beside.valid), np.uint64))
    return no_value


def _in_ranges(number: Numbers, ranges: tuple[RawRange, ...]) -> NDArray[np.bool_]:
    """Whether a raw number lies in one of the ranges, or is no finite number at all. (n,)"""
    inside = ~np.isfinite(number)
    lowest, highest = _limits(number)
    for each in ranges:
        low, high = max(each.low, lowest), min(each.high, highest)
        if low <= high:  # else no number of this type is in it
            inside |= (number >= low) & (number <= high)
    return inside


def _limits(number: Numbers) -> tuple[int, int]:
    """Lowest and highest number of this type that a range may be compared with."""
    if number.dtype == np.uint64:
        return 0, (1 << 64) - 1
    return -(1 << 63), (1 << 63) - 1


def _at_limit(number: Numbers, place: SignalPlace) -> NDArray[np.bool_]:
    """Whether a signal stands at or beyond an end of its stated range. (n,)"""
    value = _scaled(number, place)
    at_limit = np.zeros(len(number), np.bool_)
    if place.minimum is not None:
        at_limit |= value <= place.minimum
    if place.maximum is not None:
        at_limit |= value >= place.maximum
    return at_limit


def _add_reference(
    data: NDArray[np.uint8],
    reference: SignalPlace,
    value: NDArray[np.float64],
    flagged: NDArray[np.bool_],
) -> None:
    """Add the reference of the same frames to a relative signal's values, in place."""
    number = _as_numbers(extract_bits(data, reference.bits), reference.bits)
    value += _scaled(number, reference)
    flagged |= _is_no_value(data, reference, number)
