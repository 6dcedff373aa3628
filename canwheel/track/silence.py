"""When a message is silent, was the recorder listening?"""

import numpy as np
from numpy.typing import NDArray

from canwheel.track.wheel_track import WheelSamples

HEARD_SHARE = 0.1
"""The recorder was listening when at least this share of the usual frames came meanwhile..."""

EDGE_PERIODS = 2
"""... beside those that come in so many of the message's own periods: between its last frame and
the recorder's gap, and between that and its next frame."""


def usual_frames_per_s(wheel: WheelSamples) -> float:
    """How many frames of all kinds are heard a second while this message comes regularly. [1/s]"""
    if len(wheel.time_s) < 2:  # noqa: PLR2004 - a rate needs two samples
        return 0.0
    return float(np.median(np.diff(wheel.index))) / wheel.period_s if wheel.period_s > 0 else 0.0


def was_listening(
    wheel: WheelSamples, silence_s: NDArray[np.float64], heard: NDArray[np.int64]
) -> NDArray[np.bool_]:
    """Whether the recorder heard the rest of the bus during silences of a message.

    Parameters
    ----------
    wheel : a corner that the message carries.
    silence_s, heard : (k,) length of each silence [s], and frames of any kind heard in it.
    """
    rate = usual_frames_per_s(wheel)
    least = rate * (HEARD_SHARE * silence_s + EDGE_PERIODS * wheel.period_s)
    listening: NDArray[np.bool_] = (heard > 0) & (heard >= least)
    return listening
