"""When a message is silent, was the recorder listening?"""

import numpy as np
from numpy.typing import NDArray

from canwheel.track.wheel_track import WheelSamples

HEARD_SHARE = 0.1
"""The recorder was listening when at least this share of the usual other frames came..."""

EDGE_PERIODS = 2
"""... beside those that come in so many of the message's own periods: between its last frame and
the recorder's gap, and between that and its next frame..."""

BY_CHANCE = 3.0
"""... and beside so many standard deviations of those, and one more: on a quiet bus they are few.
"""

REGULAR_PERIODS = 3
"""Between two frames of the message no further apart than this it comes regularly."""


def others_per_s(wheel: WheelSamples) -> float:
    """How many other frames are heard a second while this message comes regularly. [1/s]"""
    step_s, others = np.diff(wheel.time_s), np.diff(wheel.index) - 1
    regular = (step_s > 0) & (step_s < REGULAR_PERIODS * wheel.period_s)
    listened_s = float(np.sum(step_s[regular]))
    # Where frames stand out of the order of time, positions may fall: fewer than none were heard.
    heard = max(0.0, float(np.sum(others[regular])))
    return heard / listened_s if listened_s > 0 else 0.0


def was_listening(
    wheel: WheelSamples, silence_s: NDArray[np.float64], heard: NDArray[np.int64]
) -> NDArray[np.bool_]:
    """Whether the recorder heard the rest of the bus during silences of a message.

    Parameters
    ----------
    wheel : a corner that the message carries.
    silence_s, heard : (k,) length of each silence [s], and frames of any kind heard in it.
    """
    rate = others_per_s(wheel)
    at_the_edges = rate * EDGE_PERIODS * wheel.period_s
    by_chance = at_the_edges + BY_CHANCE * np.sqrt(at_the_edges) + 1
    listening: NDArray[np.bool_] = heard >= HEARD_SHARE * rate * silence_s + by_chance
    return listening
