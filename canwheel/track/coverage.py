"""What a drive exercised: distance by speed band and turn, stops, for the car and each corner."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canwheel.corners import CORNERS, Corner
from canwheel.outcome import Span
from canwheel.track.motion import TOLD_BY_KPH, TURNING_SHARE, Motion, steps_s
from canwheel.track.wheel_track import WheelTrack, within

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
    drives_km : of several drives put together, the distance of each; empty for one drive. [km]
    """

    corner: Corner
    km: NDArray[np.float64]
    read_km: float
    drives_km: tuple[float, ...] = ()

    @property
    def longest_km(self) -> float:
        """Distance of the longest drive in it. [km]"""
        return max(self.drives_km, default=float(self.km.sum()))


@dataclass(frozen=True, slots=True, eq=False)
class Driving:
    """The car's way, sample by sample, so that the distance within any stretch can be added up.

    Attributes
    ----------
    time_s : (n,) rising; the track's common time base. [s]
    step_km : (n,) distance since the sample before, 0 for the first one and across a gap. [km]
    band : (n,) position in `SPEED_BANDS_KPH`.
    turn : (n,) position in `TURNS`.
    starts_s : when a drive begins; more than one where several are put together. [s]
    """

    time_s: NDArray[np.float64]
    step_km: NDArray[np.float64]
    band: NDArray[np.int8]
    turn: NDArray[np.int8]
    starts_s: tuple[float, ...] = (0.0,)

    def km_on_the_way_to(self, moment_s: float) -> float:
        """Distance from the begin of the drive that this moment lies in. [km]"""
        start_s = max((start for start in self.starts_s if start <= moment_s), default=0.0)
        on_the_way = (self.time_s >= start_s) & (self.time_s < moment_s)
        return float(self.step_km[on_the_way].sum())

    def km_where(self, rows: NDArray[np.bool_]) -> NDArray[np.float64]:
        """(5, 3) distance by speed band and turn over the samples that `rows` marks. [km]"""
        cells = len(SPEED_BANDS_KPH) * len(TURNS)
        cell = self.band[rows].astype(np.intp) * len(TURNS) + self.turn[rows]
        km = np.bincount(cell, weights=self.step_km[rows], minlength=cells).astype(np.float64)
        return km.reshape(len(SPEED_BANDS_KPH), len(TURNS))

    def km_within(self, spans: Sequence[Span]) -> NDArray[np.float64]:
        """(5, 3) distance by speed band and turn within any of the spans. [km]"""
        return self.km_where(within(self.time_s, spans))


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


SHORTEST_STOP_S = 0.5
"""A stop shorter than this is a dip in a noisy signal. [s]"""


def measure_coverage(track: WheelTrack, motion: Motion) -> Coverage:
    """Add up what the drive exercised.

    Parameters
    ----------
    track : what has been explained as a fault or an event taken out, so that a corner's distance
        counts only while it was read.
    motion : of the same drive, by the corners that can be trusted.
    """
    step_s = steps_s(track)
    speed = np.nan_to_num(motion.speed_kph)
    driving = trace_driving(track, motion)
    moving_turn_s = np.bincount(
        driving.turn[motion.moving], weights=step_s[motion.moving], minlength=len(TURNS)
    )
    fl, fr, rl, rr = (_corner_coverage(track, driving, speed, corner) for corner in CORNERS)
    moving_at = np.flatnonzero(motion.moving)
    return Coverage(
        distance_km=motion.distance_km,
        moving_s=float(step_s[motion.moving].sum()),
        top_speed_kph=motion.top_kph,
        stops=_count_stops(track, motion),
        straight_s=float(moving_turn_s[0]),
        left_turn_s=float(moving_turn_s[1]),
        right_turn_s=float(moving_turn_s[2]),
        corners=(fl, fr, rl, rr),
        first_moving_s=float(track.time_s[moving_at[0]]) if len(moving_at) else None,
        driving=driving,
    )


def trace_driving(track: WheelTrack, motion: Motion) -> Driving:
    """Trace the car's way: distance, speed band and turn, sample by sample."""
    speed = np.nan_to_num(motion.speed_kph)
    step_km = np.where(motion.moving, speed * steps_s(track) / 3600, 0.0)
    band = np.searchsorted([low for low, _ in SPEED_BANDS_KPH[1:]], speed, side="right")
    turning = np.nan_to_num(motion.turn)
    turn = np.select([turning > TURNING_SHARE, turning < -TURNING_SHARE], [1, 2], default=0)
    return Driving(track.time_s, step_km, band.astype(np.int8), turn.astype(np.int8))


def _corner_coverage(
    track: WheelTrack, driving: Driving, speed_kph: NDArray[np.float64], corner: Corner
) -> CornerCoverage:
    read = ~np.isnan(track.speed_kph[:, corner.position])
    above = read & (speed_kph > TOLD_BY_KPH)
    return CornerCoverage(
        corner=corner,
        km=driving.km_where(read),
        read_km=float(driving.step_km[above].sum()),
    )


def _count_stops(track: WheelTrack, motion: Motion) -> int:
    """How often the car came to a stand after having moved."""
    edges = np.diff(motion.moving.astype(np.int8))
    ends, starts = np.flatnonzero(edges < 0) + 1, np.flatnonzero(edges > 0) + 1
    moving_again = np.searchsorted(starts, ends)
    again_s = np.append(track.time_s[starts], np.inf)[moving_again]
    return int(np.sum(again_s - track.time_s[ends] >= SHORTEST_STOP_S))
