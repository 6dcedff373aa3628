"""The turns of a drive, and how far four corners are from those of one car in them.

Two relations tell. FL² + RR² = FR² + RL² breaks when the axles turn opposite ways, or when a rear
wheel runs ahead of the front one on its side; and front² − rear² is positive in every slow turn,
(wheelbase over track)² times (right − left)².
"""

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from canwheel.corners import CORNERS, Corner
from canwheel.track.motion import (
    TRACK_M,
    Motion,
    axle_turn_shares,
    samples_in,
    smooth,
    squared_box,
)
from canwheel.track.slope import Slope, fit_slope
from canwheel.track.straight import STEP_ERRORS, StraightRatios, steps_driven, straight_ratios
from canwheel.track.units import KPH_PER_MPS
from canwheel.track.wheel_track import FloatColumn, WheelTrack

CALM_S = 0.5
"""Turns are told from means over this long. [s]"""

TURN_SHARE = 0.03
"""What turns is told by a left/right, or crosswise, difference of more than this over speed."""

FEWEST_TURN_S = 3.0
"""So much turning it takes to judge. [s]"""

SHARP_SHARE = 0.10
"""Front and rear of one side differ measurably only in turns sharper than this (by 1.5 % here, by
5 % in the tightest), below `SLOW_KPH`; faster, slip angles take the difference away."""

SLOW_KPH = 30.0
"""See `SHARP_SHARE`. [km/h]"""

EASY_MPS2 = 3.0
"""Harder cornering lets the tail drift, and a rear wheel that drifts runs ahead of the front one.
Up to here it drifts by two or three degrees (from memory), and it takes five where turns are sharp
(rigid body, 16 m radius). [m/s²]"""

MOST_UNREAD_SHARE = 0.5
"""A corner that was not read for more than this share of the way cannot be placed."""

PACE_KPH = 4.0
"""Slower, sensors of some cars are silent. [km/h]"""

FITS_SHARE = 0.03
"""Four corners are one car's when they miss by no more than this, or by what the signal's steps
may add."""

HARD_MPS2 = 1.0
"""Harder, an axle slips by as much as a turn shows: crosswise that looks like a turn. [m/s²]"""

AHEAD_SHARES = (0.5, 2.5)
"""A car's front wheels run ahead of its rear ones by so many times what those of a usual car do:
1.3 on a real drive, 0.7 to 2.2 over simulated cars of usual measures."""

SURE_ERRORS = 4.0
"""Which axle runs ahead is sure from so many standard deviations on."""

EVEN_SHARE = 0.3
"""Where front and rear of one side are exchanged, what the front gains there it loses on the other
side: their sum is no more than so much of their difference. (0.1 at most, simulated cars.)"""

AGREE_SHARE = 0.8
"""A steering or yaw-rate signal must have the sign of the turn for this share of it."""

Swap = tuple[Corner, Corner]

SIDES: tuple[Swap, Swap] = ((Corner.FL, Corner.RL), (Corner.FR, Corner.RR))
"""Front and rear of the left and of the right side."""


