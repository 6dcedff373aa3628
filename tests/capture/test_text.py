"""The text log's fast path, against python-can's own reader of the same form."""

import io
from collections.abc import Callable
from typing import Any

import can
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from canwheel.capture.text import Sieve
from canwheel.frames import Frames, IdPattern, is_wanted

ONE_FD, ONE_EXTENDED = 0x100 + 29 * 3, 0x18FE0000 + 5
PATTERNS = (
    IdPattern.exactly(ONE_FD, extended=False),
    IdPattern.exactly(ONE_EXTENDED, extended=True),
    IdPattern.exactly(0x100 + 29 * 11, extended=False),  # of which there are only remote frames
)

hex_digits = st.binary(max_size=8).map(lambda data: data.hex())
identifiers = st.one_of(
    st.integers(0, 0x7FF).map(lambda value: f"{value:03X}"),
    st.integers(0, 0x1FFFFFFF).map(lambda value: f"{value:08X}"),
)
payloads = st.one_of(
    hex_digits,
    hex_digits.map(str.upper),
    st.builds(
        lambda flags, data: f"#{flags}{data.hex()}", st.integers(0, 7), st.binary(max_size=64)
    ),
    st.sampled_from(["R", "r", *(f"R{length}" for length in range(9))]),
)
times = st.one_of(
    st.builds(lambda s, us: f"{s}.{us:06d}", st.integers(0, 2**33), st.integers(0, 999_999)),
    st.builds(lambda s, ms: f"-{s}.{ms:03d}", st.integers(0, 2**31), st.integers(0, 999)),
    st.builds(lambda s, ns: f"{s}.{ns:09d}", st.integers(0, 10**6), st.integers(0, 10**9 - 1)),
    st.integers(0, 2**33).map(str),
)
usual_lines = st.builds(
    lambda time, channel, can_id, data, suffix, end: (
        f"({time}) {channel} {can_id}#{data}{suffix}{end}"
    ),
    times,
    st.sampled_from(["can0", "can1", "vcan12", "7", "slcan0-brake-unit"]),
    identifiers,
    payloads,
    st.sampled_from(["", "", " R", " T", " r", " t"]),
    st.sampled_from(["\n", "\r\n", "\n\n", " \n", "\n \r\n"]),
)
error_lines = st.sampled_from(["(3.5) can0 20000080#0000000000000000\n", "(3.5) can0 20000080#\n"])
logs = st.lists(st.one_of(usual_lines, usual_lines, usual_lines, error_lines), max_size=20)

Plain = Callable[[Frames], list[tuple[Any, ...]]]


@given(lines=logs, chunk_bytes=st.integers(1, 400), last_newline=st.booleans())
def test_every_frame_is_what_python_can_reads(
    scan: Any, same_frame: Any, lines: list[str], chunk_bytes: int, *, last_newline: bool
) -> None:
    text = "".join(lines)
    if not last_newline:
        text = text.rstrip()
    frames, tally = scan(text.encode(), chunk_bytes=chunk_bytes)
    messages = list(can.CanutilsLogReader(io.StringIO(text)))
    assert len(frames) == tally.frames == len(messages)
    assert tally.unreadable_lines == 0
    assert frames.index.tolist() == list(range(len(messages)))
    for row, message in enumerate(messages):
        same_frame(frames, row, message)
    if messages:
        assert (tally.first_time_ns, tally.last_time_ns) == (frames.time_ns[0], frames.time_ns[-1])


@pytest.mark.parametrize("chunk_bytes", [1, 7, 64, 1000, 4096, 1 << 20])
def test_wanted_frames_are_those_picked_from_all(
    scan: Any, plain: Plain, drive_text: bytes, chunk_bytes: int
) -> None:
    everything, all_tally = scan(drive_text)
    picked = everything.select(is_wanted(PATTERNS, everything.can_id, everything.flags))
    frames, tally = scan(drive_text, PATTERNS, chunk_bytes=chunk_bytes)
    assert plain(frames) == plain(picked)
    assert len(frames) > 100
    assert set(frames.can_id.tolist()) == {ONE_FD, ONE_EXTENDED}
    assert tally == all_tally


@given(
    value=st.integers(0, 0x1FFFFFFF),
    mask=st.one_of(st.integers(0, 0x1FFFFFFF), st.just(0x03FFFF00), st.just(0x1FFFFFFF)),
    extended=st.booleans(),
)
def test_patterns_with_masks_are_found_too(
    scan: Any, plain: Plain, drive_text: bytes, value: int, mask: int, *, extended: bool
) -> None:
    base = (0x18FE0000 | value & 0xFF) if extended else 0x100 + value % 700
    mask &= 0x1FFFFFFF if extended else 0x7FF
    wanted = (IdPattern(base & mask, mask, extended),)
    everything, _ = scan(drive_text[:40_000])
    frames, _ = scan(drive_text[:40_000], wanted)
    picked = everything.select(is_wanted(wanted, everything.can_id, everything.flags))
    assert plain(frames) == plain(picked)


