"""One axle that runs away from the other: rollers, a jack, a tow, spinning wheels."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canwheel.corners import Corner
from canwheel.track.runs import runs
from canwheel.track.wheel_track import WheelTrack

AXLES = ((Corner.FL, Corner.FR), (Corner.RL, Corner.RR))

STANDS_SHARE = 0.2
"""An axle stands when both its wheels read less than this share of the other axle's slower one."""

TURNS_KPH = 5.0
"""The other axle turns when both its wheels read more than this: above the pick-up of most sensors
on both axles. [km/h]"""

SET_OFF_KPH = 12.0
"""Wheels on rollers or a jack run up from standing: at the first sample the turning axle is below
this. An axle that falls silent at speed has lost its signals. [km/h]"""


@dataclass(frozen=True, slots=True)
class AxleSpell:
    """One axle turns while the other stands.

    Attributes
    ----------
    standing : the two corners that read nothing.
    from_s, to_s : first and last sample of it. [s]
    top_kph : fastest that the turning axle went. [km/h]
    from_standing : it began with the car at rest.
    """

    standing: tuple[Corner, Corner]
    from_s: float
    to_s: float
    top_kph: float
    from_standing: bool


def find_axle_spells(track: WheelTrack) -> tuple[AxleSpell, ...]:
    """Find when one axle turned and the other stood, in order of time."""
    spells = []
    for standing, turning in (AXLES, AXLES[::-1]):
        still = np.max(_axle(track, standing), axis=1)
        pace = np.min(_axle(track, turning), axis=1)
        apart = (pace > TURNS_KPH) & (still < STANDS_SHARE * pace)
        together = still > np.maximum(STANDS_SHARE * pace, TURNS_KPH)
        for first, last in runs(apart, together):
            spells.append(
                AxleSpell(
                    standing=standing,
                    from_s=float(track.time_s[first]),
                    to_s=float(track.time_s[last]),
                    top_kph=float(np.max(pace[first : last + 1][apart[first : last + 1]])),
                    from_standing=bool(pace[first] < SET_OFF_KPH),
                )
            )
    return tuple(sorted(spells, key=lambda spell: spell.from_s))


def _axle(track: WheelTrack, corners: tuple[Corner, Corner]) -> NDArray[np.float64]:
    return track.speed_kph[:, [corner.position for corner in corners]]