@dataclass(frozen=True, eq=False)
class Turns:
    """A drive by its turns.

    Attributes
    ----------
    track : the drive.
    calm : (n, 4) means over `CALM_S`, with the scale of each corner on the straight taken out where
        there was one. [km/h]
    has_straight : whether there was.
    turning : (n,) which samples are clear turns.
    slow : (n,) which are slow enough to tell front from rear, straight on or turning.
    sharp : (n,) which are so sharp a turn, besides.
    coarse : what the signal's steps alone may add to a misfit.
    """

    track: WheelTrack
    calm: FloatColumn
    has_straight: bool
    turning: NDArray[np.bool_]
    slow: NDArray[np.bool_]
    sharp: NDArray[np.bool_]
    coarse: float

    @property
    def turn_s(self) -> float:
        """How long the car turned clearly. [s]"""
        return _seconds(self.track, self.turning)

    @property
    def sharp_s(self) -> float:
        """How long it turned sharply and slowly. [s]"""
        return _seconds(self.track, self.sharp)

    def put_back(self, *swaps: Swap) -> FloatColumn:
        """(k, 4) the clear turns with pairs of corners exchanged. [km/h]"""
        order = list(range(len(CORNERS)))
        for one, other in swaps:
            order[one.position], order[other.position] = other.position, one.position
        return self.calm[self.turning][:, order]

    def misfit(self, *swaps: Swap) -> float:
        """How far the four are from one car's, over speed, with pairs of corners exchanged."""
        return misfit(self.put_back(*swaps), squared_box(self.track))

    def fits(self, *swaps: Swap) -> bool:
        """Whether they are one car's then."""
        return self.misfit(*swaps) <= max(FITS_SHARE, self.coarse)

    def is_one_body(self) -> bool:
        """Whether the axles turn as one, whichever is the front, and whichever side the left."""
        return float(np.median(np.abs(_flag(self.put_back())))) <= max(FITS_SHARE, self.coarse)

    def turn_with(self, direction: FloatColumn) -> tuple[float, float]:
        """Share of the clear turns in which each axle turns the way the steering or yaw rate says.

        Parameters
        ----------
        direction : (n,) positive in a left turn.
        """
        with_it = np.sign(axle_turn_shares(self.calm)) == np.sign(direction)[:, None]
        front, rear = np.mean(with_it[self.turning], axis=0)
        return float(front), float(rear)

    @cached_property
    def front_ahead(self) -> tuple[Slope | None, Slope | None]:
        """How front² − rear² of each side grows with what rolling wheels of a usual car show: by
        about 1 where the front is the front, by about -1 where it is the rear. None where sharp
        turns are few.

        Tyres of another size on one axle shift it, and do not make it grow.
        """  # noqa: D205 - one sentence, one fact
        rows = np.flatnonzero(self.slow)
        calm, easy = self.calm[rows], self.slow.copy()
        pace_mps = np.mean(calm, axis=1) / KPH_PER_MPS
        easy[rows] = pace_mps**2 * _turn_size(calm) / TRACK_M < EASY_MPS2
        if _seconds(self.track, easy & self.sharp) < FEWEST_TURN_S:
            return None, None
        ahead, rolling = np.full((2, len(self.calm)), np.nan), np.full(len(self.calm), np.nan)
        ahead[:, rows], rolling[rows] = _ahead(calm, squared_box(self.track))
        left, right = (
            fit_slope(self.track, easy, FEWEST_TURN_S, side, rolling, rolling) for side in ahead
        )
        return left, right

    @property
    def front_is_front(self) -> tuple[bool | None, bool | None]:
        """Whether on each side the front runs ahead of the rear as a car's does; False where the
        rear does so, None where neither is sure.
        """  # noqa: D205 - one sentence, one fact
        left, right = (_is_ahead(slope) for slope in self.front_ahead)
        return left, right

    def exchanged_side(self) -> Swap | None:
        """The side on which the front runs behind the rear, by as much as ahead on the other."""
        left, right = self.front_ahead
        as_it_should = self.front_is_front
        if left is None or right is None or set(as_it_should) != {True, False}:
            return None
        even = abs(left.value + right.value) < EVEN_SHARE * abs(left.value - right.value)
        return SIDES[as_it_should.index(False)] if even else None


def _is_ahead(slope: Slope | None) -> bool | None:
    if slope is None or abs(slope.value) < SURE_ERRORS * slope.error:
        return None
    least, most = AHEAD_SHARES
    return slope.value > 0 if least < abs(slope.value) < most else None


