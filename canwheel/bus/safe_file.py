"""`SafeLog`: a file that only grows by whole lines, and is safe on the disk soon after.

What is written is with the operating system at once, so that killing the process loses nothing;
it is asked onto the disk every few seconds by a thread of its own, so that a slow disk holds up
nobody. A file that exists is never touched. When the disk is full, the half line that still went
in is taken off again.
"""

import contextlib
import errno
import os
import threading
from pathlib import Path

from canwheel.errors import RecordingError, RequestError

SYNC_S = 5.0
"""At most this much is lost when the computer itself loses power. [s]"""

FULL_DISK = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EFBIG})
"""Errors that say that there is no room any more."""


class SafeLog:
    """A new file for whole lines.

    Parameters
    ----------
    path : must not exist.

    Raises
    ------
    RequestError : it exists, or cannot be made there.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self.size_bytes = 0
        self._failure: OSError | None = None
        self._fd = _create(path)
        self._synced_bytes = 0
        self._closing = threading.Event()
        self._syncer = threading.Thread(target=self._sync_now_and_then, daemon=True)
        self._syncer.start()

    def write(self, lines: bytes) -> None:
        """Append whole lines.

        Raises
        ------
        RecordingError : the disk is full or gone; whole lines up to there stand in the file.
        """
        if self._failure is not None:
            raise self._cannot_go_on(self._failure) from self._failure
        rest = memoryview(lines)
        try:
            while rest:
                rest = rest[os.write(self._fd, rest) :]
        except OSError as error:
            self._keep_whole_lines(lines[: len(lines) - len(rest)])
            raise self._cannot_go_on(error) from error
        self.size_bytes += len(lines)

    def _keep_whole_lines(self, went_in: bytes) -> None:
        """Take the half line off the end of what went in."""
        self.size_bytes += went_in.rfind(b"\n") + 1
        with contextlib.suppress(OSError):
            os.ftruncate(self._fd, self.size_bytes)

    def _sync_now_and_then(self) -> None:
        while not self._closing.wait(SYNC_S):
            self._sync()

    def _sync(self) -> None:
        """Ask what was written onto the disk; a failure is told by the next write."""
        size = self.size_bytes
        if size == self._synced_bytes:
            return
        try:
            os.fsync(self._fd)
        except OSError as error:
            if error.errno in {errno.EINVAL, errno.ENOTSUP}:
                return  # a pipe or a file system without
            self._failure = error
        self._synced_bytes = size

    def close(self) -> None:
        """Put everything onto the disk and let the file go.

        Raises
        ------
        RecordingError : the disk did not take it.
        """
        if self._closing.is_set():
            return
        self._closing.set()
        self._syncer.join()
        self._sync()
        os.close(self._fd)
        if self._failure is not None:
            raise self._cannot_go_on(self._failure) from self._failure

    def _cannot_go_on(self, error: OSError) -> RecordingError:
        kept = f"the {self.size_bytes:,} bytes written before are safe and readable"
        if error.errno in FULL_DISK:
            return RecordingError(
                f"the disk is full; {kept}",
                where=str(self.path),
                remedy="make room, then record on under another name",
            )
        return RecordingError(
            f"the file cannot be written any more ({error.strerror}); {kept}",
            where=str(self.path),
            remedy="check the disk, then record on under another name",
        )


def _create(path: Path) -> int:
    """Make the file, and its name safe in the folder."""
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_APPEND | getattr(os, "O_BINARY", 0)
    try:
        fd = os.open(path, flags, 0o644)
    except FileExistsError as error:
        raise RequestError(
            "exists already, and a recording is never overwritten",
            where=str(path),
            remedy="choose another name",
        ) from error
    except OSError as error:
        raise RequestError(
            f"cannot be made: {error.strerror}",
            where=str(path),
            remedy="check the folder and its permissions",
        ) from error
    sync_folder(path.parent)
    return fd


def sync_folder(folder: Path) -> None:
    """Make names in a folder safe, where the system can (POSIX)."""
    with contextlib.suppress(OSError):
        fd = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(fd)
        finally:
            os.close(fd)
