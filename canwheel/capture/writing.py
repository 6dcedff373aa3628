"""`Frames` to a file: whole or not at all, and never over another one."""

import math
import os
import tempfile
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from canwheel.capture.mdf import import_asammdf
from canwheel.capture.mdf_writer import write_mdf
from canwheel.capture.reading import open_capture
from canwheel.capture.source import Progress
from canwheel.capture.summary import CaptureSummary
from canwheel.capture.text_writer import write_packed_text, write_text
from canwheel.errors import CaptureError, RequestError
from canwheel.frames import Frames, Wanted

_NS = 1_000_000_000

Writer = Callable[[Path, Iterable[Frames]], int]

WRITERS: dict[str, Writer] = {
    ".log": write_text,
    ".log.gz": write_packed_text,
    ".mf4": write_mdf,
}
"""Every form that can be written, by the end of the file's name."""


@dataclass(frozen=True, slots=True)
class Cut:
    """A part of a recording.

    Attributes
    ----------
    from_s, to_s : seconds from the recording's first frame; None for its begin and its end.
    wanted : identifiers of data frames; None for every frame.
    """

    from_s: float | None = None
    to_s: float | None = None
    wanted: Wanted | None = None

    def __post_init__(self) -> None:
        """Refuse what is no part.

        Raises
        ------
        RequestError : a time is no number, or the end lies before the begin.
        """
        if not all(math.isfinite(time_s) for time_s in (self.from_s or 0.0, self.to_s or 0.0)):
            raise RequestError("the seconds to cut at must be finite numbers")
        if self.from_s is not None and self.to_s is not None and self.to_s < self.from_s:
            raise RequestError(
                f"the part would end at {self.to_s:g} s, before it begins at {self.from_s:g} s",
                remedy="exchange the two",
            )

    def rows(self, frames: Frames, first_time_ns: int) -> Frames:
        """Return the frames that lie between the two times."""
        if self.from_s is None and self.to_s is None:
            return frames
        keep = np.ones(len(frames), np.bool_)
        if self.from_s is not None:
            keep &= frames.time_ns >= first_time_ns + round(self.from_s * _NS)
        if self.to_s is not None:
            keep &= frames.time_ns <= first_time_ns + round(self.to_s * _NS)
        return frames.select(keep)


WHOLE = Cut()


@dataclass(frozen=True, slots=True)
class Conversion:
    """What came of a conversion: frames written, and what the input was."""

    written: int
    summary: CaptureSummary


def write_capture(path: Path, pieces: Iterable[Frames]) -> int:
    """Write frames to a new file; return how many.

    The file has its name only when it is whole.

    Parameters
    ----------
    path : its suffix says the form, see `WRITERS`.
    pieces : frames in order; a later piece's channels extend an earlier one's.

    Raises
    ------
    RequestError : the file exists, cannot be made, or has no form that can be written.
    CaptureError : the form needs a package that is not installed.
    """
    writer = _writer_for(path)
    with _in_place_when_whole(path) as temporary:
        return writer(temporary, pieces)


def convert_capture(
    capture: Path, out: Path, *, cut: Cut = WHOLE, progress: Progress | None = None
) -> Conversion:
    """Write a recording, or a part of it, in another form.

    Parameters
    ----------
    capture : as for ``read_capture``.
    out : as for ``write_capture``.
    cut : the part.
    progress : called with bytes of `capture` done and bytes in all.

    Raises
    ------
    CaptureError : `capture` cannot be read, or holds nothing of the part.
    RequestError : as for ``write_capture``.
    """
    with open_capture(capture, cut.wanted, progress=progress) as scan:

        def pieces() -> Iterator[Frames]:
            for frames in scan:
                yield cut.rows(frames, scan.tally.first_time_ns)
            scan.tally.check()

        writer = _writer_for(out)
        with _in_place_when_whole(out) as temporary:
            written = writer(temporary, pieces())
            if not written:
                raise CaptureError(
                    "no frame of it lies in the part asked for",
                    remedy="ask for other seconds or identifiers",
                )
        return Conversion(written, scan.tally.summary(file=str(capture), sha256=""))


def _writer_for(path: Path) -> Writer:
    """Return what writes a file of this name.

    Raises
    ------
    RequestError : nothing does.
    CaptureError : it needs a package that is not installed.
    """
    name = path.name.lower()
    for suffix in sorted(WRITERS, key=len, reverse=True):
        if name.endswith(suffix):
            if suffix == ".mf4":
                import_asammdf()  # missing, it shall be told before hours of reading
            return WRITERS[suffix]
    raise RequestError(
        "no form of recording that can be written has this suffix",
        where=str(path),
        remedy=f"use one of {', '.join(WRITERS)}",
    )


@contextmanager
def _in_place_when_whole(path: Path) -> Iterator[Path]:
    """Yield a name in a folder beside `path`; what stands there at the end gets the real name.

    Raises
    ------
    RequestError : `path` exists, at the begin or at the end, or its folder cannot be written to.
    """
    if os.path.lexists(path):
        raise _exists(path)
    try:
        folder = tempfile.TemporaryDirectory(prefix=".canwheel-", dir=path.parent)
    except OSError as error:
        raise RequestError(
            f"the folder cannot be written to ({error.strerror})",
            where=str(path.parent),
            remedy="name a folder that exists and that you may write to",
        ) from None
    with folder as name:
        temporary = Path(name) / path.name
        try:
            yield temporary
            _put_in_place(temporary, path)
        except OSError as error:
            raise RequestError(
                f"the file cannot be written ({error.strerror})",
                where=str(path),
                remedy="make room on the disk, or name another folder",
            ) from None


def _put_in_place(temporary: Path, path: Path) -> None:
    """Give a file its real name, unless another file has got it meanwhile."""
    try:
        os.link(temporary, path)  # unlike a rename, never over another file
    except FileExistsError:
        raise _exists(path) from None
    except OSError:  # a file system without links
        if os.path.lexists(path):
            raise _exists(path) from None
        temporary.rename(path)


def _exists(path: Path) -> RequestError:
    return RequestError(
        "the file exists already and is not overwritten",
        where=str(path),
        remedy="name another one, or remove it first",
    )
