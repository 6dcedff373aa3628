"""Whether an axle that turns alone rolls on a road: by its turns, and by who steers and pulls.

On the road the wheels of one side run ahead in every bend, one way and the other, as tightly as
the speed allows and no more, and alike in between. On rollers the two keep step, or part as their
loads do, at any speed; lifted from the ground they part as far as the differential lets them.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canwheel.corners import Corner
from canwheel.outcome import Span
from canwheel.track.motion import (
    READ_FROM_KPH,
    TIGHTEST_TURN_SHARE,
    TRACK_M,
    samples_in,
    smooth,
    steps_s,
)
from canwheel.track.steering import turn_direction
from canwheel.track.units import KPH_PER_MPS
from canwheel.track.wheel_track import FloatColumn, WheelTrack, within

CALM_S = 0.5
"""Turns are told from means over this long. [s]"""

TURN_SHARE = 0.03
"""A left/right difference over speed, more than the usual one, from which the axle turns..."""

TURN_STEPS = 2.0
"""... where it is more than so many of the signal's steps as well."""

HARDEST_MPS2 = 6.0
"""Nobody corners harder on a test drive: the grip of a dry road is 8 to 9 (from memory). [m/s²]"""

BEYOND_SHARE = 0.02
"""What corners harder, or is tighter than a car turns, for more of the time than this is no car on
a road; a wheel lifted by a kerb and a pothole pass."""

STEADY_MPS2 = 0.7
"""Harder, rollers of unequal weight part the two wheels as well. [m/s²]"""

TURNED_RAD = math.pi / 2
"""It goes by turns from a quarter of a circle on: one junction. [rad]"""

AGREE_SHARE = 0.8
"""A steering or yaw-rate signal must have the sign of the turn for this share of the turns, and
another one for as much of the rest as is left of it: one that stands says nothing."""

PULLED_MPS2, PULLED_S = 2.0, 1.0
"""What is towed does not gain speed so hard for so long (common practice, no source).
[m/s²], [s]"""

FEWEST_KM = 0.3
"""It takes so much of a drive. [km]"""


@dataclass(frozen=True, slots=True)
class RoadSigns:
    """What shows that an axle rolled on a road.

    Attributes
    ----------
    km : how far it rolled. [km]
    left_deg, right_deg : how far it turned each way. [°]
    is_steered : the steering went with its turns.
    gained_mps2 : how hard it gained speed at most. [m/s²]
    """

    km: float
    left_deg: float
    right_deg: float
    is_steered: bool
    gained_mps2: float

    @property
    def is_driven(self) -> bool:
        """Whether the car drove by itself, and was not towed."""
        return self.is_steered or self.gained_mps2 > PULLED_MPS2


def find_road_signs(
    track: WheelTrack, turning: tuple[Corner, Corner], span: Span
) -> RoadSigns | None:
    """Look for signs that an axle rolled on a road; None without any.

    Parameters
    ----------
    turning : the left and the right wheel of it.
    span : when.
    """
    samples = samples_in(track, CALM_S)
    left, right = (smooth(track.speed_kph[:, corner.position], samples) for corner in turning)
    pace_kph = (left + right) / 2
    rows = within(track.time_s, [span]) & (np.minimum(left, right) > READ_FROM_KPH)
    step_s = np.where(rows, steps_s(track), 0.0)
    km = float(np.sum(step_s * np.where(rows, pace_kph, 0.0))) / 3600
    if km < FEWEST_KM:
        return None
    share = np.zeros(len(rows))
    share[rows] = (right[rows] - left[rows]) / pace_kph[rows]
    share[rows] -= np.median(share[rows])
    pace_mps = np.where(rows, pace_kph, 0.0) / KPH_PER_MPS
    step_kph = max(track.wheel(corner).resolution_kph for corner in turning)
    turned = np.abs(share) > TURN_SHARE
    turned &= rows & (np.abs(share) * pace_kph > TURN_STEPS * step_kph)
    gain_mps2 = _gain_mps2(track, pace_kph, rows)
    turned &= np.abs(gain_mps2) < STEADY_MPS2
    beyond = pace_mps**2 * np.abs(share) / TRACK_M > HARDEST_MPS2
    beyond |= np.abs(share) > TIGHTEST_TURN_SHARE
    if np.sum(step_s[rows & beyond]) > BEYOND_SHARE * np.sum(step_s):
        return None
    angle = np.where(turned, share, 0.0) * pace_mps / TRACK_M * step_s
    left_rad, right_rad = (float(np.sum(np.maximum(way * angle, 0.0))) for way in (1, -1))
    follows = _goes_with(turn_direction(track), share, rows, turned)
    if left_rad + right_rad < TURNED_RAD or not (follows or min(left_rad, right_rad) > TURNED_RAD):
        return None
    return RoadSigns(
        km=km,
        left_deg=math.degrees(left_rad),
        right_deg=math.degrees(right_rad),
        is_steered=_goes_with(turn_direction(track, ("steering",)), share, rows, turned),
        gained_mps2=float(np.nan_to_num(gain_mps2).max()),
    )


def _goes_with(
    direction: FloatColumn | None,
    share: FloatColumn,
    rows: NDArray[np.bool_],
    turned: NDArray[np.bool_],
) -> bool:
    """Whether the car's direction, by another signal, has the sign of the turns, and not all along.

    Parameters
    ----------
    direction, share : (n,) positive in a left turn.
    rows, turned : (n,) when the axle rolled, and when it turned.
    """
    if direction is None or not turned.any():
        return False
    way = np.sign(share[turned])
    agrees = np.mean(np.sign(direction[turned]) == way)
    otherwise = np.mean(np.sign(direction[rows & ~turned]) != np.sign(np.sum(way)))
    return bool(agrees > AGREE_SHARE and (otherwise > 1 - AGREE_SHARE))


def _gain_mps2(track: WheelTrack, pace_kph: FloatColumn, rows: NDArray[np.bool_]) -> FloatColumn:
    """(n,) how hard the axle gains speed, over `PULLED_S` around; NaN where it did not roll so
    long. [m/s²]
    """  # noqa: D205 - one sentence, one fact
    gain = np.full(len(rows), np.nan)
    half = samples_in(track, PULLED_S / 2)
    if len(rows) > 2 * half:
        rolls = np.where(rows, pace_kph, np.nan)
        lasts_s = np.maximum(track.time_s[2 * half :] - track.time_s[: -2 * half], PULLED_S)
        gain[half:-half] = (rolls[2 * half :] - rolls[: -2 * half]) / lasts_s / KPH_PER_MPS
    return gain
