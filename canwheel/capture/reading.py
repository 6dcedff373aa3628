"""A file to `Capture`, or to `Frames` piece by piece."""

from collections.abc import Generator, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from canwheel.capture.formats import Scan, open_scan
from canwheel.capture.source import Fingerprint, Progress
from canwheel.capture.spool import name_of, on_disk
from canwheel.capture.summary import Capture
from canwheel.frames import FrameFlag, Frames, Wanted


def read_capture(
    path: Path, wanted: Wanted | None = None, *, progress: Progress | None = None
) -> Capture:
    """Read the wanted frames of a recording, and see what else is in it.

    Parameters
    ----------
    path : the file, of any form in ``formats.py``, gz or not; ``-`` for standard input.
    wanted : identifiers to read, None for every frame.
    progress : called with bytes of the file done and bytes in all.

    Raises
    ------
    CaptureError : the file cannot be opened, holds no frames, or is mostly unreadable.
    """
    name = name_of(path)
    with (
        on_disk(path) as file,
        open_scan(file, name, wanted, progress) as scan,
        Fingerprint(file, scan.tally.size) as fingerprint,
    ):
        frames = Frames.concatenate(list(scan))
        scan.tally.check()
        return Capture(frames, scan.tally.summary(file=name, sha256=fingerprint.hexdigest()))


@contextmanager
def open_capture(
    path: Path, wanted: Wanted | None = None, *, progress: Progress | None = None
) -> Iterator[Scan]:
    """Open a recording to read it in pieces, so that memory does not grow with it.

    Parameters, errors : as for ``read_capture``; the errors about the content are for the caller
    to ask for, by ``scan.tally.check()``, when it has read enough.
    """
    with on_disk(path) as file, open_scan(file, name_of(path), wanted, progress) as scan:
        yield scan


def iter_frames(
    path: Path, wanted: Wanted | None = None, *, progress: Progress | None = None
) -> Generator[Frames, None, None]:
    """Yield the wanted frames of a recording in pieces, so that memory does not grow with it.

    Parameters, errors : as for ``read_capture``; the errors about the content come at the end.
    """
    with open_capture(path, wanted, progress=progress) as scan:
        yield from scan
        scan.tally.check()


@dataclass(frozen=True, slots=True, order=True)
class IdCount:
    """An identifier that occurs in a recording, and how often, as data frames."""

    channel: str
    extended: bool
    can_id: int
    count: int


def read_ids(path: Path, *, progress: Progress | None = None) -> list[IdCount]:
    """Return which identifiers occur in a recording at all, by channel and value.

    Raises
    ------
    CaptureError : as for ``read_capture``.
    """
    counts: dict[tuple[str, bool, int], int] = {}
    for frames in iter_frames(path, progress=progress):
        is_data = frames.flags & np.uint8(FrameFlag.REMOTE | FrameFlag.ERROR) == 0
        key = frames.can_id.astype(np.int64) << 1 | (frames.flags & FrameFlag.EXTENDED)
        key = key << 8 | frames.channel
        for value, count in zip(*np.unique(key[is_data], return_counts=True), strict=True):
            number = int(value)
            name = (frames.channels[number & 0xFF], bool(number >> 8 & 1), number >> 9)
            counts[name] = counts.get(name, 0) + int(count)
    return sorted(IdCount(*name, count) for name, count in counts.items())
