"""What moments of a drive go with: turning one way, a speed, rough road, the brake.

If they came at random, each kilometre of the drive would have its share of them. How unlikely it
is to find so many within one circumstance is the exact binomial tail.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canwheel.track.binomial import binomial_tail
from canwheel.track.coverage import SPEED_BANDS_KPH, Driving
from canwheel.track.motion import Motion, samples_in, smooth
from canwheel.track.wheel_track import WheelTrack

SIGNIFICANCE = 0.05
"""A circumstance is told when chance alone would bring it about less often than this, all
circumstances that are looked at counted in (Bonferroni)."""

FEWEST_MOMENTS = 3
"""Two moments are no pattern."""

MOST_SHARE = 0.6
"""So many of the moments at least must lie within a circumstance for it to be what they go with."""

BRAKING_MPS2 = 1.0
"""Harder slowing than that of an engine is the brake (common practice, no source). [m/s²]"""

ROUGH_SHARE = 0.25
"""The roughest quarter of the way is called rough."""

ROUGH_S = 0.5
"""Roughness is that of so long. [s]"""

BLINK_S = 0.25
"""A circumstance holds at a moment when it holds this soon before or after it. [s]"""


@dataclass(frozen=True, slots=True)
class Circumstance:
    """One that moments go with.

    Attributes
    ----------
    words : as in a sentence, ``turning left``.
    turn : ``left`` or ``right`` where it is a turn.
    band : position in `SPEED_BANDS_KPH` where it is a speed.
    moments, share : how many of the moments lie in it, and what share of the way it is.
    chance : that as many fall there at random.
    """

    words: str
    moments: int
    share: float
    chance: float
    turn: str | None = None
    band: int | None = None


def find_circumstances(
    track: WheelTrack, motion: Motion, driving: Driving, times_s: Sequence[float], from_kph: float
) -> tuple[Circumstance, ...]:
    """Find what moments go with, the least likely coincidence first.

    Parameters
    ----------
    driving : the car's way on the track's time base.
    times_s : the moments. [s]
    from_kph : only the way driven faster than this could show them. [km/h]
    """
    if len(times_s) < FEWEST_MOMENTS or not driving.step_km.any():
        return ()
    way_km = np.where(np.nan_to_num(motion.speed_kph) >= from_kph, driving.step_km, 0.0)
    total_km = float(way_km.sum())
    candidates = _candidates(track, motion, driving, way_km)
    found = []
    at = np.clip(np.searchsorted(track.time_s, times_s), 0, len(track.time_s) - 1)
    for words, turn, band, exactly in candidates:
        rows = _holds_around(track, exactly)
        share = min(1.0, float(way_km[rows].sum()) / total_km) if total_km > 0 else 1.0
        moments = int(np.sum(rows[at]))
        chance = binomial_tail(moments, len(times_s), share)
        if moments >= MOST_SHARE * len(times_s) and chance * len(candidates) < SIGNIFICANCE:
            found.append(Circumstance(words, moments, share, chance, turn=turn, band=band))
    return tuple(sorted(found, key=lambda circumstance: circumstance.chance))


def _candidates(
    track: WheelTrack, motion: Motion, driving: Driving, way_km: NDArray[np.float64]
) -> list[tuple[str, str | None, int | None, NDArray[np.bool_]]]:
    """Words, turn, speed band and rows of each circumstance that is looked at."""
    slowing = motion.accel_mps2 < -BRAKING_MPS2
    candidates: list[tuple[str, str | None, int | None, NDArray[np.bool_]]] = [
        ("turning left", "left", None, driving.turn == 1),
        ("turning right", "right", None, driving.turn == 2),  # noqa: PLR2004 - as in TURNS
        ("braking", None, None, slowing),
        ("rough road", None, None, _rough(track, motion, way_km)),
    ]
    for band, (low, high) in enumerate(SPEED_BANDS_KPH):
        if not math.isinf(high):
            words = f"speeds between {low:.0f} and {high:.0f} km/h"
            candidates.append((words, None, band, driving.band == band))
        fastest = band if math.isinf(high) else None
        words = f"speeds above {low:.0f} km/h"
        candidates.append((words, None, fastest, driving.band >= band))
    return candidates


def _rough(track: WheelTrack, motion: Motion, way_km: NDArray[np.float64]) -> NDArray[np.bool_]:
    """The roughest part of the way, by how the car's own middle speed trembles."""
    samples = samples_in(track, ROUGH_S)
    pace = np.where(way_km > 0, motion.speed_kph, np.nan)
    tremble = (pace - smooth(pace, samples)) / pace
    roughness = smooth(tremble**2, 2 * samples)
    usable = (way_km > 0) & np.isfinite(roughness)
    if not usable.any():
        return np.zeros(len(way_km), np.bool_)
    limit = float(np.quantile(roughness[usable], 1 - ROUGH_SHARE))
    return np.asarray(usable & (roughness > limit))


def _holds_around(track: WheelTrack, rows: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Whether a circumstance holds within `BLINK_S` of each sample."""
    total = np.concatenate(([0], np.cumsum(rows)))
    before = np.searchsorted(track.time_s, track.time_s - BLINK_S)
    after = np.searchsorted(track.time_s, track.time_s + BLINK_S, "right")
    return np.asarray(total[after] > total[before])
