"""The rest of a car's bus: thirty to sixty messages with contents as a car's have them.

All of it is told by the same drive, so that engine, pedals, steering and speeds go together.
Fields stand where there is room, in either byte order; some messages count and guard their
sendings, some share their bytes among pages. Sizes and cycles are usual (common practice).
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from canwheel.corners import CORNERS
from canwheel.definitions.layout import BitField, ByteOrder
from canwheel.roadtest.bus_layout import Quantity, SentMessage, SentSignal
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


@dataclass(frozen=True, slots=True)
class Number:
    """One way of sending a quantity."""

    quantity: Quantity
    length: int
    scale: float = 1.0
    offset: float = 0.0
    is_signed: bool = False
    unit: str = ""
    maximum: float = 0.0


Numbers = tuple[Number, ...]


def _signed_or_shifted(
    rng: np.random.Generator, quantity: Quantity, length: int, scale: float
) -> Number:
    """A number that may be negative: signed, or counted from below."""
    if happens(rng, 0.5):
        return Number(quantity, length, scale, is_signed=True)
    return Number(quantity, length, scale, -scale * (1 << length - 1))


def _pick(rng: np.random.Generator, *choices: Number) -> Number:
    return choices[int(rng.integers(len(choices)))]


def _engine(rng: np.random.Generator) -> Numbers:
    return (
        _pick(rng, Number("engine_speed", 16, 0.25), Number("engine_speed", 14, 0.5)),
        _pick(rng, Number("pedal", 8, 0.4), Number("pedal", 10, 0.1)),
        _pick(rng, Number("torque", 12, 0.2, -100.0), Number("torque", 16, 0.1, -400.0)),
        _pick(rng, Number("throttle", 8, 0.5), Number("throttle", 12, 0.05)),
    )


def _torques(rng: np.random.Generator) -> Numbers:
    """Four torques of one size, alike and not the same."""
    length, scale = ((12, 0.25), (10, 0.5), (16, 0.05))[int(rng.integers(3))]
    return tuple(Number("torque", length, scale, -100.0) for _ in range(4))


def _air(rng: np.random.Generator) -> Numbers:
    return (
        Number("air_mass", 16, 0.05),
        Number("fuel_used", int(rng.choice((8, 16)))),
        Number("engine_speed", 8, 32.0),
    )


def _temperatures(rng: np.random.Generator) -> Numbers:
    step = 1.0 if happens(rng, 0.5) else 0.75
    return (
        Number("coolant", 8, step, -48.0),
        Number("oil", 8, step, -48.0),
        Number("outside", 8, 0.5, -40.0),
        Number("battery", 8, 0.1),
    )


def _pedals(rng: np.random.Generator) -> Numbers:
    return (
        Number("brake", 1),
        Number("clutch", 8, 0.5),
        Number("brake_pressure", 12 if happens(rng, 0.5) else 10, 0.1),
        Number("pedal", 8, 0.5),
    )


def _steering(rng: np.random.Generator) -> Numbers:
    return (
        _signed_or_shifted(rng, "steering", 16, 0.1),
        _pick(rng, Number("steering_rate", 8, 4.0), Number("steering_rate", 15, 0.05)),
        _signed_or_shifted(rng, "steering_torque", 12, 0.01),
    )


def _motion(rng: np.random.Generator) -> Numbers:
    length = int(rng.choice((12, 14, 16)))
    step = {12: 0.05, 14: 0.02, 16: 0.005}[length]
    return (
        _signed_or_shifted(rng, "yaw_rate", length, step),
        _signed_or_shifted(rng, "lateral", 12, 0.01),
        _signed_or_shifted(rng, "longitudinal", 12, 0.01),
    )


def _gearbox(rng: np.random.Generator) -> Numbers:
    return (
        Number("gear", 4),
        _pick(rng, Number("output_speed", 16, 0.25), Number("output_speed", 13, 1.0)),
        Number("torque", 12, 0.25, -100.0),
    )


def _car_speed(rng: np.random.Generator) -> Numbers:
    """The brake unit's own speed of the car, and what it counts of the way."""
    return (
        _pick(rng, Number("car_speed", 16, 0.01), Number("car_speed", 12, 0.1)),
        Number("distance", int(rng.choice((8, 12, 16)))),
        Number("longitudinal", 10, 0.03, -15.0),
    )


def _dash(rng: np.random.Generator) -> Numbers:
    return (
        _pick(rng, Number("speed", 8), Number("speed", 16, 0.01), Number("speed", 9, 0.5)),
        Number("odometer", 24, 0.1 if happens(rng, 0.5) else 1.0),
        Number("fuel", 8, 0.5),
        Number("outside", 8, 0.5, -40.0),
    )


