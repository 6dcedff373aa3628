"""How much came over the bus: frames counted, and the bits that they took."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canwheel.bus.load import frame_bits
from canwheel.frames import FrameFlag, Frames


@dataclass(frozen=True, slots=True)
class BusFlow:
    """How much came over the bus.

    Attributes
    ----------
    frames, error_frames : so far.
    frames_per_s : during the last second or so.
    load_pct : least and most that they can have filled of the bus; None without a bit rate. [%]
    size_bytes : of the file.
    """

    frames: int = 0
    error_frames: int = 0
    frames_per_s: float = 0.0
    load_pct: tuple[float, float] | None = None
    size_bytes: int = 0

    @classmethod
    def of(
        cls,
        totals: NDArray[np.int64],
        rate: NDArray[np.float64],
        bitrate: int | None,
        size_bytes: int,
    ) -> "BusFlow":
        """Make one from sums of `flow_columns`.

        Parameters
        ----------
        totals : (4,) so far.
        rate : (4,) a second, of late. [1/s]
        bitrate : of the bus, None where nobody knows. [bit/s]
        size_bytes : of the file.
        """
        load = None
        if bitrate:
            fewest, most = (float(100 * bits / bitrate) for bits in rate[2:])
            load = (fewest, min(100.0, most))
        return cls(
            frames=int(totals[0]),
            error_frames=int(totals[1]),
            frames_per_s=float(rate[0]),
            load_pct=load,
            size_bytes=size_bytes,
        )


def flow_columns(frames: Frames) -> NDArray[np.int64]:
    """(n, 4) what each frame adds: a frame, an error frame, fewest and most bits on the bus."""
    is_error = (frames.flags & np.uint8(FrameFlag.ERROR)) != 0
    fewest, most = frame_bits(frames.flags, frames.length)
    columns = [np.ones(len(frames), np.int64), is_error, fewest * ~is_error, most * ~is_error]
    return np.column_stack(columns).astype(np.int64, copy=False)
