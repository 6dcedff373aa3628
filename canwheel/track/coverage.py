"""What a drive exercised: distance by speed band and turn, stops, for the car and each corner."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canwheel.corners import Corner
from canwheel.outcome import Span

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
class Driving:
    """The car's way, sample by sample, so that the distance within any stretch can be added up.

    Attributes
    ----------
    time_s : (n,) rising; the track's common time base. [s]
    step_km : (n,) distance since the sample before, 0 for the first one and across a gap. [km]
    band : (n,) position in `SPEED_BANDS_KPH`.
    turn : (n,) position in `TURNS`.
    """

    time_s: NDArray[np.float64]
    step_km: NDArray[np.float64]
    band: NDArray[np.int8]
    turn: NDArray[np.int8]

    def km_where(self, rows: NDArray[np.bool_]) -> NDArray[np.float64]:
        """(5, 3) distance by speed band and turn over the samples that `rows` marks. [km]"""
        cells = len(SPEED_BANDS_KPH) * len(TURNS)
        cell = self.band[rows].astype(np.intp) * len(TURNS) + self.turn[rows]
        km = np.bincount(cell, weights=self.step_km[rows], minlength=cells)
        return km.reshape(len(SPEED_BANDS_KPH), len(TURNS))

    def km_within(self, spans: Sequence[Span]) -> NDArray[np.float64]:
        """(5, 3) distance by speed band and turn within any of the spans. [km]"""
        starts = np.searchsorted(self.time_s, [span.from_s for span in spans], side="left")
        ends = np.searchsorted(self.time_s, [span.to_s for span in spans], side="right")
        depth = np.zeros(len(self.time_s) + 1, np.int64)
        np.add.at(depth, starts, 1)
        np.add.at(depth, ends, -1)
        return self.km_where(np.cumsum(depth[:-1]) > 0)


@dataclass(frozen=True, slots=True, eq=False)
class Coverage:
    """What the drive was.

    Attributes
    ----------
    distance_km, moving_s, top_speed_kph, stops : of the car, by the corners that can be trusted.
    straight_s, left_turn_s, right_turn_s : while moving. [s]
    corners : one a corner, in corner order.
    first_moving_s : when the car first moved, None when it never did. [s]
    driving : what the sums above are made of.
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
    driving: Driving
