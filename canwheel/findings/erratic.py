"""A corner that jumps faster than a wheel can turn faster or slower."""

from itertools import pairwise

from canwheel.corners import CORNERS, Corner
from canwheel.outcome import Finding, Outcome
from canwheel.track.jumps import Jumps, find_jumps
from canwheel.track.motion import Motion
from canwheel.track.wheel_track import WheelTrack

FEWEST_MOMENTS = 3
"""One or two jumps in a drive may be a stone or a lost bit on the bus; and so may several within
`MOMENT_S`, or be a tyre that slips in jerks."""

MOMENT_S = 1.0
"""Jumps nearer to one another than this are of one moment. [s]"""

SURE_MOMENTS = 4
"""At so many moments or more, it is the signal."""


def find_erratic(track: WheelTrack, motion: Motion) -> Outcome:  # noqa: ARG001 - as all checks
    """Find corners whose reading jumps away from what the others allow, and back."""
    findings = []
    for corner in CORNERS:
        jumps = motion.once(find_jumps, corner)
        if jumps is None:
            continue
        moments = _moments(jumps)
        if moments >= FEWEST_MOMENTS:
            confidence = 0.97 if moments >= SURE_MOMENTS else 0.8
            findings.append(_describe(corner, jumps, motion, confidence))
    return Outcome(findings=tuple(findings))


def _moments(jumps: Jumps) -> int:
    starts_s = [span.from_s for span in jumps.spans]
    return 1 + sum(b - a > MOMENT_S for a, b in pairwise(starts_s))


def _describe(corner: Corner, jumps: Jumps, motion: Motion, confidence: float) -> Finding:
    count = len(jumps.spans)
    per_km = count / max(motion.distance_km, 1e-3)
    by = "to values that no wheel can have, by more than" if jumps.is_beyond_speed else "by up to"
    return Finding(
        corner=corner,
        kind="erratic",
        confidence=confidence,
        spans=jumps.spans,
        count=count,
        says=(
            f"Jumps {count} times in {motion.distance_km:.1f} km, {by}"
            f" {jumps.largest_kph:.1f} km/h within a quarter of a second, at about"
            f" {jumps.at_kph:.0f} km/h: no wheel turns faster or slower that quickly."
        ),
        evidence={
            "count": count,
            "largest_jump_kph": round(jumps.largest_kph, 1),
            "per_km": round(per_km, 2),
        },
    )
