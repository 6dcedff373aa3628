"""Whole files: the summary, what occurs, and every way in which a file can be bad."""

import gzip
import hashlib
import os
from collections.abc import Callable
from pathlib import Path

import can
import numpy as np
import pytest

from canwheel.capture import IdCount, UnreadableLine, iter_frames, read_capture, read_ids
from canwheel.errors import CaptureError
from canwheel.frames import Frames, IdPattern

Write = Callable[..., Path]


def test_the_summary_tells_what_the_file_is(log_file: Write) -> None:
    text = b"(100.25) can0 123#00\n(101.5) can0 124#00\nnoise\n(99.0) can0 123#11\n"
    packed = gzip.compress(text)
    path = log_file(packed, "drive.log.gz")
    capture = read_capture(path, (IdPattern.exactly(0x123, extended=False),))
    summary = capture.summary
    assert summary.file == str(path)
    assert summary.sha256 == hashlib.sha256(packed).hexdigest()
    assert (summary.frames, len(capture.frames)) == (3, 2)
    assert (summary.first_time_ns, summary.last_time_ns) == (100_250_000_000, 99_000_000_000)
    assert summary.duration_s == 0.0
    assert summary.unreadable_lines == 1
    assert summary.first_unreadable == UnreadableLine(3, "noise")
    assert not summary.cut_last_line
    assert summary.damage == ""


def test_a_cut_gz_is_read_as_far_as_it_goes(log_file: Write, drive_text: bytes) -> None:
    packed = gzip.compress(drive_text)
    capture = read_capture(log_file(packed[: len(packed) // 2]))
    assert 1000 < len(capture.frames) < 2000
    assert "too early" in capture.summary.damage
    assert capture.summary.unreadable_lines == 0


def test_pieces_add_up_to_the_whole(log_file: Write, drive_text: bytes) -> None:
    path = log_file(drive_text * 12)
    whole = read_capture(path).frames
    pieces = list(iter_frames(path))
    assert len(pieces) > 1
    joined = Frames.concatenate(pieces)
    assert np.array_equal(joined.data, whole.data)
    assert np.array_equal(joined.time_ns, whole.time_ns)
    assert joined.index.tolist() == list(range(36_000))


def test_progress_ends_at_the_size_of_the_file(log_file: Write, drive_text: bytes) -> None:
    path = log_file(drive_text * 12)
    told: list[tuple[int, int]] = []
    read_capture(path, progress=lambda done, size: told.append((done, size)))
    assert told[-1] == (path.stat().st_size, path.stat().st_size)
    assert [done for done, _ in told] == sorted(done for done, _ in told)


def test_progress_is_told_though_nothing_is_wanted(log_file: Write, drive_text: bytes) -> None:
    told: list[int] = []
    read_capture(log_file(drive_text * 40), (), progress=lambda done, _: told.append(done))
    assert len(told) > 2


def test_what_occurs_is_what_python_can_counts(log_file: Write, drive_text: bytes) -> None:
    path = log_file(drive_text)
    expected: dict[tuple[str, bool, int], int] = {}
    for message in can.LogReader(path):
        if not message.is_remote_frame:
            name = (str(message.channel), message.is_extended_id, message.arbitration_id)
            expected[name] = expected.get(name, 0) + 1
    assert read_ids(path) == sorted(IdCount(*name, count) for name, count in expected.items())


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "empty"),
        (b"\n\n\n", "not one frame"),
        (gzip.compress(b"", mtime=0), "not one frame"),
        (b"\x1f\x8b\x08", "not one frame"),
        (b"(12", "not one frame"),
        (bytes(range(256)) * 40, "no frames, the first is line 1"),
        (b"VERSION\n\nBO_ 12 A: 8 X\n SG_ B : 0|8@1+ (1,0)\n", "no frames"),
        (b"(1.0) can0 123#00\n" + b"noise\n" * 2, "2 of 3 lines are no frames"),
        (b"\x00" * 100_000, "not one frame"),
    ],
)
def test_a_file_that_is_no_capture_is_refused(log_file: Write, content: bytes, says: str) -> None:
    path = log_file(content)
    for wanted in (None, (IdPattern.exactly(0x123, extended=False),)):
        with pytest.raises(CaptureError) as caught:
            read_capture(path, wanted)
        assert says in str(caught.value)
        assert str(caught.value).startswith(str(path))
        assert caught.value.remedy
        with pytest.raises(CaptureError):
            list(iter_frames(path, wanted))


def test_a_missing_file_a_directory_and_a_locked_one_are_refused(tmp_path: Path) -> None:
    with pytest.raises(CaptureError, match="no such file"):
        read_capture(tmp_path / "none.log")
    with pytest.raises(CaptureError, match="a directory"):
        read_capture(tmp_path)
    with pytest.raises(CaptureError, match="cannot be opened"):
        read_capture(Path("a" * 5000))


@pytest.mark.skipif(
    not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may read every file"
)
def test_a_file_without_permission_is_refused(log_file: Write) -> None:
    path = log_file(b"(1.0) can0 123#00\n")
    path.chmod(0)
    with pytest.raises(CaptureError, match="cannot be opened"):
        read_capture(path)


def test_half_unreadable_is_still_a_capture(log_file: Write) -> None:
    capture = read_capture(log_file(b"(1.0) can0 123#00\nnoise\n"))
    assert (capture.summary.frames, capture.summary.unreadable_lines) == (1, 1)