def test_nothing_wanted_means_nothing_read_but_everything_counted(
    scan: Any, drive_text: bytes
) -> None:
    frames, tally = scan(drive_text, ())
    assert len(frames) == 0
    assert tally.frames == 3000


def test_the_sieve_lets_both_cases_of_a_letter_pass(scan: Any) -> None:
    frames, _ = scan(
        b"(1.0) can0 2ab#01\n(2.0) can0 2AB#02\n(3.0) can0 2aB#03\n(3.0) can0 2AC#03\n",
        (IdPattern.exactly(0x2AB, extended=False),),
    )
    assert frames.data[:, 0].tolist() == [1, 2, 3]
    assert Sieve(None).everything


def test_unreadable_lines_are_counted_and_the_first_is_located(scan: Any) -> None:
    lines = [f"({n}.0) can0 123#{n:02d}" for n in range(50)]
    lines[10] = "\x00\x01rubbish"
    lines[20] = "(20.0) can0 123#0x"  # looks like a frame from afar
    lines[30] = ""
    lines[40] = "# a remark"
    text = "\n".join(lines).encode()
    for wanted in (None, (IdPattern.exactly(0x123, extended=False),)):
        for chunk_bytes in (5, 100, 1 << 20):
            frames, tally = scan(text, wanted, chunk_bytes=chunk_bytes)
            assert tally.frames == len(frames) == 46
            assert tally.unreadable_lines == 3
            assert tally.first_unreadable.number == 11
            assert tally.first_unreadable.text == "��rubbish"
            assert frames.index.tolist() == list(range(46))


def test_the_first_unreadable_line_is_the_first_even_when_read_late(scan: Any) -> None:
    text = b"(1.0) can0 123#00\n(2.0) can0 123#0x\nrubbish\n(4.0) can0 123#00\n"
    _, tally = scan(text, (IdPattern.exactly(0x123, extended=False),))
    assert (tally.unreadable_lines, tally.first_unreadable.number) == (2, 2)


@pytest.mark.parametrize(
    "tail",
    [b"(17", b"(17.5) can0", b"(17.5) can0 12", b"(17.5) can0 123#0", b"\x00\x00\x00", b"x" * 5000],
)
def test_a_cut_last_line_is_told_and_not_counted(scan: Any, tail: bytes) -> None:
    for chunk_bytes in (16, 1 << 20):
        text = b"(1.0) can0 123#00\n(2.0) can0 123#11\n" + tail
        frames, tally = scan(text, chunk_bytes=chunk_bytes)
        assert tally.cut_last_line
        assert (len(frames), tally.frames, tally.unreadable_lines) == (2, 2, 0)


def test_a_last_line_without_newline_is_a_frame(scan: Any) -> None:
    frames, tally = scan(b"\xef\xbb\xbf(1.0) can0 123#00\r\n(2.0) can0 123#1122")
    assert (tally.frames, tally.cut_last_line, tally.unreadable_lines) == (2, False, 0)
    assert frames.data[1].tolist() == [0x11, 0x22, 0, 0, 0, 0, 0, 0]


def test_times_are_kept_to_the_digit_and_may_run_backwards(scan: Any) -> None:
    written = [1_700_000_000_123_456, 1_700_000_000_123_455, 5, 9_000_000_000_999_999, -3]
    lines = "".join(
        f"({'-' if us < 0 else ''}{abs(us) // 10**6}.{abs(us) % 10**6:06d}) can0 1A0#\n"
        for us in written
    )
    frames, tally = scan(lines.encode())
    assert frames.time_ns.tolist() == [us * 1000 for us in written]
    assert tally.last_time_ns == -3000


def test_channels_are_numbered_in_order_of_appearance(scan: Any) -> None:
    text = b"(1.0) x 123#\n(2.0) b 124#\n(3.0) a 123#\n(4.0) x 123#\n(5.0) b 123#\n"
    frames, _ = scan(text, (IdPattern.exactly(0x123, extended=False),), chunk_bytes=14)
    assert frames.channels == ("x", "a", "b")
    assert frames.channel.tolist() == [0, 1, 0, 2]


def test_many_layouts_in_one_chunk_are_read(scan: Any) -> None:
    """More prefixes than are remembered: names of many lengths, times of many lengths."""
    lines = [
        f"({'1' * (n % 9 + 1)}.{'5' * (n % 7 + 1)}) c{'h' * (n % 13)} 1{n % 10}0#{n % 100:02d}\n"
        for n in range(5000)
    ]
    text = "".join(lines).encode()
    wanted = (IdPattern.exactly(0x150, extended=False),)
    frames, tally = scan(text, wanted)
    assert (tally.frames, tally.unreadable_lines) == (5000, 0)
    assert frames.index.tolist() == list(range(5, 5000, 10))
    messages = list(can.CanutilsLogReader(io.StringIO(text.decode())))
    assert np.array_equal(frames.data[:, 0], [m.data[0] for m in messages[5::10]])
    assert [frames.channels[k] for k in frames.channel] == [m.channel for m in messages[5::10]]
