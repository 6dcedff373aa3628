"""The records of MDF 4 bus logging, whatever the recorder left out of them, as columns.

Names of fields from the standard (ASAM MDF, associated standard "bus logging") as python-can's and
asammdf's own readers use them.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from canwheel.frames import FrameFlag, Frames, Wanted, is_wanted

DATA, REMOTE, ERROR = "CAN_DataFrame", "CAN_RemoteFrame", "CAN_ErrorFrame"
KINDS = {DATA: FrameFlag(0), REMOTE: FrameFlag.REMOTE, ERROR: FrameFlag.ERROR}
OWN_MARK = "canwheel"
"""Path of a group's source in files that canwheel wrote; its name is then the channel's."""

NUMBER = "FrameNumber"
"""Field of such files that numbers the frames of all groups, in the recording's own order."""

NS = 1_000_000_000
US = 1_000_000
FD_LENGTHS = np.array([0, 1, 2, 3, 4, 5, 6, 7, 8, 12, 16, 20, 24, 32, 48, 64], np.uint8)
"""Payload by length code (ISO 11898-1, from memory). [bytes]"""

_ID_MASK = 0x1FFF_FFFF
_EXTENDED_BIT = 0x8000_0000
_STANDARD_MAX = 0x7FF
_CLASSIC_MAX = 8
_LAST_CHANNEL = 255
_FD_MAX = 64
_EXACT_NS_S = 4e6
"""Up to so many seconds, a 64-bit float of seconds tells every nanosecond apart."""


@dataclass(frozen=True, slots=True, eq=False)
class Group:
    """One group of records that holds bus frames.

    Attributes
    ----------
    mdf : the open file.
    number : of the group in it.
    count : records in it.
    kind : the field that holds the frames' other fields.
    channel_name : where the file says it; else the number in each record is taken.
    numbered : whether the frame's number stands in every record and may be relied upon.
    start_ns : the file's start. [ns since the epoch]
    """

    mdf: Any
    number: int
    count: int
    kind: str
    channel_name: str | None
    numbered: bool
    start_ns: int

    def read(self, field: str, first: int, count: int) -> Any:
        """Return some records of a field as the library's signal."""
        return self.mdf.get(
            field, group=self.number, record_offset=first, record_count=count, raw=True
        )


