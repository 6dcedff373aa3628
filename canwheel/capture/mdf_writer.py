"""Columns to MDF 4 bus logging, through asammdf.

The frames are numbered in one field more than the standard has, which other programs pass over,
so that a recording comes back in its own order even where the clock stepped; and each group's
source carries the channel's name.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from canwheel.capture.mdf import import_asammdf
from canwheel.capture.mdf_records import DATA, ERROR, FD_LENGTHS, NS, NUMBER, OWN_MARK, REMOTE
from canwheel.frames import FrameFlag, Frames

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_CLASSIC_MAX = 8
_FD_MAX = 64


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
    """Puts frames into groups: one for each channel, kind, and room for data."""

    def __init__(self, asammdf: ModuleType, mdf: Any) -> None:
        self._asammdf = asammdf
        self._mdf = mdf
        self._groups: dict[_Form, int] = {}
        self._start_s: int | None = None
        self.count = 0

    def add(self, frames: Frames) -> None:
        """Append some frames."""
        if not len(frames):
            return
        if self._start_s is None:
            # the format's start is no earlier than 1970; earlier frames count back from there
            self._start_s = max(0, int(frames.time_ns.min()) // NS)
            self._mdf.header.start_time = _EPOCH + timedelta(seconds=self._start_s)
        number = np.arange(self.count, self.count + len(frames), dtype=np.uint64)
        self.count += len(frames)
        error = frames.flags & FrameFlag.ERROR != 0
        remote = (frames.flags & FrameFlag.REMOTE != 0) & ~error
        long = ~remote & (frames.length > _CLASSIC_MAX)
        for position, name in enumerate(frames.channels):
            here = frames.channel == position
            for form, chosen in (
                (_Form(name, DATA, _CLASSIC_MAX), here & ~error & ~remote & ~long),
                (_Form(name, DATA, _FD_MAX), here & ~error & long),
                (_Form(name, REMOTE, 0), here & remote),
                (_Form(name, ERROR, _FD_MAX), here & error),
            ):
                if chosen.any():
                    rows = np.flatnonzero(chosen)
                    self._extend(form, position, frames.select(rows), number[rows])

    def _extend(
        self, form: "_Form", position: int, frames: Frames, number: NDArray[np.uint64]
    ) -> None:
        """Append frames of one form to their group."""
        if form not in self._groups:
            self._groups[form] = self._new_group(form)
        seconds, rest_ns = np.divmod(frames.time_ns, NS)
        seconds -= self._start_s or 0
        records = form.records(frames, position, number)
        time_s = seconds + rest_ns / NS
        self._mdf.extend(self._groups[form], [(time_s, None), (records, None)])

    def _new_group(self, form: "_Form") -> int:
        """Begin a group without records; return its number."""
        from asammdf.blocks.v4_blocks import SourceInformation  # noqa: PLC0415
        from asammdf.blocks.v4_constants import BUS_TYPE_CAN, SOURCE_BUS  # noqa: PLC0415

        source = SourceInformation(source_type=SOURCE_BUS, bus_type=BUS_TYPE_CAN)
        source.name, source.path = form.channel, OWN_MARK
        self._mdf.append(
            self._asammdf.Signal(
                name=form.kind,
                samples=np.array([], form.record_type()),
                timestamps=np.array([], np.float64),
                source=source,
            )
        )
        return len(self._mdf.groups) - 1


@dataclass(frozen=True, slots=True)
class _Form:
    """What frames of one group have in common.

    Attributes
    ----------
    channel : its name.
    kind : field that holds the others.
    room : data bytes in a record; most frames need no more than eight.
    """

    channel: str
    kind: str
    room: int

    def record_type(self) -> np.dtype[Any]:
        """Return the fields of a record."""
        fields: list[tuple[str, str]] = [
            ("BusChannel", "<u1"),
            ("ID", "<u4"),
            ("IDE", "<u1"),
            ("DLC", "<u1"),
            ("DataLength", "<u1"),
            ("Dir", "<u1"),
            (NUMBER, "<u8"),
        ]
        if self.room:
            fields += [("EDL", "<u1"), ("BRS", "<u1"), ("ESI", "<u1")]
            fields += [("DataBytes", f"({self.room},)u1")]
        return np.dtype([(f"{self.kind}.{name}", form) for name, form in fields])

    def records(self, frames: Frames, position: int, number: NDArray[np.uint64]) -> NDArray[Any]:
        """Return frames as records."""
        columns = {
            "BusChannel": position,
            "ID": frames.can_id,
            "IDE": frames.flags & FrameFlag.EXTENDED != 0,
            "DLC": np.searchsorted(FD_LENGTHS, frames.length),
            "Dir": frames.flags & FrameFlag.SENT != 0,
            NUMBER: number,
        }
        record = np.zeros(len(frames), self.record_type())
        if self.room:
            columns |= {
                "DataLength": frames.length,
                "EDL": frames.flags & FrameFlag.FD != 0,
                "BRS": frames.flags & FrameFlag.BRS != 0,
                "ESI": frames.flags & FrameFlag.ESI != 0,
            }
            width = min(self.room, frames.data.shape[1])
            record[f"{self.kind}.DataBytes"][:, :width] = frames.data[:, :width]
        for name, column in columns.items():
            record[f"{self.kind}.{name}"] = column
        return record
