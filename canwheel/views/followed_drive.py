"""A log that a recorder is writing, as a feed of the live view."""

import threading
import time
from collections import deque
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from canwheel.bus.side_file import RecordingFacts, read_facts
from canwheel.capture.follow import FollowedLog
from canwheel.definitions.layout import WheelLayout
from canwheel.discovery.progress import (
    STOPS_NEEDED,
    STRAIGHT_NEEDED_S,
    DiscoveryProgress,
    DiscoverySoFar,
)
from canwheel.frames import Frames, is_wanted
from canwheel.judgement.guide import Guide, GuideLine
from canwheel.vehicle import Vehicle
from canwheel.views.bus_flow import BusFlow, flow_columns
from canwheel.views.drive_so_far import STALE_S, DriveSoFar
from canwheel.views.feeds import FeedState, LiveState

SILENT_S = 3.0
"""A running car's bus is never silent for so long. [s]"""


class FollowedDrive:
    """A log that a recorder is writing, read as it grows.

    Parameters
    ----------
    path : the log; its side file says when it ends.
    layout, car : see `DriveSoFar`; without a layout the guide says how far discovery has come.
    is_abandoned : whether the recorder has gone without a word, so that nothing more comes.

    Raises
    ------
    CaptureError : the log cannot be opened.
    """

    def __init__(
        self,
        path: Path,
        layout: WheelLayout | None,
        car: Vehicle,
        *,
        is_abandoned: Callable[[], bool] = lambda: False,
    ) -> None:
        self._path = path
        self._drive = DriveSoFar(layout, car, path)
        self._is_abandoned = is_abandoned
        self._facts = read_facts(path)
        self._log = FollowedLog(path, self._is_ended)
        self._wanted = layout.wanted if layout else ()
        self._discovery = None if layout else DiscoverySoFar()
        self._lock = threading.Lock()
        self._new: list[Frames] = []
        self._summary = self._log.summary
        self._grown_to, self._grown_at_s = 0, time.monotonic()
        self._totals = np.zeros(4, np.int64)  # frames, error frames, fewest bits, most bits
        self._past: deque[tuple[float, NDArray[np.int64]]] = deque(
            [(time.monotonic(), self._totals)]
        )
        self._reader = threading.Thread(target=self._read, name="canwheel-follow", daemon=True)
        self._reader.start()

    def _is_ended(self) -> bool:
        self._facts = read_facts(self._path) or self._facts
        if self._facts is None or self._facts.state == "ended":
            return True
        return self._is_abandoned()

    def _read(self) -> None:
        for frames in self._log:
            wanted = frames
            if self._discovery is None:
                wanted = frames.select(is_wanted(self._wanted, frames.can_id, frames.flags))
            sums = flow_columns(frames).sum(axis=0)
            with self._lock:
                self._new.append(wanted)
                self._totals = self._totals + sums
                self._summary = self._log.summary  # of these frames, and of none read since

    def refresh(self) -> LiveState:
        """Return the state now; at the end, with the judgement of the whole drive."""
        state = self._read_state()
        silent_s = time.monotonic() - self._grown_at_s
        if state.state == "ended" or silent_s < STALE_S:
            return state
        # the frames' own clock stands while nothing comes, and would call the last speeds fresh
        return replace(state, speed_kph=(None, None, None, None))

    def _read_state(self) -> LiveState:
        is_over = not self._reader.is_alive()
        with self._lock:
            new, self._new = self._new, []
            totals, summary = self._totals, self._summary
        fresh = Frames.concatenate(new)
        if self._discovery is None:
            self._drive.add(fresh)
        else:
            self._discovery.add(fresh)
        if is_over:
            summary = self._log.summary
        at_s = max(0.0, (summary.last_time_ns - summary.first_time_ns) / 1e9)
        if is_over:
            self._drive.judge(summary, at_once=True)
        else:
            self._drive.judge_beside(summary)
        facts = self._facts
        return LiveState(
            name=self._path.name,
            state=_state_of(facts, is_over=is_over),
            says=_say_gap(facts) or self._say_silence() or self._drive.remark,
            at_s=self._elapsed_s(at_s),
            flow=self._flow(totals, facts.bitrate if facts else None),
            speed_kph=self._drive.speeds_kph(at_s, summary),
            check=self._drive.check,
            guide=self._guide(is_over=is_over),
            adapter=_say_adapter(facts),
        )

    def _guide(self, *, is_over: bool) -> Guide | None:
        """Return what is still to be driven: for a judgement or, without a DBC, for discovery."""
        if self._discovery is None:
            return self._drive.guide
        return discovery_guide(self._discovery.look(at_once=is_over))

    def _say_silence(self) -> str:
        """Say when nothing comes any more."""
        size = self._log.size_bytes
        now_s = time.monotonic()
        if size != self._grown_to:
            self._grown_to, self._grown_at_s = size, now_s
        silent_s = now_s - self._grown_at_s
        if silent_s < SILENT_S or not self._reader.is_alive():
            return ""
        return (
            f"nothing was heard for {silent_s:.0f} s: is the ignition on, the adapter plugged in?"
        )

    def _elapsed_s(self, by_frames_s: float) -> float:
        """Time since the recording began, also while nothing is heard. [s]"""
        facts = self._facts
        if facts is None:
            return by_frames_s
        end_s = facts.ended.timestamp() if facts.ended else time.time()
        return max(0.0, end_s - facts.started.timestamp())

    def _flow(self, totals: NDArray[np.int64], bitrate: int | None) -> BusFlow:
        now_s = time.monotonic()
        self._past.append((now_s, totals))
        while now_s - self._past[1][0] > 1.0:
            self._past.popleft()
        since_s, before = self._past[0]
        rate = (totals - before) / max(now_s - since_s, 1e-3)
        return BusFlow.of(totals, rate, bitrate, self._log.size_bytes)

    def close(self) -> None:
        """Stop reading."""
        self._log.stop()
        self._reader.join()


def _state_of(facts: RecordingFacts | None, *, is_over: bool) -> FeedState:
    """Ended is what has been read to its end; until then the recording goes on, for the reader."""
    if is_over:
        return "ended"
    return facts.state if facts is not None and facts.state != "ended" else "recording"


def discovery_guide(progress: DiscoveryProgress) -> Guide:
    """Return what discovery still needs to see, as a guide for the driver."""
    lines = (
        GuideLine("wheel speeds seen", float(progress.found), "drive off"),
        GuideLine(
            "straight", min(1.0, progress.straight_s / STRAIGHT_NEEDED_S), "straight driving"
        ),
        GuideLine(
            "tight turns both ways",
            sum(min(1, count) for count in progress.turns) / 2,
            "a tight turn each way",
        ),
        GuideLine("stops", min(1.0, progress.stops / STOPS_NEEDED), "a stop"),
    )
    return Guide(lines, enough=progress.enough, says=progress.says)


def _say_adapter(facts: RecordingFacts | None) -> str:
    """What it does on the wire comes first: a long name may be cut off at the screen's edge."""
    if facts is None:
        return ""
    where = f" on {facts.channel}" if facts.channel else ""
    manner = facts.manner if facts.listen_only else facts.manner.upper()
    return f"{manner}, {facts.interface}{where}"


def _say_gap(facts: RecordingFacts | None) -> str:
    if facts is None or facts.state != "waiting" or not facts.gap:
        return ""
    return "the adapter is gone; what came is safe: plug it in again"
