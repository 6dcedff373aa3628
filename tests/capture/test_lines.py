"""Chunks of lines, against Python's own split."""

import io

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from canwheel.capture.lines import LINE_LIMIT, find_byte, iter_chunks
from canwheel.capture.source import PlainSource


@given(st.lists(st.sampled_from([10, 35, 40, 255, 0, 1]), max_size=200))
def test_a_byte_is_found_as_numpy_finds_it(values: list[int]) -> None:
    values += [0] * (-len(values) % 8)
    text = np.array(values, np.uint8)
    found = find_byte(text, 10, np.empty(len(text), np.bool_))
    assert found.tolist() == np.flatnonzero(text == 10).tolist()


def lines_of(text: bytes, chunk_bytes: int) -> tuple[list[bytes], bool]:
    """Return all lines, and whether the last one has no newline."""
    lines, unended = [], False
    source = PlainSource(io.BytesIO(text), len(text))
    for chunk in iter_chunks(source, chunk_bytes=chunk_bytes):
        lines += [chunk.line(row) for row in range(len(chunk))]
        unended = chunk.unended
    return lines, unended


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


def test_a_line_without_end_does_not_fill_the_memory() -> None:
    text = b"x" * 100_000 + b"\nshort\n"
    lines, _ = lines_of(text, 4096)
    assert lines[1:] == [b"short"]
    assert LINE_LIMIT < len(lines[0]) <= LINE_LIMIT + 4096
