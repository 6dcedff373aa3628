"""Every form of recording that can be read: what it is told by, and what reads it.

The content decides, and the suffix only where the content says nothing.
"""

from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

import numpy as np

from canwheel.capture.library import LibraryScan, is_asc, is_blf, is_csv, is_sqlite, is_trc
from canwheel.capture.lines import BYTE_ORDER_MARK
from canwheel.capture.mdf import MdfScan, is_mdf
from canwheel.capture.source import GzSource, Progress, open_file, size_of, source_of
from canwheel.capture.spool import unpacked
from canwheel.capture.tally import Tally
from canwheel.capture.text import TextScan, is_text
from canwheel.errors import CaptureError
from canwheel.frames import Frames, Wanted

_HEAD_BYTES = 64 * 1024
"""So much of the content is looked at to tell what it is."""


_LETTERS_BYTES = 2000
"""So many bytes tell whether they are letters."""

_FEWEST_LETTERS = 10
"""And no fewer than so many."""

_BLANKS = (ord("\t"), ord("\r"), ord("\n"))

_NEARLY_ALL = 0.95
"""The byte order mark is no letter, and a remark may hold a few that are none of ASCII."""


class Scan(Protocol):
    """One pass over a recording.

    Iterate over it once to get the wanted frames in pieces; `tally` is complete afterwards, and
    its first time stamp is known from the first piece on.
    """

    tally: Tally

    def __iter__(self) -> Iterator[Frames]:
        """Yield the wanted frames."""


@dataclass(frozen=True, slots=True)
class Format:
    """A form that is read from a file on disk.

    Attributes
    ----------
    suffix : what names of such files usually end in.
    is_it : tells by a file's first bytes whether it has this form.
    scan : begins to read one.
    """

    suffix: str
    is_it: Callable[[bytes], bool]
    scan: Callable[[Path, Wanted | None, Progress | None], Scan]


def _by_library(suffix: str) -> Callable[[Path, Wanted | None, Progress | None], Scan]:
    """Return what reads a form that python-can knows by its suffix."""

    def scan(path: Path, wanted: Wanted | None, progress: Progress | None) -> Scan:
        return LibraryScan(path, suffix, wanted, progress)

    return scan


FORMATS = (
    Format(".mf4", is_mdf, MdfScan),
    Format(".blf", is_blf, _by_library(".blf")),
    Format(".db", is_sqlite, _by_library(".db")),
    Format(".asc", is_asc, _by_library(".asc")),
    Format(".trc", is_trc, _by_library(".trc")),
    Format(".csv", is_csv, _by_library(".csv")),
)
"""All forms but the text log, which has its fast path and needs no file of its own."""

_PACKED = {
    b"PK\x03\x04": "zip",  # the zip application note, section 4.3.7
    b"7z\xbc\xaf\x27\x1c": "7z",  # from memory
    b"\xfd7zXZ\x00": "xz",  # the xz file format, section 2.1.1.1
    b"BZh": "bzip2",  # from memory
    b"\x28\xb5\x2f\xfd": "zstd",  # RFC 8878, section 3.1.1
}
"""First bytes of what recordings are sent in, and what it is called."""


def _refuse_packed(head: bytes, name: str) -> None:
    """Refuse an archive or a compressed file; of those, only gz is unpacked on the way.

    Raises
    ------
    CaptureError : it is one.
    """
    for first_bytes, packing in _PACKED.items():
        if head.startswith(first_bytes):
            raise CaptureError(
                f"this is packed as {packing}",
                where=name,
                remedy="unpack it first, and give the recording in it",
            )


def _refuse_utf16(head: bytes, name: str) -> None:
    """Refuse text of two bytes a letter, which an editor or a console may have made of a log.

    Raises
    ------
    CaptureError : every other byte is zero and those between are letters of ASCII.
    """
    begin = np.frombuffer(head[:_LETTERS_BYTES], np.uint8)
    begin = begin[: len(begin) // 2 * 2].reshape(-1, 2)
    if len(begin) < _FEWEST_LETTERS:
        return
    is_zero = np.mean(begin == 0, axis=0)
    is_letter = np.mean((begin >= ord(" ")) & (begin <= ord("~")) | np.isin(begin, _BLANKS), axis=0)
    if max(is_zero[0] + is_letter[1], is_zero[1] + is_letter[0]) > 2 * _NEARLY_ALL:
        raise CaptureError(
            "this is UTF-16 text, with two bytes a letter",
            where=name,
            remedy="save it as UTF-8 text",
        )


def _format_of(head: bytes, path: Path) -> Format | None:
    """Return the form of a recording, None for the text log."""
    head = head.removeprefix(BYTE_ORDER_MARK)
    if is_text(head):
        return None
    for form in FORMATS:
        if form.is_it(head):
            return form
    suffixes = [suffix.lower() for suffix in path.suffixes if suffix.lower() != ".gz"]
    by_suffix = {form.suffix: form for form in FORMATS}
    return by_suffix.get(suffixes[-1]) if suffixes else None


@contextmanager
def open_scan(
    path: Path, name: str, wanted: Wanted | None, progress: Progress | None
) -> Iterator[Scan]:
    """Begin to read a recording on disk, whatever its form.

    Parameters
    ----------
    path : the file.
    name : what it is called in messages.
    wanted : identifiers to read, None for every frame.
    progress : told how far it has come.

    Raises
    ------
    CaptureError : the file cannot be opened or has no form that can be read.
    """
    with ExitStack() as stack:
        file = stack.enter_context(open_file(path))
        size = size_of(file, name)
        head = bytearray(_HEAD_BYTES)
        beginning = source_of(file, size)
        head = head[: beginning.readinto(memoryview(head))]
        _refuse_packed(bytes(head), name)
        _refuse_utf16(bytes(head), name)
        form = _format_of(bytes(head), Path(name))
        file.seek(0)
        scan: Scan
        if form is None:
            scan = TextScan(source_of(file, size), wanted, progress)
        elif isinstance(beginning, GzSource):
            packed = source_of(file, size)
            scan = form.scan(stack.enter_context(unpacked(packed)), wanted, progress)
            scan.tally.damage = packed.damage
        else:
            scan = form.scan(path, wanted, progress)
        scan.tally.size = size
        try:
            yield scan
        except CaptureError as error:
            error.where = error.where or name
            raise
