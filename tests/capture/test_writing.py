"""Frames written and read again, exactly; files whole or not there at all."""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import can
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from canwheel.capture import read_capture
from canwheel.capture.text_writer import format_lines
from canwheel.capture.writing import WRITERS, Cut, convert_capture, write_capture
from canwheel.errors import CaptureError, RequestError
from canwheel.frames import FrameFlag, Frames, IdPattern

Write = Callable[..., Path]
Plain = Callable[[Frames], list[tuple[Any, ...]]]

FD_LENGTHS = (0, 1, 2, 3, 4, 5, 6, 7, 8, 12, 16, 20, 24, 32, 48, 64)
MICROSECOND = 1000


@st.composite
def any_frames(draw: st.DrawFn) -> Frames:
    """Frames of every kind on several channels, times in microseconds, not always forward."""
    names = ("can0", "can1", "vcan-rear", "7")
    rows = []
    for _ in range(draw(st.integers(1, 15))):
        time_us = draw(
            st.one_of(st.integers(-(10**9), 2**50), st.integers(17 * 10**14, 10**9 + 17 * 10**14))
        )
        kind = draw(st.sampled_from(["data", "fd", "remote", "error"]))
        flags = draw(st.sampled_from([0, FrameFlag.EXTENDED])) | draw(
            st.sampled_from([0, FrameFlag.SENT])
        )
        data = draw(st.binary(max_size=8))
        length = len(data)
        if kind == "fd":
            length = draw(st.sampled_from(FD_LENGTHS))
            data = draw(st.binary(min_size=length, max_size=length))
            flags |= FrameFlag.FD | draw(st.sampled_from([0, FrameFlag.BRS, FrameFlag.ESI, 12]))
        elif kind == "remote":
            data, length = b"", draw(st.integers(0, 8))
            flags |= FrameFlag.REMOTE
        elif kind == "error":
            flags |= FrameFlag.ERROR | FrameFlag.EXTENDED
        most = 0x1FFFFFFF if flags & FrameFlag.EXTENDED else 0x7FF
        can_id = draw(st.integers(0, most))
        rows.append((time_us * MICROSECOND, can_id, flags, length, data, draw(st.integers(0, 3))))
    width = max(8, *(len(row[4]) for row in rows))
    data = np.frombuffer(b"".join(row[4].ljust(width, b"\0") for row in rows), np.uint8)
    return Frames(
        time_ns=np.array([row[0] for row in rows], np.int64),
        can_id=np.array([row[1] for row in rows], np.uint32) & 0x1FFFFFFF,
        flags=np.array([row[2] for row in rows], np.uint8),
        length=np.array([row[3] for row in rows], np.uint8),
        data=data.reshape(-1, width),
        channel=np.array([row[5] for row in rows], np.uint8),
        channels=names,
        index=np.arange(len(rows)),
    )  # fmt: skip


