"""How full a bus is: the bits that frames take on the wire.

Without stuffing a data frame takes 47 + 8n bits with an 11-bit identifier and 67 + 8n with a
29-bit one, the three bits between frames included; stuffing adds at most one bit in four of the
stretch from the start of frame to the check sum (field tables of linux/can/length.h; Davis,
Burns, Bril and Lukkien 2007). How many it really was, only the payloads' bits would tell.
"""

import numpy as np
from numpy.typing import NDArray

from canwheel.frames import FrameFlag

_BASE_BITS = (47, 67)
_STUFFED_BITS = (34, 54)  # of the above, those in which stuff bits may come, without payload


def frame_bits(
    flags: NDArray[np.uint8], length: NDArray[np.uint8]
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Fewest and most bits that each frame can have taken on a classic bus. [bit]

    CAN FD frames count as if all of them went at the slow rate, so for them it is an upper bound.

    Parameters
    ----------
    flags : (n,) of `FrameFlag`.
    length : (n,) payload bytes.
    """
    extended = (flags & np.uint8(FrameFlag.EXTENDED)) != 0
    payload = np.where((flags & np.uint8(FrameFlag.REMOTE)) != 0, 0, length).astype(np.int64) * 8
    fewest = np.where(extended, _BASE_BITS[1], _BASE_BITS[0]) + payload
    stuffed = np.where(extended, _STUFFED_BITS[1], _STUFFED_BITS[0]) + payload
    return fewest, fewest + (stuffed - 1) // 4
