"""Spells in which one corner runs by a share faster or slower than the other three allow."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from canwheel.corners import Corner
from canwheel.outcome import Span
from canwheel.track.motion import TOLD_BY_KPH, Motion, smooth
from canwheel.track.runs import runs
from canwheel.track.wheel_track import FloatColumn, WheelTrack

OFF_SHARE = 0.05
"""By less than this tyres slip and tracks differ (3 % at most, for so long, on a hundred simulated
sound drives, ice and tight turns among them)."""

CALM_S = 0.5
"""Of means over this long: bumps and jumps are out. [s]"""

STEADY_MPS2 = 0.7
"""While the car brakes or pulls harder, wheels lock and spin. [m/s²]"""

SHORTEST_S = 2.0
"""A wheel slips for a shorter time than this while the car goes steadily. [s]"""

APART_S = 1.0
"""Spells nearer to one another than this are one. [s]"""


@dataclass(frozen=True, slots=True)
class OffSpell:
    """One such spell.

    Attributes
    ----------
    span : when.
    lasts_s : how long the corner was off while the car went steadily. [s]
    ratio : its reading over what the others say, the median.
    least, most : between which it was for the middle four fifths of the time.
    """

    span: Span
    lasts_s: float
    ratio: float
    least: float
    most: float


def find_off_spells(track: WheelTrack, motion: Motion, corner: Corner) -> tuple[OffSpell, ...]:
    """Find the spells of one corner, in order, above the speed by which a fault has to show."""
    own = track.wheel(corner)
    if not own.period_s > 0:
        return ()
    calm = max(1, round(CALM_S / own.period_s))
    least, most = (smooth(kph, calm) for kph in motion.expected_kph(corner))
    speed = smooth(own.speed_kph, calm)
    middle = smooth(motion.predicted_kph(corner), calm)
    accel = np.interp(own.time_s, track.time_s, motion.accel_mps2)
    with np.errstate(invalid="ignore"):
        steady = (least > TOLD_BY_KPH) & (np.abs(accel) < STEADY_MPS2) & ~np.isnan(own.speed_kph)
        slow = steady & (speed < least * (1 - OFF_SHARE) - own.resolution_kph)
        fast = steady & (speed > most * (1 + OFF_SHARE) + own.resolution_kph)
        # Where the others leave much open, as in a turn while one of them is wrong, nothing ends.
        right = steady & ~slow & ~fast & (most < least * (1 + OFF_SHARE))
    spells = []
    for off in (slow, fast):
        for first, last in _joined(own.time_s, runs(off, right)):
            inside = np.flatnonzero(off[first : last + 1]) + first
            lasts_s = len(inside) * own.period_s
            if lasts_s >= SHORTEST_S:
                ratio = speed[inside] / middle[inside]
                low, usual, high = np.nanquantile(ratio, (0.1, 0.5, 0.9))
                span = Span(float(own.time_s[first]), float(own.time_s[last]))
                spells.append(OffSpell(span, lasts_s, float(usual), float(low), float(high)))
    return tuple(sorted(spells, key=lambda spell: spell.span.from_s))


def off_s(spells: Sequence[OffSpell]) -> float:
    """For how long they last, all of them. [s]"""
    return sum(spell.lasts_s for spell in spells)


def _joined(time_s: FloatColumn, found: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """Those that nearly touch, as one."""
    joined: list[tuple[int, int]] = []
    for first, last in found:
        if joined and time_s[first] - time_s[joined[-1][1]] < APART_S:
            joined[-1] = (joined[-1][0], last)
        else:
            joined.append((first, last))
    return joined
