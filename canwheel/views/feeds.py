"""What a live view shows, and where it comes from: a log that still grows, or a recording.

A view never computes: it asks its feed for a `LiveState` and draws it. Both feeds judge with the
very function that `check` uses, on the wanted frames of the drive so far, so that the last
judgement of a drive is the one that `check` gives. The speeds in between come from the last
moments alone.
"""

import threading
import time
from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal, Protocol

import numpy as np
from numpy.typing import NDArray

from canwheel.bus.load import frame_bits
from canwheel.bus.side_file import RecordingFacts, read_facts
from canwheel.capture import iter_frames, read_capture
from canwheel.capture.follow import FollowedLog
from canwheel.capture.source import Progress
from canwheel.capture.summary import CaptureSummary
from canwheel.corners import CORNERS
from canwheel.definitions.layout import WheelLayout
from canwheel.discovery.progress import (
    STOPS_NEEDED,
    STRAIGHT_NEEDED_S,
    DiscoveryProgress,
    DiscoverySoFar,
)
from canwheel.errors import CanwheelError, RequestError
from canwheel.frames import FrameFlag, Frames, is_wanted
from canwheel.judgement.guide import Guide, GuideLine, guide_drive
from canwheel.pipeline import Check, judge
from canwheel.track.build import build_track
from canwheel.track.channel import choose_channel
from canwheel.track.clock import correct_clock
from canwheel.vehicle import Vehicle

FeedState = Literal["recording", "waiting", "playing", "paused", "ended"]

WINDOW_S = 2.0
"""The speeds shown come from this much of the drive's end. [s]"""

STALE_S = 1.0
"""A corner whose last value is older than this shows none. [s]"""

SILENT_S = 3.0
"""A running car's bus is never silent for so long. [s]"""

SPEEDS = (1, 2, 4, 8, 16, 32, 64)
"""Times real time that a replay can run at."""

_JUDGE_EVERY_S = 1.0
_JUDGE_SHARE = 0.2  # of one processor that judging may take, so that a long drive is judged rarer
_STRIDE = 256  # frames between two entries of a replay's running sums
_LEAD_S = 3.0  # a jump to a finding lands so much before it


@dataclass(frozen=True, slots=True)
class BusFlow:
    """How much came over the bus.

    Attributes
    ----------
    frames, error_frames : so far.
    frames_per_s : during the last second or so.
    load_pct : least and most that they can have filled of the bus; None without a bit rate. [%]
    size_bytes : of the file.
    """

    frames: int = 0
    error_frames: int = 0
    frames_per_s: float = 0.0
    load_pct: tuple[float, float] | None = None
    size_bytes: int = 0


@dataclass(frozen=True, slots=True, eq=False)
class LiveState:
    """Everything that a view shows.

    Attributes
    ----------
    name : of the recording.
    state, says : what goes on, and a remark on it.
    at_s : time of the drive. [s]
    length_s : of a replay's recording; None while it is recorded. [s]
    speed : times real time.
    flow : of the bus.
    speed_kph : one a corner; None where it says nothing now. [km/h]
    check, guide : the judgement of the drive so far, and what to drive; None before there is one.
    adapter : in words, where it is known.
    """

    name: str
    state: FeedState
    at_s: float
    flow: BusFlow
    speed_kph: tuple[float | None, ...] = (None, None, None, None)
    says: str = ""
    length_s: float | None = None
    speed: float = 1.0
    check: Check | None = None
    guide: Guide | None = None
    adapter: str = ""


class Feed(Protocol):
    """Where a view gets its state from. `refresh` is called from one thread at a time."""

    def refresh(self) -> LiveState:
        """Return the state now."""

    def close(self) -> None:
        """Let go of files and threads."""


_WITHOUT_DBC = "frames are recorded; without a DBC file nothing is judged on the way"


