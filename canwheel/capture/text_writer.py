"""Columns to lines of the open SocketCAN text log, all lines of a piece at once."""

from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from canwheel.capture.lines import Bytes
from canwheel.frames import FrameFlag, Frames

_HEX = np.frombuffer(b"0123456789ABCDEF", np.uint8)
_ZERO = np.uint8(ord("0"))
_NS = 1_000_000_000
_SECOND_DIGITS = 10
_FRACTION_DIGITS = 9
_MICROSECOND_DIGITS = 6
_ID_DIGITS = 8
_ERROR_BIT = np.uint32(0x2000_0000)
_FD_BRS = 1
_FD_ESI = 2
_PIECE_FRAMES = 20_000
"""Lines laid out at a time, so that their temporaries stay small."""


def write_text(path: Path, pieces: Iterable[Frames]) -> int:
    """Write frames as a text log; return how many."""
    with path.open("wb") as file:
        return _write_lines(file.write, pieces)


def write_packed_text(path: Path, pieces: Iterable[Frames]) -> int:
    """Write frames as a text log, compressed as gz; return how many."""
    from isal import igzip  # noqa: PLC0415 - only compressed captures need it

    opened: Any = igzip.IGzipFile(path, "wb", compresslevel=3)  # type: ignore[no-untyped-call]
    with opened as file:
        return _write_lines(file.write, pieces)


def _write_lines(write: Callable[[bytes], object], pieces: Iterable[Frames]) -> int:
    count = 0
    for frames in pieces:
        for first in range(0, len(frames), _PIECE_FRAMES):
            rows = np.arange(first, min(first + _PIECE_FRAMES, len(frames)))
            write(format_lines(frames.select(rows)))
        count += len(frames)
    return count


def format_lines(frames: Frames) -> bytes:
    """Return frames as lines, each with its newline.

    Microseconds are written, and nanoseconds where there are any. Every line is laid out in full
    width, with a mask of the characters that it really has.
    """
    line = _Line(len(frames))
    _add_time(line, frames.time_ns)
    _add_channel(line, frames)
    _add_identifier(line, frames)
    _add_payload(line, frames)
    line.add(b" T", frames.flags & FrameFlag.SENT != 0)
    line.add(b"\n")
    return line.joined()


class _Line:
    """n lines that grow to the right, column by column."""

    def __init__(self, count: int) -> None:
        self._count = count
        self._letters: list[Bytes] = []
        self._present: list[NDArray[np.bool_]] = []

    def add(self, letters: bytes | Bytes, present: NDArray[np.bool_] | None = None) -> None:
        """Append columns.

        Parameters
        ----------
        letters : the same for every line, or (n, w).
        present : (n,) or (n, w), which lines have them; None for all.
        """
        if isinstance(letters, bytes):
            letters = np.frombuffer(letters, np.uint8)
        shape = (self._count, letters.shape[-1])
        if present is None:
            present = np.ones(1, np.bool_)
        if present.ndim == 1 and len(present) == self._count:
            present = present[:, np.newaxis]
        self._letters.append(np.broadcast_to(letters, shape))
        self._present.append(np.broadcast_to(present, shape))

    def joined(self) -> bytes:
        """Return all lines."""
        letters = np.concatenate(self._letters, axis=1)
        return letters[np.concatenate(self._present, axis=1)].tobytes()


def _decimals(number: NDArray[np.int64], digits: int) -> Bytes:
    """Return numbers as (n, digits) decimal digits, with leading zeros."""
    letters = np.empty((len(number), digits), np.uint8)
    for place in reversed(range(digits)):
        number, digit = np.divmod(number, 10)
        letters[:, place] = digit
    return letters + _ZERO


def _add_time(line: _Line, time_ns: NDArray[np.int64]) -> None:
    seconds, rest = np.divmod(np.abs(time_ns), _NS)
    digits = np.searchsorted(10 ** np.arange(1, _SECOND_DIGITS), seconds, side="right") + 1
    line.add(b"(")
    line.add(b"-", time_ns < 0)
    places = np.arange(_SECOND_DIGITS, 0, -1)
    line.add(_decimals(seconds, _SECOND_DIGITS), places <= digits[:, np.newaxis])
    line.add(b".")
    needed = np.where(rest % 1000 == 0, _MICROSECOND_DIGITS, _FRACTION_DIGITS)
    places = np.arange(1, _FRACTION_DIGITS + 1)
    line.add(_decimals(rest, _FRACTION_DIGITS), places <= needed[:, np.newaxis])
    line.add(b") ")


def _add_channel(line: _Line, frames: Frames) -> None:
    """Append the channel's name, as one word: the form has no other way to end it."""
    names = ["_".join(name.split()).encode() or b"_" for name in frames.channels]
    width = max(map(len, names), default=0)
    table = np.frombuffer(b"".join(name.ljust(width) for name in names), np.uint8)
    length = np.array([len(name) for name in names])[frames.channel]
    letters = table.reshape(-1, width)[frames.channel]
    line.add(letters, np.arange(width) < length[:, np.newaxis])
    line.add(b" ")


def _add_identifier(line: _Line, frames: Frames) -> None:
    error = frames.flags & FrameFlag.ERROR != 0
    long = error | (frames.flags & FrameFlag.EXTENDED != 0)
    number = frames.can_id | (error * _ERROR_BIT)
    shifts = np.arange(4 * (_ID_DIGITS - 1), -1, -4, dtype=np.uint32)
    letters = _HEX[number[:, np.newaxis] >> shifts & np.uint32(15)]
    digits = np.where(long, _ID_DIGITS, 3)
    line.add(letters, np.arange(_ID_DIGITS, 0, -1) <= digits[:, np.newaxis])
    line.add(b"#")


def _add_payload(line: _Line, frames: Frames) -> None:
    remote = frames.flags & FrameFlag.REMOTE != 0
    fd = ~remote & (frames.flags & FrameFlag.FD != 0)
    nibble = (frames.flags & FrameFlag.BRS != 0) * np.uint8(_FD_BRS)
    nibble |= (frames.flags & FrameFlag.ESI != 0) * np.uint8(_FD_ESI)
    line.add(b"#", fd)
    line.add(_HEX[nibble][:, np.newaxis], fd)
    line.add(b"R", remote)
    asked = np.minimum(frames.length, 8) + _ZERO
    line.add(asked[:, np.newaxis], remote & (frames.length > 0))
    letters = np.stack([_HEX[frames.data >> 4], _HEX[frames.data & 15]], axis=2)
    length = np.where(remote, 0, frames.length).astype(np.int64)
    width = frames.data.shape[1]
    line.add(letters.reshape(-1, 2 * width), np.arange(2 * width) < 2 * length[:, np.newaxis])
