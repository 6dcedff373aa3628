"""How the four corners stand to one another when the car goes straight: their scale factors."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canwheel.corners import CORNERS, Corner
from canwheel.track.motion import (
    GRIP_MPS2,
    TRACK_M,
    Motion,
    axle_turn_shares,
    samples_in,
    smooth,
    squared_box,
    triple_surplus,
)
from canwheel.track.units import KPH_PER_MPS
from canwheel.track.wheel_track import FloatColumn, WheelTrack

FROM_KPH = 20.0
"""Below this cars manoeuvre, and one tooth more or less is a per cent. [km/h]"""

STEADY_MPS2 = 0.7
"""Harder and the driven wheels slip by more than tyres differ. [m/s²]"""

CALM_S = 0.5
"""Ratios are those of means over this long: bumps are out, turns are not. [s]"""

STRAIGHT_SHARE = 0.008
"""Half the width of what counts as one and the same heading, around the most frequent one: the
spread of the axles' left/right differences on a real straight road."""

SOUND_SHARE = 0.012
"""Sound wheels of one axle differ by up to this on a straight road; of a car with one wrong corner,
one axle is sound."""

ALIKE_SHARE = 0.3
"""In a bend the axles' differences agree to within so much of them (tracks, slip angles)."""

ROUND_FITS = (0.5, 2.5)
"""Three corners go round when the front one's surplus is so much of what a usual car's would be."""

MOST_TURNS = 2.0
"""Nobody goes round more often at one and the same heading, above `FROM_KPH`."""

FAST_SHARE = 0.9
"""A bend is judged at the speed below which this share of it was driven."""

CORE_SHARE = 0.25
"""The most frequent heading is the narrowest interval that holds this share of the driving."""

STEP_ERRORS = 3.0
"""What the signal's own steps add to a ratio is no more than so many of its standard deviations."""

FEWEST_S = 8.0
"""A scale factor from less straight driving than this is none. [s]"""


@dataclass(frozen=True, slots=True, eq=False)
class StraightRatios:
    """The corners over one another in the heading that the car kept most.

    Attributes
    ----------
    log_ratio : (4,) natural logarithm of each corner over the mean of those read; NaN: not read.
    sd : (4,) its standard error.
    by_steps : what the coarsest signal's steps may have added to it, one standard deviation: no
        less than they do at one steady speed is averaged out.
    straight_s : how much such driving there was. [s]
    rows : (n,) which samples of the common base it is.
    """

    log_ratio: FloatColumn
    sd: FloatColumn
    by_steps: float
    straight_s: float
    rows: NDArray[np.bool_]


def straight_ratios(track: WheelTrack, motion: Motion) -> StraightRatios | None:
    """Measure the corners against one another; None where the drive has no straight to speak of.

    The most frequent heading of a drive is straight on. Which axle's difference tells it does not
    matter: in that heading both are constant, whatever the scale of a corner.
    """
    samples = samples_in(track, CALM_S)
    calm = smooth(track.speed_kph, samples)
    with np.errstate(invalid="ignore"):
        usable = (motion.speed_kph > FROM_KPH) & (np.abs(motion.accel_mps2) < STEADY_MPS2)
        calm[calm <= 0] = np.nan
    read = np.mean(np.isnan(calm[usable]), axis=0) < 0.5 if usable.any() else np.zeros(4, bool)  # noqa: PLR2004
    if read.sum() < 3:  # noqa: PLR2004 - two corners cannot say which is wrong
        return None
    usable &= ~np.isnan(calm[:, read]).any(axis=1)
    heading = axle_turn_shares(calm)
    rows, bends = usable.copy(), []
    for axle, both in ((0, read[:2].all()), (1, read[2:].all())):
        if both and rows.any():
            middle = _most_frequent(heading[rows, axle])
            rows &= np.abs(heading[:, axle] - middle) < STRAIGHT_SHARE
            bends.append(middle)
    if len(bends) > 1 and rows.any() and _is_a_bend(bends[0], bends[1], motion.speed_kph[rows]):
        return None  # the car went round in circles more than straight on
    period_s = 1.0 / max(1.0, samples_in(track, 1.0))
    straight_s = float(rows.sum()) * period_s
    if straight_s < FEWEST_S:
        return None
    if len(bends) == 1:
        left_out = next(corner for corner in CORNERS if not read[corner.position])
        if _three_go_round(calm[rows], left_out, squared_box(track), straight_s):
            return None
    logs = np.full((int(rows.sum()), 4), np.nan)
    logs[:, read] = np.log(calm[rows][:, read])
    logs -= np.nanmean(logs, axis=1, keepdims=True)
    # Neighbouring samples of a mean are one; so many are independent.
    independent = max(1.0, straight_s / CALM_S)
    log_ratio, sd = np.full(4, np.nan), np.full(4, np.nan)
    log_ratio[read] = np.median(logs[:, read], axis=0)
    sd[read] = 1.2533 * np.std(logs[:, read], axis=0) / np.sqrt(independent)
    by_steps = _error_by_steps(track, motion.speed_kph[rows])
    return StraightRatios(log_ratio, sd, by_steps, straight_s, rows)


