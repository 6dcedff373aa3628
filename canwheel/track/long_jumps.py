"""Moments at which one corner's reading jumps away from the others, stays there, and jumps back.

For longer than a disturbed signal is away (`jumps.py`), and for a shorter time than one that is off
by itself (`off_spells.py`). A tyre that slips may last as long; it does not begin and end from one
reading to the next.
"""

import numpy as np

from canwheel.corners import Corner
from canwheel.outcome import Span
from canwheel.track.jumps import (
    EDGE_SAMPLES,
    LARGE,
    LONGEST_JUMP_S,
    STEEP_MPS2,
    Jumps,
    allowed_kph,
    changes,
    distance_m,
)
from canwheel.track.motion import TOLD_BY_KPH, Motion, three_may_agree
from canwheel.track.runs import runs
from canwheel.track.wheel_track import FloatColumn, WheelSamples, WheelTrack
from canwheel.track.zero_spells import NOTHING_SHARE

LONGEST_AWAY_S = 2.0
"""What stays away for longer is off by itself. [s]"""

EDGE_SHARE = 0.5
"""Each end comes in one step by so much of the way."""

BRAKED_MPS2 = 0.3
"""A braked wheel stops as quickly, and on a grippy road turns again as quickly; while it does, the
car slows by more than this. [m/s²]"""


def find_long_jumps(track: WheelTrack, motion: Motion, corner: Corner) -> Jumps | None:
    """Find them, above the speed by which a fault has to show; None where there are none."""
    own = track.wheel(corner)
    if not own.period_s > 0:
        return None
    others = motion.others_kph(corner)
    least, most = motion.expected_kph(corner)
    allowed = allowed_kph(LARGE, own, others)
    with np.errstate(invalid="ignore"):
        below = (own.speed_kph < least - allowed) & (own.speed_kph > NOTHING_SHARE * others)
        away = (below | (own.speed_kph > most + allowed)) & (others > TOLD_BY_KPH)
    if not away.any():
        return None
    seen = motion.seen_from(corner)
    accel = np.interp(own.time_s, track.time_s, motion.accel_mps2)
    with np.errstate(invalid="ignore"):
        away &= (np.abs(accel) < LARGE.calm_mps2) & ~(below & (accel < -BRAKED_MPS2))
        away &= ~(np.abs(own.speed_kph - seen[:, corner.mirror.position]) < allowed)
    away &= three_may_agree(seen, corner)
    found = [
        (first, last)
        for first, last in runs(away, ~away)
        if LONGEST_JUMP_S < own.time_s[last] - own.time_s[first] <= LONGEST_AWAY_S
        and _begins_and_ends_at_once(own, others, first, last)
    ]
    if not found:
        return None
    firsts = [first for first, _ in found]
    size = np.abs(own.speed_kph - others)
    return Jumps(
        spans=tuple(Span(float(own.time_s[a]), float(own.time_s[b])) for a, b in found),
        largest_kph=max(float(np.max(size[a : b + 1])) for a, b in found),
        at_kph=float(np.median(others[firsts])),
        at_m=distance_m(own.time_s, others)[firsts],
    )


def _begins_and_ends_at_once(
    own: WheelSamples, others_kph: FloatColumn, first: int, last: int
) -> bool:
    away_kph = float(np.median(np.abs(own.speed_kph - others_kph)[first : last + 1]))
    for edge in (first, last + 1):
        near = slice(max(0, edge - EDGE_SAMPLES), edge + EDGE_SAMPLES)
        change_kph, rate_mps2 = changes(own, near)
        steep = np.abs(rate_mps2) > STEEP_MPS2
        if not np.nanmax(np.abs(change_kph[steep]), initial=0.0) > EDGE_SHARE * away_kph:
            return False
    return True
