"""Chunks of lines, against Python's own split."""

import io
import threading
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from canwheel.capture import lines
from canwheel.capture.lines import LINE_LIMIT, find_byte, iter_chunks
from canwheel.capture.source import PlainSource
from canwheel.errors import CaptureError


@given(st.lists(st.sampled_from([10, 35, 40, 255, 0, 1]), max_size=200))
def test_a_byte_is_found_as_numpy_finds_it(values: list[int]) -> None:
    values += [0] * (-len(values) % 8)
    text = np.array(values, np.uint8)
    found = find_byte(text, 10, np.empty(len(text), np.bool_))
    assert found.tolist() == np.flatnonzero(text == 10).tolist()


def lines_of(text: bytes, chunk_bytes: int) -> tuple[list[bytes], bool]:
    """Return all lines, and whether the last one has no newline."""
    found, unended = [], False
    source = PlainSource(io.BytesIO(text), len(text))
    for chunk in iter_chunks(source, chunk_bytes=chunk_bytes):
        found += [chunk.line(row) for row in range(len(chunk))]
        unended = chunk.unended
    return found, unended


@given(
    st.lists(st.binary(max_size=30).map(lambda line: line.replace(b"\n", b"")), max_size=30),
    st.integers(1, 100),
    st.booleans(),
)
def test_lines_are_those_that_split_gives(
    lines: list[bytes],
    chunk_bytes: int,
    ends: bool,  # noqa: FBT001
) -> None:
    text = b"\n".join(lines) + (b"\n" if ends and lines else b"")
    expected = text.removeprefix(b"\xef\xbb\xbf").split(b"\n")
    unended = bool(expected[-1])
    found, found_unended = lines_of(text, chunk_bytes)
    assert found == (expected if unended else expected[:-1])
    assert found_unended is unended


@pytest.mark.parametrize("chunk_bytes", [10, 64, 5000])
def test_reading_ahead_changes_nothing(
    monkeypatch: pytest.MonkeyPatch, drive_text: bytes, chunk_bytes: int
) -> None:
    text = drive_text[:20_000] + b"(1.0) can0 1"
    expected = lines_of(text, chunk_bytes)
    monkeypatch.setattr(lines, "_AHEAD_FROM_BYTES", 0)
    assert lines_of(text, chunk_bytes) == expected == (text.split(b"\n"), True)
    assert "canwheel-read-ahead" not in [thread.name for thread in threading.enumerate()]


def test_who_stops_looking_stops_the_reading(
    monkeypatch: pytest.MonkeyPatch, drive_text: bytes
) -> None:
    monkeypatch.setattr(lines, "_AHEAD_FROM_BYTES", 0)
    source = PlainSource(io.BytesIO(drive_text), len(drive_text))
    chunks = iter_chunks(source, chunk_bytes=100)
    next(chunks)
    chunks.close()
    assert source.consumed < 1000
    assert "canwheel-read-ahead" not in [thread.name for thread in threading.enumerate()]


def test_what_goes_wrong_while_reading_ahead_is_raised(monkeypatch: pytest.MonkeyPatch) -> None:
    class Broken(io.BytesIO):
        def readinto(self, room: Any) -> int:
            if self.tell() > 500:
                raise OSError(5, "Input/output error")
            return super().readinto(room)

    monkeypatch.setattr(lines, "_AHEAD_FROM_BYTES", 0)
    text = b"(1.0) can0 123#00\n" * 100
    with pytest.raises(CaptureError, match="Input/output"):
        list(iter_chunks(PlainSource(Broken(text), len(text)), chunk_bytes=100))


def test_a_line_without_end_does_not_fill_the_memory() -> None:
    text = b"x" * 100_000 + b"\nshort\n"
    lines, _ = lines_of(text, 4096)
    assert lines[1:] == [b"short"]
    assert LINE_LIMIT < len(lines[0]) <= LINE_LIMIT + 4096
