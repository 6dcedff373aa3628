"""A corner that falls to zero for moments and comes back: a contact that opens and closes."""

import numpy as np

from canwheel.corners import CORNERS, Corner
from canwheel.outcome import GOES_WITH_BAND, GOES_WITH_TURN, Figure, Finding, Outcome
from canwheel.track.circumstances import Circumstance, find_circumstances
from canwheel.track.coverage import SPEED_BANDS_KPH, trace_driving
from canwheel.track.jumps import find_jumps
from canwheel.track.motion import TOLD_BY_KPH, Motion
from canwheel.track.wheel_locks import brakings, is_wheel_lock, wheel_locks
from canwheel.track.wheel_track import WheelTrack
from canwheel.track.zero_spells import ZeroSpell, find_zero_spells, told_from_kph

START_UP_S = 1.0
"""What is missing from the first sample on for less than this is the unit waking up. [s]"""

SURE_BRAKINGS = 6
"""A signal that goes in so many brakings, and in nothing else, is no locking wheel, unless the
wheel takes its time. (common practice, no source)"""

SURE_TIMES = 1.5
"""At so many times the speed from which a corner must read, one silence is enough to be sure."""


def find_dropout(track: WheelTrack, motion: Motion) -> Outcome:
    """Find corners whose signal goes and comes back while the car drives on."""
    findings = []
    silent = {corner: motion.once(find_zero_spells, corner) for corner in CORNERS}
    locks = wheel_locks(silent)
    for corner in CORNERS:
        from_kph = told_from_kph(track.wheel(corner))
        spells = [
            spell
            for spell in silent[corner]
            if spell.others_top_kph >= from_kph
            and spell not in locks[corner]
            and not (spell.from_the_start and spell.silent_s < START_UP_S)
        ]
        jumps = motion.once(find_jumps, corner)
        if spells and not (jumps and jumps.explain([spell.span for spell in spells])):
            moments = [spell.from_s for spell in spells]
            driving = trace_driving(track, motion)
            with_these = find_circumstances(track, motion, driving, moments, TOLD_BY_KPH)
            confidence = _confidence(spells, min(TOLD_BY_KPH, SURE_TIMES * from_kph))
            findings.append(_describe(corner, spells, motion, with_these, confidence))
    return Outcome(findings=tuple(findings))


def _describe(
    corner: Corner,
    spells: list[ZeroSpell],
    motion: Motion,
    circumstances: tuple[Circumstance, ...],
    confidence: float,
) -> Finding:
    longest_s = max(spell.silent_s for spell in spells)
    per_km = len(spells) / max(motion.distance_km, 1e-3)
    times = "once" if len(spells) == 1 else f"{len(spells)} times"
    return Finding(
        corner=corner,
        kind="dropout",
        confidence=confidence,
        spans=tuple(spell.span for spell in spells),
        count=len(spells),
        says=(
            f"Falls to nothing {times} in {motion.distance_km:.1f} km, for up to"
            f" {longest_s:.2f} s, and comes back while the car drives on"
            f" at up to {max(s.others_top_kph for s in spells):.1f} km/h."
            f"{_says_with(circumstances, len(spells))}"
        ),
        evidence={
            "count": len(spells),
            "per_km": round(per_km, 2),
            "longest_s": round(longest_s, 3),
            "median_speed_kph": round(float(np.median([s.others_top_kph for s in spells])), 1),
            **_evidence_of(circumstances),
        },
    )


def _confidence(spells: list[ZeroSpell], sure_kph: float) -> float:
    if all(is_wheel_lock(spell) for spell in spells):  # nothing but its being alone speaks for it
        sharp = [spell for spell in spells if not spell.takes_its_time]
        return 0.9 if brakings(sharp) >= SURE_BRAKINGS else 0.6
    if max(spell.others_top_kph for spell in spells) < sure_kph:
        return 0.6 if len(spells) == 1 else 0.9
    return 0.9 if len(spells) == 1 else 0.99


def _says_with(circumstances: tuple[Circumstance, ...], count: int) -> str:
    if not circumstances:
        return ""
    best = circumstances[0]
    return (
        f" It goes with {best.words}: {best.moments} of {count} there, on"
        f" {100 * best.share:.0f} % of the way (by chance in one drive of"
        f" {1 / max(best.chance, 1e-9):.0f})."
    )


def _evidence_of(circumstances: tuple[Circumstance, ...]) -> dict[str, Figure]:
    evidence: dict[str, Figure] = {}
    for circumstance in circumstances[::-1]:  # the least likely coincidence is written last
        evidence["goes_with"] = circumstance.words
        evidence["goes_with_chance"] = float(f"{circumstance.chance:.1e}")
        if circumstance.turn is not None:
            evidence[GOES_WITH_TURN] = circumstance.turn
        if circumstance.band is not None:
            evidence[GOES_WITH_BAND] = SPEED_BANDS_KPH[circumstance.band][0]
    return evidence
