"""Spells in which one corner runs by a share faster or slower than the other three allow."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from canwheel.corners import Corner
from canwheel.outcome import Span
from canwheel.track.motion import (
    READ_FROM_KPH,
    TOLD_BY_KPH,
    TWO_LEFT_FACTOR,
    Motion,
    smooth,
    three_may_agree,
)
from canwheel.track.runs import runs
from canwheel.track.wheel_track import FloatColumn, WheelTrack

OFF_SHARE = 0.05
"""By less than this tyres slip and tracks differ (3 % at most, for so long, on a hundred simulated
sound drives, ice and tight turns among them)."""

RIGHT_SHARE = 0.025
"""So near to all that the others allow, it is right again."""

STEP_S = 0.1
"""What lasts so long is read off samples this far apart. [s]"""

CALM_S = 0.5
"""Of means over this long: bumps and jumps are out. [s]"""

SLIP_MPS2, HARD_MPS2 = 0.3, 1.0
"""A tyre that is braked on ice turns slower than the car goes, and the car slows by more than the
first; one that pulls turns faster, and the car gains more. Beyond the second, three tyres may slip
beside one that does not. [m/s²]"""

MOST_RIGHT = 0.1
"""No more than this share of the single readings in a spell is right: a wheel that spins and is
caught, on snow, comes back to the others every time."""

SLIP_SHARE = 0.04
"""A tyre that slips does not keep to one ratio as closely as this; counting twice does."""

LONGEST_SLIP_S, LONGEST_STEADY_SLIP_S = 15.0, 3.0
"""Nobody keeps a wheel slipping for longer than the first, nor so evenly for longer than the
second. [s]"""

SHORTEST_S = 1.5
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
    """Find the spells of one corner, in order.

    Above the speed by which a fault has to show; slower, sensors still come and go, but what reads
    more than a wheel of the tightest turn turns counts twice.
    """
    own = track.wheel(corner)
    if not own.period_s > 0:
        return ()
    every = max(1, round(STEP_S / own.period_s))
    step_s = every * own.period_s
    calm = max(1, round(CALM_S / step_s))
    time_s, single = own.time_s[::every], own.speed_kph[::every]
    predicted = motion.predicted_kph(corner)[::every]
    speed, middle = smooth(single, calm), smooth(predicted, calm)
    least, most = (smooth(kph[::every], calm) for kph in motion.expected_kph(corner))
    accel = np.interp(time_s, track.time_s, motion.accel_mps2)
    all_four = smooth(motion.seen_from(corner)[::every], calm)
    rest = np.delete(all_four, corner.position, axis=1)
    # Of three that are no car's, as while one of them is silent, nobody can say what the fourth is.
    agree = three_may_agree(all_four, corner)
    with np.errstate(invalid="ignore"):
        # Where two stand against two, as while an axle spins, nobody can say which are right.
        alone = ~(np.abs(rest - speed[:, None]) < RIGHT_SHARE * speed[:, None]).any(axis=1)
        twice = speed > TWO_LEFT_FACTOR * most + own.resolution_kph
        told = agree & (least > np.where(twice, READ_FROM_KPH, TOLD_BY_KPH)) & ~np.isnan(single)
        unbraked = told & (accel > -SLIP_MPS2) & (accel < HARD_MPS2)
        unpulled = told & (accel > -HARD_MPS2) & (accel < SLIP_MPS2)
        slow = unbraked & alone & (speed < least * (1 - OFF_SHARE) - own.resolution_kph)
        fast = unpulled & alone & (speed > most * (1 + OFF_SHARE) + own.resolution_kph)
        # Where the others leave much open, as in a turn while one of them is wrong, nothing ends.
        right = unbraked & unpulled
        right &= (speed > most * (1 - RIGHT_SHARE)) & (speed < least * (1 + RIGHT_SHARE))
    spells = []
    for off in (slow, fast):
        for first, last in _joined(time_s, runs(off, right)):
            inside = np.flatnonzero(off[first : last + 1]) + first
            if len(inside) * step_s < SHORTEST_S:
                continue
            well_in = inside[calm // 2 : len(inside) - calm // 2]
            share = single[well_in] / middle[well_in]
            low, usual, high = np.nanquantile(smooth(share, calm), (0.1, 0.5, 0.9))
            spell = OffSpell(
                span=Span(float(time_s[first]), float(time_s[last])),
                lasts_s=len(inside) * step_s,
                ratio=float(usual),
                least=float(low),
                most=float(high),
            )
            comes_back = np.mean(np.abs(share - 1) < OFF_SHARE) > MOST_RIGHT
            steps = own.resolution_kph / np.nanmedian(middle[well_in])
            if not comes_back and not _may_slip(spell, share, 2 * steps):
                spells.append(spell)
    return tuple(sorted(spells, key=lambda spell: spell.span.from_s))


def _may_slip(spell: OffSpell, share: FloatColumn, by_steps: float) -> bool:
    """Whether it may be a driven wheel on ice.

    Parameters
    ----------
    share : (k,) single readings over what the others say.
    by_steps : what the signal's steps let it wander.
    """
    low, high = np.nanquantile(share, (0.1, 0.9))
    wanders = high - low > SLIP_SHARE * spell.ratio + by_steps
    longest_s = LONGEST_SLIP_S if wanders else LONGEST_STEADY_SLIP_S
    return spell.ratio > 1 and spell.lasts_s < longest_s


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
