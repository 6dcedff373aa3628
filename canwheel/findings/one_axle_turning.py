"""One axle turns and the other stands: rollers, a jack, a tow; an event, no fault."""

from canwheel.outcome import Event, Outcome
from canwheel.track.axles import AxleSpell, find_axle_spells
from canwheel.track.motion import Motion
from canwheel.track.wheel_track import WheelTrack


def find_one_axle_turning(track: WheelTrack, motion: Motion) -> Outcome:  # noqa: ARG001
    """Tell when one axle was turned with the other at rest.

    An axle that falls silent at speed is not one of these: it has lost both its signals.
    """
    return Outcome(
        events=tuple(
            Event(
                kind="one_axle_turning",
                corner=None,
                from_s=spell.from_s,
                to_s=spell.to_s,
                says=_sentence(spell),
            )
            for spell in find_axle_spells(track)
            if spell.is_on_rollers
        )
    )


def _sentence(spell: AxleSpell) -> str:
    standing = spell.standing[0].axle
    turning = "rear" if standing == "front" else "front"
    return (
        f"Only the {turning} wheels turn, at up to {spell.top_kph:.0f} km/h, while the {standing}"
        " wheels stand: rollers, a jack or a tow. If the car was driven on the road, both"
        f" {standing} signals are missing."
    )