class Records:
    """Some records of a group.

    Parameters
    ----------
    group : the group.
    first, count : which of its records; fewer come where the file ends.
    """

    def __init__(self, group: Group, first: int, count: int) -> None:
        signal = group.read(group.kind, first, count)
        self._group = group
        self._samples: NDArray[Any] = signal.samples
        self._first = first
        self._names = set(self._samples.dtype.names or ())
        self._rows: NDArray[np.intp] | None = None
        self.time_ns = group.start_ns + _nanoseconds(signal.timestamps)

    def __len__(self) -> int:
        """Return the number of records."""
        return len(self._samples)

    def number(self) -> NDArray[np.int64]:
        """Return the frames' numbers in the recording."""
        return self._integers(NUMBER).astype(np.int64)

    def frames(self, wanted: Wanted | None, names: list[str]) -> tuple[NDArray[np.intp], Frames]:
        """Return which records are wanted, and these as frames without `index`.

        Parameters
        ----------
        wanted : identifiers, None for every frame.
        names : of the channels so far, by number; new ones are added.
        """
        can_id, flags = self._identifiers()
        rows = np.arange(len(self))
        if wanted is not None:
            rows = np.flatnonzero(is_wanted(wanted, can_id, flags))
            self._samples, self._rows = self._samples[rows], rows
        flags = flags[rows]
        for field, flag in (
            ("EDL", FrameFlag.FD),
            ("BRS", FrameFlag.BRS),
            ("ESI", FrameFlag.ESI),
            ("Dir", FrameFlag.SENT),
        ):
            flags |= (self._integers(field) != 0) * np.uint8(flag)
        length, data = self._payloads(flags & FrameFlag.FD != 0)
        frames = Frames(
            time_ns=self.time_ns[rows],
            can_id=can_id[rows],
            flags=flags,
            length=length,
            data=data,
            channel=self._channels(names),
            channels=tuple(names),
            index=np.zeros(len(rows), np.int64),
        )
        return rows, frames

    def _has(self, field: str) -> bool:
        return f"{self._group.kind}.{field}" in self._names

    def _integers(self, field: str) -> NDArray[np.uint64]:
        """Return a field as numbers, zero where the records do not have it."""
        if not self._has(field):
            return np.zeros(len(self), np.uint64)
        column = self._samples[f"{self._group.kind}.{field}"]
        if column.dtype.kind == "S":  # a direction may be written as a word
            column = np.char.lower(column) == b"tx"
        numbers: NDArray[np.uint64] = column.astype(np.uint64)
        return numbers

    def _identifiers(self) -> tuple[NDArray[np.uint32], NDArray[np.uint8]]:
        """Return identifiers, and flags as far as they say what kind of frame it is."""
        number = self._integers("ID").astype(np.uint32)
        if self._has("IDE"):
            extended = self._integers("IDE") != 0
        else:  # some recorders mark the kind in the number itself
            extended = number & np.uint32(_EXTENDED_BIT) != 0
            extended |= number & np.uint32(_ID_MASK) > _STANDARD_MAX
        flags = np.full(len(self), KINDS[self._group.kind], np.uint8)
        if self._group.kind == ERROR:  # of 29 bits always, as in the text log
            extended |= True
        flags |= extended * np.uint8(FrameFlag.EXTENDED)
        return number & np.uint32(_ID_MASK), flags

    def _channels(self, names: list[str]) -> NDArray[np.uint8]:
        """Return each record's channel as an index into `names`."""
        bus = np.minimum(self._integers("BusChannel"), _LAST_CHANNEL).astype(np.intp)
        channel = np.zeros(len(self), np.uint8)
        for number in np.flatnonzero(np.bincount(bus)):
            name = self._group.channel_name or str(number)
            if name not in names:
                names.append(name)
            channel[bus == number] = names.index(name)
        return channel

    def _payloads(self, fd: NDArray[np.bool_]) -> tuple[NDArray[np.uint8], NDArray[np.uint8]]:
        """Return lengths and data, zero-filled."""
        code = np.minimum(self._integers("DLC"), len(FD_LENGTHS) - 1).astype(np.intp)
        length = np.where(fd, FD_LENGTHS[code], np.minimum(code, _CLASSIC_MAX)).astype(np.uint8)
        if self._group.kind == REMOTE:
            return length, np.zeros((len(self), _CLASSIC_MAX), np.uint8)
        if self._has("DataLength"):
            length = np.minimum(self._integers("DataLength"), _FD_MAX).astype(np.uint8)
        width = max(_CLASSIC_MAX, int(length.max(initial=0)))
        given = self._data_bytes()
        data = np.zeros((len(self), width), np.uint8)
        data[:, : given.shape[1]] = given[:, :width]
        data[np.arange(width) >= length[:, np.newaxis]] = 0
        return length, data

    def _data_bytes(self) -> NDArray[np.uint8]:
        """Return the data bytes as (n, width)."""
        name = f"{self._group.kind}.DataBytes"
        if self._has("DataBytes"):
            column: NDArray[np.uint8] = self._samples[name]
            if column.ndim == 2:  # noqa: PLR2004 - one row of bytes a record
                return column
        if self._group.kind == ERROR:
            return np.zeros((len(self), _CLASSIC_MAX), np.uint8)
        # kept apart from the records, each of its own length
        count = len(self.time_ns)
        apart = np.ascontiguousarray(self._group.read(name, self._first, count).samples)
        if apart.ndim == 1:  # byte strings
            apart = apart.view(np.uint8).reshape(len(apart), -1)
        return apart if self._rows is None else apart[self._rows]


def _nanoseconds(seconds: NDArray[np.float64]) -> NDArray[np.int64]:
    """Return times as whole nanoseconds, or microseconds where a float tells no more."""
    near = np.abs(seconds) < _EXACT_NS_S
    if near.all():
        return np.rint(seconds * NS).astype(np.int64)
    fine = np.rint(np.where(near, seconds, 0) * NS).astype(np.int64)
    return np.where(near, fine, np.rint(seconds * US).astype(np.int64) * 1000)
