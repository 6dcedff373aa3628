"""A corner that jumps faster than a wheel can turn faster or slower."""

from canwheel.corners import CORNERS, Corner
from canwheel.outcome import Finding, Outcome
from canwheel.track.jumps import Jumps, find_jumps
from canwheel.track.motion import Motion
from canwheel.track.wheel_track import WheelTrack

FEWEST_JUMPS = 3
"""One or two jumps in a drive may be a stone or a lost bit on the bus."""

SURE_JUMPS = 5
"""From so many on it is the signal."""


def find_erratic(track: WheelTrack, motion: Motion) -> Outcome:
    """Find corners whose reading jumps away from what the others allow, and back."""
    findings = []
    for corner in CORNERS:
        jumps = find_jumps(track, motion, corner)
        if jumps is not None and len(jumps.spans) >= FEWEST_JUMPS:
            findings.append(_describe(corner, jumps, motion))
    return Outcome(findings=tuple(findings))


def _describe(corner: Corner, jumps: Jumps, motion: Motion) -> Finding:
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
