"""A text log that is still being written: what is in it so far, and what comes next."""

import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import BinaryIO

from canwheel.capture.source import open_file
from canwheel.capture.summary import CaptureSummary
from canwheel.capture.text import TextScan
from canwheel.frames import Frames

_WAIT_S = 0.1


class FollowedLog:
    """The frames of a growing log, and the summary so far.

    Iterate over it once, in a thread of its own: it waits for more until it is told that no more
    comes. `summary` may be asked for from anywhere.

    Parameters
    ----------
    path : the log.
    is_ended : whether nothing more will be written.

    Raises
    ------
    CaptureError : the file cannot be opened.
    """

    def __init__(self, path: Path, is_ended: Callable[[], bool]) -> None:
        self._path = path
        self._file = open_file(path)
        self._source = _GrowingSource(self._file, is_ended)
        self._scan = TextScan(self._source, None)

    def __iter__(self) -> Iterator[Frames]:
        """Yield all frames as they come, whole lines only."""
        with self._file:
            yield from self._scan

    def stop(self) -> None:
        """Have the iteration end at what has come so far."""
        self._source.stop.set()

    @property
    def size_bytes(self) -> int:
        """How much has been read. [bytes]"""
        return self._source.consumed

    @property
    def summary(self) -> CaptureSummary:
        """What a scan says of the log so far; without a fingerprint, as it still grows."""
        return self._scan.tally.summary(file=str(self._path), sha256="")


class _GrowingSource:
    """The bytes of a file that somebody else appends to."""

    def __init__(self, file: BinaryIO, is_ended: Callable[[], bool]) -> None:
        self._file = file
        self._is_ended = is_ended
        self.stop = threading.Event()
        self.size = 0  # not known yet
        self.consumed = 0
        self.damage = ""

    def readinto(self, room: memoryview) -> int:
        """Wait for more bytes and fill `room` with them; 0 only when no more comes."""
        while True:
            # asked first, so that what was written just before the end is not missed
            ended = self.stop.is_set() or self._is_ended()
            count: int = self._file.readinto(room)  # type: ignore[attr-defined]
            if count or ended:
                self.consumed += count
                return count
            self.stop.wait(_WAIT_S)
