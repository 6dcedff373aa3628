"""The rear wheels repeat the road a wheelbase after the front ones: where a value was measured.

Of two corners with one value, one in front and one behind, the original shakes with the wheel on
its own axle, at the same moment, and with the wheel of the other axle a wheelbase earlier or later,
most of all with that on its own side. How well the value agrees with the two others so, as
correlations of what the road adds to their speeds, is asked for either place.
"""

import math

import numpy as np
from numpy.typing import NDArray

from canwheel.corners import CORNERS, Corner
from canwheel.track.motion import LONGEST_STEP_S, MOVING_KPH, Motion, smooth
from canwheel.track.placing import Placing
from canwheel.track.units import KPH_PER_MPS
from canwheel.track.wheel_track import FloatColumn, WheelTrack

STEP_M = 0.25
"""Readings are laid out by the way driven, so far apart. [m]"""

WHEELBASES_M = np.arange(2.25, 3.8, STEP_M)
"""Of cars and vans (common practice, no source); the one that agrees best is taken. [m]"""

ROAD_M = 5.0
"""What changes more slowly than this is the car's own speed, not the road. [m]"""

LEVEL_M = 40.0
"""Over so long the roughness is made even, lest a few bumps outvote the rest. [m]"""

MOST = 4.0
"""A bump counts for no more than so many times the usual roughness."""

PACE_KPH = 12.0
"""Slower, single teeth shake the reading more than the road does. [km/h]"""

FARTHEST_APART_M, COARSEST_SHARE = 1.6, 0.005
"""Readings farther apart on the road, or in steps of more of the speed, do not show what a wheel
does on it, but the steps themselves, which all four take at about the same time."""

BLOCK_M = 100.0
"""The spread between stretches so long tells the error. [m]"""

FEWEST_BLOCKS = 8
"""Fewer have none to speak of."""

ACROSS = 0.5
"""The other side's wheel meets bumps of its own: what it says counts half."""

OFF_BY = 0.03
"""A difference of correlations of this size may be the unit's own timing, one standard deviation;
what the road makes of it has no size known beforehand (0.1 to 0.6, simulated roads)."""


def placed_by_road(track: WheelTrack, motion: Motion, one: Corner, other: Corner) -> Placing | None:
    """Ask the road; None where it says nothing, and of two corners on one axle, which it meets at
    the same time.
    """  # noqa: D205 - one sentence, one fact
    if one.mirror is other:
        return None
    speed_kph, pace_kph = _by_distance(track, motion)
    if len(pace_kph) < BLOCK_M / STEP_M * FEWEST_BLOCKS:
        return None
    shown = _is_shown(track, _inner(pace_kph, 0))
    shaking = {corner: _shaking(speed_kph[:, corner.position]) for corner in CORNERS}
    agreement = []
    for place, left_out in ((one, other), (other, one)):
        by_wheelbase = _block_means(_agreement(shaking, place, left_out), shown)
        if by_wheelbase.shape[1] < FEWEST_BLOCKS:
            return None
        agreement.append(by_wheelbase[int(np.argmax(by_wheelbase.mean(axis=1)))])
    lean = agreement[0] - agreement[1]
    error = float(np.std(lean)) / math.sqrt(len(lean))
    mean = float(np.mean(lean))
    return Placing(mean, error, OFF_BY, size=abs(mean))


def _is_shown(track: WheelTrack, pace_kph: FloatColumn) -> NDArray[np.bool_]:
    """(n,) where the readings come often and fine enough to show the road."""
    period_s = max(wheel.period_s for wheel in track.wheels)
    step_kph = max(wheel.resolution_kph for wheel in track.wheels)
    often = pace_kph / KPH_PER_MPS * period_s < FARTHEST_APART_M
    return np.asarray((pace_kph > PACE_KPH) & often & (step_kph < COARSEST_SHARE * pace_kph))


def _by_distance(track: WheelTrack, motion: Motion) -> tuple[FloatColumn, FloatColumn]:
    """The four speeds, and the car's, every `STEP_M` of the way. (n, 4), (n,) [km/h]"""
    pace_kph = np.nan_to_num(motion.speed_kph)
    step_s = np.minimum(np.diff(track.time_s, prepend=track.time_s[:1]), LONGEST_STEP_S)
    at_m = np.cumsum(pace_kph / KPH_PER_MPS * step_s)
    moves = np.diff(at_m, prepend=-1.0) > 0
    grid_m = np.arange(0.0, at_m[-1] if len(at_m) else 0.0, STEP_M)
    if not moves.any():
        return np.empty((0, len(CORNERS))), np.empty(0)
    columns = [
        np.interp(grid_m, at_m[moves], column[moves])
        for column in (*np.nan_to_num(track.speed_kph).T, pace_kph)
    ]
    return np.column_stack(columns[:-1]), columns[-1]


def _shaking(speed_kph: FloatColumn) -> FloatColumn:
    """(n,) what the road adds to a wheel's speed, over its usual size."""
    slow = np.maximum(smooth(speed_kph, round(ROAD_M / STEP_M) | 1), MOVING_KPH)
    road = speed_kph / slow - 1
    usual = np.sqrt(smooth(road**2, round(LEVEL_M / STEP_M) | 1))
    shaking: FloatColumn = np.clip(road / np.maximum(usual, np.finfo(float).tiny), -MOST, MOST)
    return shaking


def _inner(column: FloatColumn, later: int) -> FloatColumn:
    """What stands `later` steps on, of all places that have both a wheelbase before and after."""
    most = round(float(WHEELBASES_M[-1]) / STEP_M)
    return column[most + later : len(column) - most + later]


def _agreement(shaking: dict[Corner, FloatColumn], place: Corner, left_out: Corner) -> FloatColumn:
    """(wheelbases, n) the value at `place` times what the two other wheels then should do."""
    value = _inner(shaking[place], 0)
    agreement = np.zeros((len(WHEELBASES_M), len(value)))
    for wheel in CORNERS:
        if wheel in {place, left_out}:
            continue
        weight = 1.0 if wheel is place.same_side else ACROSS
        for row, wheelbase_m in enumerate(WHEELBASES_M):
            later = 0
            if wheel.axle != place.axle:
                later = round(float(wheelbase_m) / STEP_M) * (1 if place.axle == "front" else -1)
            agreement[row] += weight * value * _inner(shaking[wheel], later)
    return agreement


def _block_means(rows: FloatColumn, counts: NDArray[np.bool_]) -> FloatColumn:
    """(rows, blocks) means over blocks of the way, of those that count for half or more."""
    size = round(BLOCK_M / STEP_M)
    blocks = len(counts) // size
    counted = counts[: blocks * size].reshape(blocks, size)
    total = np.where(counted, rows[:, : blocks * size].reshape(len(rows), blocks, size), 0.0).sum(2)
    number = counted.sum(axis=1)
    enough = 2 * number >= size
    return np.asarray(total[:, enough] / number[enough])