def _passed_on(rng: np.random.Generator) -> Numbers:
    """A copy of the speed through another unit, beside what has nothing to do with it."""
    return (
        _pick(rng, Number("late_speed", 16, 0.01), Number("late_speed", 8, 1.0)),
        Number("walk", 8),
        Number("switch", 1),
    )


def _tyres(rng: np.random.Generator) -> Numbers:
    pressures = tuple(Number("tyre_pressure", 8, 0.0137) for _ in range(4))
    warm = tuple(Number("tyre_temperature", 8, 1.0, -50.0) for _ in range(4))
    return pressures + warm if happens(rng, 0.5) else pressures


def _seats(rng: np.random.Generator) -> Numbers:
    size = 1 if happens(rng, 0.5) else 2
    return (*(Number("switch", size) for _ in range(8)), Number("indicator", 2))


def _clock(rng: np.random.Generator) -> Numbers:
    if happens(rng, 0.5):
        return (Number("clock", 8, 1.0), Number("clock", 8, 60.0), Number("clock", 5, 3600.0))
    return (Number("clock", 32, 0.001), Number("constant", 8))


def _lamps(rng: np.random.Generator) -> Numbers:
    del rng
    return (
        Number("lamp_abs", 1),
        Number("lamp_stability", 1),
        Number("lamp_brake", 1),
        Number("constant", 16),
    )


def _odd(rng: np.random.Generator) -> Numbers:
    """What nobody can make sense of."""
    kinds: tuple[Quantity, ...] = ("constant", "constant", "walk", "noise", "switch", "counter")
    return tuple(
        Number(kinds[int(rng.integers(len(kinds)))], int(rng.choice((1, 2, 3, 4, 8, 8, 8, 12))))
        for _ in range(int(rng.integers(2, 8)))
    )


def _enciphered(rng: np.random.Generator) -> Numbers:
    """Bytes without a pattern."""
    return tuple(Number("random", 8) for _ in range(int(rng.integers(2, 8))))


def _four_of_their_own(rng: np.random.Generator) -> Numbers:
    """Four numbers of one size that go their own ways."""
    length = int(rng.choice((10, 12, 16)))
    return tuple(Number("walk", length) for _ in range(4))


def low_copies(rng: np.random.Generator) -> Numbers:
    """The four wheel speeds once more, coarsely, as a gateway passes them on to the dash."""
    length, scale = ((8, 1.0), (8, 0.9), (10, 0.5))[int(rng.integers(3))]
    return tuple(Number(corner, length, scale, unit="km/h") for corner in CORNERS)


def pulse_counts(rng: np.random.Generator) -> Numbers:
    """Counts of the four rings' pulses."""
    length = int(rng.choice((8, 10, 12, 16)))
    maximum = float((1 << length) - 1)
    return tuple(Number(corner, length, unit="pulses", maximum=maximum) for corner in CORNERS)


Subject = Callable[[np.random.Generator], Numbers]

_FAST_S, _USUAL_S, _SLOW_S = (0.01, 0.02, 0.02), (0.02, 0.04, 0.05, 0.1), (0.2, 0.5, 1.0)
_SUBJECTS: tuple[tuple[Subject, tuple[float, ...]], ...] = (
    (_engine, _FAST_S),
    (_steering, _FAST_S),
    (_motion, _FAST_S),
    (_pedals, _USUAL_S),
    (_car_speed, _USUAL_S),
    (_gearbox, _USUAL_S),
    (_torques, _FAST_S),
    (_air, _USUAL_S),
    (_dash, (0.1, 0.1, 0.2)),
    (_temperatures, _SLOW_S),
    (_passed_on, _USUAL_S),
    (_tyres, _SLOW_S),
    (_seats, _SLOW_S),
    (_clock, _SLOW_S),
    (_lamps, _SLOW_S),
)
_ODD: tuple[Subject, ...] = (_odd, _odd, _odd, _odd, _odd, _enciphered, _four_of_their_own)
_ANY_S = (0.01, 0.02, 0.05, 0.1, 0.1, 0.2, 0.5, 1.0)
_WHEEL_SUBJECTS: tuple[tuple[Subject, tuple[float, ...]], ...] = (
    (low_copies, (0.05, 0.1)),
    (pulse_counts, (0.02, 0.04)),
)
_WHEEL_SUBJECT_SHARE = 0.35


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
    subjects = list(_SUBJECTS[: max(count, 1)])
    if has_wheels:
        subjects += [s for s in _WHEEL_SUBJECTS if happens(rng, _WHEEL_SUBJECT_SHARE)]
    repeatable = _SUBJECTS[:11]
    while len(subjects) < count:
        if happens(rng, 0.35):
            subjects.append(repeatable[int(rng.integers(len(repeatable)))])
        else:
            subjects.append((_ODD[int(rng.integers(len(_ODD)))], _ANY_S))
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
