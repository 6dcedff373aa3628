"""The drive guide: what has been driven, what is still missing for a judgement, and "enough"."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canwheel.judgement.verdict import SOUND_NEEDS_KM, Judgement
from canwheel.judgement.wording import say_km_to_drive
from canwheel.plain_text import capital
from canwheel.track.coverage import SPEED_BANDS_KPH, TURNS, Driving
from canwheel.track.motion import LONGEST_STEP_S
from canwheel.track.runs import runs

STRAIGHT_NEEDS_S = 60.0
"""Straight driving at 30 km/h and more: 0.5 km at least, what a wheel's ratio and a ring's ripple
are read from (our choice, no source). [s]"""

_STRAIGHT_FROM_KPH = 30.0

TURNS_NEEDED = 2
"""Each way; one turn may be a lane change (our choice, no source)."""

SHORTEST_TURN_S = 1.5
"""A turn shorter than this is a swerve. [s]"""

STOPS_NEEDED = 2
"""From rolling out to a stand and setting off again a late pick-up is read."""

_NUMBERS = {1: "one", 2: "two"}


@dataclass(frozen=True, slots=True)
class GuideLine:
    """One thing to drive: how much of it is done, 0 to 1, and what is missing, in words."""

    name: str
    done: float
    missing: str

    @property
    def is_done(self) -> bool:
        """Whether there is enough of it."""
        return self.done >= 1.0


@dataclass(frozen=True, slots=True)
class Guide:
    """The whole of it.

    Attributes
    ----------
    lines : in the order in which they are easiest driven.
    enough : the drive can be judged: a fault is found, or all was driven and each corner tested.
    says : one short sentence for the second person to read out.
    """

    lines: tuple[GuideLine, ...]
    enough: bool
    says: str


def guide_drive(judgement: Judgement) -> Guide:
    """Say what a drive still lacks.

    Parameters
    ----------
    judgement : of the drive so far.
    """
    coverage = judgement.coverage
    driving = coverage.driving
    step_s = _steps(driving)
    faulty = {judged.corner for judged in judgement.with_verdict("faulty")}
    read = [corner.read_km for corner in coverage.corners if corner.corner not in faulty]
    read_km = min(read, default=SOUND_NEEDS_KM)
    fast = driving.band >= _band_from(_STRAIGHT_FROM_KPH)
    straight_s = float(step_s[fast & (driving.turn == TURNS.index("straight"))].sum())
    lines = (
        GuideLine(
            "driven above 15 km/h",
            min(1.0, read_km / SOUND_NEEDS_KM),
            f"another {say_km_to_drive(max(0.0, SOUND_NEEDS_KM - read_km))} above 15 km/h",
        ),
        GuideLine(
            "straight at 30 km/h and more",
            min(1.0, straight_s / STRAIGHT_NEEDS_S),
            "straight at a steady 30 to 60 km/h for another "
            f"{max(1.0, STRAIGHT_NEEDS_S - straight_s):.0f} s",
        ),
        *(
            _counted(f"{side} turns", f"{side} turn", _count_turns(driving, step_s, side))
            for side in ("left", "right")
        ),
        _counted("stops", "gentle stop", coverage.stops, needed=STOPS_NEEDED),
    )
    missing = [line.missing for line in lines if not line.is_done]
    if judgement.verdict == "fault_found":
        return Guide(lines, enough=True, says="Enough: a fault is found.")
    if not missing and judgement.verdict == "all_sound":
        return Guide(lines, enough=True, says="Enough: all was driven that a judgement needs.")
    says = missing[0] if missing else "keep driving: a corner is not clear yet"
    return Guide(lines, enough=False, says=f"{capital(says)}.")


def _counted(name: str, one: str, count: int, *, needed: int = TURNS_NEEDED) -> GuideLine:
    left = max(1, needed - count)
    more = f"{_NUMBERS.get(left, left)} more {one}{'s' if left > 1 else ''}"
    return GuideLine(name, min(1.0, count / needed), more)


def _band_from(kph: float) -> int:
    return next(i for i, (low, _) in enumerate(SPEED_BANDS_KPH) if low >= kph)


def _steps(driving: Driving) -> NDArray[np.float64]:
    """Time that each sample stands for while the car moves, 0 otherwise. [s]"""
    step_s = np.diff(driving.time_s, prepend=driving.time_s[:1])
    step_s[(step_s > LONGEST_STEP_S) | (driving.step_km <= 0)] = 0.0
    return step_s


def _count_turns(driving: Driving, step_s: NDArray[np.float64], side: str) -> int:
    """Count the turns to one side that last."""
    turning = (driving.turn == TURNS.index(side)) & (step_s > 0)
    total_s = np.concatenate([[0.0], np.cumsum(step_s)])
    lasts_s = [total_s[last + 1] - total_s[first] for first, last in runs(turning, ~turning)]
    return sum(bool(length_s >= SHORTEST_TURN_S) for length_s in lasts_s)
