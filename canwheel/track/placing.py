"""At which of two places a value stands that both carry: which of two corners is the original.

Two corners with one value leave three speeds: the shared one and the two others. Each place in turn
is taken to be the original's, and what the three then miss a moving car by is worked out. Between
the two answers the drive decides by regression: the misses' mean follows their difference with a
slope of 1/2 at one place, of -1/2 at the other, whatever constant offsets tyres of unequal size
add. Three things that move a car apart are asked: turns, the slip of the driven axle, and, where
the drive has a signal of it, which way the car turned. `road_echo` asks the road itself.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canwheel.corners import Corner
from canwheel.track.motion import Motion, samples_in, smooth, squared_box, triple_surplus
from canwheel.track.slope import Slope, fit_slope
from canwheel.track.steering import turn_direction
from canwheel.track.straight import STEADY_MPS2
from canwheel.track.wheel_track import FloatColumn, WheelTrack

SURE_LOG_ODDS = 3.0
"""Odds of 20 to 1, as their natural logarithm: with all that was asked together, a corner is then
named. (Of 155 simulated copies on one side 154 are told so, and none wrongly.)"""

LEAST_ERRORS = 1.5
"""A lean that is not so many times its standard deviation says nothing."""

FREEDOM = 4
"""An error that comes from few blocks of driving is itself not well known: its tails are those of
Student's distribution with so many degrees of freedom."""

HALF = 0.5
"""The slope at the place where the value belongs; at the other it is less by one."""

OFF_BY = 0.1
"""A slope misses one half by so much for reasons that no block of driving shows: tracks and tyres
of front and rear."""

CALM_S = 1.0
"""Turns and slip show in means over this long. [s]"""

PACE_KPH = 6.0
"""Slower, some sensors do not read yet. [km/h]"""

TURN_SHARE = 0.03
"""A left/right difference over speed that is a turn, not the slip of an axle (1 to 2 %)..."""

GENTLE_TURN_SHARE = 0.004
"""... and where the difference is that of one axle, which slips alike on both sides."""

FEWEST_TURN_S = 2.0
"""So much turning it takes. [s]"""

STRAIGHT_SHARE = 0.02
"""Slip is read where the shared value is within this share of the mean of the two others..."""

SLIP_SHARE = 0.06
"""... and they differ by no more than this: a tyre that grips slips less."""

FEWEST_SLIP_S = 10.0
"""So much driving it takes to read slip. [s]"""


@dataclass(frozen=True, slots=True)
class Placing:
    """Which of two corners a shared value belongs to, by one way of asking.

    Attributes
    ----------
    lean : positive where it is the first, negative where it is the second; of a regression, its
        slope.
    error : one standard deviation of it.
    off_by : what it may miss besides, one standard deviation.
    size : what it should be, without its sign; of no known size where it is itself.
    weight : how much it counts: half where something else is asked nearly the same.
    """

    lean: float
    error: float
    off_by: float = OFF_BY
    size: float = HALF
    weight: float = 1.0

    @property
    def log_odds(self) -> float:
        """Of the first corner over the second; nought where it says nothing."""
        if not abs(self.lean) > LEAST_ERRORS * self.error:
            return 0.0
        variance = FREEDOM * (self.error**2 + self.off_by**2)
        at_first, at_second = ((self.lean - size) ** 2 for size in (self.size, -self.size))
        odds = (1 + at_second / variance) / (1 + at_first / variance)
        return self.weight * (FREEDOM + 1) / 2 * math.log(odds)


def placed_by_turns(
    track: WheelTrack, motion: Motion, one: Corner, other: Corner
) -> Placing | None:
    """Ask the turns; None without any.

    A car's three corners keep front² − rear² of one side at (wheelbase over track)² times the
    square of the left/right difference. What three corners without `other` miss that by is small
    where the value belongs to `one`, and the reverse.
    """
    turns = _misses_in_turns(track, motion, one, other)
    slope = fit_slope(track, turns.rows, FEWEST_TURN_S, turns.mean, turns.apart, turns.apart)
    return _placing(slope, HALF if one.same_side is other else 1.0)


def placed_by_opposite_turns(
    track: WheelTrack, motion: Motion, one: Corner, other: Corner
) -> Placing | None:
    """Ask left turns against right ones, of two corners on one side; None without both.

    A car that is longer than assumed misses by as much in either. Where most turns go one way that
    passes for an answer of `placed_by_turns`; here it is taken off, and much of what they say with
    it, so that each counts half.
    """
    if one.same_side is not other:
        return None
    turns = _misses_in_turns(track, motion, one, other)
    rows = turns.rows & np.isfinite(turns.mean) & np.isfinite(turns.apart)
    mean, apart = (_freed(column, turns.tight, rows) for column in (turns.mean, turns.apart))
    return _placing(fit_slope(track, rows, FEWEST_TURN_S, mean, apart, apart), HALF)


