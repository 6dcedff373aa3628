"""Columns of lines, against the same lines read one at a time."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from canwheel.capture.frame_lines import LineBatch, read_line, read_rows
from canwheel.frames import FrameFlag

E, FD, BRS, ESI = FrameFlag.EXTENDED, FrameFlag.FD, FrameFlag.BRS, FrameFlag.ESI
R, ERR, SENT = FrameFlag.REMOTE, FrameFlag.ERROR, FrameFlag.SENT
SEVEN = bytes(range(1, 8))

# The forms as the writer of the python-can library spells them; length code and dots from memory
# of the format's own description.
FORMS = [
    (b"(1.5) can0 2C1#0014DF14", (1_500_000_000, 0x2C1, 0, 4, b"\x00\x14\xdf\x14", "can0")),
    (b"(1.5) can0 2c1#0014df14", (1_500_000_000, 0x2C1, 0, 4, b"\x00\x14\xdf\x14", "can0")),
    (b"(1.000001) can0 7FF#", (1_000_001_000, 0x7FF, 0, 0, b"", "can0")),
    (b"(1.0) can0 00000001#AA", (10**9, 1, E, 1, b"\xaa", "can0")),
    (b"(1.0) can0 18FEBF0B#AA R", (10**9, 0x18FEBF0B, E, 1, b"\xaa", "can0")),
    (b"(1.0) can0 123#AA T", (10**9, 0x123, SENT, 1, b"\xaa", "can0")),
    (b"(1.0) can0 123##0AA", (10**9, 0x123, FD, 1, b"\xaa", "can0")),
    (b"(1.0) can0 123##3AA t\r", (10**9, 0x123, FD | BRS | ESI | SENT, 1, b"\xaa", "can0")),
    (b"(1.0) can0 123##5", (10**9, 0x123, FD | BRS, 0, b"", "can0")),
    (b"(1.0) can0 123#R", (10**9, 0x123, R, 0, b"", "can0")),
    (b"(1.0) can0 123#R5 T", (10**9, 0x123, R | SENT, 5, b"", "can0")),
    (b"(1.0) can0 20000080#0000000000000000", (10**9, 0x80, E | ERR, 8, b"", "can0")),
    (b"(1.0) can0 20000004#0001000000000000", (10**9, 4, E | ERR, 8, b"\x00\x01", "can0")),
    (b"(1.0) can0 123#01.02.03", (10**9, 0x123, 0, 3, b"\1\2\3", "can0")),
    (b"(1.0) can0 123#0102030405060708_C", (10**9, 0x123, 0, 8, SEVEN + b"\x08", "can0")),
    (b"  (1.0)\t can0  123#01  ", (10**9, 0x123, 0, 1, b"\1", "can0")),
    (b"(1.0) 3 123#01", (10**9, 0x123, 0, 1, b"\1", "3")),
    (b"(1.0) a-long-channel-name 123#01", (10**9, 0x123, 0, 1, b"\1", "a-long-channel-name")),
    (b"(12) can0 123#", (12 * 10**9, 0x123, 0, 0, b"", "can0")),
    (b"(12.) can0 123#", (12 * 10**9, 0x123, 0, 0, b"", "can0")),
    (b"(0.000000001) can0 123#", (1, 0x123, 0, 0, b"", "can0")),
    (b"(0.1234567899) can0 123#", (123_456_789, 0x123, 0, 0, b"", "can0")),
    (b"(-2.25) can0 123#", (-2_250_000_000, 0x123, 0, 0, b"", "can0")),
    (b"(-0.000001) can0 123#", (-1000, 0x123, 0, 0, b"", "can0")),
    (b"(9223372035.999999999) can0 1#", (9_223_372_035_999_999_999, 1, 0, 0, b"", "can0")),
    (b"(0001700000000.000013) can0 1#", (1_700_000_000_000_013_000, 1, 0, 0, b"", "can0")),
    (b"(1.0) can0 12345#", (10**9, 0x12345, E, 0, b"", "can0")),
]  # fmt: skip

NO_FRAMES = [
    b"",
    b"(1.0) can0 123#0",  # half a byte
    b"(1.0) can0 123#010203040506070809",  # nine bytes in a classic frame
    b"(1.0) can0 123##0" + b"00" * 65,
    b"(1.0) can0 123##",
    b"(1.0) can0 123##g00",
    b"(1.0) can0 123##0R",  # CAN FD has no remote frames
    b"(1.0) can0 123#R9",
    b"(1.0) can0 123#0102_9",  # a length code needs all eight bytes
    b"(1.0) can0 800#",  # more than 11 bits
    b"(1.0) can0 123456789#",
    b"(1.0) can0 #00",
    b"(1.0) can0 12G#00",
    b"(1.0) can0 123#0G",
    b"(1.0) 123#00",  # no channel
    b"1.0 can0 123#00",
    b"(nan) can0 123#00",
    b"(inf) can0 123#00",
    b"(1e9) can0 123#00",
    b"(.5) can0 123#00",
    b"(--1.0) can0 123#00",
    b"(1.0.0) can0 123#00",
    b"(9223372037.0) can0 123#00",  # beyond what 64 bits of nanoseconds hold
    b"(99999999999999999999.0) can0 123#00",
    b"(1.0) can0 123#00 X",
    b"(1.0)can0 123#00",
]


def batch_of(lines: list[bytes]) -> LineBatch:
    """Lay lines side by side."""
    text = np.frombuffer(bytes(16) + b"\n".join(lines) + bytes(256), np.uint8)
    length = np.array([len(line) for line in lines], np.int64)
    start = 16 + np.concatenate([[0], np.cumsum(length + 1)[:-1]]).astype(np.int64)
    hash_at = start + [max(line.find(b"#"), 0) for line in lines]
    return LineBatch(text, start, start + length, hash_at)


def check_batch(lines: list[bytes]) -> None:
    """Compare columns with lines read one at a time."""
    rows = read_rows(batch_of(lines))
    for row, line in enumerate(lines):
        frame = read_line(line)
        assert bool(rows.good[row]) is (frame is not None), line
        if frame is not None:
            found = (
                int(rows.time_ns[row]),
                int(rows.can_id[row]),
                int(rows.flags[row]),
                int(rows.length[row]),
                rows.data[row].tobytes(),
                rows.channels[rows.channel[row]],
            )
            padded = frame.data.ljust(rows.data.shape[1], b"\0")
            assert found == (*frame[:4], padded, frame.channel), line


@pytest.mark.parametrize(("line", "expected"), FORMS)
def test_every_form_is_read(line: bytes, expected: tuple[object, ...]) -> None:
    frame = read_line(line)
    assert frame is not None
    assert (*frame[:4], frame.data.rstrip(b"\0"), frame.channel) == expected
    check_batch([line])


@pytest.mark.parametrize("line", NO_FRAMES)
def test_what_is_no_frame_is_refused(line: bytes) -> None:
    assert read_line(line) is None
    check_batch([line])


def test_a_batch_reads_every_form_side_by_side() -> None:
    check_batch([line for line, _ in FORMS] + NO_FRAMES)


@st.composite
def mutated_lines(draw: st.DrawFn) -> list[bytes]:
    """Lines of every form with some characters replaced, put in, or taken out."""
    lines = []
    for _ in range(draw(st.integers(1, 12))):
        line = bytearray(draw(st.sampled_from([line for line, _ in FORMS])))
        for _ in range(draw(st.integers(0, 2))):
            place = draw(st.integers(0, len(line)))
            letter = draw(st.sampled_from(list(b"0189AaFfGgRrTt#()._- \t\r\0\x10\x7f\xff")))
            how = draw(st.sampled_from(["replace", "insert", "delete"]))
            line[place : place + (how != "insert")] = b"" if how == "delete" else bytes([letter])
        lines.append(bytes(line))
    return lines


@given(mutated_lines())
def test_columns_agree_with_single_lines_whatever_is_in_them(lines: list[bytes]) -> None:
    check_batch(lines)