class DriveSoFar:
    """The wanted frames of a drive up to now, and what they say.

    Parameters
    ----------
    layout, car : which signals, and what is known of the car; without a layout nothing is judged.
    file : the recording.
    """

    def __init__(self, layout: WheelLayout | None, car: Vehicle, file: Path) -> None:
        self.layout = layout
        self.car = car
        self.file = file
        self._parts: list[Frames] = []  # each at least twice as long as the one after it
        self._channel: str | None = None
        self._judged_at_s = -np.inf
        self._took_s = 0.0
        self._judging: threading.Thread | None = None
        self._failure: Exception | None = None
        self.check: Check | None = None
        self.guide: Guide | None = None
        self.remark = "" if layout else _WITHOUT_DBC

    def add(self, frames: Frames) -> None:
        """Take in wanted frames that come after those before."""
        if not len(frames):
            return
        parts = self._parts
        parts.append(frames)
        while len(parts) > 1 and len(parts[-2]) < 2 * len(parts[-1]):
            parts[-2:] = [Frames.concatenate(parts[-2:])]

    def replace(self, frames: Frames) -> None:
        """Take these instead of all before: somebody moved in a replay."""
        self._parts = [frames] if len(frames) else []

    def judge(self, summary: CaptureSummary, *, at_once: bool = False) -> None:
        """Judge the drive so far, unless that was done a moment ago.

        Parameters
        ----------
        summary : of the recording so far.
        at_once : whenever it was.
        """
        if not at_once and not self._is_time():
            return
        if self._judging is not None:
            self._judging.join()
        frames = self._begin_to_judge()
        if frames is not None:
            self._judge(frames, summary)

    def judge_beside(self, summary: CaptureSummary) -> None:
        """Do the same in a thread of its own: the speeds go on while a long drive is judged.

        Raises
        ------
        Exception : what the judging before this one failed with.
        """
        if self._failure is not None:
            raise self._failure
        if (self._judging is not None and self._judging.is_alive()) or not self._is_time():
            return
        frames = self._begin_to_judge()
        if frames is not None:
            self._judging = threading.Thread(
                target=self._judge_or_fail, args=(frames, summary), daemon=True
            )
            self._judging.start()

    def _is_time(self) -> bool:
        pause_s = max(_JUDGE_EVERY_S, self._took_s / _JUDGE_SHARE)
        return time.monotonic() - self._judged_at_s >= pause_s

    def _begin_to_judge(self) -> Frames | None:
        """Return what there is to judge, None while there is nothing."""
        if self.layout is None:
            return None
        if self._parts:  # a look before the first frame is no reason to wait for the next one
            self._judged_at_s = time.monotonic()
        return self._on_its_channel(self.layout)

    def _judge(self, frames: Frames, summary: CaptureSummary) -> None:
        assert self.layout is not None  # noqa: S101 - without one there are no frames to judge
        began_s = time.monotonic()
        check = judge(frames, summary, self.layout, self.car, channel=self._channel or "")
        self.check, self.guide = check, guide_drive(check.judgement)
        self._took_s = time.monotonic() - began_s

    def _judge_or_fail(self, frames: Frames, summary: CaptureSummary) -> None:
        try:
            self._judge(frames, summary)
        except Exception as error:  # noqa: BLE001 - told by the next call
            self._failure = error

    def _on_its_channel(self, layout: WheelLayout) -> Frames | None:
        """Return the frames of the channel that carries the wheels, None while none does."""
        frames = Frames.concatenate(self._parts)
        self._parts = [frames] if len(frames) else []
        heard = {
            place.message: bool(np.any(place.ids.matches(frames.can_id, frames.flags)))
            for place in layout.wheels
        }
        missing = [message for message, is_there in heard.items() if not is_there]
        if missing:
            self.remark = f"not heard yet: {', '.join(missing)}"
            return None
        try:
            frames, self._channel = choose_channel(frames, layout, self._channel, self.file)
        except CanwheelError as error:
            self.remark = error.what
            return None
        self.remark = ""
        return frames

    def speeds_kph(self, now_s: float, summary: CaptureSummary) -> tuple[float | None, ...]:
        """Return what each corner says now, from the last moments alone. [km/h]

        Parameters
        ----------
        now_s : time from the recording's first frame, by the frames' own clock. [s]
        summary : of the recording so far.
        """
        if self.layout is None or not self._parts:
            return (None, None, None, None)
        recent = self._recent()
        if self._channel in recent.channels:
            recent = recent.select(recent.channel == recent.channels.index(self._channel))
        track = build_track(recent, self.layout, self.car, summary)
        speeds: list[float | None] = []
        for corner in CORNERS:
            wheel = track.wheel(corner)
            known = np.flatnonzero(~np.isnan(wheel.speed_kph))
            is_fresh = len(known) > 0 and now_s - wheel.time_s[known[-1]] <= STALE_S
            speeds.append(float(wheel.speed_kph[known[-1]]) if is_fresh else None)
        return tuple(speeds)

    def _recent(self) -> Frames:
        """Return the frames of the last moments; after a step of the clock, those since."""
        ends = [p.select(np.arange(max(0, len(p) - _MOST_RECENT), len(p))) for p in self._parts]
        tail = Frames.concatenate(ends)
        time_ns = tail.time_ns
        far = np.flatnonzero(np.abs(time_ns - time_ns[-1]) > WINDOW_S * 1e9)
        first = int(far[-1]) + 1 if len(far) else 0
        return tail.select(np.arange(first, len(tail)))


