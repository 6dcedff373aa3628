"""A wheel that stops turning under the brake while the car slides on: an event, no fault."""

from canwheel.corners import CORNERS
from canwheel.outcome import Event, Outcome
from canwheel.track.motion import Motion
from canwheel.track.wheel_track import WheelTrack
from canwheel.track.zero_spells import find_zero_spells, wheel_locks


def find_wheel_lock(track: WheelTrack, motion: Motion) -> Outcome:
    """Find wheels that the brake stopped."""
    spells = {corner: find_zero_spells(track, motion, corner) for corner in CORNERS}
    return Outcome(
        events=tuple(
            Event(
                kind="wheel_lock",
                corner=corner,
                from_s=spell.from_s,
                to_s=spell.to_s,
                says=(
                    f"Stops turning for {spell.silent_s:.1f} s while the car brakes from"
                    f" {spell.others_top_kph:.0f} km/h: the wheel locked, the sensor is not at"
                    " fault."
                ),
            )
            for corner, locks in wheel_locks(spells).items()
            for spell in sorted(locks, key=lambda lock: lock.from_s)
        )
    )
