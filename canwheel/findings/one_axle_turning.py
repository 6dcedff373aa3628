"""One axle or wheel turns and the rest stand: rollers, a jack, a tow; an event, no fault."""

from canwheel.corners import CORNERS
from canwheel.outcome import Event, Outcome
from canwheel.track.axles import AxleSpell, find_raised
from canwheel.track.motion import Motion
from canwheel.track.wheel_track import WheelTrack


def find_one_axle_turning(track: WheelTrack, motion: Motion) -> Outcome:  # noqa: ARG001
    """Tell when one axle, or one wheel, was turned with the rest of them standing.

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
            for spell in find_raised(track)
        )
    )


def _sentence(spell: AxleSpell) -> str:
    rest = [corner for corner in CORNERS if corner not in spell.standing]
    if len(rest) == 1:
        return (
            f"Only the {rest[0].words} wheel turns, at up to {spell.top_kph:.0f} km/h, while the"
            " other three stand: a jack. If the car was driven on the road, three signals are"
            " missing; if it stood on its wheels, this one is false."
        )
    turning, standing = rest[0].axle, spell.standing[0].axle
    return (
        f"Only the {turning} wheels turn, at up to {spell.top_kph:.0f} km/h, while the {standing}"
        " wheels stand: rollers, a jack or a tow. If the car was driven on the road, both"
        f" {standing} signals are missing."
    )
