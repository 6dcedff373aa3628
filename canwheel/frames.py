"""``Frames``: what was heard on the bus, as columns, and ``Wanted``: which of it matters."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntFlag

import numpy as np
from numpy.typing import NDArray

_PDU2_FIRST = 240
"""From this PDU format on, a 29-bit J1939 identifier's next byte belongs to the group number."""


class FrameFlag(IntFlag):
    """Bits of ``Frames.flags``."""

    EXTENDED = 1  # 29-bit identifier
    FD = 2  # CAN FD format
    BRS = 4  # CAN FD: data phase at the higher bit rate
    ESI = 8  # CAN FD: the sender was error passive
    REMOTE = 16  # a request without data; `length` is the one asked for
    ERROR = 32  # not a frame but the adapter's report of an error on the bus
    SENT = 64  # the recorder itself sent it


@dataclass(frozen=True, slots=True)
class IdPattern:
    """Identifiers that are wanted: those of one kind that equal `value` where `mask` has ones."""

    value: int
    mask: int
    extended: bool

    @classmethod
    def exactly(cls, can_id: int, *, extended: bool) -> "IdPattern":
        """One identifier."""
        return cls(can_id, 0x1FFF_FFFF if extended else 0x7FF, extended)

    @classmethod
    def j1939_group(cls, can_id: int) -> "IdPattern":
        """Every sender and priority of the parameter group that a 29-bit identifier carries.

        Bits 25 to 8 are the group number (its lowest byte is a destination, not part of the
        group, when the byte above it is below 240; SAE J1939-21, from memory).
        """
        destination_specific = (can_id >> 16) & 0xFF < _PDU2_FIRST
        mask = 0x03FF_0000 if destination_specific else 0x03FF_FF00
        return cls(can_id & mask, mask, extended=True)

    def matches(self, can_id: NDArray[np.uint32], flags: NDArray[np.uint8]) -> NDArray[np.bool_]:
        """Which data frames of these columns the pattern wants (no remote or error frames)."""
        kind = flags & np.uint8(FrameFlag.EXTENDED | FrameFlag.REMOTE | FrameFlag.ERROR)
        want_kind = np.uint8(FrameFlag.EXTENDED if self.extended else 0)
        hit: NDArray[np.bool_] = (can_id & np.uint32(self.mask)) == np.uint32(self.value)
        right_kind: NDArray[np.bool_] = kind == want_kind
        return hit & right_kind


Wanted = tuple[IdPattern, ...]


def is_wanted(
    wanted: Wanted, can_id: NDArray[np.uint32], flags: NDArray[np.uint8]
) -> NDArray[np.bool_]:
    """(n,) which frames of these columns, (n,) each, one of the patterns wants."""
    hit = np.zeros(len(can_id), np.bool_)
    for pattern in wanted:
        hit |= pattern.matches(can_id, flags)
    return hit


@dataclass(frozen=True, slots=True, eq=False)
class Frames:
    """n frames as columns, in the order in which they stand in the capture.

    Attributes
    ----------
    time_ns : (n,) int64, as recorded (since the epoch, or whatever the recorder used). [ns]
    can_id : (n,) uint32, identifier without flag bits.
    flags : (n,) uint8 of ``FrameFlag``.
    length : (n,) uint8, payload bytes (for a remote frame, those asked for).
    data : (n, w) uint8, w the longest payload of these frames, at least 8; zero-filled.
    channel : (n,) uint8, index into `channels`.
    channels : names of the channels seen, in order of appearance.
    index : (n,) int64, position of the frame among all frames of the capture, wanted or not, so
        that a gap can be told from a silence: the difference counts what else was heard.
    """

    time_ns: NDArray[np.int64]
    can_id: NDArray[np.uint32]
    flags: NDArray[np.uint8]
    length: NDArray[np.uint8]
    data: NDArray[np.uint8]
    channel: NDArray[np.uint8]
    channels: tuple[str, ...]
    index: NDArray[np.int64]

    def __len__(self) -> int:
        """Return n, the number of frames."""
        return len(self.time_ns)

    @classmethod
    def empty(cls, channels: tuple[str, ...] = ()) -> "Frames":
        """No frames."""
        return cls(
            time_ns=np.empty(0, np.int64),
            can_id=np.empty(0, np.uint32),
            flags=np.empty(0, np.uint8),
            length=np.empty(0, np.uint8),
            data=np.empty((0, 8), np.uint8),
            channel=np.empty(0, np.uint8),
            channels=channels,
            index=np.empty(0, np.int64),
        )

    def select(self, rows: NDArray[np.bool_] | NDArray[np.intp]) -> "Frames":
        """Return the given rows, by mask or by position."""
        return Frames(
            time_ns=self.time_ns[rows],
            can_id=self.can_id[rows],
            flags=self.flags[rows],
            length=self.length[rows],
            data=self.data[rows],
            channel=self.channel[rows],
            channels=self.channels,
            index=self.index[rows],
        )

    @classmethod
    def concatenate(cls, parts: Sequence["Frames"]) -> "Frames":
        """Join parts of one capture; a later part's `channels` must extend an earlier one's."""
        if not parts:
            return cls.empty()
        width = max(part.data.shape[1] for part in parts)
        data = np.zeros((sum(map(len, parts)), width), np.uint8)
        row = 0
        for part in parts:
            data[row : row + len(part), : part.data.shape[1]] = part.data
            row += len(part)
        return cls(
            time_ns=np.concatenate([part.time_ns for part in parts]),
            can_id=np.concatenate([part.can_id for part in parts]),
            flags=np.concatenate([part.flags for part in parts]),
            length=np.concatenate([part.length for part in parts]),
            data=data,
            channel=np.concatenate([part.channel for part in parts]),
            channels=max((part.channels for part in parts), key=len),
            index=np.concatenate([part.index for part in parts]),
        )
