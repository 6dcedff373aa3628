"""What the person who drove knows beside the capture: a turn, a held speed, a satellite track."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canwheel.corners import Side
from canwheel.definitions.layout import BitField


@dataclass(frozen=True, slots=True)
class DeclaredTurn:
    """At that time of the capture the car turned to that side. [s]"""

    side: Side
    time_s: float


@dataclass(frozen=True, slots=True)
class HeldSpeed:
    """At that time of the capture the dash showed that speed. [km/h], [s]"""

    kph: float
    time_s: float


@dataclass(frozen=True, slots=True, eq=False)
class SatelliteTrack:
    """Speeds over ground, by satellite.

    Attributes
    ----------
    file : its name.
    time_s : (n,) since the epoch, rising. [s]
    speed_kph : (n,) [km/h]
    """

    file: str
    time_s: NDArray[np.float64]
    speed_kph: NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class SteeringField:
    """A field that somebody knows to be the steering angle or the yaw rate.

    Attributes
    ----------
    can_id, extended, bits : where it stands.
    grows : to which side it grows.
    """

    can_id: int
    extended: bool
    bits: BitField
    grows: Side


@dataclass(frozen=True, slots=True)
class Hints:
    """All of it; nothing of it is needed."""

    turns: tuple[DeclaredTurn, ...] = ()
    speeds: tuple[HeldSpeed, ...] = ()
    track: SatelliteTrack | None = None
    steering: SteeringField | None = None
