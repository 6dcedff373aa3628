"""A corner that jumps faster than a wheel can turn faster or slower."""

from dataclasses import dataclass

import numpy as np

from canwheel.corners import CORNERS, Corner
from canwheel.outcome import Finding, Outcome, Span
from canwheel.track.motion import Motion, smooth
from canwheel.track.runs import runs
from canwheel.track.wheel_track import FloatColumn, WheelTrack

JUMP_SHARE = 0.12
"""A jump counts from this share of the speed on. Pot-holes on a real drive throw a sound wheel by
up to 8 %, and then its neighbour on the axle as well."""

JUMP_KPH = 4.0
"""And from this much on, beyond one step of the signal: at walking pace one tooth more is a large
share. [km/h]"""

READ_FROM_KPH = 10.0
"""Slower, sound sensors come and go: passive ones pick up at 3 to 8 km/h. [km/h]"""

LONGEST_JUMP_S = 0.25
"""What lasts longer is a wheel that slips; a disturbed signal is back within this. [s]"""

AROUND_S = 0.8
"""A reading is held against the median of so long around it: over three times a jump. [s]"""

ASK_SHARE = 0.5
"""A jump of the full size stands out from the mean around it by at least half of it."""

FEWEST_JUMPS = 3
"""One or two jumps in a drive may be a stone or a lost bit on the bus."""

SURE_JUMPS = 5
"""From so many on it is the signal."""

HARD_MPS2 = 1.5
"""While the car brakes or pulls harder than this, tyres slip in jerks. [m/s²]"""

BRAKED_MPS2 = 0.5
"""On ice a braked wheel dips and recovers while the car slows by no more than this. [m/s²]"""


@dataclass(frozen=True, slots=True)
class _Jumps:
    spans: tuple[Span, ...]
    largest_kph: float
    at_kph: float


def find_erratic(track: WheelTrack, motion: Motion) -> Outcome:
    """Find corners whose reading jumps away from what the others allow, and back."""
    findings = []
    for corner in CORNERS:
        jumps = _jumps(track, motion, corner)
        if jumps is not None and len(jumps.spans) >= FEWEST_JUMPS:
            findings.append(_describe(corner, jumps, motion))
    return Outcome(findings=tuple(findings))


def _jumps(track: WheelTrack, motion: Motion, corner: Corner) -> _Jumps | None:
    own = track.wheel(corner)
    if not own.period_s > 0:
        return None
    seen = track.seen_from(corner)
    others = motion.others_kph(corner)
    allowed = np.maximum(JUMP_KPH + 2 * own.resolution_kph, JUMP_SHARE * others)
    jump = _away_from_itself(own.speed_kph, own.period_s, allowed)
    size = np.abs(jump)
    # A bump lifts both wheels of the axle: what the mirror does at the same time is no jump.
    mirror = seen[:, corner.mirror.position]
    with np.errstate(invalid="ignore"):
        off = (size > allowed) & ~(np.abs(own.speed_kph - mirror) < allowed)
        off &= others > READ_FROM_KPH
    if not off.any():
        return None
    off &= ~(np.abs(_away_from_itself(others, own.period_s, allowed / 2)) > allowed / 2)
    accel = np.interp(own.time_s, track.time_s, motion.accel_mps2)
    off &= (np.abs(accel) < HARD_MPS2) & ~((jump < 0) & (accel < -BRAKED_MPS2))
    found = [
        (first, last)
        for first, last in runs(off, ~off)
        if own.time_s[last] - own.time_s[first] <= LONGEST_JUMP_S
    ]
    if not found:
        return None
    return _Jumps(
        spans=tuple(Span(float(own.time_s[a]), float(own.time_s[b])) for a, b in found),
        largest_kph=max(float(np.max(size[a : b + 1])) for a, b in found),
        at_kph=float(np.median([others[a] for a, _ in found])),
    )


def _away_from_itself(
    speed_kph: FloatColumn, period_s: float, allowed_kph: FloatColumn
) -> FloatColumn:
    """(n,) difference from the median of the samples around, 0 where it is small anyway. [km/h]

    The median is only worked out where the difference from the mean calls for it, as it is slow.
    """
    half = max(2, round(AROUND_S / 2 / period_s))
    coarse = np.nan_to_num(speed_kph - smooth(speed_kph, 2 * half + 1))
    ask = np.flatnonzero(np.abs(coarse) > ASK_SHARE * allowed_kph)
    around = np.clip(ask[:, None] + np.arange(-half, half + 1), 0, len(speed_kph) - 1)
    away = np.zeros(len(speed_kph))
    away[ask] = np.nan_to_num(speed_kph[ask] - np.nanmedian(speed_kph[around], axis=1))
    return away


def _describe(corner: Corner, jumps: _Jumps, motion: Motion) -> Finding:
    count = len(jumps.spans)
    return Finding(
        corner=corner,
        kind="erratic",
        confidence=0.97 if count >= SURE_JUMPS else 0.8,
        spans=jumps.spans,
        count=count,
        says=(
            f"Jumps {count} times in {motion.distance_km:.1f} km, by up to"
            f" {jumps.largest_kph:.1f} km/h within a quarter of a second, at about"
            f" {jumps.at_kph:.0f} km/h: no wheel turns faster or slower that quickly."
        ),
        evidence={
            "count": count,
            "largest_jump_kph": round(jumps.largest_kph, 1),
            "per_km": round(count / max(motion.distance_km, 1e-3), 2),
        },
    )
