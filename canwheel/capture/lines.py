"""A text in chunks that stay in cache, with the place of every line."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canwheel.capture.source import ByteSource

Bytes = NDArray[np.uint8]
Places = NDArray[np.int64]

CHUNK_BYTES = 1024 * 1024
"""Text taken at a time. Measured: below 0.25 MiB the calls dominate, above 4 MiB the temporaries
fall out of the processor's cache."""

LINE_LIMIT = 1024
"""Longest line that can be a frame, generously: 64 bytes of data take 128 digits, an interface
name 15 letters. A longer one is kept only so far, so that no line can fill the memory. [bytes]"""

SLACK = 256
"""Bytes after the text that may be looked at without harm (they are not part of any line)."""

NEWLINE = 0x0A

_LARGE_BLOCK_BYTES = 16 * CHUNK_BYTES

BYTE_ORDER_MARK = b"\xef\xbb\xbf"
_WORD = 8
_BYTE_OF_FLAG = np.uint64(0x0001_0203_0405_0607)
"""Times a word that holds a single 1 in its byte k, this has k in its highest byte."""
_TOP_BYTE = np.uint64(56)
_ONE = np.uint64(1)


def find_byte(text: Bytes, value: int, scratch: NDArray[np.bool_]) -> Places:
    """Return the places of a byte in `text`, in order.

    Eight bytes are looked at together, which is three times faster than numpy's own search where
    the byte is rare.

    Parameters
    ----------
    text : (8 * n,) whole words.
    value : the byte.
    scratch : (at least 8 * n,) overwritten.
    """
    flags = scratch[: len(text)]
    np.equal(text, value, out=flags)
    words = flags.view("<u8")
    place = np.flatnonzero(words != 0)
    word = words.take(place)
    rest = word - _ONE
    rest &= word
    if rest.any():  # two of them within one word
        return np.flatnonzero(flags)
    word *= _BYTE_OF_FLAG
    word >>= _TOP_BYTE
    place <<= 3
    place += word.view(np.int64)
    return place


@dataclass(frozen=True, slots=True, eq=False)
class LineChunk:
    """Some whole lines; valid only until the next chunk is asked for.

    Attributes
    ----------
    text : the bytes, with at least `SLACK` more after the last line.
    start, end : (n,) where each line begins, and where its newline stands.
    scratch : room for a mask of `text`, overwritten by `find_byte`.
    unended : the one line has no newline after it, so it may be cut.
    """

    text: Bytes
    start: Places
    end: Places
    scratch: NDArray[np.bool_]
    unended: bool = False

    def __len__(self) -> int:
        """Return n, the number of lines."""
        return len(self.start)

    def line(self, row: int) -> bytes:
        """Return one line without its newline."""
        return self.text[self.start[row] : self.end[row]].tobytes()

    def find(self, value: int) -> Places:
        """Return the places of a byte in the chunk's lines."""
        stop = -(-int(self.end[-1] + 1) // _WORD) * _WORD
        return find_byte(self.text[:stop], value, self.scratch)


def iter_chunks(source: ByteSource, *, chunk_bytes: int = CHUNK_BYTES) -> Iterator[LineChunk]:
    """Yield a source's lines, chunk by chunk, in one buffer that is used again and again."""
    _keep_freed_memory()
    front = LINE_LIMIT + _WORD  # room for the unfinished line before what comes next
    room = -(-chunk_bytes // _WORD) * _WORD
    text = np.zeros(front + room + SLACK, np.uint8)
    scratch = np.empty(len(text), np.bool_)
    kept = _skip_byte_order_mark(source, text[:front])
    ended = False
    while not ended:
        count = source.readinto(text.data[front : front + room])
        ended = count == 0
        first, stop = front - kept, front + count
        text[stop : stop + SLACK] = 0
        low, high = first // _WORD * _WORD, -(-stop // _WORD) * _WORD
        text[low:first] = 0
        newline = find_byte(text[low:high], NEWLINE, scratch) + low
        tail = first
        if len(newline):
            start = np.empty_like(newline)
            start[0] = first
            np.add(newline[:-1], 1, out=start[1:])
            yield LineChunk(text, start, newline, scratch)
            tail = int(newline[-1]) + 1
        if ended and tail < stop:
            yield LineChunk(text, np.array([tail]), np.array([stop]), scratch, unended=True)
        kept = min(stop - tail, LINE_LIMIT + 1)
        text[front - kept : front] = text[tail : tail + kept].copy()


def _keep_freed_memory() -> None:
    """Have the allocator keep what is freed between chunks, for the next one.

    glibc hands temporaries of this size back to the system, and every chunk would wait for the
    same pages again, until it has once seen a larger block come and go (mallopt(3),
    M_MMAP_THRESHOLD). The block is never touched, so it costs nothing; elsewhere it does nothing.
    """
    np.empty(_LARGE_BLOCK_BYTES, np.uint8)


def _skip_byte_order_mark(source: ByteSource, front: Bytes) -> int:
    """Read the first bytes to the end of `front`, without a UTF-8 mark; return how many stay."""
    mark = bytearray()
    view = memoryview(bytearray(len(BYTE_ORDER_MARK)))
    while len(mark) < len(view) and (count := source.readinto(view[len(mark) :])):
        mark += view[len(mark) : len(mark) + count]
    kept = b"" if mark == BYTE_ORDER_MARK else bytes(mark)
    front[len(front) - len(kept) :] = np.frombuffer(kept, np.uint8)
    return len(kept)
