"""How far discovery has come while a drive is recorded: cheap, and in bounded memory.

``DiscoverySoFar`` keeps a share of the frames heard, looks through them now and then, and says
what the drive still lacks.
"""

import time
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canwheel.discovery.comparing import MOVING, TURNS_FROM
from canwheel.discovery.discover import discover_wheels
from canwheel.discovery.motion import fit_rigid_body
from canwheel.discovery.proposal import Candidate
from canwheel.discovery.triangle import fit_triangle
from canwheel.frames import FrameFlag, Frames
from canwheel.track.runs import runs

STOPS_NEEDED = 2
"""From a stop at the begin and one at the end the raw value of rest is sure."""

STRAIGHT_NEEDED_S = 30.0
"""Straight driving by which the four are told to be equal (our choice, no source). [s]"""

TIGHT = 0.08
"""Half track over turn radius from which on a turn is tight: 9 m on a track of 1.5 m. Front and
rear part by 4 % then."""

_STOP_S = 1.0
_TURN_S = 1.5
"""What is shorter is no stop, and no turn but a swerve. [s]"""

_MOST_FRAMES = 300_000
"""Frames kept; beyond, every second one of each message goes."""

_LOOK_EVERY_S = 5.0
_SHARE = 0.1
"""Of one processor that looking may take."""


@dataclass(frozen=True, slots=True)
class DiscoveryProgress:
    """What a drive so far shows of its wheel speeds.

    Attributes
    ----------
    found : whether four fields behave as wheel speeds.
    stops : how often the car stood.
    turns : tight turns one way, and the other.
    straight_s : straight driving. [s]
    """

    found: bool
    stops: int = 0
    turns: tuple[int, int] = (0, 0)
    straight_s: float = 0.0

    @property
    def enough(self) -> bool:
        """Whether all was driven that discovery asks for."""
        return self.found and not self.missing

    @property
    def missing(self) -> tuple[str, ...]:
        """What is still to be driven, in the order in which it is easiest."""
        lacks = []
        if self.straight_s < STRAIGHT_NEEDED_S:
            lacks.append(f"{STRAIGHT_NEEDED_S - self.straight_s:.0f} s straight")
        if sum(self.turns) == 0:
            lacks.append("a tight turn each way")
        elif min(self.turns) == 0:
            lacks.append("a tight turn the other way")
        if self.stops < STOPS_NEEDED:
            lacks.append("a stop" if self.stops else f"{STOPS_NEEDED} stops")
        return tuple(lacks)

    @property
    def says(self) -> str:
        """One short sentence for the second person to read out."""
        if not self.found:
            return "No wheel speeds seen yet: drive off, straight, then a tight turn each way."
        seen = [f"{self.stops} stop{'' if self.stops == 1 else 's'}"]
        if min(self.turns) > 0:
            seen.append("both turns")
        elif max(self.turns) > 0:
            seen.append("one turn")
        done = f"Wheel speeds seen; {' and '.join(seen)}"
        if not self.missing:
            return f"{done}, {self.straight_s:.0f} s straight: enough for discovery."
        return f"{done}; still needed: {', '.join(self.missing)}."


def progress_of(candidate: Candidate | None) -> DiscoveryProgress:
    """Say how far a drive has come by the best candidate that it shows, None for none.

    A cheap look at the candidate's traces, nothing else.
    """
    if candidate is None or candidate.kind == "pulse counters":
        return DiscoveryProgress(found=False)
    time_s = candidate.traces.time_s
    live = [k for k, field in enumerate(candidate.fields) if field.state == "live"]
    steps = np.maximum(candidate.traces.steps, 0.0)
    mean = steps[:, live].mean(axis=1)
    top = float(np.percentile(mean, 99))
    step_s = float(time_s[-1] - time_s[0]) / max(1, len(time_s) - 1)
    standing = mean <= 0.01 * top
    if len(live) == len(candidate.fields):
        sides = fit_rigid_body(time_s, steps).sides
    else:
        sides = fit_triangle(time_s, steps[:, live]).sides
    moving = mean > MOVING * top
    turning = np.nan_to_num(sides)
    straight = moving & (np.abs(turning) < TURNS_FROM / 2)
    return DiscoveryProgress(
        found=True,
        stops=_spells(standing, step_s, _STOP_S),
        turns=(
            _spells(turning > TIGHT, step_s, _TURN_S),
            _spells(turning < -TIGHT, step_s, _TURN_S),
        ),
        straight_s=float(straight.sum()) * step_s,
    )


def _spells(holds: NDArray[np.bool_], step_s: float, shortest_s: float) -> int:
    """How many times something holds for so long."""
    lengths = [last + 1 - first for first, last in runs(holds, ~holds)]
    return sum(length * step_s >= shortest_s for length in lengths)


class DiscoverySoFar:
    """A share of the frames of a drive up to now, and how far discovery has come by them.

    Parameters
    ----------
    clock : tells the time. [s]
    """

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self.progress = DiscoveryProgress(found=False)
        self._clock = clock
        self._parts: list[Frames] = []
        self._order: list[NDArray[np.int64]] = []  # how many of its message came before each
        self._heard: dict[int, int] = {}
        self._kept = 0
        self._stride = 1
        self._looked_at_s = clock()
        self._took_s = 0.0

    def add(self, frames: Frames) -> None:
        """Take in frames that come after those before."""
        if not len(frames):
            return
        order = self._numbered(frames)
        rows = np.flatnonzero(order % self._stride == 0)
        self._keep(frames.select(rows), order[rows])
        while self._kept > _MOST_FRAMES:
            self._stride *= 2
            parts = list(zip(self._parts, self._order, strict=True))
            self._parts, self._order, self._kept = [], [], 0
            for part, numbers in parts:
                rows = np.flatnonzero(numbers % self._stride == 0)
                self._keep(part.select(rows), numbers[rows])

    def _keep(self, frames: Frames, order: NDArray[np.int64]) -> None:
        self._parts.append(frames)
        self._order.append(order)
        self._kept += len(frames)

    def _numbered(self, frames: Frames) -> NDArray[np.int64]:
        """How many sendings of its message came before each frame. (n,)"""
        kind = (frames.flags & np.uint8(FrameFlag.EXTENDED)).astype(np.int64)
        key = (frames.can_id.astype(np.int64) << 1 | kind) << 8 | frames.channel
        values, inverse, counts = np.unique(key, return_inverse=True, return_counts=True)
        by_message = np.argsort(inverse, kind="stable")
        first = np.repeat(np.cumsum(counts) - counts, counts)
        order = np.empty(len(key), np.int64)
        order[by_message] = np.arange(len(key)) - first
        order += np.array([self._heard.get(int(value), 0) for value in values])[inverse]
        for value, count in zip(values.tolist(), counts.tolist(), strict=True):
            self._heard[value] = self._heard.get(value, 0) + count
        return order

    def look(self, *, at_once: bool = False) -> DiscoveryProgress:
        """Look through what was kept, unless that was done a moment ago; return the progress.

        Parameters
        ----------
        at_once : whenever it was.
        """
        now_s = self._clock()
        pause_s = max(_LOOK_EVERY_S, self._took_s / _SHARE)
        if not self._parts or (not at_once and now_s - self._looked_at_s < pause_s):
            return self.progress
        frames = Frames.concatenate(self._parts)
        self._parts, self._order = [frames], [np.concatenate(self._order)]
        found = discover_wheels(frames, int(frames.time_ns[0])).candidates
        self.progress = progress_of(found[0] if found else None)
        self._looked_at_s, self._took_s = self._clock(), self._clock() - now_s
        return self.progress
