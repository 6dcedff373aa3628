"""A wheel that turns faster than the car goes, because its tyre slips: an event, no fault."""

import numpy as np
from numpy.typing import NDArray

from canwheel.corners import CORNERS, Corner
from canwheel.outcome import Event, Outcome
from canwheel.track.axles import LONGEST_WHEEL_SPIN_S, find_axle_spells
from canwheel.track.jumps import STEEP_MPS2, changes
from canwheel.track.motion import READ_FROM_KPH, Motion, expected_kph
from canwheel.track.runs import runs
from canwheel.track.wheel_track import FloatColumn, WheelTrack

SPIN_SHARE = 0.25
"""A wheel spins when it runs this much faster than the others say. Under power a tyre that grips
slips by a few per cent; a tyre of another size differs by less than a tenth."""

SPIN_KPH = 3.0
"""And by at least this much. [km/h]"""

AGREE_SHARE = 0.1
"""Two wheels that spin on their own account differ by more than this."""

SHORTEST_S = 0.4
"""A wheel has to be spun up and to slow down again; a disturbed signal jumps for a shorter time
than this. [s]"""

BEFORE_S = 0.4
"""What a wheel that spins leaves behind goes on as it did so long before... [s]"""

KEPT_SHARE = 0.5
"""... at this share of it at least, however hard the car is braked: where the others fall away
instead, it is they who are wrong."""

SUDDEN_SHARE = 0.5
"""When so much of what it runs away by comes in one step, more quickly than any wheel is spun up,
it is the signal: pulses counted twice."""

PAST_S = 1.0
"""A wheel that comes back from a lock-up is faster than those still in it, but no faster than the
fastest of the four was so long before."""


def find_wheel_spin(track: WheelTrack, motion: Motion) -> Outcome:
    """Tell when a wheel, or both of the driven axle, spun, on the way or in starting.

    Where the driven axle is known, only its wheels can.
    """
    events = []
    in_starting = [spell for spell in find_axle_spells(track) if spell.is_spin]
    for corner in CORNERS:
        if track.driven in ("front", "rear") and corner.axle != track.driven:
            continue
        fast, left_behind = _runs_away(track, corner)
        for spell in in_starting:
            if corner not in spell.standing:
                first, last = (
                    int(n) for n in np.searchsorted(track.time_s, (spell.from_s, spell.to_s))
                )
                events.append(_describe(track, motion, corner, first, last))
                fast[first : last + 1] = False  # told once
        for first, last in runs(fast, ~fast):
            lasts_s = track.time_s[last] - track.time_s[first]
            goes_on = _goes_on(track, left_behind, first) and _gains(track, corner, first, last)
            goes_on = goes_on and not _is_sudden(track, corner, first, left_behind[first])
            if SHORTEST_S <= lasts_s <= LONGEST_WHEEL_SPIN_S and goes_on:
                events.append(_describe(track, motion, corner, first, last))
    return Outcome(events=tuple(sorted(events, key=lambda event: event.from_s)))


def _goes_on(track: WheelTrack, left_behind_kph: FloatColumn, first: int) -> bool:
    """Whether what is left behind is as fast as it was."""
    begin, end = np.searchsorted(
        track.time_s, track.time_s[first] + np.array([-BEFORE_S, BEFORE_S])
    )
    before = float(np.fmax.reduce(left_behind_kph[begin : first + 1]))
    after = float(np.fmin.reduce(left_behind_kph[first:end]))
    return not after < KEPT_SHARE * before


def _gains(track: WheelTrack, corner: Corner, first: int, last: int) -> bool:
    """Whether a wheel runs faster than any did just before."""
    begin = int(np.searchsorted(track.time_s, track.time_s[first] - PAST_S))
    own = np.fmax.reduce(track.speed_kph[first : last + 1, corner.position])
    return bool(own > np.fmax.reduce(track.speed_kph[begin:first], axis=None, initial=0.0))


def _is_sudden(track: WheelTrack, corner: Corner, first: int, left_behind_kph: float) -> bool:
    """Whether a wheel is faster than the others from one reading to the next, by most of it."""
    own = track.wheel(corner)
    begin, end = np.searchsorted(own.time_s, track.time_s[first] + np.array([-BEFORE_S, BEFORE_S]))
    gain_kph, rate_mps2 = changes(own, slice(begin, end))
    most_kph = np.nanmax(gain_kph[rate_mps2 > STEEP_MPS2], initial=0.0)
    runs_away_kph = np.nanmax(own.speed_kph[begin:end], initial=0.0) - left_behind_kph
    return bool(most_kph > SUDDEN_SHARE * runs_away_kph)


def _runs_away(track: WheelTrack, corner: Corner) -> tuple[NDArray[np.bool_], FloatColumn]:
    """(n,) whether this wheel outruns what the others allow, or with its mirror the other axle;
    and (n,) the speed of what it outruns. [km/h]
    """  # noqa: D205 - one sentence, one fact
    speed = track.speed_kph
    own = speed[:, corner.position]
    _, most = expected_kph(speed, corner)
    behind = np.maximum(
        speed[:, corner.same_side.position], speed[:, corner.mirror.same_side.position]
    )
    mirror = speed[:, corner.mirror.position]
    alone = own > most * (1 + SPIN_SHARE) + SPIN_KPH
    # Wheels of both axles that agree do not spin: the two others are silent for another reason.
    for other in (corner.same_side, corner.mirror.same_side):
        alone &= ~(np.abs(speed[:, other.position] - own) < AGREE_SHARE * own)
    as_axle = np.minimum(own, mirror) > behind * (1 + SPIN_SHARE) + SPIN_KPH
    fast: NDArray[np.bool_] = (alone | as_axle) & (own > READ_FROM_KPH + SPIN_KPH)
    return fast, np.where(alone, most, behind)


def _describe(track: WheelTrack, motion: Motion, corner: Corner, first: int, last: int) -> Event:
    own = track.speed_kph[first : last + 1, corner.position]
    return Event(
        kind="wheel_spin",
        corner=corner,
        from_s=float(track.time_s[first]),
        to_s=float(track.time_s[last]),
        says=(
            f"Spins up to {np.nanmax(own):.0f} km/h for"
            f" {track.time_s[last] - track.time_s[first]:.1f} s while the car does"
            f" {np.nanmin(motion.speed_kph[first : last + 1]):.0f} km/h: the tyre slipped, the"
            " sensor is not at fault."
        ),
    )
