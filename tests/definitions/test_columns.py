"""Column decode against cantools' own decode, and the cases that it does not have."""

import struct
from collections.abc import Callable

import numpy as np
import pytest
from cantools.database.can import Message, Signal
from cantools.database.conversion import BaseConversion
from hypothesis import given, settings
from hypothesis import strategies as st

from canwheel.definitions.columns import decode_signal, extract_bits
from canwheel.definitions.layout import (
    BitField,
    Multiplex,
    RawRange,
    SignalPlace,
    ValidityField,
)
from canwheel.frames import FrameFlag, Frames, IdPattern

MakeFrames = Callable[..., Frames]


def place_of(bits: BitField, **changes: object) -> SignalPlace:
    facts: dict[str, object] = {
        "message": "M",
        "signal": "S",
        "frame_id": 0x123,
        "ids": IdPattern.exactly(0x123, extended=False),
        "bits": bits,
        "scale": 1.0,
        "offset": 0.0,
        "unit": "",
    }
    return SignalPlace(**{**facts, **changes})  # type: ignore[arg-type]


@st.composite
def fields(draw: st.DrawFn) -> tuple[BitField, int]:
    """A field of any kind that fits a payload, and the payload's length."""
    size = draw(st.sampled_from([1, 2, 3, 5, 7, 8, 12, 16, 24, 48, 64]))
    is_float = draw(st.booleans())
    widths = [width for width in (16, 32, 64) if width <= 8 * size] if is_float else []
    length = draw(st.sampled_from(widths)) if widths else draw(st.integers(1, min(64, 8 * size)))
    first_bit = draw(st.integers(0, 8 * size - length))
    if draw(st.booleans()):
        start, order = first_bit, "little_endian"
    else:
        start, order = 8 * (first_bit // 8) + 7 - first_bit % 8, "big_endian"
    signed = not widths and draw(st.booleans())
    return BitField(start, length, order, signed, bool(widths)), size  # type: ignore[arg-type]


@given(
    fields(),
    st.binary(min_size=64, max_size=64),
    st.sampled_from([(1, 0), (0.01, -67.67), (0.00390625, 0), (-0.5, 100)]),
)
@settings(max_examples=600, deadline=None)
def test_every_kind_of_field_decodes_as_the_library_does(
    frames_of: MakeFrames,
    field: tuple[BitField, int],
    content: bytes,
    scaling: tuple[float, float],
) -> None:
    bits, size = field
    scale, offset = scaling
    signal = Signal(
        "S",
        bits.start,
        bits.length,
        bits.byte_order,
        bits.is_signed,
        conversion=BaseConversion.factory(scale=scale, offset=offset, is_float=bits.is_float),
    )
    expected = Message(0x123, "M", size, [signal]).decode(content[:size])["S"]
    place = place_of(bits, scale=float(scale), offset=float(offset))
    column = decode_signal(frames_of([content[:size], bytes(size)]), place)
    assert len(column) == 2
    if np.isfinite(float(expected)):  # type: ignore[arg-type]
        assert column.value[0] == expected or column.value[0] == pytest.approx(
            float(expected),
            rel=1e-15,  # type: ignore[arg-type]
        )
    else:
        assert np.isnan(column.value[0])
        assert column.flagged[0]


def test_raw_of_a_float_is_its_bits(frames_of: MakeFrames) -> None:
    bits = BitField(0, 32, "little_endian", is_float=True)
    column = decode_signal(frames_of([struct.pack("<f", 12.5)]), place_of(bits))
    assert column.raw[0] == 0x41480000  # IEEE 754: 12.5 = 1.5625 * 2**3
    assert column.value[0] == 12.5


def test_a_64_bit_unsigned_number_is_not_wrapped(frames_of: MakeFrames) -> None:
    bits = BitField(0, 64, "little_endian")
    column = decode_signal(frames_of([b"\xff" * 8]), place_of(bits))
    assert column.value[0] == 2.0**64
    assert column.raw[0] == -1  # its bits


def test_frames_too_short_are_counted_and_never_zero(frames_of: MakeFrames) -> None:
    bits = BitField(8, 16, "little_endian")
    frames = frames_of([b"\x01\x02\x03", b"\x01\x02", b"", b"\x00\x10\x00\x00"])
    column = decode_signal(frames, place_of(bits))
    assert column.rows.tolist() == [0, 3]
    assert column.raw.tolist() == [0x0302, 0x10]
    assert column.too_short == 2


def test_only_data_frames_of_the_right_identifier_count(frames_of: MakeFrames) -> None:
    bits = BitField(0, 8, "little_endian")
    for flags in (FrameFlag.REMOTE, FrameFlag.ERROR, FrameFlag.EXTENDED):
        assert len(decode_signal(frames_of([b"\x01"], flags=flags), place_of(bits))) == 0
    assert len(decode_signal(frames_of([b"\x01"], can_id=0x124), place_of(bits))) == 0
    assert len(decode_signal(frames_of([b"\x01"], flags=FrameFlag.SENT), place_of(bits))) == 1


def test_no_frames_at_all() -> None:
    column = decode_signal(Frames.empty(), place_of(BitField(7, 16, "big_endian")))
    assert len(column) == 0
    assert column.too_short == 0


def test_a_signal_beyond_the_widest_payload_is_too_short(frames_of: MakeFrames) -> None:
    bits = BitField(500, 12, "little_endian")
    column = decode_signal(frames_of([bytes(8)] * 3), place_of(bits))
    assert len(column) == 0
    assert column.too_short == 3


def test_nested_selectors_must_all_hold(frames_of: MakeFrames) -> None:
    place = place_of(
        BitField(16, 8, "little_endian"),
        multiplex=(
            Multiplex(BitField(0, 8, "little_endian"), frozenset({1, 2})),
            Multiplex(BitField(8, 8, "little_endian"), frozenset({7})),
        ),
    )
    frames = frames_of(
        [b"\x01\x07\x10", b"\x03\x07\x11", b"\x02\x07\x12", b"\x01\x06\x13", b"\x01"]
    )
    column = decode_signal(frames, place)
    assert column.rows.tolist() == [0, 2]
    assert column.raw.tolist() == [0x10, 0x12]
    assert column.too_short == 1


def test_values_that_are_no_values_and_fields_that_say_so(frames_of: MakeFrames) -> None:
    place = place_of(
        BitField(0, 8, "little_endian"),
        not_values=(RawRange(0xFE, 0xFE, "error"), RawRange(0xFF, 300, "not available")),
        validity=(ValidityField("S_OK", BitField(8, 1, "little_endian"), frozenset({1})),),
    )
    column = decode_signal(frames_of([b"\x10\x01", b"\xfe\x01", b"\xff\x01", b"\x11\x00"]), place)
    assert column.flagged.tolist() == [False, True, True, True]
    assert column.value[0] == 16
    assert np.isnan(column.value[1:]).all()
    assert column.raw.tolist() == [0x10, 0xFE, 0xFF, 0x11]


def test_signed_ranges(frames_of: MakeFrames) -> None:
    place = place_of(
        BitField(0, 16, "little_endian", is_signed=True),
        not_values=(RawRange(-32768, -32768, "invalid"), RawRange(40000, 50000, "never")),
    )
    column = decode_signal(frames_of([b"\x00\x80", b"\xff\xff"]), place)
    assert column.flagged.tolist() == [True, False]
    assert column.value[1] == -1


def test_a_relative_signal_is_added_to_its_reference_and_clipped_at_its_ends(
    frames_of: MakeFrames,
) -> None:
    reference = place_of(BitField(0, 8, "little_endian"), not_values=(RawRange(255, 255, "error"),))
    place = place_of(
        BitField(8, 8, "little_endian"),
        scale=0.5,
        offset=-10.0,
        minimum=-10.0,
        maximum=10.0,
        relative_to=reference,
    )
    payloads = [b"\x32\x16", b"\x32\x00", b"\x32\x28", b"\xff\x16", b"\x32\x27"]
    column = decode_signal(frames_of(payloads), place)
    assert column.value.tolist()[0] == 51.0
    assert column.value.tolist()[4] == 59.5
    assert np.isnan(column.value[1:4]).all()
    assert column.clipped.tolist() == [False, True, True, False, False]
    assert column.flagged.tolist() == [False, False, False, True, False]


def test_pieces_join_without_a_seam(frames_of: MakeFrames) -> None:
    n = 100_001
    raw = np.arange(n, dtype=np.uint32)
    frames = frames_of([b""])
    frames = Frames(
        time_ns=np.arange(n, dtype=np.int64),
        can_id=np.full(n, 0x123, np.uint32),
        flags=np.zeros(n, np.uint8),
        length=np.full(n, 8, np.uint8),
        data=np.concatenate([raw[:, None].view(np.uint8), np.zeros((n, 4), np.uint8)], axis=1),
        channel=np.zeros(n, np.uint8),
        channels=("can0",),
        index=np.arange(n, dtype=np.int64),
    )
    column = decode_signal(frames, place_of(BitField(0, 32, "little_endian")))
    assert (column.raw == np.arange(n)).all()
    every_third = frames.select(np.arange(0, n, 3))
    column = decode_signal(every_third, place_of(BitField(0, 32, "little_endian")))
    assert (column.raw == np.arange(0, n, 3)).all()


def test_a_field_over_nine_bytes(frames_of: MakeFrames) -> None:
    payload = bytes(range(0x10, 0x1C))
    data = frames_of([payload]).data
    whole_little = int.from_bytes(payload, "little")
    whole_big = int.from_bytes(payload, "big")
    mask = (1 << 64) - 1
    assert extract_bits(data, BitField(5, 64, "little_endian"))[0] == whole_little >> 5 & mask
    assert extract_bits(data, BitField(2, 64, "big_endian"))[0] == whole_big >> (96 - 5 - 64) & mask