def find_turns(track: WheelTrack, motion: Motion) -> Turns | None:
    """Find the turns of a drive; None where a corner was read too little to be placed by them."""
    unread = np.isnan(track.speed_kph[motion.moving])
    if motion.moving.any() and (np.mean(unread, axis=0) > MOST_UNREAD_SHARE).any():
        return None
    ratios = motion.once(straight_ratios)
    calm = smooth(_scaled(track, ratios), samples_in(track, CALM_S))
    moving = motion.moving & (np.min(calm, axis=1) > PACE_KPH)
    moving &= np.abs(motion.accel_mps2) < HARD_MPS2
    turning = moving & (_turn_size(calm) > TURN_SHARE)
    slow = moving & (motion.speed_kph < SLOW_KPH)
    coarse = _coarseness(track, motion, turning) if turning.any() else 0.0
    return Turns(
        track=track,
        calm=calm,
        has_straight=ratios is not None,
        turning=turning,
        slow=slow,
        sharp=slow & (_turn_size(calm) > SHARP_SHARE),
        coarse=coarse + (STEP_ERRORS * ratios.by_steps if ratios else 0),
    )


def misfit(speed_kph: FloatColumn, box: float) -> float:
    """How far four corners are from one car's in turns: median over the samples, over speed.

    Parameters
    ----------
    speed_kph : (k, 4). box : (wheelbase over track)².
    """
    # Slip angles leave between none and all of what rolling wheels would show.
    sides, rolling = _ahead(speed_kph, box)
    ahead = np.mean(sides, axis=0)
    beyond = ahead - np.clip(ahead, 0.0, rolling)
    return float(np.median(np.hypot(_flag(speed_kph), beyond)))


def _flag(speed_kph: FloatColumn) -> FloatColumn:
    """(n,) what is left of FL² + RR² = FR² + RL², over twice the pace squared."""
    fl, fr, rl, rr = speed_kph.T
    left: FloatColumn = (fl**2 + rr**2 - fr**2 - rl**2) / (np.sum(speed_kph**2, axis=1) / 2)
    return left


def _ahead(speed_kph: FloatColumn, box: float) -> tuple[FloatColumn, FloatColumn]:
    """(2, n) front² − rear² of each side, over twice the pace squared; and (n,) the same as wheels
    of a usual car show that roll.
    """  # noqa: D205 - one sentence, one fact
    fl, fr, rl, rr = speed_kph.T
    twice_pace_squared = np.sum(speed_kph**2, axis=1) / 2
    difference = ((fr - fl) + (rr - rl)) / 2
    with np.errstate(invalid="ignore", divide="ignore"):
        ahead: FloatColumn = np.stack((fl**2 - rl**2, fr**2 - rr**2)) / twice_pace_squared
        rolling: FloatColumn = box * difference**2 / twice_pace_squared
    return ahead, rolling


def _coarseness(track: WheelTrack, motion: Motion, turning: NDArray[np.bool_]) -> float:
    """What the signal's steps alone may add to a misfit, over speed.

    Four values rounded to a step each leave 0.58 of one, one standard deviation: over many steps
    that much, at one steady speed up to three times as much.
    """
    share, steps = steps_driven(track, motion.speed_kph[turning])
    return 0.58 * share * (1 + (STEP_ERRORS - 1) / math.sqrt(steps))


def _scaled(track: WheelTrack, ratios: StraightRatios | None) -> FloatColumn:
    """The four speeds with their straight-line scale factors taken out."""
    if ratios is None:
        return track.speed_kph
    scaled: FloatColumn = track.speed_kph / np.exp(np.nan_to_num(ratios.log_ratio))
    return scaled


def _turn_size(calm: FloatColumn) -> FloatColumn:
    """(n,) the larger left/right difference over speed of the two axles, without its sign."""
    with np.errstate(invalid="ignore"):
        return np.asarray(np.max(np.abs(axle_turn_shares(calm)), axis=1))


def _seconds(track: WheelTrack, rows: NDArray[np.bool_]) -> float:
    return float(rows.sum()) / max(1, samples_in(track, 1.0))
