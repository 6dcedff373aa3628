"""One axle that runs away from the other: rollers, a jack, a tow, spinning wheels."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canwheel.corners import Corner
from canwheel.track.motion import MOVING_KPH, READ_FROM_KPH
from canwheel.track.runs import runs
from canwheel.track.wheel_track import WheelTrack

AXLES = ((Corner.FL, Corner.FR), (Corner.RL, Corner.RR))

STANDS_SHARE = 0.2
"""An axle stands when both its wheels read less than this share of the other axle's slower one."""

LONGEST_SPIN_S = 2.0
"""Wheels that turn for less than this while the others stand spin in starting; for longer, rollers,
a jack or a tow turns them. [s]"""

LOST_S = 2.0
"""An axle that turned with the other one this shortly before has lost its signals; wheels on
rollers or a jack run up from standing. [s]"""


@dataclass(frozen=True, slots=True)
class AxleSpell:
    """One axle turns while the other stands.

    Attributes
    ----------
    standing : the two corners that read nothing.
    from_s, to_s : first and last sample of it, with the run up from standing and down to it. [s]
    top_kph : fastest that the turning axle went. [km/h]
    from_standing : it began with the car at rest.
    """

    standing: tuple[Corner, Corner]
    from_s: float
    to_s: float
    top_kph: float
    from_standing: bool

    @property
    def is_spin(self) -> bool:
        """Whether the car tried to start."""
        return self.from_standing and self.to_s - self.from_s < LONGEST_SPIN_S

    @property
    def is_on_rollers(self) -> bool:
        """Whether something else than the road turned the axle, or held it."""
        return self.from_standing and not self.is_spin


def find_axle_spells(track: WheelTrack) -> tuple[AxleSpell, ...]:
    """Find when one axle turned and the other stood, in order of time."""
    spells = []
    for standing, turning in (AXLES, AXLES[::-1]):
        still = np.max(_axle(track, standing), axis=1)
        pace = np.min(_axle(track, turning), axis=1)
        apart = (pace > READ_FROM_KPH) & (still < STANDS_SHARE * pace)
        together = still > np.maximum(STANDS_SHARE * pace, READ_FROM_KPH)
        stands = ~(pace > MOVING_KPH)
        for first, last in runs(apart, together):
            from_standing = not _turned_before(track, together, first)
            from_s, to_s = float(track.time_s[first]), float(track.time_s[last])
            if from_standing:
                from_s, to_s = _run_up_and_down(track, stands, first, last)
            spells.append(
                AxleSpell(
                    standing=standing,
                    from_s=from_s,
                    to_s=to_s,
                    top_kph=float(np.max(pace[first : last + 1][apart[first : last + 1]])),
                    from_standing=from_standing,
                )
            )
    return tuple(sorted(spells, key=lambda spell: spell.from_s))


def _run_up_and_down(
    track: WheelTrack, stands: NDArray[np.bool_], first: int, last: int
) -> tuple[float, float]:
    """When the turning axle set off and stood again, around the time at which it is told. [s]"""
    before, after = np.flatnonzero(stands[:first]), np.flatnonzero(stands[last:])
    set_off = int(before[-1]) + 1 if len(before) else 0
    stood = last + int(after[0]) - 1 if len(after) else len(track.time_s) - 1
    return float(track.time_s[set_off]), float(track.time_s[stood])


def _turned_before(track: WheelTrack, together: NDArray[np.bool_], first: int) -> bool:
    before = np.flatnonzero(together[:first])
    return bool(len(before) and track.time_s[first] - track.time_s[before[-1]] < LOST_S)


def _axle(track: WheelTrack, corners: tuple[Corner, Corner]) -> NDArray[np.float64]:
    return track.speed_kph[:, [corner.position for corner in corners]]
