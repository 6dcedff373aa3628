"""A wheel that stops turning under the brake while the car slides on: an event, no fault."""

from canwheel.corners import CORNERS, Corner
from canwheel.outcome import Event, NotJudged, Outcome
from canwheel.track.jumps import find_jumps
from canwheel.track.motion import Motion
from canwheel.track.wheel_locks import open_locks, wheel_locks
from canwheel.track.wheel_track import WheelTrack
from canwheel.track.zero_spells import ZeroSpell, find_zero_spells


def find_wheel_lock(track: WheelTrack, motion: Motion) -> Outcome:  # noqa: ARG001 - as all checks
    """Find wheels that the brake stopped; where a lost signal would look the same, say so."""
    spells = {corner: motion.once(find_zero_spells, corner) for corner in CORNERS}
    events: list[Event] = []
    not_judged: list[NotJudged] = []
    for corner, locks in wheel_locks(spells).items():
        jumps = motion.once(find_jumps, corner)
        if jumps and jumps.explain([spell.span for spell in spells[corner]]):
            continue
        either = open_locks(spells[corner], locks)
        events.extend(
            _describe(corner, spell, is_open=spell in either)
            for spell in sorted(locks, key=lambda lock: lock.from_s)
        )
        if either:
            times = "once" if len(either) == 1 else f"{len(either)} times"
            why = (
                f"it read nothing {times} while the car braked, and went and came too quickly for a"
                f" reading every {either[0].sample_s:.2f} s to tell a lost signal from a locked"
                " wheel; gentle braking on a dry road tells"
            )
            not_judged.append(NotJudged(corner, "dropout", why))
    return Outcome(events=tuple(events), not_judged=tuple(not_judged))


def _describe(corner: Corner, spell: ZeroSpell, *, is_open: bool) -> Event:
    braking = (
        f"for {spell.silent_s:.1f} s while the car brakes from {spell.others_top_kph:.0f} km/h:"
    )
    if is_open:
        says = (
            f"Reads nothing {braking} the wheel locked, or its signal was lost; it went and came"
            f" too quickly for a reading every {spell.sample_s:.2f} s to tell."
        )
    else:
        says = f"Stops turning {braking} the wheel locked, the sensor is not at fault."
    return Event(kind="wheel_lock", corner=corner, from_s=spell.from_s, to_s=spell.to_s, says=says)