@dataclass(frozen=True, slots=True, eq=False)
class _Misses:
    """What three corners miss a turning car by, with the value at either place, over speed squared.

    Attributes
    ----------
    mean, apart : (n,) of both places, and the difference between them.
    tight : (n,) the square of the left/right difference.
    rows : (n,) which samples are turns.
    """

    mean: FloatColumn
    apart: FloatColumn
    tight: FloatColumn
    rows: NDArray[np.bool_]


def _misses_in_turns(track: WheelTrack, motion: Motion, one: Corner, other: Corner) -> _Misses:
    calm = _calm(track)
    box = squared_box(track)
    misses, differences = [], []
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        for left_out in (other, one):
            surplus, difference, _ = triple_surplus(calm, left_out)
            misses.append((surplus - box * difference**2) / (2 * motion.speed_kph**2))
            differences.append(difference / motion.speed_kph)
        if one.mirror is other:
            turning = np.minimum(*differences) > GENTLE_TURN_SHARE
        elif one.same_side is other:
            turning = np.minimum(*differences) > TURN_SHARE
        else:  # crosswise: the value counts as front in one and as rear in the other
            misses[1] = -misses[1]
            turning = np.maximum(*differences) > TURN_SHARE
        return _Misses(
            mean=(misses[0] + misses[1]) / 2,
            apart=misses[1] - misses[0],
            tight=(differences[0] ** 2 + differences[1] ** 2) / 2,
            rows=turning
            & (motion.speed_kph > PACE_KPH)
            & (np.abs(motion.accel_mps2) < STEADY_MPS2),
        )


def placed_by_slip(track: WheelTrack, motion: Motion, one: Corner, other: Corner) -> Placing | None:
    """Ask the slip of the driven axle under power and braking; None where it says nothing.

    The two wheels of an axle slip alike, so the value goes with the wheel on its own axle; two
    corners of one axle cannot be asked.
    """
    if one.mirror is other:
        return None
    mean, apart = _between(track, motion, one, (one.mirror, other.mirror))
    with np.errstate(invalid="ignore"):
        rows = (np.abs(mean) < STRAIGHT_SHARE) & (np.abs(apart) < SLIP_SHARE)
    rows &= motion.speed_kph > PACE_KPH
    # Turns move both as well; only what goes with the pull of the engine or brake is slip.
    return _placing(fit_slope(track, rows, FEWEST_SLIP_S, mean, apart, motion.accel_mps2))


def placed_by_steering(
    track: WheelTrack, motion: Motion, one: Corner, other: Corner
) -> Placing | None:
    """Ask which side the value goes with as the car turns; None without a signal of that.

    The wheels of one side run alike, faster or slower than those of the other, by as much as the
    car turns: what slips, and the turn that is too gentle to tell from slip, is told from it by the
    steering or yaw rate. Two corners of one side cannot be asked.
    """
    direction = turn_direction(track)
    if direction is None or one.same_side is other:
        return None
    mean, apart = _between(track, motion, one, (one.same_side, other.same_side))
    rows = (motion.speed_kph > PACE_KPH) & (np.abs(motion.accel_mps2) < STEADY_MPS2)
    return _placing(fit_slope(track, rows, FEWEST_TURN_S, mean, apart, direction))


def _freed(column: FloatColumn, of: FloatColumn, rows: NDArray[np.bool_]) -> FloatColumn:
    """(n,) a column without what in some rows goes with another one."""
    lever = of - np.mean(of[rows]) if rows.any() else of
    weight = float(lever[rows] @ lever[rows])
    return column - lever * (float(lever[rows] @ column[rows]) / weight) if weight else column


def _calm(track: WheelTrack) -> FloatColumn:
    """(n, 4) means over `CALM_S`, NaN where a corner was silent within it: a sensor that has yet to
    pick up turns all the same. [km/h]
    """  # noqa: D205 - one sentence, one fact
    samples = samples_in(track, CALM_S)
    calm = smooth(track.speed_kph, samples)
    calm[smooth((~(track.speed_kph > 0)).astype(np.float64), samples) > 0] = np.nan
    return calm


def _between(
    track: WheelTrack, motion: Motion, shared: Corner, two: tuple[Corner, Corner]
) -> tuple[FloatColumn, FloatColumn]:
    """(n,) how far the shared value is from the middle of two others, and they from one another.

    In calm means, over speed.
    """
    calm = _calm(track)
    value, first, second = (calm[:, corner.position] for corner in (shared, *two))
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = (value - (first + second) / 2) / motion.speed_kph
        return mean, (first - second) / motion.speed_kph


def _placing(slope: Slope | None, weight: float = 1.0) -> Placing | None:
    return None if slope is None else Placing(slope.value, slope.error, weight=weight)
