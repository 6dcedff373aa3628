"""Which corner each field is, as far as the drive and what was declared tell."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canwheel.corners import Corner
from canwheel.discovery.hints import Hints
from canwheel.discovery.proposal import AxlesBy, SidesBy
from canwheel.discovery.sides import first_is_left_by_field, first_is_left_by_turns
from canwheel.discovery.survey import Survey

FRONT_LEFT, FRONT_RIGHT, REAR_LEFT, REAR_RIGHT = Corner.FL, Corner.FR, Corner.RL, Corner.RR


@dataclass(frozen=True, slots=True)
class Placing:
    """Positions of the fields in corner order, and what tells it.

    Attributes
    ----------
    order : position among the fields of front left, front right, rear left, rear right.
    axles_by, sides_by : what tells.
    """

    order: tuple[int, int, int, int]
    axles_by: AxlesBy
    sides_by: SidesBy

    @property
    def is_known(self) -> bool:
        """Whether every corner is told."""
        return self.axles_by != "unknown" and self.sides_by != "unknown"


def place_fields(
    halves: tuple[tuple[int, int], tuple[int, int]] | None,
    front: tuple[int, int] | None,
    axles_by: AxlesBy,
    first_is_left: tuple[bool, SidesBy] | None,
    standing: Sequence[tuple[int, int]],
) -> Placing:
    """Return which corner each of four fields is.

    Where nothing tells left from right, the front field that stands first is called left; where
    nothing tells front from rear, the fields that stand first are called front; where no turn tells
    anything, they are called FL, FR, RL, RR as they stand. That is one of the possible answers.

    Parameters
    ----------
    halves : the two sides, None where no turn tells.
    front : one of each half, the front ones; None where nothing tells.
    axles_by : what told `front`.
    first_is_left : whether the first half is the left one, and what says so.
    standing : where each field stands, by which they are ordered.
    """
    by_standing = sorted(range(4), key=lambda k: standing[k])
    if halves is None:
        a, b, c, d = by_standing
        return Placing((a, b, c, d), "unknown", "unknown")
    if front is None:
        axles_by = "unknown"
        front = (
            min(halves[0], key=lambda k: standing[k]),
            min(halves[1], key=lambda k: standing[k]),
        )
    fronts = [next(k for k in half if k in front) for half in halves]
    rears = [next(k for k in half if k not in front) for half in halves]
    sides_by: SidesBy = "unknown"
    if first_is_left is None:
        left = 0 if standing[fronts[0]] < standing[fronts[1]] else 1
    else:
        left, sides_by = (0 if first_is_left[0] else 1), first_is_left[1]
    right = 1 - left
    return Placing((fronts[left], fronts[right], rears[left], rears[right]), axles_by, sides_by)


def tell_sides(
    survey: Survey, sides: NDArray[np.float64], hints: Hints
) -> tuple[bool, SidesBy] | None:
    """Return whether the half that `sides` is positive for is the left one, None untold.

    Parameters
    ----------
    survey : of the drive.
    sides : (t,) at the survey's moments, as for ``first_is_left_by_turns``.
    hints : what was said of the drive.

    Raises
    ------
    RequestError : a declared turn or a named field does not fit, or they contradict each other.
    """
    time_s = survey.moments.time_s
    by_turns = first_is_left_by_turns(time_s, sides, hints.turns)
    if by_turns is not None:
        return by_turns, "declared turn"
    if hints.steering is not None:
        by_field, _ = first_is_left_by_field(time_s, sides, hints.steering, survey.streams)
        return by_field, "named field"
    return None
