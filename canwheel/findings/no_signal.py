"""A corner that stays at zero while the others rise: all the way, or from some moment on."""

from canwheel.corners import CORNERS
from canwheel.outcome import Finding, NotJudged, Outcome
from canwheel.track.motion import TOLD_BY_KPH, Motion
from canwheel.track.wheel_track import WheelTrack
from canwheel.track.zero_spells import ZeroSpell, find_zero_spells, told_from_kph

LONGEST_DROPOUT_S = 2.0
"""A signal that was there and went must stay away for longer than this: contacts that open and
close again do so within two seconds (common practice, no source). [s]"""

LATE_SPREAD = 0.2
"""A sensor that picks up late does not do so at quite the same speed every time."""

LONG_KM = 0.1
"""A signal that was there and stays away for so far is dead, however slow the car goes on, as long
as it is fast enough for every sound corner to read. [km]"""

SURE_KM = 0.05
"""Over this distance without one pulse no sound wheel stays silent: 25 turns of it. [km]"""


def find_no_signal(track: WheelTrack, motion: Motion) -> Outcome:
    """Find corners without a signal to the end of the drive.

    `not_judged` names the corners that were never asked: the car stayed below 15 km/h.
    """
    findings, not_judged = [], []
    for corner in CORNERS:
        spells = motion.once(find_zero_spells, corner)
        if spells and _stays_dead(spells, told_from_kph(track.wheel(corner))):
            findings.append(_describe(spells[-1], track))
        elif not motion.top_kph > TOLD_BY_KPH:
            why = f"the car never passed {TOLD_BY_KPH:.0f} km/h, by which every sensor must read"
            not_judged.append(NotJudged(corner, "no_signal", why))
    return Outcome(findings=tuple(findings), not_judged=tuple(not_judged))


def _stays_dead(spells: tuple[ZeroSpell, ...], from_kph: float) -> bool:
    last = spells[-1]
    if not last.to_the_end:
        return False
    if last.others_top_kph < from_kph and (last.from_the_start or last.judged_km < LONG_KM):
        return False
    if last.from_the_start:
        return True
    # A sensor that picks up late is silent at every start and stop; it reads above that speed.
    slow = [s.others_top_kph for s in spells[:-1] if s.starts_slow or s.ends_slow]
    late_kph = max(slow, default=0.0) * (1 + LATE_SPREAD)
    return last.judged_s > LONGEST_DROPOUT_S and last.others_top_kph > late_kph


def _describe(spell: ZeroSpell, track: WheelTrack) -> Finding:
    since = (
        "Reads nothing for the whole drive"
        if spell.from_the_start
        else f"Reads nothing from {spell.from_s:.1f} s on"
    )
    return Finding(
        corner=spell.corner,
        kind="no_signal",
        confidence=0.99 if spell.judged_km >= SURE_KM else 0.95,
        spans=(spell.span,) if not spell.from_the_start else (track.whole,),
        count=1,
        says=(
            f"{since}, while the other corners reach {spell.others_top_kph:.1f} km/h"
            f" over {spell.judged_km:.2f} km."
        ),
        evidence={
            "others_top_kph": round(spell.others_top_kph, 1),
            "silent_km": round(spell.judged_km, 3),
        },
    )
