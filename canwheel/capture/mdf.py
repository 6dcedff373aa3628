"""MDF 4 bus logging (ASAM MDF, associated standard "bus logging"), through asammdf's columns.

A file holds groups of records: data, remote and error frames apart, and often one group a bus.
Each is read in pieces, and the pieces are merged by time, so that memory does not grow with the
file. Names of fields from the standard as python-can's and asammdf's own readers use them.

Files that canwheel writes number their frames in one field more, which other programs pass over,
so that a recording comes back in its own order even where the clock stepped; and each group's
source carries the channel's name.
"""

import gc
import logging
import sys
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from traceback import clear_frames
from types import ModuleType
from typing import Any, BinaryIO

import numpy as np
from numpy.typing import NDArray

from canwheel.capture.library import in_words
from canwheel.capture.source import Progress
from canwheel.capture.tally import ChannelNames, Tally
from canwheel.errors import CaptureError
from canwheel.frames import FrameFlag, Frames, Wanted, is_wanted

_PIECE_RECORDS = 100_000
"""Records taken at a time. Measured: fewer cost time, more cost memory."""

_DATA, _REMOTE, _ERROR = "CAN_DataFrame", "CAN_RemoteFrame", "CAN_ErrorFrame"
_KINDS = {_DATA: FrameFlag(0), _REMOTE: FrameFlag.REMOTE, _ERROR: FrameFlag.ERROR}
_OWN_MARK = "canwheel"
_NUMBER = "FrameNumber"

_ID_MASK = 0x1FFF_FFFF
_EXTENDED_BIT = 0x8000_0000
_STANDARD_MAX = 0x7FF
_NS = 1_000_000_000
_US = 1_000_000
_EXACT_NS_S = 4e6
"""Up to so many seconds, a 64-bit float of seconds tells every nanosecond apart."""

