"""Whether the times that a fault showed came in bunches.

The test of two rates takes each time for one of its own. A rough patch that shakes a loose contact
eight times is one cause, not eight: counted as eight it would prove a repair far too early.
"""

import numpy as np
from numpy.typing import NDArray

from canwheel.track.binomial import binomial_tail

BUNCH_KM = 0.05
"""What shows again within this distance may be the same cause: a rough patch, a junction, a few
seconds of town driving (our choice, no source). [km]"""

SIGNIFICANT = 0.01
"""Times spread by chance look bunched this seldom at most."""


def count_bunches(at_km: NDArray[np.float64], total_km: float) -> int:
    """Count the bunches in which a fault showed; all times where they may as well be chance.

    Of n places spread evenly at random over a distance L, one has another one within the distance g
    behind it with the chance 1 − (1 − g/L)^n; so many of the n − 1 steps are that short only by
    chance as the binomial distribution says.

    Parameters
    ----------
    at_km : (n,) where it showed, along the distance in which it could. [km]
    total_km : that distance. [km]
    """
    count = len(at_km)
    short = int(np.sum(np.diff(np.sort(at_km)) < BUNCH_KM))
    if not short:
        return count
    each = 1.0 - (1.0 - min(1.0, BUNCH_KM / max(total_km, BUNCH_KM))) ** count
    return count - short if binomial_tail(short, count - 1, each) < SIGNIFICANT else count
