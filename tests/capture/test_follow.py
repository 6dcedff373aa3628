"""A growing log is read as it grows, and to the same end as a finished one."""

import threading
import time
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from canwheel.capture import read_capture
from canwheel.capture.follow import FollowedLog
from canwheel.errors import CaptureError
from canwheel.frames import Frames

LINES = [
    b"(1700000000.%06d) %s %s\n" % (i, b"can%d" % (i % 2), frame)
    for i, frame in enumerate([b"1A0#1122", b"18FEBF0B#00", b"123#R2", b"20000004#0004"] * 25)
]


@given(st.lists(st.integers(1, 400), max_size=20), st.booleans())
@settings(max_examples=25, deadline=None)
def test_written_in_any_pieces_it_reads_like_the_finished_file(
    tmp_path_factory: pytest.TempPathFactory,
    sizes: list[int],
    cut: bool,  # noqa: FBT001
) -> None:
    path = tmp_path_factory.mktemp("grow") / "a.log"
    text = b"".join(LINES)[: -2 if cut else None]
    path.write_bytes(b"")
    ended = threading.Event()
    log = FollowedLog(path, ended.is_set)
    parts: list[Frames] = []
    reader = threading.Thread(target=lambda: parts.extend(log))
    reader.start()
    with path.open("ab", buffering=0) as file:
        for size in sizes:
            file.write(text[:size])
            text = text[size:]
        file.write(text)
    ended.set()
    reader.join(5)
    assert not reader.is_alive()
    whole = read_capture(path)
    mine = Frames.concatenate(parts)
    for column in ("time_ns", "can_id", "flags", "length", "data", "channel", "index"):
        np.testing.assert_array_equal(getattr(mine, column), getattr(whole.frames, column))
    assert mine.channels == whole.frames.channels
    assert log.summary.frames == whole.summary.frames
    assert log.summary.cut_last_line == whole.summary.cut_last_line == cut
    assert log.summary.last_time_ns == whole.summary.last_time_ns


def test_frames_are_there_as_soon_as_their_line_is(tmp_path: Path) -> None:
    path = tmp_path / "a.log"
    path.write_bytes(LINES[0] + LINES[1][:10])
    log = FollowedLog(path, lambda: False)
    parts: list[Frames] = []
    reader = threading.Thread(target=lambda: parts.extend(log))
    reader.start()
    until = time.monotonic() + 5
    while not parts and time.monotonic() < until:
        time.sleep(0.01)
    assert sum(map(len, parts)) == 1  # half a line is none yet
    log.stop()
    reader.join(5)
    assert not reader.is_alive()
    assert log.size_bytes == path.stat().st_size


def test_a_log_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(CaptureError, match="no such file"):
        FollowedLog(tmp_path / "a.log", lambda: True)