_FD_LENGTHS = np.array([0, 1, 2, 3, 4, 5, 6, 7, 8, 12, 16, 20, 24, 32, 48, 64], np.uint8)
"""Payload by length code (ISO 11898-1, from memory). [bytes]"""


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
    """Some frames of one group.

    Attributes
    ----------
    order : (n,) rising; frames of all groups come in the order of these. The frame's number where
        every group has one, else the latest time up to here. [ns]
    frames : numbered by names that all pieces share; `index` is not set yet.
    """

    order: NDArray[np.int64]
    frames: Frames

    def __len__(self) -> int:
        """Return n, the number of frames."""
        return len(self.order)

    def split(self, horizon: int) -> tuple["_Piece", "_Piece"]:
        """Return what stands at or before a place in the order, and what stands after it."""
        count = int(np.searchsorted(self.order, horizon, side="right"))
        first, rest = np.arange(count), np.arange(count, len(self))
        return (
            _Piece(self.order[first], self.frames.select(first)),
            _Piece(self.order[rest], self.frames.select(rest)),
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
                yield from self._pieces(_bus_groups(mdf))
        except CaptureError:
            raise
        except Exception as error:  # noqa: BLE001 - the library raises whatever it stumbles over
            self.tally.damage = (
                f"it cannot be read beyond frame {self.tally.frames} ({in_words(error)})"
            )

    def _pieces(self, groups: list["_Group"]) -> Iterator[Frames]:
        """Yield the wanted frames of all groups, in order."""
        total = sum(group.records for group in groups)
        size = self._path.stat().st_size
        names: list[str] = []
        for pieces in _in_order([group.pieces(names) for group in groups]):
            yield self._joined(pieces)
            if self._progress is not None:
                self._progress(size * self.tally.frames // max(total, 1), size)

    def _joined(self, pieces: Sequence["_Piece"]) -> Frames:
        """Return the wanted frames of some pieces, in order, and count all of them."""
        rows = np.argsort(np.concatenate([piece.order for piece in pieces]), kind="stable")
        frames = Frames.concatenate([piece.frames for piece in pieces]).select(rows)
        index = np.arange(self.tally.frames, self.tally.frames + len(frames))
        if not self.tally.frames:
            self.tally.first_time_ns = int(frames.time_ns[0])
        self.tally.last_time_ns = int(frames.time_ns[-1])
        self.tally.frames += len(frames)
        keep = np.ones(len(frames), np.bool_)
        if self._wanted is not None:
            keep = is_wanted(self._wanted, frames.can_id, frames.flags)
        frames = frames.select(keep)
        channel, channels = self._channels.numbered(
            frames.channel.astype(np.int64), list(frames.channels)
        )
        return replace(frames, channel=channel, channels=channels, index=index[keep])


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


@dataclass(frozen=True, slots=True, eq=False)
class _Group:
    """One group of records that holds bus frames.

    Attributes
    ----------
    mdf : the open file.
    number : of the group in it.
    records : how many.
    kind : the field that holds the frames' other fields.
    channel_name : where the file says it; else the number in each record is taken.
    numbered : whether the frame's number stands in every record and may be relied upon.
    start_ns : the file's start. [ns since the epoch]
    """

    mdf: Any
    number: int
    records: int
    kind: str
    channel_name: str | None
    numbered: bool
    start_ns: int

    def pieces(self, names: list[str]) -> Iterator["_Piece"]:
        """Yield the records, some at a time; channels are numbered by `names`, which may grow."""
        latest = np.iinfo(np.int64).min
        for first in range(0, self.records, _PIECE_RECORDS):
            signal = self.mdf.get(
                self.kind,
                group=self.number,
                record_offset=first,
                record_count=_PIECE_RECORDS,
                raw=True,
            )
            record = _Record(self, signal.samples, first)
            time_ns = self.start_ns + _nanoseconds(signal.timestamps)
            if self.numbered:
                order = record.integers(_NUMBER).astype(np.int64)
            else:
                order = np.maximum(np.maximum.accumulate(time_ns), latest)
                latest = order[-1]
            yield _Piece(order, _frames_of(record, time_ns, names))


def _bus_groups(mdf: Any) -> list[_Group]:
    """Find the groups that hold bus frames.

    Raises
    ------
    CaptureError : there is none.
    """
    start = mdf.header.start_time.timestamp()
    found = []
    for number, group in enumerate(mdf.groups):
        names = {channel.name for channel in group.channels}
        kind = next((kind for kind in _KINDS if kind in names), None)
        records = int(group.channel_group.cycles_nr)
        if kind is None or not records:
            continue
        source = group.channel_group.acq_source
        is_own = source is not None and source.path == _OWN_MARK
        found.append(
            _Group(
                mdf,
                number,
                records,
                kind,
                channel_name=source.name if is_own else None,
                numbered=is_own and f"{kind}.{_NUMBER}" in names,
                start_ns=round(start * _US) * 1000,
            )
        )
    if not found:
        raise CaptureError(
            "this MDF file holds no frames of a CAN bus",
            remedy="record with bus logging, not decoded signals",
        )
    numbered = all(group.numbered for group in found)
    return [replace(group, numbered=numbered) for group in found]


class _Record:
    """The fields of some records, whatever the recorder left out."""

    def __init__(self, group: _Group, samples: NDArray[Any], first: int) -> None:
        self._group = group
        self._samples = samples
        self._first = first
        self._names = set(samples.dtype.names or ())
        self.kind = group.kind
        self.channel_name = group.channel_name

    def __len__(self) -> int:
        """Return the number of records."""
        return len(self._samples)

    def has(self, field: str) -> bool:
        """Whether the records have a field."""
        return f"{self.kind}.{field}" in self._names

    def integers(self, field: str) -> NDArray[np.uint64]:
        """Return a field as numbers, zero where the records do not have it."""
        if not self.has(field):
            return np.zeros(len(self), np.uint64)
        column = self._samples[f"{self.kind}.{field}"]
        if column.dtype.kind == "S":  # a direction may be written as a word
            column = np.char.lower(column) == b"tx"
        numbers: NDArray[np.uint64] = column.astype(np.uint64)
        return numbers

    def payload(self) -> NDArray[np.uint8]:
        """Return the data bytes as (n, width)."""
        name = f"{self.kind}.DataBytes"
        column = self._samples[name] if self.has("DataBytes") else None
        if column is None or column.ndim == 1:
            column = self._variable_payload(name)
        return column

    def _variable_payload(self, name: str) -> NDArray[np.uint8]:
        """Return data bytes that the file keeps apart from the records, each of its own length."""
        group = self._group
        if self.kind != _DATA:
            return np.zeros((len(self), 8), np.uint8)
        signal = group.mdf.get(
            name,
            group=group.number,
            record_offset=self._first,
            record_count=len(self),
            raw=True,
        )
        samples = np.ascontiguousarray(signal.samples)
        if samples.ndim == 1:  # byte strings
            samples = samples.view(np.uint8).reshape(len(samples), -1)
        return samples.astype(np.uint8, copy=False)


def _frames_of(record: _Record, time_ns: NDArray[np.int64], names: list[str]) -> Frames:
    """Return records as frames; a channel's name that is new is added to `names`."""
    can_id, flags = _identifiers(record)
    length, data = _payloads(record, flags & FrameFlag.FD != 0)
    bus = record.integers("BusChannel")
    channel = np.zeros(len(record), np.uint8)
    for number in np.unique(bus):
        name = record.channel_name or str(number)
        if name not in names:
            names.append(name)
        channel[bus == number] = names.index(name)
    return Frames(
        time_ns=time_ns,
        can_id=can_id,
        flags=flags,
        length=length,
        data=data,
        channel=channel,
        channels=tuple(names),
        index=np.zeros(len(record), np.int64),
    )


def _identifiers(record: _Record) -> tuple[NDArray[np.uint32], NDArray[np.uint8]]:
    """Return identifiers and flags."""
    number = record.integers("ID").astype(np.uint32)
    if record.has("IDE"):
        extended = record.integers("IDE") != 0
    else:  # some recorders mark the kind in the number itself
        extended = (number & np.uint32(_EXTENDED_BIT) != 0) | (number & _ID_MASK > _STANDARD_MAX)
    flags = np.full(len(record), _KINDS[record.kind], np.uint8)
    flags |= extended * np.uint8(FrameFlag.EXTENDED)
    if record.kind == _ERROR:  # of 29 bits always, as in the text log
        flags |= np.uint8(FrameFlag.EXTENDED)
    for field, flag in (
        ("EDL", FrameFlag.FD),
        ("BRS", FrameFlag.BRS),
        ("ESI", FrameFlag.ESI),
        ("Dir", FrameFlag.SENT),
    ):
        flags |= (record.integers(field) != 0) * np.uint8(flag)
    return number & np.uint32(_ID_MASK), flags


def _payloads(
    record: _Record, fd: NDArray[np.bool_]
) -> tuple[NDArray[np.uint8], NDArray[np.uint8]]:
    """Return lengths and data, zero-filled."""
    code = record.integers("DLC").astype(np.int64)
    length = np.where(fd, _FD_LENGTHS[np.minimum(code, 15)], np.minimum(code, 8)).astype(np.uint8)
    if record.kind == _REMOTE:
        return length, np.zeros((len(record), 8), np.uint8)
    data = record.payload()
    if record.has("DataLength"):
        length = np.minimum(record.integers("DataLength"), 64).astype(np.uint8)
    width = max(8, int(length.max(initial=0)))
    if data.shape[1] < width:
        data = np.pad(data, ((0, 0), (0, width - data.shape[1])))
    return length, np.where(np.arange(width) < length[:, np.newaxis], data[:, :width], np.uint8(0))


def _nanoseconds(seconds: NDArray[np.float64]) -> NDArray[np.int64]:
    """Return times as whole nanoseconds, or microseconds where a float tells no more."""
    near = np.abs(seconds) < _EXACT_NS_S
    fine = np.rint(np.where(near, seconds, 0) * _NS).astype(np.int64)
    return np.where(near, fine, np.rint(seconds * _US).astype(np.int64) * 1000)


def _in_order(groups: Sequence[Iterator["_Piece"]]) -> Iterator[list["_Piece"]]:
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
            if len(first):
                ready.append(first)
            if len(rest):
                heads[number] = rest
            else:
                del heads[number]
        yield ready


# --- writing -------------------------------------------------------------------------------------


def write_mdf(path: Path, pieces: Iterable[Frames]) -> int:
    """Write frames as MDF 4 bus logging; return how many.

    Raises
    ------
    CaptureError : asammdf is not installed.
    """
    asammdf = import_asammdf()
    mdf = asammdf.MDF(version="4.10")
    writer = _Writer(asammdf, mdf)
    try:
        for frames in pieces:
            writer.add(frames)
        mdf.save(path, compression=1)
    finally:
        mdf.close()
    return writer.count


class _Writer:
    """Puts frames into groups: one for each channel and kind."""

    def __init__(self, asammdf: ModuleType, mdf: Any) -> None:
        self._asammdf = asammdf
        self._mdf = mdf
        self._groups: dict[tuple[str, str], int] = {}
        self._start_s: int | None = None
        self.count = 0

    def add(self, frames: Frames) -> None:
        """Append some frames."""
        if not len(frames):
            return
        if self._start_s is None:
            # the format's start is no earlier than 1970; earlier frames count back from there
            self._start_s = max(0, int(frames.time_ns.min()) // _NS)
            self._mdf.header.start_time = _EPOCH + timedelta(seconds=self._start_s)
        number = np.arange(self.count, self.count + len(frames), dtype=np.uint64)
        self.count += len(frames)
        error = frames.flags & FrameFlag.ERROR != 0
        remote = (frames.flags & FrameFlag.REMOTE != 0) & ~error
        for position, name in enumerate(frames.channels):
            here = frames.channel == position
            for kind, chosen in (
                (_DATA, here & ~error & ~remote),
                (_REMOTE, here & remote),
                (_ERROR, here & error),
            ):
                if chosen.any():
                    rows = np.flatnonzero(chosen)
                    self._extend(kind, name, position, frames.select(rows), number[rows])

    def _extend(
        self, kind: str, name: str, position: int, frames: Frames, number: NDArray[np.uint64]
    ) -> None:
        """Append frames of one channel and kind to their group."""
        if (kind, name) not in self._groups:
            self._groups[kind, name] = self._new_group(kind, name)
        seconds, rest_ns = np.divmod(frames.time_ns, _NS)
        seconds -= self._start_s or 0
        records = _records(kind, frames, position, number)
        time_s = seconds + rest_ns / _NS
        self._mdf.extend(self._groups[kind, name], [(time_s, None), (records, None)])

    def _new_group(self, kind: str, name: str) -> int:
        """Begin a group without records; return its number."""
        from asammdf.blocks.v4_blocks import SourceInformation  # noqa: PLC0415
        from asammdf.blocks.v4_constants import BUS_TYPE_CAN, SOURCE_BUS  # noqa: PLC0415

        source = SourceInformation(source_type=SOURCE_BUS, bus_type=BUS_TYPE_CAN)
        source.name, source.path = name, _OWN_MARK
        self._mdf.append(
            self._asammdf.Signal(
                name=kind,
                samples=np.array([], _record_type(kind)),
                timestamps=np.array([], np.float64),
                source=source,
            )
        )
        return len(self._mdf.groups) - 1


_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def _record_type(kind: str) -> np.dtype[Any]:
    """Return the fields of a group's records."""
    fields: list[tuple[str, str]] = [
        ("BusChannel", "<u1"),
        ("ID", "<u4"),
        ("IDE", "<u1"),
        ("DLC", "<u1"),
        ("DataLength", "<u1"),
        ("Dir", "<u1"),
        (_NUMBER, "<u8"),
    ]
    if kind != _REMOTE:
        fields += [("EDL", "<u1"), ("BRS", "<u1"), ("ESI", "<u1"), ("DataBytes", "(64,)u1")]
    return np.dtype([(f"{kind}.{name}", form) for name, form in fields])


def _records(kind: str, frames: Frames, position: int, number: NDArray[np.uint64]) -> NDArray[Any]:
    """Return frames as records of their group."""
    record = np.zeros(len(frames), _record_type(kind))
    columns = {
        "BusChannel": position,
        "ID": frames.can_id,
        "IDE": frames.flags & FrameFlag.EXTENDED != 0,
        "DLC": np.searchsorted(_FD_LENGTHS, frames.length),
        "Dir": frames.flags & FrameFlag.SENT != 0,
        _NUMBER: number,
    }
    if kind != _REMOTE:
        columns |= {
            "DataLength": frames.length,
            "EDL": frames.flags & FrameFlag.FD != 0,
            "BRS": frames.flags & FrameFlag.BRS != 0,
            "ESI": frames.flags & FrameFlag.ESI != 0,
        }
        record[f"{kind}.DataBytes"][:, : frames.data.shape[1]] = frames.data
    for name, column in columns.items():
        record[f"{kind}.{name}"] = column
    return record
