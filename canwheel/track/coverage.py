"""What a drive exercised: distance by speed band and turn, stops, for the car and each corner."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canwheel.corners import Corner

SPEED_BANDS_KPH = ((0.0, 15.0), (15.0, 30.0), (30.0, 50.0), (50.0, 80.0), (80.0, float("inf")))
"""Bands in which driving is counted; 15 km/h is the speed by which UN Regulation 13-H wants a
sensor fault told, the others are usual road speeds (common practice, no source). [km/h]"""

TURNS = ("straight", "left", "right")
"""Order of the turn axis of `CornerCoverage.km`."""


@dataclass(frozen=True, slots=True, eq=False)
class CornerCoverage:
    """What the drive asked of one corner while its signal was read at all.

    Attributes
    ----------
    corner : which.
    km : (5, 3) distance driven by speed band and turn. [km]
    read_km : distance with this corner read and the car above 15 km/h. [km]
    """

    corner: Corner
    km: NDArray[np.float64]
    read_km: float


@dataclass(frozen=True, slots=True, eq=False)
class Coverage:
    """What the drive was.

    Attributes
    ----------
    distance_km, moving_s, top_speed_kph, stops : of the car, by the corners that can be trusted.
    straight_s, left_turn_s, right_turn_s : while moving. [s]
    corners : one a corner, in corner order.
    first_moving_s : when the car first moved, None when it never did. [s]
    """

    distance_km: float
    moving_s: float
    top_speed_kph: float
    stops: int
    straight_s: float
    left_turn_s: float
    right_turn_s: float
    corners: tuple[CornerCoverage, CornerCoverage, CornerCoverage, CornerCoverage]
    first_moving_s: float | None
