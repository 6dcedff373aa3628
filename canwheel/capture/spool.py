"""Files that can be read again: standard input and pipes are first written to disk."""

import shutil
import stat
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

from canwheel.capture.source import ByteSource, open_file
from canwheel.errors import CaptureError

STANDARD_INPUT = Path("-")

_PIECE_BYTES = 1024 * 1024


def name_of(path: Path) -> str:
    """Return what a capture is called in messages and documents."""
    return "standard input" if path == STANDARD_INPUT else str(path)


@contextmanager
def on_disk(path: Path) -> Iterator[Path]:
    """Yield a capture as a file on disk, whole.

    Parameters
    ----------
    path : a file, a pipe, or ``-`` for standard input.

    Raises
    ------
    CaptureError : it cannot be opened, or standard input is closed.
    """
    if path == STANDARD_INPUT:
        if sys.stdin is None:
            raise CaptureError(
                "is closed", where=name_of(path), remedy="pipe a recording in, or name a file"
            )
        with _copied(sys.stdin.buffer) as copy:
            yield copy
    elif _is_stream(path):
        with open_file(path) as stream, _copied(stream) as copy:
            yield copy
    else:
        yield path


def _is_stream(path: Path) -> bool:
    """Whether a file gives its content only once; one that is not there does not."""
    try:
        mode = path.stat().st_mode
    except (OSError, ValueError):  # `open_file` says what is wrong
        return False
    return not (stat.S_ISREG(mode) or stat.S_ISDIR(mode))


@contextmanager
def _copied(stream: BinaryIO) -> Iterator[Path]:
    """Yield a file with all that a stream brings; it goes away afterwards."""
    with tempfile.TemporaryDirectory(prefix="canwheel-") as folder:
        copy = Path(folder) / "capture"
        with copy.open("wb") as file:
            shutil.copyfileobj(stream, file, _PIECE_BYTES)
        yield copy


@contextmanager
def unpacked(source: ByteSource) -> Iterator[Path]:
    """Yield a file with a compressed capture's content; it goes away afterwards."""
    with tempfile.TemporaryDirectory(prefix="canwheel-") as folder:
        copy = Path(folder) / "capture"
        room = memoryview(bytearray(_PIECE_BYTES))
        with copy.open("wb") as file:
            while count := source.readinto(room):
                file.write(room[:count])
        yield copy
