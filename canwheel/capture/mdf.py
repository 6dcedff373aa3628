"""MDF 4 bus logging (ASAM MDF, associated standard "bus logging"), through asammdf's columns.

A file holds groups of records: data, remote and error frames apart, and often one group a bus.
Each is read in pieces, and the pieces are merged by time, so that memory does not grow with the
file.
"""

import gc
import logging
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from traceback import clear_frames
from types import ModuleType
from typing import Any, BinaryIO

import numpy as np
from numpy.typing import NDArray

from canwheel.capture.library import in_words
from canwheel.capture.mdf_records import KINDS, NUMBER, OWN_MARK, US, Group, Records
from canwheel.capture.source import Progress
from canwheel.capture.tally import ChannelNames, Tally
from canwheel.errors import CaptureError
from canwheel.frames import Frames, Wanted

_PIECE_RECORDS = 100_000
"""Records taken at a time. Measured: fewer cost time, more cost memory."""

_RECORD_MAX_BYTES = 4096
"""A frame has at most 64 bytes of data and a dozen fields beside it."""

_DEFLATE_MAX_RATIO = 1032
"""More cannot be packed into a byte (zlib's technical notes, from memory)."""


def is_mdf(head: bytes) -> bool:
    """Whether a file that begins so is an MDF file, of any version, finalized or not."""
    return head.startswith((b"MDF     ", b"UnFinMF "))


def import_asammdf() -> ModuleType:
    """Import asammdf, an optional part of canwheel.

    Raises
    ------
    CaptureError : it is not installed.
    """
    try:
        import asammdf  # noqa: PLC0415 - heavy: only where an MDF file is read or written
    except ImportError:
        raise CaptureError(
            "MDF files need the package asammdf, which is not installed",
            remedy="install it with: pip install 'canwheel[mdf]'",
        ) from None
    module: ModuleType = asammdf
    return module


@dataclass(frozen=True, slots=True, eq=False)
class _Piece:
    """Some records of one group.

    Attributes
    ----------
    order : (n,) rising; the records of all groups come in the order of these. The frame's number
        where every group has one, else the latest time up to here. [ns]
    time_ns : (n,) time stamps. [ns]
    rows : (k,) which of the records are wanted.
    frames : these; channels are numbered by names that all pieces share, `index` is not set yet.
    """

    order: NDArray[np.int64]
    time_ns: NDArray[np.int64]
    rows: NDArray[np.intp]
    frames: Frames

    def __len__(self) -> int:
        """Return n, the number of records."""
        return len(self.order)

    def split(self, horizon: int) -> "tuple[_Piece | None, _Piece | None]":
        """Return what stands at or before a place in the order, and what stands after it."""
        count = int(np.searchsorted(self.order, horizon, side="right"))
        if count == 0:
            return None, self
        if count == len(self):
            return self, None
        kept = int(np.searchsorted(self.rows, count))
        first, rest = np.arange(kept), np.arange(kept, len(self.rows))
        return (
            _Piece(
                self.order[:count],
                self.time_ns[:count],
                self.rows[:kept],
                self.frames.select(first),
            ),
            _Piece(
                self.order[count:],
                self.time_ns[count:],
                self.rows[kept:] - count,
                self.frames.select(rest),
            ),
        )


