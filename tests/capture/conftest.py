"""Shared by the tests of the captures."""

import io
from collections.abc import Callable
from pathlib import Path
from typing import Any

import can
import numpy as np
import pytest

from canwheel.capture.source import PlainSource
from canwheel.capture.tally import Tally
from canwheel.capture.text import TextScan
from canwheel.frames import FrameFlag, Frames, Wanted

Scan = Callable[..., tuple[Frames, Tally]]


def scan_bytes(text: bytes, wanted: Wanted | None = None, *, chunk_bytes: int = 1 << 20) -> Any:
    """Read a text log that stands in memory."""
    scan = TextScan(PlainSource(io.BytesIO(text), len(text)), wanted, chunk_bytes=chunk_bytes)
    frames = Frames.concatenate(list(scan))
    return frames, scan.tally


@pytest.fixture(scope="session")
def scan() -> Scan:
    return scan_bytes


def as_tuples(frames: Frames) -> list[tuple[Any, ...]]:
    """Return frames as plain values, to be compared."""
    return [
        (
            int(frames.time_ns[row]),
            int(frames.can_id[row]),
            int(frames.flags[row]),
            int(frames.length[row]),
            frames.data[row].tobytes().rstrip(b"\0"),
            frames.channels[frames.channel[row]],
            int(frames.index[row]),
        )
        for row in range(len(frames))
    ]


@pytest.fixture(scope="session")
def plain() -> Callable[[Frames], list[tuple[Any, ...]]]:
    return as_tuples


def assert_frame_is(frames: Frames, row: int, message: can.Message) -> None:
    """Compare one frame with what python-can's reader says of it."""
    flags = FrameFlag(int(frames.flags[row]))
    # the library's time is a float of seconds: good to 0.24 microseconds at today's epoch
    assert frames.time_ns[row] / 1e9 == pytest.approx(message.timestamp, abs=5e-7, rel=1e-15)
    if message.is_error_frame:  # of which the library keeps nothing but the time
        assert FrameFlag.ERROR in flags
        return
    assert (FrameFlag.SENT in flags) is (not message.is_rx)
    assert frames.can_id[row] == message.arbitration_id
    assert (FrameFlag.EXTENDED in flags) is message.is_extended_id
    assert (FrameFlag.REMOTE in flags) is message.is_remote_frame
    assert (FrameFlag.FD in flags) is message.is_fd
    assert (FrameFlag.BRS in flags) is message.bitrate_switch
    assert (FrameFlag.ESI in flags) is message.error_state_indicator
    assert frames.length[row] == message.dlc
    payload = b"" if message.is_remote_frame else bytes(message.data)
    assert frames.data[row].tobytes() == payload.ljust(frames.data.shape[1], b"\0")
    assert frames.channels[frames.channel[row]] == str(message.channel)


@pytest.fixture(scope="session")
def same_frame() -> Callable[[Frames, int, can.Message], None]:
    return assert_frame_is


@pytest.fixture
def log_file(tmp_path: Path) -> Callable[[bytes], Path]:
    """Return what writes a capture and names it."""

    def write(content: bytes, name: str = "drive.log") -> Path:
        path = tmp_path / name
        path.write_bytes(content)
        return path

    return write


@pytest.fixture(scope="session")
def drive_text() -> bytes:
    """Return 3,000 frames of 24 identifiers on two channels, of every usual form."""
    random = np.random.default_rng(7)
    lines = []
    for number in range(3000):
        k = int(random.integers(24))
        can_id = f"{0x18FE0000 + k:08X}" if k % 5 == 0 else f"{0x100 + 29 * k:03X}"
        data = random.bytes(int(random.integers(9))).hex().upper()
        if k % 7 == 3:
            data = f"#{k % 4}" + random.bytes(int(random.choice([0, 8, 12, 64]))).hex().upper()
        elif k == 11:
            data = "R" + ("8" if number % 2 else "")
        time = f"{1_700_000_000 + number // 100}.{number % 100:02d}{k:04d}"
        suffix = ("", " R", " T")[number % 3]
        lines.append(f"({time}) can{k % 2} {can_id}#{data}{suffix}\n")
    return "".join(lines).encode()
