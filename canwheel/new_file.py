"""Files that are written whole or not at all, and never over one that is there."""

import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from canwheel.errors import RequestError


def check_free(path: Path) -> None:
    """Make sure that the file can be written there, before a long recording is read.

    Raises
    ------
    RequestError : it is there, or its folder is not, or may not be written to.
    """
    if os.path.lexists(path):
        raise _is_there(path)
    folder = path.absolute().parent
    if not folder.is_dir():
        raise _cannot_write(path, "its folder does not exist")
    if not os.access(folder, os.W_OK):
        raise _cannot_write(path, "its folder may not be written to")


def write_new(path: Path, text: str) -> None:
    """Write a file that is not there yet, whole or not at all.

    Raises
    ------
    RequestError : it is there by now, or cannot be written.
    """
    try:
        with path.open("x", encoding="utf-8", newline="\n") as file, _whole_or_gone(path):
            file.write(text)
            file.flush()
    except FileExistsError as error:
        raise _is_there(path) from error
    except OSError as error:
        raise _cannot_write(path, error.strerror) from error


@contextmanager
def _whole_or_gone(path: Path) -> Iterator[None]:
    """Take away a file that could not be written to its end; it would refuse the next attempt."""
    try:
        yield
    except BaseException:
        with suppress(OSError):
            path.unlink()
        raise


def _is_there(path: Path) -> RequestError:
    return RequestError(
        "is there already and stays as it is", where=str(path), remedy="name another file"
    )


def _cannot_write(path: Path, why: str | None) -> RequestError:
    return RequestError(
        f"cannot be written: {why}", where=str(path), remedy="name a file in a folder that is yours"
    )
