"""Frames sorted into streams: all sendings of one identifier on one channel, in order."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canwheel.frames import FrameFlag, Frames
from canwheel.track.clock import put_in_order, usual_period_s

FEWEST_FRAMES = 40
"""A rarer message shows too little of a drive to tell a number in it from chance (our choice)."""

SLOWEST_S = 1.1
"""No brake unit sends wheel speeds less often than once a second (common practice, no source)."""

_EXTENDED_BIT, _CHANNEL_BIT = 29, 30


@dataclass(frozen=True, slots=True, eq=False)
class Stream:
    """All sendings of one message.

    Attributes
    ----------
    channel : its name.
    can_id, extended : the identifier.
    time_s : (n,) from the capture's first frame, never falling. [s]
    data : (n, w) payloads, all of the same length w.
    period_s : usual time between two. [s]
    """

    channel: str
    can_id: int
    extended: bool
    time_s: NDArray[np.float64]
    data: NDArray[np.uint8]
    period_s: float

    def __len__(self) -> int:
        """Return n, the number of sendings."""
        return len(self.time_s)

    @property
    def bits(self) -> int:
        """Bits of a payload."""
        return 8 * int(self.data.shape[1])


def streams_of(frames: Frames, first_time_ns: int) -> list[Stream]:
    """Sort frames into streams, each with payloads of its usual length; leave out the rare ones.

    Work grows with n log n of the frames, the sort being the only step that is not linear.

    Parameters
    ----------
    frames : n frames of a capture, in its order.
    first_time_ns : the capture's first stamp. [ns]
    """
    frames, clock = put_in_order(frames, first_time_ns)
    time_s = clock.time_s
    key = frames.can_id.astype(np.uint64)
    key |= (frames.flags & np.uint8(FrameFlag.EXTENDED)).astype(np.uint64) << np.uint64(
        _EXTENDED_BIT
    )
    key |= frames.channel.astype(np.uint64) << np.uint64(_CHANNEL_BIT)
    no_data = frames.flags & np.uint8(FrameFlag.REMOTE | FrameFlag.ERROR) != 0
    rows = np.argsort(key, kind="stable")
    if no_data.any():
        rows = rows[~no_data[rows]]
    sorted_key = key[rows]
    first = np.flatnonzero(np.diff(sorted_key, prepend=sorted_key[:1] + np.uint64(1)))
    streams = []
    for part in np.split(rows, first[1:]):
        if len(part) < FEWEST_FRAMES:
            continue
        stream = _stream(frames, time_s, part)
        if stream is not None:
            streams.append(stream)
    return streams


def _stream(frames: Frames, time_s: NDArray[np.float64], rows: NDArray[np.intp]) -> Stream | None:
    """Return the stream of these rows, None when there is too little of it."""
    length = frames.length[rows]
    usual = int(np.bincount(length).argmax())
    rows = rows[length == usual]
    if usual == 0 or len(rows) < FEWEST_FRAMES:
        return None
    times = time_s[rows]
    period_s = usual_period_s(times)
    if not 0 < period_s <= SLOWEST_S:
        return None
    row = int(rows[0])
    return Stream(
        channel=frames.channels[int(frames.channel[row])],
        can_id=int(frames.can_id[row]),
        extended=bool(frames.flags[row] & FrameFlag.EXTENDED),
        time_s=times,
        data=np.ascontiguousarray(frames.data[rows, :usual]),
        period_s=period_s,
    )
