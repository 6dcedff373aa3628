"""The rest of a car's bus: thirty to sixty messages with contents as a car's have them.

All of it is told by the same drive, so that engine, pedals, steering and speeds go together.
Fields stand where there is room, in either byte order; some messages count and guard their
sendings, some share their bytes among pages.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from canwheel.definitions.layout import BitField, ByteOrder
from canwheel.roadtest.bus_layout import Quantity, SentMessage, SentSignal
from canwheel.roadtest.bus_subjects import (
    ANY_S,
    ODD,
    SUBJECTS,
    WHEEL_SUBJECT_SHARE,
    WHEEL_SUBJECTS,
    Number,
    Numbers,
)
from canwheel.roadtest.chance import happens
from canwheel.roadtest.packing import bit_places

_FRAME_BITS = 120
"""Bits of a usual frame with eight bytes and its stuffing."""
_BUSIEST = 0.6
"""Share of its time that a bus is busy at most; more would make urgent frames wait."""
_LOWEST_ID, _HIGHEST_ID = 0x020, 0x7A0
_HIGHEST_SHORT_ID = 0x7FF
_BYTE_BITS = 8
_LONG_ID_BASES = (0x0CF0_0000, 0x10A0_0000, 0x18FE_0000)


def random_background(
    rng: np.random.Generator,
    *,
    count: int,
    taken: frozenset[int] = frozenset(),
    taken_load: float = 0.0,
    bitrate: int = 500_000,
    has_wheels: bool = True,
) -> tuple[SentMessage, ...]:
    """Draw the other messages of a car.

    Parameters
    ----------
    count : how many.
    taken : identifiers that are in use.
    taken_load : share of the bus's time that the messages which are there already take.
    has_wheels : now and then coarse copies of the four speeds, and pulse counts, are among them.

    Returns
    -------
    Messages, the fast ones with the low, urgent identifiers.
    """
    subjects = list(SUBJECTS[: max(count, 1)])
    if has_wheels:
        subjects += [s for s in WHEEL_SUBJECTS if happens(rng, WHEEL_SUBJECT_SHARE)]
    repeatable = SUBJECTS[:11]
    while len(subjects) < count:
        if happens(rng, 0.35):
            subjects.append(repeatable[int(rng.integers(len(repeatable)))])
        else:
            subjects.append((ODD[int(rng.integers(len(ODD)))], ANY_S))
    drawn = [(subject(rng), float(rng.choice(cycles))) for subject, cycles in subjects[:count]]
    drawn.sort(key=lambda one: one[1])
    cycles_s = _slowed([cycle_s for _, cycle_s in drawn], bitrate, taken_load)
    ids = _identifiers(rng, count, taken)
    return tuple(
        pack_message(rng, numbers, name=f"OTHER_{n}", frame_id=frame_id, cycle_s=cycle_s)
        for n, ((numbers, _), cycle_s, frame_id) in enumerate(
            zip(drawn, cycles_s, ids, strict=True)
        )
    )


def bus_load(messages: Sequence[SentMessage], bitrate: int) -> float:
    """Share of the bus's time that messages take, about."""
    bits = [(_FRAME_BITS - 64 + 8 * message.length) / message.cycle_s for message in messages]
    return sum(bits) / bitrate


def _slowed(cycles_s: list[float], bitrate: int, taken_load: float) -> list[float]:
    """Double the fastest cycles until the bus can carry them all."""
    cycles_s = sorted(cycles_s)
    while sum(_FRAME_BITS / cycle_s for cycle_s in cycles_s) / bitrate + taken_load > _BUSIEST:
        cycles_s[0] *= 2
        cycles_s.sort()
    return cycles_s


def _identifiers(rng: np.random.Generator, count: int, taken: frozenset[int]) -> list[int]:
    """Identifiers in order of urgency; on some cars a part of them has 29 bits."""
    free = np.setdiff1d(np.arange(_LOWEST_ID, _HIGHEST_ID), np.fromiter(taken, int, len(taken)))
    ids = sorted(int(one) for one in rng.choice(free, count, replace=False))
    long_share = 0.3 if happens(rng, 0.2) or any(one > _HIGHEST_SHORT_ID for one in taken) else 0.0
    base = _LONG_ID_BASES[int(rng.integers(len(_LONG_ID_BASES)))]
    return [base + (one << 8) if happens(rng, long_share) else one for one in ids]


