"""A corner that falls to zero for moments and comes back: a contact that opens and closes."""

import numpy as np

from canwheel.corners import CORNERS, Corner
from canwheel.outcome import Finding, Outcome
from canwheel.track.motion import Motion
from canwheel.track.wheel_track import WheelTrack
from canwheel.track.zero_spells import ZeroSpell, find_zero_spells, is_wheel_lock

TOLD_BY_KPH = 15.0
"""Below this a sensor that picks up late reads nothing either. [km/h]"""

START_UP_S = 1.0
"""What is missing from the first sample on for less than this is the unit waking up. [s]"""


def find_dropout(track: WheelTrack, motion: Motion) -> Outcome:
    """Find corners whose signal goes and comes back while the car drives on."""
    findings = []
    for corner in CORNERS:
        spells = [
            spell
            for spell in find_zero_spells(track, motion, corner)
            if spell.others_top_kph >= TOLD_BY_KPH
            and not is_wheel_lock(spell)
            and not (spell.from_the_start and spell.silent_s < START_UP_S)
        ]
        if spells:
            findings.append(_describe(corner, spells, motion))
    return Outcome(findings=tuple(findings))


def _describe(corner: Corner, spells: list[ZeroSpell], motion: Motion) -> Finding:
    longest_s = max(spell.silent_s for spell in spells)
    per_km = len(spells) / max(motion.distance_km, 1e-3)
    times = "once" if len(spells) == 1 else f"{len(spells)} times"
    return Finding(
        corner=corner,
        kind="dropout",
        confidence=0.9 if len(spells) == 1 else 0.99,
        spans=tuple(spell.span for spell in spells),
        count=len(spells),
        says=(
            f"Falls to nothing {times} in {motion.distance_km:.1f} km, for up to"
            f" {longest_s:.2f} s, and comes back while the car drives on"
            f" at up to {max(s.others_top_kph for s in spells):.1f} km/h."
        ),
        evidence={
            "count": len(spells),
            "per_km": round(per_km, 2),
            "longest_s": round(longest_s, 3),
            "median_speed_kph": round(float(np.median([s.others_top_kph for s in spells])), 1),
        },
    )
