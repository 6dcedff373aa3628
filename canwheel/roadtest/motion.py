"""How the car moves: its speed and the curve it drives, on an even time grid."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

FloatColumn = NDArray[np.float64]
FloatTable = NDArray[np.float64]
BoolColumn = NDArray[np.bool_]

STEP_S = 0.004
"""Grid of everything that moves; four times finer than the fastest content of a wheel-speed
message on a real car, about 40 Hz (measured on a real drive). [s]"""

GRAVITY_MPS2 = 9.80665
"""Standard gravity. [m/s²]"""

KPH = 3.6
"""One metre a second. [km/h]"""


@dataclass(frozen=True, eq=False)
class Motion:
    """The way of the rear axle's middle over the road.

    Attributes
    ----------
    speed_mps : (n,) along the road, negative in reverse, one value each `STEP_S`. [m/s]
    curvature : (n,) one over the turning radius, left positive. [1/m]
    """

    speed_mps: FloatColumn
    curvature: FloatColumn

    @cached_property
    def time_s(self) -> FloatColumn:
        """(n,) from the start. [s]"""
        return np.arange(len(self.speed_mps), dtype=np.float64) * STEP_S

    @property
    def duration_s(self) -> float:
        """Length of the drive. [s]"""
        return len(self.speed_mps) * STEP_S

    @cached_property
    def travelled_m(self) -> FloatColumn:
        """(n,) distance driven so far, forwards or backwards. [m]"""
        steps_m = np.abs(self.speed_mps) * STEP_S
        return np.cumsum(steps_m) - steps_m

    @cached_property
    def acceleration_mps2(self) -> FloatColumn:
        """(n,) gain of absolute speed, negative while braking. [m/s²]"""
        speed = np.abs(self.speed_mps)
        gain = np.zeros(len(speed))
        gain[1:-1] = (speed[2:] - speed[:-2]) / (2 * STEP_S)
        return gain

    @cached_property
    def yaw_rate_rps(self) -> FloatColumn:
        """(n,) left positive. [rad/s]"""
        return self.speed_mps * self.curvature

    @cached_property
    def lateral_mps2(self) -> FloatColumn:
        """(n,) towards the left. [m/s²]"""
        return self.speed_mps * self.yaw_rate_rps

    def at(self, column: FloatColumn, time_s: FloatColumn) -> FloatColumn:
        """Read one of the columns above at other times."""
        return np.interp(time_s, self.time_s, column)


def moving_average(values: FloatColumn, samples: int) -> FloatColumn:
    """Average over a centred window; the ends are continued by their own value."""
    if samples <= 1:
        return values
    before = samples // 2
    padded = np.pad(values, (before + 1, samples - before - 1), mode="edge")
    total = np.cumsum(padded)
    average: FloatColumn = (total[samples:] - total[:-samples]) / samples
    return average
