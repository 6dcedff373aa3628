"""A recording that is played, at any speed, to and fro, as a feed of the live view."""

import time
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from canwheel.bus.side_file import read_facts
from canwheel.capture import iter_frames
from canwheel.capture.source import Progress
from canwheel.capture.summary import CaptureSummary
from canwheel.errors import RequestError
from canwheel.frames import Frames
from canwheel.judgement.guide import guide_drive
from canwheel.pipeline import judge_whole, read_drive
from canwheel.track.clock import correct_clock
from canwheel.views.bus_flow import BusFlow, flow_columns
from canwheel.views.drive_so_far import DriveSoFar
from canwheel.views.feeds import LiveState

SPEEDS = (1, 2, 4, 8, 16, 32, 64)
"""Times real time that a replay can run at."""

_STRIDE = 256  # frames between two entries of the running sums
_PIECE = 256 * _STRIDE  # frames summed up at a time, so that memory does not grow with a recording
_LEAD_S = 3.0  # a jump to a finding lands so much before it


class ReplayedDrive:
    """A recording that is played, at any speed, to and fro.

    Parameters
    ----------
    path : the capture.
    dbc, vehicle : files, as for `check`.
    speed : times real time.
    clock : tells the time. [s]
    progress : called with bytes of the capture read and bytes in all.

    Raises
    ------
    CanwheelError : a file cannot be read, or they do not fit together, as for `check`.
    """

    def __init__(
        self,
        path: Path,
        dbc: Path,
        vehicle: Path | None = None,
        *,
        speed: float = 1.0,
        clock: Callable[[], float] = time.monotonic,
        progress: Progress | None = None,
    ) -> None:
        if str(path) == "-":
            raise RequestError(
                "a replay goes to and fro, which standard input does not", remedy="name a file"
            )
        drive = read_drive(path, dbc, vehicle, progress=progress)
        self.whole = judge_whole(drive)
        self._path = path
        self._size_bytes = path.stat().st_size
        self._summary, self._frames = drive.recording.summary, drive.recording.frames
        clock_of_frames = correct_clock(self._frames.time_ns, self._summary.first_time_ns)
        self._time_s = np.maximum.accumulate(clock_of_frames.time_s)
        self._sums = _running_sums(iter_frames(path, progress=progress))
        self._drive = DriveSoFar(drive.layout, drive.vehicle, path)
        self._shown = -1
        facts = read_facts(path)
        self._bitrate = facts.bitrate if facts and facts.bitrate else drive.vehicle.bus.bitrate
        self._clock = clock
        self._clock_at_s = clock()
        self._at_s = 0.0
        self.speed = speed
        self.is_paused = False

    @property
    def length_s(self) -> float:
        """How long the recording is. [s]"""
        return float(self._time_s[-1])

    def refresh(self) -> LiveState:
        """Return the state at the time that the replay has come to."""
        self._move_on()
        at_s = min(self._at_s, self.length_s)
        is_over = self._at_s >= self.length_s
        count = len(self._time_s) if is_over else int(np.searchsorted(self._time_s, at_s, "right"))
        summary = self._summary if is_over else self._summary_of(count)
        if count != self._shown:
            self._drive.replace(self._frames.select(np.arange(count)))
            self._drive.judge(summary, at_once=is_over or count < self._shown)
            self._shown = count
        last_s = (summary.last_time_ns - summary.first_time_ns) / 1e9
        return LiveState(
            name=self._path.name,
            state="ended" if is_over else "paused" if self.is_paused else "playing",
            says=self._drive.remark,
            at_s=at_s,
            length_s=self.length_s,
            speed=self.speed,
            flow=self._flow(at_s),
            speed_kph=self._drive.speeds_kph(last_s, summary),
            check=self.whole if is_over else self._drive.check,
            guide=guide_drive(self.whole.judgement) if is_over else self._drive.guide,
        )

    def _move_on(self) -> None:
        now_s = self._clock()
        if not self.is_paused:
            self._at_s += (now_s - self._clock_at_s) * self.speed
        self._clock_at_s = now_s
        self._at_s = min(max(self._at_s, 0.0), self.length_s)

    def _summary_of(self, count: int) -> CaptureSummary:
        """Return what a scan would say of the recording up to that wanted frame."""
        whole = self._summary
        if not count:
            return CaptureSummary(whole.file, "", 0, whole.first_time_ns, whole.first_time_ns)
        return CaptureSummary(
            file=whole.file,
            sha256="",
            frames=int(self._frames.index[count - 1]) + 1,
            first_time_ns=whole.first_time_ns,
            last_time_ns=int(self._frames.time_ns[count - 1]),
        )

    def _flow(self, at_s: float) -> BusFlow:
        totals, before = self._totals_at(at_s), self._totals_at(at_s - 1.0)
        size = round(totals[0] / max(1, self._summary.frames) * self._size_bytes)
        rate = (totals - before) / min(1.0, max(at_s, 1e-3))
        return BusFlow.of(totals, rate, self._bitrate, size)

    def _totals_at(self, at_s: float) -> NDArray[np.int64]:
        if at_s >= self.length_s:  # what came after the last wheel message counts as well
            last: NDArray[np.int64] = self._sums[-1].astype(np.int64)
            return last
        index = float(np.interp(at_s, self._time_s, self._frames.index)) if at_s > 0 else 0.0
        columns = [float(np.interp(index, self._sums[:, 0], column)) for column in self._sums.T]
        return np.array([int(value) for value in columns], np.int64)

    def pause(self) -> None:
        """Stop, or go on."""
        self._move_on()
        self.is_paused = not self.is_paused

    def step(self, by_s: float) -> None:
        """Go forward, or back. [s]"""
        self._move_on()
        self._at_s = min(max(self._at_s + by_s, 0.0), self.length_s)

    def faster(self, steps: int) -> None:
        """Take the next speed up, or down."""
        self._move_on()
        place = int(np.searchsorted(SPEEDS, self.speed))
        self.speed = SPEEDS[min(max(place + steps, 0), len(SPEEDS) - 1)]

    def next_finding(self) -> bool:
        """Go to just before the next finding, if there is one."""
        self._move_on()
        begins = sorted(
            finding.from_s for judged in self.whole.judgement.corners for finding in judged.findings
        )
        for begin_s in begins:
            if begin_s - _LEAD_S > self._at_s + 1e-6:
                self._at_s = begin_s - _LEAD_S
                return True
        return False

    def close(self) -> None:
        """Nothing is held open."""


def _running_sums(parts: Iterator[Frames]) -> NDArray[np.float64]:
    """(k, 4) sums of `flow_columns`, running over a recording, every `_STRIDE` frames."""
    rows = [np.zeros((1, 4), np.int64)]
    for frames in parts:
        for first in range(0, len(frames), _PIECE):
            piece = frames.select(np.arange(first, min(first + _PIECE, len(frames))))
            running = np.cumsum(flow_columns(piece), axis=0)
            last = len(piece) - 1
            keep = np.append(np.arange(_STRIDE - 1, last, _STRIDE), last)
            rows.append(rows[-1][-1:] + running[keep])
    return np.concatenate(rows).astype(np.float64)
