"""The bytes of a recording, whether it is compressed or not, and their fingerprint."""

import hashlib
import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from threading import Event, Thread
from types import TracebackType
from typing import Any, BinaryIO, Protocol, Self

from canwheel.errors import CaptureError

GZ_MAGIC = b"\x1f\x8b"
"""First bytes of a gz member (RFC 1952, section 2.3.1)."""

_GZ_WINDOW_BITS = 31
"""zlib's way to say: the largest window, with a gz header and checksum around it."""

_PACKED_BYTES = 128 * 1024
"""Compressed bytes taken from the file at a time; what is left over is copied, so not too many."""

_UNPACKED_BYTES = 64 * 1024
"""Text decompressed at a time."""

_SMALL_PACKED_BYTES = 4 * 1024
"""The same on the way to a defect, where the text is taken byte by byte."""

_HASH_BYTES = 1024 * 1024
"""Bytes hashed at a time: few enough to stay in cache, many enough that handing over the
interpreter between two threads costs nothing."""

GREW_SHORTER = "the file became shorter while it was read: what is lost is not judged"
"""What is wrong with a file that something else writes anew, or cuts, meanwhile."""

Progress = Callable[[int, int], None]
"""Called with bytes of the file done and bytes in all."""


class ByteSource(Protocol):
    """A recording's text, decompressed.

    Attributes
    ----------
    size : bytes of the file, as they lie on disk.
    consumed : those taken so far.
    damage : what is wrong with the compressed form, in words; empty when nothing is.
    """

    size: int
    consumed: int
    damage: str

    def readinto(self, room: memoryview) -> int:
        """Fill `room` from the front; return how many bytes came, 0 only at the end."""


class PlainSource:
    """A file that is not compressed, up to the size that it had when it was opened."""

    def __init__(self, file: BinaryIO, size: int) -> None:
        self._file = file
        self.size = size
        self.consumed = 0
        self.damage = ""

    def readinto(self, room: memoryview) -> int:
        """Fill `room` from the front; return how many bytes came, 0 only at the end."""
        wanted = room[: self.size - self.consumed]
        with _told():
            count: int = self._file.readinto(wanted)  # type: ignore[attr-defined]
        self.consumed += count
        if len(wanted) and not count:
            self.damage = GREW_SHORTER
        return count


class GzSource:
    """A gz file, of one member or several; what comes before a defect is still given."""

    def __init__(self, file: BinaryIO, size: int) -> None:
        from isal import igzip_lib, isal_zlib  # noqa: PLC0415 - only compressed captures need it

        self._file = file
        self.size = size
        self._defect: Any = igzip_lib.IsalError
        self._new_member: Callable[[], Any] = lambda: isal_zlib.decompressobj(_GZ_WINDOW_BITS)
        self._member: Any = None
        self._packed = b""
        self._member_at = 0  # where it begins in the file
        self._given = 0  # text of it
        self.consumed = 0
        self.damage = ""

    def readinto(self, room: memoryview) -> int:
        """Fill `room` from the front; return how many bytes came, 0 only at the end."""
        filled = 0
        while filled < len(room) and not self.damage and self._has_member():
            try:
                wanted = min(len(room) - filled, _UNPACKED_BYTES)
                piece = self._member.decompress(self._packed, wanted)
            except self._defect:
                self.damage = "the gz data is damaged: what comes after the defect is lost"
                piece = self._salvage(wanted)
                room[filled : filled + len(piece)] = piece
                filled += len(piece)
                break
            self._given += len(piece)
            if not piece and not self._packed and not self._member.eof:
                self.damage = "the gz data ends too early: the file was cut or not closed"
            room[filled : filled + len(piece)] = piece
            filled += len(piece)
            if self._member.eof:
                self._packed, self._member = self._member.unused_data, None
            else:
                self._packed = self._member.unconsumed_tail
        return filled

    def _has_member(self) -> bool:
        """Take more of the file where needed and begin its next gz member; False at the end."""
        if self._member is not None:
            if not self._packed:
                self._refill()  # at the end of the file the member may still hold some text
            return True
        while True:  # zero padding may follow a member (RFC 1952 leaves it to the reader)
            self._packed = self._packed.lstrip(b"\0")
            if self._packed:
                self._member, self._given = self._new_member(), 0
                self._member_at = self.consumed - len(self._packed)
                return True
            if not self._refill():
                return False

    def _salvage(self, most: int) -> bytes:
        """Return what text of this member stands between the last given and the defect.

        The library gives nothing of a piece in which it stumbles, nor where the text is whole and
        only its checksum wrong; so the member is unpacked again, in small steps towards its end.
        """
        self._file.seek(self._member_at)
        member, packed, place = self._new_member(), b"", 0
        text = bytearray()
        try:
            while len(text) < most and not member.eof:
                packed = packed or self._file.read(_SMALL_PACKED_BYTES)
                left = self._given - place
                step = min(left, _UNPACKED_BYTES) if left > 0 else 1
                piece = member.decompress(packed, step)
                if not piece and not packed:
                    break
                packed = member.unconsumed_tail
                place += len(piece)
                if left <= 0:
                    text += piece
        except self._defect:
            pass
        return bytes(text[:most])

    def _refill(self) -> bool:
        """Take more compressed bytes; False at the end of the file."""
        with _told():
            self._packed = self._file.read(min(_PACKED_BYTES, self.size - self.consumed))
        self.consumed += len(self._packed)
        return bool(self._packed)


