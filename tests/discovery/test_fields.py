"""Where numbers stand, read back from payloads that cantools packed."""

from typing import Any

import numpy as np
import pytest
from cantools.database.can import Message, Signal
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from canwheel.definitions.layout import BitField
from canwheel.discovery.fields import fields_of
from canwheel.discovery.places import bit_field, bit_rates, payload_bits, read_field
from canwheel.discovery.pulses import pulse_fields_of
from canwheel.discovery.streams import Stream

RNG = np.random.default_rng(3)
TIME_S = np.arange(0, 60, 0.01)
SPEED = 60 * np.abs(np.sin(TIME_S / 12)) + RNG.normal(size=len(TIME_S)) * 0.02


def stream_of(fields: list[tuple[int, int, str, NDArray[Any]]], length: int = 8) -> Stream:
    """A stream with these fields: start, length, byte order, values."""
    signals = [
        Signal(f"S{n}", start, bits, byte_order)  # type: ignore[arg-type]
        for n, (start, bits, byte_order, _) in enumerate(fields)
    ]
    message = Message(1, "M", length, signals)
    rows = [
        list(message.encode({f"S{n}": int(field[3][k]) for n, field in enumerate(fields)}))
        for k in range(len(TIME_S))
    ]
    return Stream(
        "can0", 0x100, extended=False, time_s=TIME_S, data=np.array(rows, np.uint8), period_s=0.01
    )


def places_in(stream: Stream) -> list[BitField]:
    return [
        bit_field(field.byte_order, field.lsb, field.length, stream.bits)
        for field in fields_of(stream, 0, bit_rates(stream))
    ]


NUMBERS = (
    (7, 16, "big_endian", 100),
    (12, 13, "big_endian", 32),
    (3, 12, "big_endian", 20),
    (0, 14, "little_endian", 32),
    (21, 13, "little_endian", 50),
    (40, 16, "little_endian", 100),
)


@pytest.mark.parametrize(("start", "length", "order", "per_kph"), NUMBERS)
def test_a_number_ends_where_cantools_put_it(
    start: int, length: int, order: str, per_kph: int
) -> None:
    raw = np.round(np.maximum(SPEED, 0) * per_kph)
    stream = stream_of([(start, length, order, raw)])
    true = BitField(start, length, order)  # type: ignore[arg-type]
    ends = {_lowest(bits) for bits in places_in(stream) if bits.byte_order == order}
    assert _lowest(true) in ends


def _lowest(bits: BitField) -> int:
    """The payload bit of the lowest value."""
    if bits.byte_order == "little_endian":
        return bits.start
    line = 8 * (bits.start // 8) + 7 - bits.start % 8 + bits.length - 1
    return 8 * (line // 8) + 7 - line % 8


@pytest.mark.parametrize(
    "values",
    [
        np.arange(len(TIME_S)) % 256,
        np.arange(len(TIME_S)) % 16,
        RNG.integers(0, 256, len(TIME_S)),
        np.full(len(TIME_S), 77),
        np.cumsum(RNG.random(len(TIME_S)) < 0.001) % 2,
    ],
    ids=["counter", "short counter", "checksum", "constant", "switch"],
)
def test_what_is_no_number_is_set_aside(values: NDArray[Any]) -> None:
    assert places_in(stream_of([(8, 8, "little_endian", values)])) == []


def test_a_counter_above_a_number_does_not_belong_to_it() -> None:
    raw = np.round(np.maximum(SPEED, 0) * 32)
    count = np.arange(len(TIME_S)) % 4
    stream = stream_of([(0, 14, "little_endian", raw), (14, 2, "little_endian", count)])
    assert BitField(0, 11, "little_endian") in places_in(stream)  # 60 km/h * 32 needs 11 bits


def test_a_counter_below_a_number_does_not_belong_to_it() -> None:
    raw = np.round(np.maximum(SPEED, 0) * 32)
    count = np.arange(len(TIME_S)) % 4
    stream = stream_of([(16, 14, "little_endian", raw), (14, 2, "little_endian", count)])
    assert BitField(16, 11, "little_endian") in places_in(stream)


@given(st.integers(0, 63), st.integers(1, 16), st.sampled_from(["big_endian", "little_endian"]))
@settings(max_examples=150, deadline=None)
def test_places_are_those_of_cantools(start: int, length: int, order: Any) -> None:
    """Every bit of a field, by what cantools sets for all ones."""
    bits = BitField(start, length, order)
    if bits.bytes_needed > 8:
        return
    message = Message(1, "M", 8, [Signal("S", start, length, order)])
    data = np.frombuffer(message.encode({"S": (1 << length) - 1}), np.uint8)
    set_bits = np.flatnonzero(np.unpackbits(data[:, None], axis=1, bitorder="little").ravel())
    assert payload_bits(bits) == frozenset(set_bits.tolist())
    line = 8 * (start // 8) + 7 - start % 8 + length - 1 if order == "big_endian" else 63 - start
    assert bit_field(order, line, length, 64) == bits


def test_pulse_counters_are_told_with_their_pace() -> None:
    pulses = np.cumsum(np.maximum(SPEED, 0) / 3.6 / 1.94 * 48 * 0.01)
    stream = stream_of([(8, 8, "little_endian", np.floor(pulses) % 256)])
    (counter,) = pulse_fields_of(stream, 0, bit_rates(stream))
    assert counter.kind == "pulse counter"
    assert bit_field(counter.byte_order, counter.lsb, counter.length, 64).start // 8 == 1
    true = np.interp(counter.time_s, TIME_S, np.maximum(SPEED, 0) / 3.6 / 1.94 * 48)
    assert np.median(np.abs(counter.value - true)) < 4.0  # 2 pulses in 0.4 s either way


def test_read_field_gives_back_what_was_packed() -> None:
    raw = np.round(np.maximum(SPEED, 0) * 100)
    stream = stream_of([(12, 13, "big_endian", raw)])
    assert np.array_equal(read_field(stream, BitField(12, 13, "big_endian")), raw)