def check_round_trip(frames: Frames, path: Path, plain: Plain) -> None:
    """Write and read again."""
    path.unlink(missing_ok=True)
    half = np.arange(len(frames) // 2)
    rest = np.arange(len(frames) // 2, len(frames))
    assert write_capture(path, iter([frames.select(half), frames.select(rest)])) == len(frames)
    assert plain(read_capture(path).frames) == plain(frames)


@given(frames=any_frames())
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_a_text_log_comes_back_exactly(frames: Frames, tmp_path: Path, plain: Plain) -> None:
    check_round_trip(frames, tmp_path / "drive.log", plain)
    check_round_trip(frames, tmp_path / "drive.log.gz", plain)


@given(frames=any_frames())
@settings(
    suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=25, deadline=None
)
def test_an_mdf_file_comes_back_exactly(frames: Frames, tmp_path: Path, plain: Plain) -> None:
    pytest.importorskip("asammdf")
    check_round_trip(frames, tmp_path / "drive.mf4", plain)


@given(frames=any_frames())
def test_the_lines_are_what_python_can_reads(frames: Frames, same_frame: Any) -> None:
    import io  # noqa: PLC0415

    lines = format_lines(frames).decode()
    messages = list(can.CanutilsLogReader(io.StringIO(lines)))
    for row, message in enumerate(messages):
        # the library takes for errors only those of the class "bus error"
        if not frames.flags[row] & FrameFlag.ERROR or frames.can_id[row] & 0x80:
            same_frame(frames, row, message)


def test_nanoseconds_are_written_where_there_are_any(scan: Any) -> None:
    text = b"(5.000000001) can0 123#00\n(5.000001) can0 123#00\n(-0.250000) can0 123#00\n"
    frames, _ = scan(text)
    assert format_lines(frames) == text


def test_a_text_log_of_usual_lines_comes_back_byte_for_byte(
    log_file: Write, drive_text: bytes
) -> None:
    text = drive_text.replace(b" R\n", b"\n")
    out = log_file(b"").with_name("out.log")
    convert_capture(log_file(text), out)
    assert out.read_bytes() == text


def test_through_mdf_and_back_nothing_changes(log_file: Write, drive_text: bytes) -> None:
    pytest.importorskip("asammdf")
    text = drive_text.replace(b" R\n", b"\n")
    path = log_file(text)
    convert_capture(path, path.with_name("drive.mf4"))
    convert_capture(path.with_name("drive.mf4"), path.with_name("back.log"))
    assert path.with_name("back.log").read_bytes() == text


def test_a_part_is_cut_out_by_time_and_identifier(log_file: Write, drive_text: bytes) -> None:
    path = log_file(drive_text)
    wanted = (IdPattern.exactly(0x18FE0005, extended=True),)
    out = path.with_name("part.log")
    done = convert_capture(path, out, cut=Cut(5.0, 7.5, wanted))
    part, whole = read_capture(out).frames, read_capture(path, wanted).frames
    since_ns = whole.time_ns - read_capture(path).summary.first_time_ns
    inside = (since_ns >= 5 * 10**9) & (since_ns <= 7_500_000_000)
    assert done.written == len(part) == inside.sum() > 3
    assert np.array_equal(part.time_ns, whole.time_ns[inside])
    assert np.array_equal(part.data, whole.data[inside])
    assert done.summary.frames == 3000


@pytest.mark.parametrize(
    ("from_s", "to_s"), [(float("nan"), None), (None, float("inf")), (5.0, 4.0)]
)
def test_a_part_that_is_none_is_refused(from_s: float | None, to_s: float | None) -> None:
    with pytest.raises(RequestError):
        Cut(from_s, to_s)


def test_a_part_without_frames_leaves_no_file(log_file: Write) -> None:
    path = log_file(b"(1.0) can0 123#00\n")
    out = path.with_name("out.log")
    with pytest.raises(CaptureError, match=r"drive\.log: no frame of it"):
        convert_capture(path, out, cut=Cut(from_s=10.0))
    assert sorted(path.parent.iterdir()) == [path]


@pytest.mark.parametrize("suffix", WRITERS)
def test_an_existing_file_is_never_overwritten(log_file: Write, suffix: str) -> None:
    path = log_file(b"(1.0) can0 123#00\n")
    out = log_file(b"precious", f"out{suffix}")
    with pytest.raises(RequestError, match="exists already"):
        convert_capture(path, out)
    assert out.read_bytes() == b"precious"


def test_a_file_that_appears_meanwhile_is_not_overwritten(log_file: Write, scan: Any) -> None:
    out = log_file(b"").with_name("out.log")
    frames, _ = scan(b"(1.0) can0 123#00\n")

    def pieces() -> Iterator[Frames]:
        yield frames
        out.write_bytes(b"precious")

    with pytest.raises(RequestError, match="exists already"):
        write_capture(out, pieces())
    assert out.read_bytes() == b"precious"


@pytest.mark.parametrize("stop", [KeyboardInterrupt, CaptureError("bad")])
def test_what_is_stopped_leaves_nothing(log_file: Write, scan: Any, stop: Any) -> None:
    out = log_file(b"").with_name("out.log.gz")
    frames, _ = scan(b"(1.0) can0 123#00\n")

    def pieces() -> Iterator[Frames]:
        yield frames
        raise stop

    with pytest.raises((KeyboardInterrupt, CaptureError)):
        write_capture(out, pieces())
    assert [path.name for path in out.parent.iterdir()] == ["drive.log"]


def test_a_bad_capture_leaves_no_output(log_file: Write) -> None:
    path = log_file(b"(1.0) can0 123#00\n" + b"noise\n" * 9)
    with pytest.raises(CaptureError, match="9 of 10 lines"):
        convert_capture(path, path.with_name("out.log"))
    assert sorted(path.parent.iterdir()) == [path]


@pytest.mark.parametrize("name", ["out", "out.txt", "out.blf", "log", "out.gz"])
def test_a_suffix_that_cannot_be_written_is_refused(log_file: Write, name: str) -> None:
    path = log_file(b"(1.0) can0 123#00\n")
    with pytest.raises(RequestError, match=r"use one of \.log, \.log\.gz, \.mf4|Use one of"):
        convert_capture(path, path.with_name(name))


def test_a_missing_folder_is_told(log_file: Write) -> None:
    path = log_file(b"(1.0) can0 123#00\n")
    with pytest.raises(RequestError, match="cannot be written to"):
        convert_capture(path, path.parent / "none" / "out.log")


def test_progress_is_told_while_converting(log_file: Write, drive_text: bytes) -> None:
    path = log_file(drive_text)
    told: list[tuple[int, int]] = []
    convert_capture(
        path, path.with_name("out.log"), progress=lambda done, size: told.append((done, size))
    )
    assert told[-1] == (len(drive_text), len(drive_text))
