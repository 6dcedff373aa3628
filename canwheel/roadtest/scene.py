"""What goes on around a fault: the drive that it falls into, and when its conditions hold."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from canwheel.roadtest.motion import KPH, BoolColumn, FloatColumn, Motion

Condition = Literal["any", "left_turn", "right_turn", "rough_road", "braking", "slow", "fast"]
"""When an intermittent fault shows: a cable that a turned wheel stretches, a loose contact that
bumps open, and so on."""

Windows = NDArray[np.float64]
"""(k, 2) from and to, in order, not overlapping. [s]"""

_BEND_PER_M = 1 / 60
_ROUGH = 2.5
_BRAKING_MPS2 = -1.2
_SLOW_KPH = 30.0
_FAST_KPH = 45.0
_APART_S = 0.4
"""Drawn windows keep this distance, so that each can be counted. [s]"""


@dataclass(frozen=True, slots=True, eq=False)
class Scene:
    """The drive as a fault meets it.

    Attributes
    ----------
    motion : of the car.
    roughness : (n,) of the place under the car, 1.0 the usual.
    """

    motion: Motion
    roughness: FloatColumn

    def holds(self, condition: Condition) -> BoolColumn:
        """When a condition holds. (n,)"""
        motion = self.motion
        kph = np.abs(motion.speed_mps) * KPH
        table: dict[Condition, BoolColumn] = {
            "any": kph > 0,
            "left_turn": motion.curvature > _BEND_PER_M,
            "right_turn": motion.curvature < -_BEND_PER_M,
            "rough_road": self.roughness > _ROUGH,
            "braking": motion.acceleration_mps2 < _BRAKING_MPS2,
            "slow": kph < _SLOW_KPH,
            "fast": kph > _FAST_KPH,
        }
        return table[condition]

    def draw_windows(
        self,
        condition: Condition,
        rng: np.random.Generator,
        *,
        per_km: float,
        lasting_s: tuple[float, float],
        above_kph: float = 6.0,
        at_least: int = 1,
    ) -> Windows:
        """Draw moments at a constant rate over the distance driven in a condition.

        Parameters
        ----------
        per_km : rate. [1/km]
        lasting_s : shortest and longest; drawn evenly over the logarithm. [s]
        above_kph : only where the car is faster. [km/h]
        at_least : so many are tried even where the rate gives fewer.

        Returns
        -------
        (k, 2), k = 0 where the condition never holds. [s]
        """
        speed = np.abs(self.motion.speed_mps)
        here = self.holds(condition) & (speed * KPH > above_kph)
        weight = np.cumsum(np.where(here, speed, 0.0))
        if weight[-1] <= 0:
            return np.empty((0, 2))
        km = weight[-1] * (self.motion.time_s[1] - self.motion.time_s[0]) / 1000
        count = max(at_least, int(rng.poisson(per_km * km)))
        place = np.searchsorted(weight, np.sort(rng.uniform(0, weight[-1], count)))
        begin = self.motion.time_s[place]
        length = np.exp(rng.uniform(np.log(lasting_s[0]), np.log(lasting_s[1]), count))
        return keep_apart(np.column_stack((begin, begin + length)))


def keep_apart(windows: Windows) -> Windows:
    """Leave out windows that begin too soon after those before them have ended."""
    if not len(windows):
        return windows
    latest_end = np.maximum.accumulate(windows[:, 1])
    clear = np.concatenate(([True], windows[1:, 0] > latest_end[:-1] + _APART_S))
    return windows[clear]


def inside(time_s: FloatColumn, windows: Windows) -> BoolColumn:
    """Which times fall into a window, both ends included."""
    if not len(windows):
        return np.zeros(len(time_s), bool)
    which = np.searchsorted(windows[:, 0], time_s, side="right") - 1
    hit: BoolColumn = (which >= 0) & (time_s <= windows[np.maximum(which, 0), 1])
    return hit