class MdfScan:
    """One pass over an MDF file; see ``formats.Scan``.

    Parameters
    ----------
    path : a file on disk.
    wanted : identifiers to read, None for every frame.
    progress : told after every piece.
    """

    def __init__(self, path: Path, wanted: Wanted | None, progress: Progress | None) -> None:
        self.tally = Tally()
        self._path = path
        self._wanted = wanted
        self._progress = progress
        self._channels = ChannelNames()

    def __iter__(self) -> Iterator[Frames]:
        """Yield the wanted frames."""
        try:
            with _opened(self._path) as mdf:
                yield from self._all(_bus_groups(mdf, self._path.stat().st_size))
        except CaptureError:
            raise
        except Exception as error:  # noqa: BLE001 - the library raises whatever it stumbles over
            self.tally.damage = (
                f"it cannot be read beyond frame {self.tally.frames} ({in_words(error)})"
            )

    def _all(self, groups: list[Group]) -> Iterator[Frames]:
        """Yield the wanted frames of all groups, in order."""
        total = sum(group.count for group in groups)
        size = self._path.stat().st_size
        names: list[str] = []
        pieces = [_pieces(group, self._wanted, names) for group in groups]
        for ready in _in_order(pieces):
            yield self._joined(ready)
            if self._progress is not None:
                self._progress(size * self.tally.frames // max(total, 1), size)

    def _joined(self, pieces: Sequence[_Piece]) -> Frames:
        """Return the wanted frames of some pieces, in order, and count all records."""
        order = np.concatenate([piece.order for piece in pieces])
        time_ns = np.concatenate([piece.time_ns for piece in pieces])
        begins = np.cumsum([0, *map(len, pieces)])
        rows = np.concatenate([p.rows + begin for p, begin in zip(pieces, begins, strict=False)])
        frames = Frames.concatenate([piece.frames for piece in pieces])
        first, last, place = 0, len(order) - 1, rows
        if len(pieces) > 1:
            sorted_rows = np.argsort(order, kind="stable")
            first, last = sorted_rows[0], sorted_rows[-1]
            rank = np.empty(len(order), np.int64)
            rank[sorted_rows] = np.arange(len(order))
            place = rank[rows]
            in_order = np.argsort(place)
            frames, place = frames.select(in_order), place[in_order]
        if not self.tally.frames:
            self.tally.first_time_ns = int(time_ns[first])
        self.tally.last_time_ns = int(time_ns[last])
        index = place + self.tally.frames
        self.tally.frames += len(order)
        channel, channels = self._channels.numbered(
            frames.channel.astype(np.int64), list(frames.channels)
        )
        return replace(frames, channel=channel, channels=channels, index=index)


@contextmanager
def _opened(path: Path) -> Iterator[Any]:
    """Open an MDF file without having the library sort the whole bus log.

    Raises
    ------
    CaptureError : it is none, or not version 4, or damaged.
    """
    asammdf = import_asammdf()
    # the library would leave the file open when it fails, and print its complaints
    with path.open("rb") as file, _silent("asammdf"):
        mdf, complaint = _begin(asammdf, file)
        if complaint:
            raise CaptureError(
                f"this cannot be read as an MDF file ({complaint})",
                remedy="check that the recorder had closed it",
            )
        try:
            yield mdf
        finally:
            mdf.close()


@contextmanager
def _silent(name: str) -> Iterator[None]:
    """Keep a library from printing what it logs."""
    logger = logging.getLogger(name)
    usual, logger.disabled = logger.disabled, True
    try:
        yield
    finally:
        logger.disabled = usual


def _begin(asammdf: ModuleType, file: BinaryIO) -> tuple[Any, str]:
    """Have the library open a file; return what it opened, or what it complains about.

    What it leaves behind when it fails prints a traceback when it is cleared away, so that is
    done here, in silence.
    """
    mdf, complaint = None, ""
    usual = sys.unraisablehook
    sys.unraisablehook = lambda _: None
    try:
        mdf = asammdf.MDF(file, process_bus_logging=False)
    except Exception as error:  # noqa: BLE001 - the library raises whatever it stumbles over
        complaint = in_words(error)
        clear_frames(error.__traceback__)
    finally:
        if complaint:
            gc.collect()
        sys.unraisablehook = usual
    return mdf, complaint


def _bus_groups(mdf: Any, file_bytes: int) -> list[Group]:
    """Find the groups that hold bus frames.

    Raises
    ------
    CaptureError : there is none.
    """
    start = mdf.header.start_time.timestamp()
    found = []
    for number, group in enumerate(mdf.groups):
        names = {channel.name for channel in group.channels}
        kind = next((kind for kind in KINDS if kind in names), None)
        records = int(group.channel_group.cycles_nr)
        if kind is None or not records:
            continue
        _check_sizes(group, file_bytes)
        source = group.channel_group.acq_source
        is_own = source is not None and source.path == OWN_MARK
        found.append(
            Group(
                mdf,
                number,
                records,
                kind,
                channel_name=source.name if is_own else None,
                numbered=is_own and f"{kind}.{NUMBER}" in names,
                start_ns=round(start * US) * 1000,
            )
        )
    if not found:
        raise CaptureError(
            "this MDF file holds no frames of a CAN bus",
            remedy="record with bus logging, not decoded signals",
        )
    numbered = all(group.numbered for group in found)
    return [replace(group, numbered=numbered) for group in found]


def _check_sizes(group: Any, file_bytes: int) -> None:
    """Refuse sizes that cannot be, on which the library takes all memory or ends the program.

    Raises
    ------
    CaptureError : a field outside of its record, a huge record, a block larger than the file.
    """
    record_bytes = int(group.channel_group.samples_byte_nr)
    if record_bytes + int(group.channel_group.invalidation_bytes_nr) > _RECORD_MAX_BYTES:
        raise _damaged("records of that size are none of a bus")
    for channel in group.channels:
        end = 8 * channel.byte_offset + channel.bit_offset + channel.bit_count
        if end > 8 * record_bytes or channel.bit_offset >= 8:  # noqa: PLR2004 - bits in a byte
            raise _damaged(f"its field {in_words(channel.name)} lies outside the record")
    for block in group.get_data_blocks():
        most = max(block.compressed_size * _DEFLATE_MAX_RATIO, _PIECE_RECORDS)
        if block.compressed_size > file_bytes or block.original_size > most:
            raise _damaged("a block of data has a size that cannot be")


def _damaged(why: str) -> CaptureError:
    return CaptureError(f"the file is damaged: {why}", remedy="copy it from the recorder again")


def _pieces(group: Group, wanted: Wanted | None, names: list[str]) -> Iterator[_Piece]:
    """Yield a group's records, some at a time; channels are numbered by `names`, which grow."""
    latest = np.iinfo(np.int64).min
    for first in range(0, group.count, _PIECE_RECORDS):
        records = Records(group, first, _PIECE_RECORDS)
        if not len(records):  # the file tells of more than it holds
            return
        if group.numbered:
            order = records.number()
        else:
            order = np.maximum(np.maximum.accumulate(records.time_ns), latest)
            latest = order[-1]
        yield _Piece(order, records.time_ns, *records.frames(wanted, names))


def _in_order(groups: Sequence[Iterator[_Piece]]) -> Iterator[list[_Piece]]:
    """Yield pieces of all groups that can be put in order without what comes later."""
    heads: dict[int, _Piece] = {}
    open_groups = dict(enumerate(groups))
    while True:
        for number in [n for n in open_groups if n not in heads]:
            piece = next(open_groups[number], None)
            if piece is None:
                del open_groups[number]
            else:
                heads[number] = piece
        if not heads:
            return
        horizon = min(int(piece.order[-1]) for piece in heads.values())
        ready = []
        for number, piece in list(heads.items()):
            first, rest = piece.split(horizon)
            if first is not None:
                ready.append(first)
            if rest is not None:
                heads[number] = rest
            else:
                del heads[number]
        yield ready
