"""One axle or wheel turns and the rest stand: rollers, a jack, a tow; an event, no fault.

Unless the turning axle shows by its turns that it rolls on a road: then the other axle's signals
are missing, or it hangs from a tow truck. And three wheels that stop at once at speed did not stop.
"""

from collections.abc import Iterator

import numpy as np

from canwheel.corners import CORNERS, Corner
from canwheel.outcome import Event, Finding, Outcome, Span
from canwheel.track.axle_on_road import RoadSigns, find_road_signs
from canwheel.track.axles import AxleSpell, find_lost_at_speed, find_raised
from canwheel.track.motion import MOVING_KPH, Motion, steps_s
from canwheel.track.wheel_track import WheelTrack
from canwheel.track.zero_spells import ALIVE_SHARE


def find_one_axle_turning(track: WheelTrack, motion: Motion) -> Outcome:  # noqa: ARG001
    """Tell when one axle, or one wheel, was turned with the rest of them standing.

    An axle that falls silent at speed is not one of these: it has lost both its signals.
    """
    lost = tuple(f for spell in find_lost_at_speed(track) for f in _lost(track, spell))
    return Outcome.merge((Outcome(lost), *(_tell(track, spell) for spell in find_raised(track))))


def _tell(track: WheelTrack, spell: AxleSpell) -> Outcome:
    turning = [corner for corner in CORNERS if corner not in spell.standing]
    if len(turning) > 1 and spell.to_the_end:
        left, right = turning
        signs = find_road_signs(track, (left, right), Span(spell.from_s, spell.to_s))
        if signs is not None:
            return Outcome(tuple(_silent(track, spell, signs, c) for c in spell.standing))
    event = Event(
        kind="one_axle_turning",
        corner=None,
        from_s=spell.from_s,
        to_s=spell.to_s,
        says=_sentence(spell, turning),
    )
    return Outcome(events=(event,))


def _lost(track: WheelTrack, spell: AxleSpell) -> Iterator[Finding]:
    (live,) = (corner for corner in CORNERS if corner not in spell.standing)
    pace_kph = np.nan_to_num(track.speed_kph[:, live.position])
    after = np.where(track.time_s >= spell.from_s, pace_kph, 0.0)
    km = float(np.sum(after * steps_s(track))) / 3600
    for corner in spell.standing:
        read = track.speed_kph[:, corner.position] > ALIVE_SHARE * np.maximum(pace_kph, MOVING_KPH)
        from_s = float(np.max(track.time_s[read], initial=0.0))
        yield Finding(
            corner=corner,
            kind="no_signal",
            confidence=0.95,
            spans=(Span(from_s, track.duration_s) if from_s > 0 else track.whole,),
            count=1,
            says=(
                f"Reads nothing from {from_s:.1f} s on: at {spell.from_s:.1f} s the last of three"
                " corners falls silent, faster than a car can brake, while the"
                f" {live.words} wheel goes on for {km:.2f} km at up to {spell.top_kph:.1f} km/h."
            ),
            evidence={"others_top_kph": round(spell.top_kph, 1), "silent_km": round(km, 3)},
        )


def _silent(track: WheelTrack, spell: AxleSpell, signs: RoadSigns, corner: Corner) -> Finding:
    own = track.speed_kph[track.time_s < spell.from_s, corner.position]
    never_read = not (own > track.wheel(corner).resolution_kph).any()
    since = "for the whole drive" if never_read else f"from {spell.from_s:.1f} s on"
    turning = corner.same_side.axle
    if signs.is_steered:
        why = f"and are steered: both {corner.axle} signals are missing"
    elif signs.is_driven:
        why = (
            f"and gain speed by up to {signs.gained_mps2:.1f} m/s², as nothing that is towed does:"
            f" both {corner.axle} signals are missing"
        )
    else:
        why = (
            f"as on a road and not on rollers: both {corner.axle} signals are missing, unless the"
            f" car was towed with its {corner.axle} wheels lifted"
        )
    return Finding(
        corner=corner,
        kind="no_signal",
        confidence=0.95 if signs.is_driven else 0.6,
        spans=(track.whole if never_read else Span(spell.from_s, track.duration_s),),
        count=1,
        says=(
            f"Reads nothing {since}, as does {corner.mirror.words}, while the {turning} wheels"
            f" reach {spell.top_kph:.1f} km/h over {signs.km:.2f} km, turn {signs.left_deg:.0f}° to"
            f" the left and {signs.right_deg:.0f}° to the right, {why}."
        ),
        evidence={
            "others_top_kph": round(spell.top_kph, 1),
            "silent_km": round(signs.km, 3),
        },
    )


def _sentence(spell: AxleSpell, turning: list[Corner]) -> str:
    if len(turning) == 1:
        return (
            f"Only the {turning[0].words} wheel turns, at up to {spell.top_kph:.0f} km/h, while the"
            " other three stand: a jack. If the car was driven on the road, three signals are"
            " missing; if it stood on its wheels, this one is false."
        )
    axle, standing = turning[0].axle, spell.standing[0].axle
    return (
        f"Only the {axle} wheels turn, at up to {spell.top_kph:.0f} km/h, while the {standing}"
        " wheels stand: rollers, a jack or a tow. If the car was driven on the road, both"
        f" {standing} signals are missing."
    )
