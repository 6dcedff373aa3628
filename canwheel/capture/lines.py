"""A text in chunks that stay in cache, with the place of every line."""

from collections.abc import Generator, Iterator
from contextlib import closing
from dataclasses import dataclass
from queue import SimpleQueue
from threading import Thread

import numpy as np
from numpy.typing import NDArray

from canwheel.capture.source import ByteSource

Bytes = NDArray[np.uint8]
Places = NDArray[np.int64]

CHUNK_BYTES = 1536 * 1024
"""Text taken at a time. Measured: below 0.5 MiB the calls dominate, above 2 MiB the temporaries
fall out of the processor's cache."""

LINE_LIMIT = 1024
"""Longest line that can be a frame, generously: 64 bytes of data take 128 digits, an interface
name 15 letters. A longer one is kept only so far, so that no line can fill the memory. [bytes]"""

SLACK = 256
"""Bytes after the text that may be looked at without harm (they are not part of any line)."""

NEWLINE = 0x0A

_BUFFERS = 3
_AHEAD_FROM_BYTES = 4 * CHUNK_BYTES
"""A file of this size is worth a thread that reads ahead: a fifth of the time is saved."""

_LARGE_BLOCK_BYTES = 16 * CHUNK_BYTES

BYTE_ORDER_MARK = b"\xef\xbb\xbf"
_WORD = 8
_FRONT = LINE_LIMIT + _WORD
"""Room in front of what is read, for the unfinished line before it. [bytes]"""

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
    """Yield a source's lines, chunk by chunk, in a few buffers that are used again and again."""
    _keep_freed_memory()
    room = -(-chunk_bytes // _WORD) * _WORD
    scratch = np.empty(_FRONT + room + SLACK, np.bool_)
    kept = _without_byte_order_mark(source)
    fill = _filled_ahead if source.size >= _AHEAD_FROM_BYTES else _filled
    with closing(fill(source, room)) as buffers:
        for text, count in buffers:
            first, stop = _FRONT - len(kept), _FRONT + count
            low, high = first // _WORD * _WORD, -(-stop // _WORD) * _WORD
            text[low:first] = 0
            text[first:_FRONT] = np.frombuffer(kept, np.uint8)
            text[stop : stop + SLACK] = 0
            newline = find_byte(text[low:high], NEWLINE, scratch) + low
            tail = first
            if len(newline):
                start = np.empty_like(newline)
                start[0] = first
                np.add(newline[:-1], 1, out=start[1:])
                yield LineChunk(text, start, newline, scratch)
                tail = int(newline[-1]) + 1
            if not count and tail < stop:
                yield LineChunk(text, np.array([tail]), np.array([stop]), scratch, unended=True)
            kept = text[tail : min(stop, tail + LINE_LIMIT + 1)].tobytes()


Buffers = Generator[tuple[Bytes, int], None, None]


def _filled(source: ByteSource, room: int) -> Buffers:
    """Yield one buffer, filled again and again from `_FRONT` on, and how many bytes came.

    The last time none came.
    """
    text = np.zeros(_FRONT + room + SLACK, np.uint8)
    count = 1
    while count:
        count = source.readinto(text.data[_FRONT : _FRONT + room])
        yield text, count


def _filled_ahead(source: ByteSource, room: int) -> Buffers:
    """Do the same with a thread that fills the next buffers while one is looked at.

    Reading, and unpacking, release the interpreter; a third buffer keeps either side from waiting
    for the other.
    """
    empty: SimpleQueue[Bytes | None] = SimpleQueue()
    full: SimpleQueue[tuple[Bytes, int] | BaseException] = SimpleQueue()

    def fill() -> None:
        try:
            while (text := empty.get()) is not None:
                count = source.readinto(text.data[_FRONT : _FRONT + room])
                full.put((text, count))
                if not count:
                    return
        except BaseException as error:  # noqa: BLE001 - raised again where it is waited for
            full.put(error)

    for _ in range(_BUFFERS):
        empty.put(np.zeros(_FRONT + room + SLACK, np.uint8))
    reader = Thread(target=fill, name="canwheel-read-ahead", daemon=True)
    reader.start()
    try:
        count = 1
        while count:
            item = full.get()
            if isinstance(item, BaseException):
                raise item
            text, count = item
            yield text, count
            empty.put(text)
    finally:
        empty.put(None)
        reader.join()


def _keep_freed_memory() -> None:
    """Have the allocator keep what is freed between chunks, for the next one.

    glibc hands temporaries of this size back to the system, and every chunk would wait for the
    same pages again, until it has once seen a larger block come and go (mallopt(3),
    M_MMAP_THRESHOLD). The block is never touched, so it costs nothing; elsewhere it does nothing.
    """
    np.empty(_LARGE_BLOCK_BYTES, np.uint8)


def _without_byte_order_mark(source: ByteSource) -> bytes:
    """Read the first bytes; return them, or none of them where they are a UTF-8 mark."""
    mark = bytearray()
    view = memoryview(bytearray(len(BYTE_ORDER_MARK)))
    while len(mark) < len(view) and (count := source.readinto(view[len(mark) :])):
        mark += view[len(mark) : len(mark) + count]
    return b"" if mark == BYTE_ORDER_MARK else bytes(mark)
