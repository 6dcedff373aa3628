"""A drive up to now, and what it says: judged with the very function that `check` uses.

So the last judgement of a drive is the one that `check` gives. The speeds in between come from the
last moments alone.
"""

import threading
import time
from pathlib import Path

import numpy as np

from canwheel.capture.summary import CaptureSummary
from canwheel.corners import CORNERS
from canwheel.definitions.layout import WheelLayout
from canwheel.errors import CanwheelError
from canwheel.frames import Frames
from canwheel.judgement.guide import Guide, guide_drive
from canwheel.pipeline import Check, judge
from canwheel.track.build import build_track
from canwheel.track.channel import choose_channel
from canwheel.track.clock import require_running_clock
from canwheel.vehicle import Vehicle

WINDOW_S = 2.0
"""The speeds shown come from this much of the drive's end. [s]"""

STALE_S = 1.0
"""A corner whose last value is older than this shows none. [s]"""

_MOST_RECENT = 20_000  # frames looked at for the last moments, however fast they come
_JUDGE_EVERY_S = 1.0
_JUDGE_SHARE = 0.2  # of one processor that judging may take, so that a long drive is judged rarer
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
        self._is_complete = False  # every wheel message was heard on that channel
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
        if not check.unexplained:
            self.check, self.guide = check, guide_drive(check.judgement)
        self._took_s = time.monotonic() - began_s

    def _judge_or_fail(self, frames: Frames, summary: CaptureSummary) -> None:
        try:
            self._judge(frames, summary)
        except Exception as error:  # noqa: BLE001 - told by the next call
            self._failure = error

    def _on_its_channel(self, layout: WheelLayout) -> Frames | None:
        """Return the frames of the channel that carries the wheels.

        None while none does, and while their time stamps do not say when they came.
        """
        frames = Frames.concatenate(self._parts)
        self._parts = [frames] if len(frames) else []
        missing = {
            place.message: None
            for place in layout.wheels
            if not np.any(place.ids.matches(frames.can_id, frames.flags))
        }
        self.remark = f"not heard yet: {', '.join(missing)}" if missing else ""
        asked = self._channel if self._is_complete else None
        try:
            frames, self._channel = choose_channel(frames, layout, asked, self.file)
            require_running_clock(frames, str(self.file))
        except CanwheelError as error:
            self.remark = self.remark or error.what
            return None
        self._is_complete = not missing
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