_MOST_RECENT = 20_000  # frames looked at for the last moments, however fast they come


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
            sums = _sums(frames)
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
        return _flow_of(totals, rate, bitrate, self._log.size_bytes)

    def close(self) -> None:
        """Stop reading."""
        self._log.stop()
        self._reader.join()


def _state_of(facts: RecordingFacts | None, *, is_over: bool) -> FeedState:
    """Ended is what has been read to its end; until then the recording goes on, for the reader."""
    if is_over:
        return "ended"
    return facts.state if facts is not None and facts.state != "ended" else "recording"


class ReplayedDrive:
    """A recording that is played, at any speed, to and fro.

    Parameters
    ----------
    path : the capture.
    layout, car : see `DriveSoFar`.
    speed : times real time.
    clock : tells the time. [s]
    progress : called with bytes of the capture read and bytes in all.

    Raises
    ------
    CanwheelError : it cannot be read or does not fit the layout.
    """

    def __init__(
        self,
        path: Path,
        layout: WheelLayout,
        car: Vehicle,
        *,
        speed: float = 1.0,
        clock: Callable[[], float] = time.monotonic,
        progress: Progress | None = None,
    ) -> None:
        if str(path) == "-":
            raise RequestError(
                "a replay goes to and fro, which standard input does not", remedy="name a file"
            )
        recording = read_capture(path, layout.wanted, progress=progress)
        self._size_bytes = path.stat().st_size
        frames, channel = choose_channel(recording.frames, layout, None, path)
        self.whole = judge(frames, recording.summary, layout, car, channel=channel)
        self._path = path
        self._summary = recording.summary
        self._frames = frames
        first_ns = recording.summary.first_time_ns
        self._time_s = np.maximum.accumulate(correct_clock(frames.time_ns, first_ns).time_s)
        self._sums = _running_sums(iter_frames(path, progress=progress))
        self._drive = DriveSoFar(layout, car, path)
        self._shown = -1
        facts = read_facts(path)
        self._bitrate = facts.bitrate if facts and facts.bitrate else car.bus.bitrate
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
        return _flow_of(totals, rate, self._bitrate, size)

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


def _sums(frames: Frames) -> NDArray[np.int64]:
    """Frames, error frames, fewest and most bits of some frames."""
    is_error = (frames.flags & np.uint8(FrameFlag.ERROR)) != 0
    fewest, most = frame_bits(frames.flags, frames.length)
    sound = ~is_error
    return np.array([len(frames), is_error.sum(), fewest[sound].sum(), most[sound].sum()], np.int64)


def _running_sums(parts: Iterator[Frames]) -> NDArray[np.float64]:
    """(k, 4) the same, running over a recording, every `_STRIDE` frames."""
    rows = [np.zeros((1, 4), np.int64)]
    for frames in parts:
        for first in range(0, len(frames), _STRIDE * _STRIDE):
            piece = frames.select(np.arange(first, min(first + _STRIDE * _STRIDE, len(frames))))
            rows.append(rows[-1][-1:] + _piece_sums(piece))
    return np.concatenate(rows).astype(np.float64)


def _piece_sums(frames: Frames) -> NDArray[np.int64]:
    is_error = (frames.flags & np.uint8(FrameFlag.ERROR)) != 0
    fewest, most = frame_bits(frames.flags, frames.length)
    columns = [np.ones(len(frames), np.int64), is_error, fewest * ~is_error, most * ~is_error]
    running = np.cumsum(np.column_stack(columns), axis=0)
    keep = np.unique(np.append(np.arange(_STRIDE - 1, len(frames), _STRIDE), len(frames) - 1))
    kept: NDArray[np.int64] = running[keep]
    return kept


def _flow_of(
    totals: NDArray[np.int64], rate: NDArray[np.float64], bitrate: int | None, size_bytes: int
) -> BusFlow:
    load = None if not bitrate else (100 * rate[2] / bitrate, min(100.0, 100 * rate[3] / bitrate))
    return BusFlow(
        frames=int(totals[0]),
        error_frames=int(totals[1]),
        frames_per_s=float(rate[0]),
        load_pct=load and (float(load[0]), float(load[1])),
        size_bytes=size_bytes,
    )


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
