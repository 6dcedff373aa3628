"""Frame lengths against published totals."""

import numpy as np
import pytest

from canwheel.bus.load import frame_bits
from canwheel.frames import FrameFlag


@pytest.mark.parametrize(
    ("extended", "length", "fewest", "most"),
    [
        # eight bytes: 111 to 135 and 131 to 160 bits (patch note on linux/can/length.h)
        (False, 8, 111, 135),
        (True, 8, 131, 160),
        # standard identifier, 0, 1 and 4 bytes, worst case: 55, 65, 95 (Davis et al. 2007)
        (False, 0, 47, 55),
        (False, 1, 55, 65),
        (False, 4, 79, 95),
    ],
)
def test_bits_on_the_wire(*, extended: bool, length: int, fewest: int, most: int) -> None:
    flags = np.array([FrameFlag.EXTENDED if extended else 0], np.uint8)
    low, high = frame_bits(flags, np.array([length], np.uint8))
    assert (low[0], high[0]) == (fewest, most)


def test_a_remote_frame_carries_nothing() -> None:
    low, _ = frame_bits(np.array([FrameFlag.REMOTE], np.uint8), np.array([8], np.uint8))
    assert low[0] == 47
