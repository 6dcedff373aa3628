"""What is played on a loopback bus arrives as it is, in time, and nowhere else."""

import time

import can
import numpy as np
import pytest

from canwheel.bus.adapters import AdapterSettings
from canwheel.bus.loopback import play
from canwheel.errors import RequestError
from canwheel.frames import FrameFlag, Frames


def some_frames(count: int, period_s: float) -> Frames:
    return Frames(
        time_ns=(np.arange(count) * period_s * 1e9).astype(np.int64) + 17,
        can_id=np.full(count, 0x1A0, np.uint32),
        flags=np.zeros(count, np.uint8),
        length=np.full(count, 8, np.uint8),
        data=np.arange(count, dtype=">u8").view(np.uint8).reshape(count, 8),
        channel=np.zeros(count, np.uint8),
        channels=("can0",),
        index=np.arange(count),
    )


def test_frames_arrive_in_order_and_at_their_pace() -> None:
    with can.Bus(interface="virtual", channel="play", ignore_config=True) as bus:
        began = time.monotonic()
        told: list[float] = []
        frames = some_frames(200, 0.02)
        play(frames, AdapterSettings("virtual", "play"), speed=8.0, tell=told.append)
        took = time.monotonic() - began
        heard = [bus.recv(0.1) for _ in range(200)]
    assert [int.from_bytes(m.data, "big") for m in heard if m is not None] == list(range(200))
    assert 0.4 < took < 1.5  # four seconds of driving at eight times the speed
    assert told == []


def test_kinds_of_frames_are_kept_and_error_frames_are_not_sent() -> None:
    frames = some_frames(4, 0.0)
    flags = [FrameFlag.EXTENDED, FrameFlag.REMOTE, FrameFlag.FD | FrameFlag.BRS, FrameFlag.ERROR]
    frames.flags[:] = flags
    with can.Bus(interface="virtual", channel="kinds", ignore_config=True) as bus:
        play(frames, AdapterSettings("virtual", "kinds"))
        heard = [message for message in (bus.recv(0.05) for _ in range(4)) if message]
    assert [m.is_extended_id for m in heard] == [True, False, False]
    assert [m.is_remote_frame for m in heard] == [False, True, False]
    assert [(m.is_fd, m.bitrate_switch) for m in heard] == [(False, False)] * 2 + [(True, True)]


@pytest.mark.parametrize("interface", ["slcan", "gs_usb", "socketcan", "socketcand", "silent"])
def test_anything_with_a_wire_behind_it_is_refused(interface: str) -> None:
    with pytest.raises(RequestError, match="could have a car behind it"):
        play(some_frames(1, 0.0), AdapterSettings(interface, "x", 500_000))


def test_between_two_buses_over_the_network_stack() -> None:
    """udp_multicast, kept on this computer by its hop limit."""
    options = {"port": 43219}
    channel = "239.74.163.2"
    try:
        bus = can.Bus(interface="udp_multicast", channel=channel, ignore_config=True, **options)
    except (can.CanError, OSError) as error:
        pytest.skip(f"no multicast here: {error}")
    with bus:
        play(some_frames(50, 0.001), AdapterSettings("udp_multicast", channel, options=options))
        heard = [bus.recv(0.2) for _ in range(50)]
    assert all(message is not None for message in heard)