def _error_by_steps(track: WheelTrack, speed_kph: FloatColumn) -> float:
    """Standard deviation of a ratio of two rounded speeds, over as many steps as were driven."""
    share, steps = steps_driven(track, speed_kph)
    return share * math.sqrt(2 / 12 / steps)


def steps_driven(track: WheelTrack, speed_kph: FloatColumn) -> tuple[float, float]:
    """One step of the coarsest signal, over the usual speed; and how many of them were driven.

    Parameters
    ----------
    speed_kph : (n,) without NaN. [km/h]
    """
    step_kph = max(wheel.resolution_kph for wheel in track.wheels)
    slow, middle, fast = np.quantile(speed_kph, (0.05, 0.5, 0.95))
    steps = 1 + (fast - slow) / step_kph if step_kph > 0 else math.inf
    return float(step_kph / middle), float(steps)


def _is_a_bend(front: float, rear: float, speed_kph: FloatColumn) -> bool:
    """Whether both axles' left/right differences say so: beyond that of sound wheels, alike, and
    at the speeds driven within the grip of the tyres.
    """  # noqa: D205 - one sentence, one fact
    if min(abs(front), abs(rear)) < SOUND_SHARE or front * rear < 0:
        return False
    fast_mps = float(np.quantile(speed_kph, FAST_SHARE)) / KPH_PER_MPS
    lateral_mps2 = fast_mps**2 * abs(rear) / TRACK_M
    alike = abs(front - rear) < max(SOUND_SHARE, ALIKE_SHARE * abs(front))
    return alike and lateral_mps2 < GRIP_MPS2


def _three_go_round(
    speed_kph: FloatColumn, left_out: Corner, box: float, straight_s: float
) -> bool:
    """Whether three corners that keep one heading are those of a car that goes round.

    Then the front wheel of the whole side is faster than the rear one by what the left/right
    difference asks; and nobody goes round for many turns.
    """
    surplus, difference, middle = triple_surplus(speed_kph, left_out)
    share = float(np.median(difference / middle))
    if share < SOUND_SHARE:
        return False
    turned = straight_s * share * float(np.median(middle)) / KPH_PER_MPS / TRACK_M
    fits = float(np.median(surplus / middle**2)) / (box * share**2)
    low, high = ROUND_FITS
    return low < fits < high and turned < MOST_TURNS * 2 * math.pi


def _most_frequent(values: FloatColumn) -> float:
    """Middle of the narrowest interval that holds `CORE_SHARE` of the values."""
    order = np.sort(values)
    core = max(1, int(len(order) * CORE_SHARE))
    width = order[core:] - order[: len(order) - core]
    if len(width) == 0:
        return float(np.median(order))
    best = int(np.argmin(width))
    return float(np.median(order[best : best + core + 1]))
