"""Wheels that turn while others stand: rollers, a jack, a tow, spinning wheels, lost signals."""

from dataclasses import dataclass
from functools import reduce

import numpy as np
from numpy.typing import NDArray

from canwheel.corners import CORNERS, Corner
from canwheel.track.motion import GRIP_MPS2, MOVING_KPH, READ_FROM_KPH
from canwheel.track.runs import runs
from canwheel.track.units import KPH_PER_MPS
from canwheel.track.wheel_track import WheelTrack
from canwheel.track.zero_spells import told_from_kph

AXLES = ((Corner.FL, Corner.FR), (Corner.RL, Corner.RR))

STANDS_SHARE = 0.2
"""An axle stands when both its wheels read less than this share of the other axle's slower one."""

LONGEST_SPIN_S = 2.0
"""Wheels that turn for less than this while the others stand spin in starting; for longer, rollers,
a jack or a tow turns them. [s]"""

LOST_S = 2.0
"""An axle that turned with the other one this shortly before has lost its signals; wheels on
rollers or a jack run up from standing. [s]"""


LONGEST_WHEEL_SPIN_S = 15.0
"""Nobody keeps one wheel spinning for longer: something holds it off the ground. [s]"""

SLOW_ROLLERS_S = 5.0
"""At walking pace sensors wake one after the other, and stop and go is short; a brake is tested on
slow rollers for longer than this (common practice, no source). [s]"""


FALL_S = 0.5
"""A fall from speed to nothing is timed within so long. [s]"""


@dataclass(frozen=True, slots=True)
class AxleSpell:
    """One axle, or one wheel, turns while the rest stand.

    Attributes
    ----------
    standing : the corners that read nothing: those of an axle, or three.
    from_s, to_s : first and last sample of it, with the run up from standing and down to it. [s]
    lasts_s : how long the two were plainly apart. [s]
    top_kph : fastest that the turning axle went. [km/h]
    rest_kph : how fast the rest went meanwhile, the fastest of it, the median. [km/h]
    from_standing : it began with the car at rest.
    to_the_end : the rest never read again.
    """

    standing: tuple[Corner, ...]
    from_s: float
    to_s: float
    lasts_s: float
    top_kph: float
    rest_kph: float
    from_standing: bool
    to_the_end: bool

    @property
    def is_spin(self) -> bool:
        """Whether the car tried to start: not on slow rollers, where the two are hardly apart."""
        from_stand_to_stand_s = self.to_s - self.from_s
        return (
            self.from_standing
            and self.lasts_s < LONGEST_SPIN_S
            and from_stand_to_stand_s < SLOW_ROLLERS_S
        )


def find_axle_spells(track: WheelTrack) -> tuple[AxleSpell, ...]:
    """Find when one axle turned and the other stood, in order of time."""
    spells = [
        spell
        for standing, turning in (AXLES, AXLES[::-1])
        for spell in _find(track, standing, turning, READ_FROM_KPH)
    ]
    return tuple(sorted(spells, key=lambda spell: spell.from_s))


def find_raised(track: WheelTrack) -> tuple[AxleSpell, ...]:
    """Find when something else than the road turned an axle or a wheel, or held the rest.

    At walking pace an axle stands only where its sensors are known to read as slowly as that.
    """
    spells = [
        spell for spell in find_axle_spells(track) if spell.from_standing and not spell.is_spin
    ]
    for standing, turning in (AXLES, AXLES[::-1]):
        reads_from_kph = max(told_from_kph(track.wheel(corner)) for corner in standing)
        spells += [
            spell
            for spell in _find(track, standing, turning, max(MOVING_KPH, reads_from_kph))
            if spell.from_standing
            and spell.lasts_s > SLOW_ROLLERS_S
            and spell.top_kph <= READ_FROM_KPH
        ]
    spells += [
        spell
        for spell in _find_one_wheel(track)
        if spell.from_standing and spell.rest_kph <= MOVING_KPH
    ]
    return tuple(sorted(spells, key=lambda spell: spell.from_s))


def find_lost_at_speed(track: WheelTrack) -> tuple[AxleSpell, ...]:
    """Find when the last of three wheels fell silent, faster than a car can brake, and the fourth
    went on to the end.
    """  # noqa: D205 - one sentence, one fact
    return tuple(
        spell
        for spell in _find_one_wheel(track)
        if spell.to_the_end
        and not spell.from_standing
        and _falls(track, spell.standing, spell.from_s)
    )


def _find_one_wheel(track: WheelTrack) -> list[AxleSpell]:
    """Find when one wheel turned and the three others stood, for longer than it spins."""
    spells = []
    for corner in CORNERS:
        rest = tuple(other for other in CORNERS if other is not corner)
        spells += _find(track, rest, (corner,), READ_FROM_KPH)
    return [spell for spell in spells if spell.lasts_s > LONGEST_WHEEL_SPIN_S]


def _falls(track: WheelTrack, corners: tuple[Corner, ...], at_s: float) -> bool:
    """Whether the fastest of these wheels stops faster than tyres grip."""
    first, last = np.searchsorted(track.time_s, (at_s - FALL_S, at_s))
    positions = [corner.position for corner in corners]
    fastest = np.max(track.speed_kph[first : last + 1, positions], axis=1)
    return bool(np.nanmax(fastest) - fastest[-1] > GRIP_MPS2 * FALL_S * KPH_PER_MPS)


def _find(
    track: WheelTrack,
    standing: tuple[Corner, ...],
    turning: tuple[Corner, ...],
    from_kph: float,
) -> list[AxleSpell]:
    spells = []
    still = reduce(np.maximum, (track.speed_kph[:, corner.position] for corner in standing))
    pace = reduce(np.minimum, (track.speed_kph[:, corner.position] for corner in turning))
    apart = (pace > from_kph) & (still < STANDS_SHARE * pace)
    if not apart.any():
        return []
    together = still > np.maximum(STANDS_SHARE * pace, from_kph)
    ends = ~(pace > MOVING_KPH) | (still > MOVING_KPH)
    for first, last in runs(apart, together):
        plainly = np.flatnonzero(apart[first : last + 1]) + first
        from_standing = not _turned_before(track, together, first)
        from_s, to_s = float(track.time_s[first]), float(track.time_s[last])
        lasts_s = to_s - from_s
        if from_standing:
            from_s, to_s = _run_up_and_down(track, ends, first, last)
        spells.append(
            AxleSpell(
                standing=standing,
                from_s=from_s,
                to_s=to_s,
                lasts_s=lasts_s,
                top_kph=float(np.max(pace[plainly])),
                rest_kph=float(np.median(still[plainly])),
                from_standing=from_standing,
                to_the_end=not together[last:].any(),
            )
        )
    return spells


def _run_up_and_down(
    track: WheelTrack, ends: NDArray[np.bool_], first: int, last: int
) -> tuple[float, float]:
    """When the turning axle set off and stood again, or the rest turned as well, around the time at
    which it is told. [s]
    """  # noqa: D205 - one sentence, one fact
    before, after = np.flatnonzero(ends[:first]), np.flatnonzero(ends[last + 1 :])
    set_off = int(before[-1]) + 1 if len(before) else 0
    stood = last + int(after[0]) if len(after) else len(track.time_s) - 1
    return float(track.time_s[set_off]), float(track.time_s[stood])


def _turned_before(track: WheelTrack, together: NDArray[np.bool_], first: int) -> bool:
    before = np.flatnonzero(together[:first])
    return bool(len(before) and track.time_s[first] - track.time_s[before[-1]] < LOST_S)