@contextmanager
def _told() -> Iterator[None]:
    """Turn a failing disk into an error for the user."""
    try:
        yield
    except OSError as error:
        raise CaptureError(
            f"the file cannot be read to its end ({error.strerror})",
            remedy="check the disk that it lies on, and copy it",
        ) from error


def open_file(path: Path) -> BinaryIO:
    """Open a recording for reading.

    Raises
    ------
    CaptureError : there is no such file, it is a directory, or it may not be read.
    """
    try:
        return path.open("rb", buffering=0)
    except FileNotFoundError:
        raise CaptureError(
            "there is no such file", where=str(path), remedy="check the name of the capture"
        ) from None
    except IsADirectoryError:
        raise CaptureError(
            "this is a directory", where=str(path), remedy="name the capture file in it"
        ) from None
    except OSError as error:
        raise CaptureError(
            f"the file cannot be opened ({error.strerror})",
            where=str(path),
            remedy="check that you may read it",
        ) from None


def source_of(file: BinaryIO, size: int) -> ByteSource:
    """Return the text of an open file; its first bytes say whether it is compressed.

    Parameters
    ----------
    file : at its begin.
    size : bytes of it that are to be read.
    """
    magic = file.read(len(GZ_MAGIC))
    file.seek(0)
    return GzSource(file, size) if magic == GZ_MAGIC else PlainSource(file, size)


class Fingerprint:
    """SHA-256 of a file, computed in a thread of its own beside the scan.

    The library releases the interpreter while it hashes, so that the scan goes on. The thread
    ends early when the block ends without the result having been asked for.
    """

    def __init__(self, path: Path, size: int) -> None:
        self._path = path
        self._size = size
        self._hash = hashlib.sha256()
        self._stop = Event()
        self._error: OSError | None = None
        self._thread = Thread(target=self._run, name="canwheel-fingerprint", daemon=True)

    def __enter__(self) -> Self:
        """Start hashing."""
        self._thread.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Stop hashing, if it still goes on."""
        self._stop.set()
        self._thread.join()

    def _run(self) -> None:
        room = memoryview(bytearray(_HASH_BYTES))
        left = self._size
        try:
            with self._path.open("rb", buffering=0) as file:
                while left and not self._stop.is_set():
                    count = file.readinto(room[:left])
                    if not count:
                        break
                    self._hash.update(room[:count])
                    left -= count
        except OSError as error:
            self._error = error

    def hexdigest(self) -> str:
        """Wait for the end of the file and return the digest, hexadecimal.

        Raises
        ------
        CaptureError : the file could not be read to its end.
        """
        self._thread.join()
        if self._error is not None:
            raise CaptureError(
                f"the file cannot be read ({self._error.strerror})", where=str(self._path)
            )
        return self._hash.hexdigest()


def size_of(file: BinaryIO, name: str) -> int:
    """Return the size of an open file. [bytes]

    Raises
    ------
    CaptureError : the file is empty.
    """
    size = os.fstat(file.fileno()).st_size
    if not size:
        raise CaptureError(
            "the file is empty",
            where=name,
            remedy="check that the recorder was connected and started",
        )
    return size
