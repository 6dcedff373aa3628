"""Bits of whole columns against cantools, a library that packs one payload at a time."""

import numpy as np
import pytest
from cantools.database.can import Message, Signal
from hypothesis import given, settings
from hypothesis import strategies as st

from canwheel.definitions.layout import BitField
from canwheel.roadtest.packing import pack_column, to_raw


@st.composite
def fields(draw: st.DrawFn) -> BitField:
    length = draw(st.integers(1, 64))
    little = draw(st.booleans())
    first = draw(st.integers(0, 64 - length))  # first bit in the order of sending or counting
    start = first if little else first // 8 * 8 + 7 - first % 8
    order = "little_endian" if little else "big_endian"
    return BitField(start, length, order, is_signed=draw(st.booleans()))


@given(field=fields(), data=st.data())
@settings(max_examples=200, deadline=None)
def test_packing_equals_cantools(field: BitField, data: st.DataObject) -> None:
    low = -(1 << field.length - 1) if field.is_signed else 0
    high = min(low + (1 << field.length) - 1, (1 << 63) - 1)
    values = data.draw(st.lists(st.integers(low, high), min_size=1, max_size=5))
    signal = Signal("S", field.start, field.length, field.byte_order, field.is_signed)
    message = Message(1, "M", 8, [signal])
    payloads = np.zeros((len(values), 8), np.uint8)
    pack_column(payloads, field, np.array(values, np.int64))
    assert [row.tobytes() for row in payloads] == [message.encode({"S": v}) for v in values]


@given(field=fields(), background=st.binary(min_size=8, max_size=8))
def test_packing_leaves_the_other_bits_alone(field: BitField, background: bytes) -> None:
    before = np.frombuffer(background, np.uint8).copy()[None, :]
    ones, zeros = before.copy(), before.copy()
    pack_column(ones, field, np.array([-1]))
    pack_column(zeros, field, np.array([0]))
    changed = np.unpackbits(ones ^ zeros).sum()
    assert changed == field.length
    assert np.all((ones ^ before) & (zeros ^ before) == 0)


def test_field_beyond_the_payload_is_refused() -> None:
    with pytest.raises(ValueError, match="3 bytes"):
        pack_column(np.zeros((1, 2), np.uint8), BitField(16, 8, "little_endian"), np.array([1]))


def test_floating_point_field_is_refused() -> None:
    field = BitField(0, 32, "little_endian", is_float=True)
    with pytest.raises(ValueError, match="floating"):
        pack_column(np.zeros((1, 8), np.uint8), field, np.array([1]))


def test_raw_numbers_are_rounded_and_held_within_the_field() -> None:
    field = BitField(0, 8, "little_endian")
    raw = to_raw(np.array([-5.0, 0.24, 0.26, 1e6]), field, 0.5, 0.0)
    assert raw.tolist() == [0, 0, 1, 255]
