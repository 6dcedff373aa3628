"""A rigid car: from its speed and yaw rate to the speed of each of its four wheels.

Rolling speeds follow from rigid-body motion (Kiencke & Nielsen, Automotive Control Systems;
Gillespie, Fundamentals of Vehicle Dynamics, both from memory); slip and load effects are
first-order models of usual size (common practice, no source).
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from canwheel.roadtest.motion import GRAVITY_MPS2, FloatColumn, FloatTable, Motion

Driven = Literal["front", "rear", "all"]

_DRAG_MPS2 = 0.12
"""Rolling resistance of a car, about 1.2 % of its weight. [m/s²]"""
_AIR_DRAG_PER_M = 3.5e-4
"""Half air density times drag area over mass, for a usual car. [1/m]"""
_ENGINE_BRAKE_MPS2 = 0.6
"""Slowing up to which only the driven wheels hold back; beyond it all four brake. [m/s²]"""
_OUTER_GAIN_PER_G = 0.004
"""How much faster an outer wheel turns for the load it takes on, per g of cornering."""
_FRONT_GAIN_PER_G = 0.003
"""How much faster a front wheel turns for the load it takes on, per g of braking."""


@dataclass(frozen=True, slots=True)
class Car:
    """What the wheels' speeds depend on.

    Attributes
    ----------
    circumference_m : rolling circumference that the brake unit was told. [m]
    tyre_ratio : what each tyre's true circumference is of that, in corner order.
    rear_slip_rad_per_g : slip angle of the rear tyres per g of cornering. [rad]
    slip_stiffness : longitudinal force over wheel load per unit of slip.
    """

    wheelbase_m: float = 2.65
    front_track_m: float = 1.55
    rear_track_m: float = 1.53
    circumference_m: float = 1.935
    tyre_ratio: tuple[float, float, float, float] = (1.0, 1.0, 1.0, 1.0)
    driven: Driven = "front"
    rear_slip_rad_per_g: float = 0.07
    slip_stiffness: float = 22.0


def rolling_speeds(
    car: Car,
    speed_mps: FloatColumn,
    yaw_rate_rps: FloatColumn,
    *,
    rear_slip_rad: FloatColumn | float = 0.0,
) -> FloatTable:
    """Speed of each wheel's hub along the way it rolls, without longitudinal slip.

    The rear wheels point straight ahead, a front wheel points where its hub goes.

    Parameters
    ----------
    speed_mps : (n,) of the rear axle's middle, negative in reverse. [m/s]
    yaw_rate_rps : (n,) left positive. [rad/s]
    rear_slip_rad : (n,) slip angle of the rear axle, positive when the rear drifts right. [rad]

    Returns
    -------
    (n, 4), in corner order, with the sign of `speed_mps`. [m/s]
    """
    sideways = yaw_rate_rps * car.wheelbase_m - speed_mps * np.tan(rear_slip_rad)
    front = yaw_rate_rps * (car.front_track_m / 2)
    rear = yaw_rate_rps * (car.rear_track_m / 2)
    direction = np.where(speed_mps < 0, -1.0, 1.0)
    return np.column_stack(
        (
            direction * np.hypot(speed_mps - front, sideways),
            direction * np.hypot(speed_mps + front, sideways),
            speed_mps - rear,
            speed_mps + rear,
        )
    )


def tyre_slip(car: Car, motion: Motion) -> FloatTable:
    """How much faster each wheel turns than it rolls, for driving, braking and load.

    Returns
    -------
    (n, 4) fraction of the rolling speed.
    """
    speed = np.abs(motion.speed_mps)
    moving = np.minimum(speed, 1.0)  # a standing wheel has no slip
    force = motion.acceleration_mps2 + _DRAG_MPS2 + _AIR_DRAG_PER_M * speed**2
    braking = np.minimum(motion.acceleration_mps2 + _ENGINE_BRAKE_MPS2, 0.0)
    driving = force - braking
    share = {"front": (1.8, 0.0), "rear": (0.0, 2.2), "all": (1.0, 1.0)}[car.driven]
    per_g = moving / (GRAVITY_MPS2 * car.slip_stiffness)
    front = (driving * share[0] + braking * 1.2) * per_g  # brakes are balanced to the front
    rear = (driving * share[1] + braking * 0.7) * per_g
    slip = np.column_stack((front, front, rear, rear))
    outer = motion.lateral_mps2 / GRAVITY_MPS2 * _OUTER_GAIN_PER_G
    dive = -motion.acceleration_mps2 / GRAVITY_MPS2 * _FRONT_GAIN_PER_G
    load = np.column_stack((dive - outer, dive + outer, -dive - outer, -dive + outer))
    return slip + load


def wheel_speeds(car: Car, motion: Motion) -> FloatTable:
    """Speed of each tyre's surface on a smooth road. (n, 4) [m/s]"""
    drift = car.rear_slip_rad_per_g * motion.lateral_mps2 / GRAVITY_MPS2
    rolling = rolling_speeds(car, motion.speed_mps, motion.yaw_rate_rps, rear_slip_rad=drift)
    return rolling * (1.0 + tyre_slip(car, motion))
