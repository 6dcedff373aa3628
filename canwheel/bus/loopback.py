"""Frames put on a loopback bus in real time, for trying things out without a car.

The one module of the package that sends, and only where there cannot be a wire: it opens nothing
but interfaces without hardware, and those so that no packet leaves this computer.
"""

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from itertools import count

import can
import numpy as np

from canwheel.bus.adapters import WITHOUT_HARDWARE, AdapterSettings
from canwheel.errors import AdapterError, RequestError
from canwheel.frames import FrameFlag, Frames

_THIS_COMPUTER = 0
"""Hop limit of the packets: none, so they stay on this computer (RFC 1112, section 6.1, for
IPv4, from memory)."""

_COARSEST_S = 0.02  # frames due within it go out together; finer is below a sleep's grain
_TOLD_EVERY_S = 10.0


def play(
    frames: Frames,
    settings: AdapterSettings,
    *,
    speed: float = 1.0,
    tell: Callable[[float], None] = lambda played_s: None,  # noqa: ARG005 - tells nobody
) -> int:
    """Put frames on a loopback bus at their own pace and return how many there were.

    Parameters
    ----------
    frames : in order of time; error frames and the rest of what cannot be sent are left out.
    settings : the loopback bus.
    speed : times the frames' own pace.
    tell : called every ten seconds of it with the time played. [s]

    Raises
    ------
    RequestError : the interface could have hardware behind it.
    AdapterError : the loopback bus cannot be opened.
    """
    told_s = 0.0
    with _open_to_play(settings) as bus:
        begin = time.monotonic()
        for due_s, message in _messages(frames):
            _wait_until(begin + due_s / speed)
            if due_s - told_s >= _TOLD_EVERY_S:
                told_s = due_s
                tell(due_s)
            bus.send(message)
    return len(frames)


def repeat(frames: Frames, settings: AdapterSettings, *, is_over: Callable[[], bool]) -> None:
    """Put the same frames on a loopback bus at their own pace, over and over.

    Parameters
    ----------
    frames, settings : as for `play`.
    is_over : asked before each frame.

    Raises
    ------
    RequestError, AdapterError : as `play`.
    """
    messages = list(_messages(frames))
    if not messages:
        return
    round_s = messages[-1][0] + _COARSEST_S
    with _open_to_play(settings) as bus:
        begin = time.monotonic()
        for number in count():
            for due_s, message in messages:
                if is_over():
                    return
                _wait_until(begin + number * round_s + due_s)
                bus.send(message)


def _wait_until(monotonic_s: float) -> None:
    ahead_s = monotonic_s - time.monotonic()
    if ahead_s > _COARSEST_S:
        time.sleep(ahead_s)


@contextmanager
def _open_to_play(settings: AdapterSettings) -> Iterator[can.BusABC]:
    """Open a loopback bus, tell it when it takes no frames, and close it."""
    bus = open_loopback(settings)
    try:
        yield bus
    except can.CanError as error:
        raise AdapterError(
            f"the loopback bus does not take frames: {error}", remedy="try another --channel"
        ) from error
    finally:
        bus.shutdown()


def check_loopback(settings: AdapterSettings) -> None:
    """Refuse whatever could have a car behind it.

    Raises
    ------
    RequestError : the interface is none that never has hardware.
    """
    if settings.interface not in WITHOUT_HARDWARE:
        raise RequestError(
            f"{settings.interface} could have a car behind it, and nothing is ever sent to one",
            remedy=f"use --interface {' or '.join(WITHOUT_HARDWARE)}",
        )


def open_loopback(settings: AdapterSettings) -> can.BusABC:
    """Open a loopback bus, from which no packet leaves this computer.

    Raises
    ------
    RequestError : the interface could have hardware behind it.
    AdapterError : it cannot be opened.
    """
    check_loopback(settings)
    arguments = dict(settings.options)
    if settings.interface == "udp_multicast":
        arguments["hop_limit"] = _THIS_COMPUTER
    if settings.channel is not None:
        arguments["channel"] = settings.channel
    try:
        return can.Bus(interface=settings.interface, ignore_config=True, **arguments)
    except Exception as error:
        raise AdapterError(
            f"{settings.words} cannot be opened: {error}", remedy="try another --channel"
        ) from error


def _messages(frames: Frames) -> Iterator[tuple[float, can.Message]]:
    """Frames as the library's messages, each with when it is due, from the first one's time."""
    kept = frames.select((frames.flags & np.uint8(FrameFlag.ERROR)) == 0)
    if not len(kept):
        return
    due_s = np.maximum.accumulate((kept.time_ns - kept.time_ns[0]) / 1e9)
    columns = zip(
        due_s.tolist(),
        kept.can_id.tolist(),
        kept.flags.tolist(),
        kept.length.tolist(),
        kept.data,
        strict=True,
    )
    for at_s, can_id, flags, length, data in columns:
        remote = bool(flags & FrameFlag.REMOTE)
        yield (
            at_s,
            can.Message(
                arbitration_id=can_id,
                is_extended_id=bool(flags & FrameFlag.EXTENDED),
                is_remote_frame=remote,
                is_fd=bool(flags & FrameFlag.FD),
                bitrate_switch=bool(flags & FrameFlag.BRS),
                error_state_indicator=bool(flags & FrameFlag.ESI),
                dlc=length,
                data=None if remote else data[:length].tobytes(),
            ),
        )