def pack_message(
    rng: np.random.Generator,
    numbers: Numbers,
    *,
    name: str,
    frame_id: int,
    cycle_s: float,
) -> SentMessage:
    """Find places for numbers in one message; what finds no room is left out."""
    length = int(rng.choice((8, 8, 8, 8, 7, 6)))
    guards: list[Number] = []
    if happens(rng, 0.5):
        guards.append(Number("counter", int(rng.choice((2, 3, 4, 4, 4, 8)))))
    if happens(rng, 0.35):
        kinds: tuple[Quantity, ...] = ("checksum", "crc8", "xor")
        guards.append(Number(kinds[int(rng.integers(3))], 8))
    usual: ByteOrder = "big_endian" if happens(rng, 0.5) else "little_endian"
    other: ByteOrder = "little_endian" if usual == "big_endian" else "big_endian"
    mixed = happens(rng, 0.1)
    paged = len(numbers) > 1 and happens(rng, 0.08)
    aligned = happens(rng, 0.6)
    used: set[int] = set()
    signals: list[SentSignal] = []
    pages = min(len(numbers), 4)
    if paged:
        guards.insert(0, Number("selector", 2 if pages > 1 else 1, maximum=pages - 1))
    ordered = [*guards, *numbers] if happens(rng, 0.5) else [*numbers, *guards]
    paged_used: list[set[int]] = [set() for _ in range(pages)]
    for n, number in enumerate(ordered):
        page = n % pages if paged and number in numbers else None
        order = other if mixed and happens(rng, 0.5) else usual
        blocked = used | (set().union(*paged_used) if page is None else paged_used[page])
        bits = _free_place(number, order, length, blocked, aligned=aligned)
        if bits is None:
            continue
        (used if page is None else paged_used[page]).update(bit_places(bits))
        signals.append(_sent(number, bits, f"S{n}", page))
    signals += _leftovers(rng, length, used.union(*paged_used))
    return SentMessage(
        name=name,
        frame_id=frame_id,
        signals=tuple(signals),
        cycle_s=cycle_s,
        length=length,
        sender="OTHER_UNIT",
        extended=frame_id > _HIGHEST_SHORT_ID,
    )


def _free_place(
    number: Number, order: ByteOrder, length: int, used: set[int], *, aligned: bool
) -> BitField | None:
    """First place with room."""
    step = 1 if not aligned or number.length < _BYTE_BITS else _BYTE_BITS
    for first in range(0, 8 * length - number.length + 1, step):
        start = first if order == "little_endian" else first // 8 * 8 + 7 - first % 8
        if order == "big_endian" and aligned and number.length > _BYTE_BITS:
            start = first // 8 * 8 + (number.length - 1) % 8  # the lowest bits fill their byte
        bits = BitField(start, number.length, order, number.is_signed)
        if bits.bytes_needed <= length and not used.intersection(bit_places(bits)):
            return bits
    return None


def _leftovers(rng: np.random.Generator, length: int, used: set[int]) -> list[SentSignal]:
    """Some of the bytes with nothing in them hold a constant."""
    free = [byte for byte in range(length) if not used & set(range(8 * byte, 8 * byte + 8))]
    return [
        SentSignal(f"REST_{byte}", "constant", 8 * byte, 8) for byte in free if happens(rng, 0.4)
    ]


def _sent(number: Number, bits: BitField, name: str, page: int | None) -> SentSignal:
    signal = SentSignal(
        name,
        number.quantity,
        bits.start,
        bits.length,
        number.scale,
        number.offset,
        number.unit,
        bits.byte_order,
        number.is_signed,
        page=page,
    )
    return replace(signal, maximum=number.maximum) if number.maximum else signal
