"""Which way the car turns, by a signal that does not come from its wheels."""

import numpy as np

from canwheel.definitions.layout import HelperName
from canwheel.track.wheel_track import FloatColumn, WheelTrack


def turn_direction(
    track: WheelTrack, names: tuple[HelperName, ...] = ("yaw_rate", "steering")
) -> FloatColumn | None:
    """(n,) positive in a left turn, by yaw rate or steering; None where the drive has neither.

    In the signal's own unit: its sign, and that more is tighter, is all that may be asked of it.

    Parameters
    ----------
    names : the signals that may be asked, the first that is there.
    """
    for name in names:
        helper = track.helpers.get(name)
        if helper is not None and len(helper.time_s) > 1:
            value = np.nan_to_num(helper.value)
            # Some DBC files count from one lock to the other, and straight on is in the middle.
            never_straight = np.ptp(value) > 0 and (value.min() > 0 or value.max() < 0)
            middle = float(np.median(value)) if never_straight else 0.0
            return np.asarray(np.interp(track.time_s, helper.time_s, value - middle))
    return None
