"""Which way the corners count, where the unit signs its speeds."""

import numpy as np
from numpy.typing import NDArray

from canwheel.corners import CORNERS, Corner
from canwheel.track.motion import READ_FROM_KPH, others_kph, samples_in
from canwheel.track.wheel_track import WheelSamples, WheelTrack

ALIKE_SHARE, ALIKE_MOSTLY = 0.2, 0.5
"""A corner's sign counts while its pace is that of the others, give or take the first share of it;
and only if that is so for the second share of the drive: one that stays at a value below zero does
not count backwards."""

ALL_THE_WAY = 0.95
"""A corner counts backwards when its sign is not the others' in so much of the drive: around a
standstill the messages of a car that reverses may differ for a moment."""

FEWEST_S = 5.0
"""In less of it a sign is no evidence. [s]"""


def find_opposite_sign(track: WheelTrack) -> tuple[Corner, ...]:
    """Find the corners that count the other way than the rest; of two and two, those below zero.

    A car that reverses counts backwards at all corners, and so may a unit all the way.
    """
    if all(wheel.below_zero is None for wheel in track.wheels):
        return ()
    below = np.column_stack([_below_zero_at(wheel, track.time_s) for wheel in track.wheels])
    opposite = tuple(corner for corner in CORNERS if _is_opposite(track, below, corner))
    if len(opposite) < len(CORNERS):
        return opposite
    share = below.mean(axis=0)
    return tuple(c for c in opposite if share[c.position] > share.mean())


def _below_zero_at(wheel: WheelSamples, time_s: NDArray[np.float64]) -> NDArray[np.bool_]:
    """(n,) whether the last value before each of these times had a minus."""
    if wheel.below_zero is None:
        return np.zeros(len(time_s), np.bool_)
    return wheel.below_zero[np.maximum(np.searchsorted(wheel.time_s, time_s, "right") - 1, 0)]


def _is_opposite(track: WheelTrack, below: NDArray[np.bool_], corner: Corner) -> bool:
    """Whether a corner's sign is not that of most others, all the way.

    Parameters
    ----------
    below : (n, 4) which corners are below zero, on the common time base.
    """
    own_kph, own_below = track.speed_kph[:, corner.position], below[:, corner.position]
    others = others_kph(track.speed_kph, corner)
    most_below = 2 * (below.sum(axis=1) - own_below) > len(CORNERS) - 1
    with np.errstate(invalid="ignore"):
        fast = others > READ_FROM_KPH
        alike = fast & (np.abs(own_kph - others) < ALIKE_SHARE * others)
    if alike.sum() < max(ALIKE_MOSTLY * fast.sum(), samples_in(track, FEWEST_S)):
        return False
    return bool(np.mean((own_below != most_below)[alike]) > ALL_THE_WAY)
