"""Recordings of every form that python-can writes, against python-can's own readers."""

import bz2
import gzip
import lzma
import os
import re
import sys
import threading
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import can
import numpy as np
import pytest

from canwheel.capture import iter_frames, read_capture
from canwheel.errors import CaptureError
from canwheel.frames import FrameFlag, Frames, IdPattern

Write = Callable[..., Path]
Plain = Callable[[Frames], list[tuple[Any, ...]]]

SUFFIXES = [".asc", ".blf", ".csv", ".db", ".trc", ".log"]


def drive(*, plain_frames_only: bool) -> list[can.Message]:
    """Return messages of every kind that a form can hold."""
    random = np.random.default_rng(3)
    messages = []
    for number in range(300):
        kind = number % 10
        extended = number % 3 == 0
        common: dict[str, Any] = {
            "timestamp": 1_700_000_000.0 + number / 100,
            "arbitration_id": 0x18FE0000 + number % 8 if extended else 0x100 + number % 8,
            "is_extended_id": extended,
            "channel": 0 if plain_frames_only else number % 2,
        }
        if kind == 7 and not plain_frames_only:
            common |= {"is_remote_frame": True, "dlc": number % 9}
        elif kind == 8 and not plain_frames_only:
            data = random.bytes((12, 64)[number % 2])
            common |= {"is_fd": True, "data": data, "bitrate_switch": bool(number % 3)}
        else:
            common |= {"data": random.bytes(number % 9)}
        messages.append(can.Message(**common))
    return messages


@pytest.fixture(params=SUFFIXES)
def recording(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    path = tmp_path / f"drive{request.param}"
    plain_only = request.param in {".trc", ".csv", ".db"}
    with can.Logger(path) as logger:
        for message in drive(plain_frames_only=plain_only):
            logger(message)
    return path


def assert_as_the_library(frames: Frames, path: Path, same_frame: Any) -> None:
    """Compare all frames with what python-can's own reader says."""
    with can.LogReader(path) as reader:
        messages = list(reader)
    assert len(frames) == len(messages) >= 300
    for row, message in enumerate(messages):
        message.channel = 0 if message.channel is None else message.channel
        same_frame(frames, row, message)


def test_every_form_is_read_as_the_library_reads_it(recording: Path, same_frame: Any) -> None:
    capture = read_capture(recording)
    assert_as_the_library(capture.frames, recording, same_frame)
    assert capture.summary.frames == len(capture.frames)
    assert capture.summary.damage == ""
    assert capture.frames.index.tolist() == list(range(len(capture.frames)))


def test_wanted_frames_are_a_part_of_all(recording: Path, plain: Plain) -> None:
    wanted = (
        IdPattern.exactly(0x101, extended=False),
        IdPattern.exactly(0x18FE0003, extended=True),
    )
    everything = read_capture(recording).frames
    data_frame = everything.flags & (FrameFlag.REMOTE | FrameFlag.ERROR) == 0
    extended = everything.flags & FrameFlag.EXTENDED != 0
    keep = (everything.can_id == 0x101) & ~extended
    keep |= (everything.can_id == 0x18FE0003) & extended
    part = read_capture(recording, wanted)
    assert plain(part.frames) == plain(everything.select(keep & data_frame))
    assert part.summary.frames == len(everything)
    assert len(part.frames) > 10


def test_gz_and_a_lying_suffix_do_not_matter(recording: Path, plain: Plain) -> None:
    expected = plain(read_capture(recording).frames)
    packed = recording.with_name(f"{recording.name}.gz")
    packed.write_bytes(gzip.compress(recording.read_bytes()))
    assert plain(read_capture(packed).frames) == expected
    for name in ("other.log", "other.blf", "other.txt", "other"):
        liar = recording.with_name(name)
        liar.write_bytes(recording.read_bytes())
        assert plain(read_capture(liar).frames) == expected
        liar.unlink()


def test_a_cut_recording_is_read_as_far_as_it_goes(recording: Path) -> None:
    content = recording.read_bytes()
    recording.write_bytes(content[: len(content) * 2 // 3])
    if recording.suffix == ".db":  # which keeps an index
        with pytest.raises(CaptureError, match=re.escape(str(recording))):
            read_capture(recording)
        return
    capture = read_capture(recording)
    assert 100 < len(capture.frames) < 300
    if recording.suffix != ".asc":  # of which the library passes over a cut line in silence
        assert capture.summary.damage or capture.summary.cut_last_line


def test_an_mdf_file_is_read_as_the_library_reads_it(tmp_path: Path, same_frame: Any) -> None:
    pytest.importorskip("asammdf")
    path = tmp_path / "drive.mf4"
    with can.MF4Writer(path) as logger:
        for message in drive(plain_frames_only=False):
            logger(message)
    capture = read_capture(path)
    assert_as_the_library(capture.frames, path, same_frame)
    packed = tmp_path / "drive.log.gz"
    packed.write_bytes(gzip.compress(path.read_bytes()))
    assert np.array_equal(read_capture(packed).frames.data, capture.frames.data)


@pytest.mark.parametrize(
    "content",
    [
        b"MDF     4.10    nonsense" + bytes(500),
        b"UnFinMF 4.10    nonsense" + bytes(50),
        b"LOGG" + bytes(500),
        b"LOGG",
        b"SQLite format 3\0" + bytes(500),
        b"date Mon Jan 1 10:00:00.000 am 2024\nbase hex  timestamps absolute\n",
        b";$FILEVERSION=9.9\n",
        b"timestamp,arbitration_id,extended,remote,error,dlc,data\nx\n",
    ],
)
def test_a_broken_file_is_refused_in_one_line(log_file: Write, content: bytes) -> None:
    path = log_file(content)
    with pytest.raises(CaptureError) as caught:
        read_capture(path)
    assert str(caught.value).startswith(f"{path}: ")
    assert "\n" not in str(caught.value)
    with pytest.raises(CaptureError):
        list(iter_frames(path))


def test_an_mdf_file_without_a_bus_is_refused(tmp_path: Path) -> None:
    asammdf = pytest.importorskip("asammdf")
    path = tmp_path / "signals.mf4"
    with asammdf.MDF(version="4.10") as mdf:
        mdf.append(asammdf.Signal(np.arange(5.0), np.arange(5.0), name="speed"))
        mdf.save(path)
    with pytest.raises(CaptureError, match="no frames of a CAN bus"):
        read_capture(path)


def test_without_asammdf_the_remedy_is_told(
    log_file: Write, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "asammdf", None)
    with pytest.raises(CaptureError, match=r"pip install 'canwheel\[mdf\]'"):
        read_capture(log_file(b"MDF     4.10    " + bytes(500), "drive.mf4"))


def test_standard_input_is_read_whole(
    recording: Path, plain: Plain, monkeypatch: pytest.MonkeyPatch
) -> None:
    expected = read_capture(recording)
    with recording.open() as stream:
        monkeypatch.setattr(sys, "stdin", stream)
        capture = read_capture(Path("-"))
    assert plain(capture.frames) == plain(expected.frames)
    assert capture.summary.sha256 == expected.summary.sha256
    assert capture.summary.file == "standard input"


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="the system has no named pipes")
def test_a_pipe_is_read_whole(tmp_path: Path, drive_text: bytes) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    feeder = threading.Thread(target=pipe.write_bytes, args=(drive_text,))
    feeder.start()
    capture = read_capture(pipe)
    feeder.join()
    assert capture.summary.frames == 3000


def test_a_clock_that_leaps_takes_no_more_memory(log_file: Write) -> None:
    path = log_file(b"(5.0) can0 123#00\n(1700000000.0) can0 123#01\n(31.0) can0 123#02\n")
    capture = read_capture(path)
    assert len(capture.frames) == 3
    assert capture.frames.index.tolist() == [0, 1, 2]


def asc_file(path: Path, times_s: Any) -> Path:
    lines = [f" {time_s:.6f} 1 1B2 Rx d 2 01 00" for time_s in times_s]
    head = "date Mon Sep 21 17:13:20.5 2026\nbase hex  timestamps relative\n"
    path.write_text(head + "internal events logged\n" + "\n".join(lines) + "\n")
    return path


@pytest.mark.parametrize("from_line_to_line", [[0.01] * 40, [0.0] + [0.0045, 0.0086, 0.0021] * 20])
def test_asc_times_that_count_from_the_line_before_are_refused(
    tmp_path: Path, from_line_to_line: list[float]
) -> None:
    path = asc_file(tmp_path / "drive.asc", from_line_to_line)
    with pytest.raises(CaptureError, match="absolute time stamps") as refused:
        read_capture(path)
    assert str(refused.value).startswith(str(path))


def test_asc_times_called_relative_that_grow_are_read(tmp_path: Path) -> None:
    capture = read_capture(asc_file(tmp_path / "drive.asc", np.arange(40) / 100))
    assert capture.summary.frames == 40
    assert capture.summary.duration_s == pytest.approx(0.39)


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-le", "utf-16-be"])
@pytest.mark.parametrize("packed", [False, True])
def test_text_of_two_bytes_a_letter_is_refused(
    recording: Path, encoding: str, *, packed: bool
) -> None:
    if recording.suffix in {".blf", ".db"}:
        pytest.skip("no text")
    data = recording.read_text(encoding="utf-8").encode(encoding)
    recording.write_bytes(gzip.compress(data) if packed else data)
    with pytest.raises(CaptureError, match=r"this is UTF-16 text.*UTF-8") as refused:
        read_capture(recording)
    assert str(refused.value).startswith(str(recording))


@pytest.mark.parametrize("packing", ["zip", "xz", "bzip2"])
def test_what_is_packed_is_refused_by_its_name(tmp_path: Path, packing: str) -> None:
    """As the standard library packs it."""
    line = b"(1700000000.000000) can0 1A6#0FA00FA30F9E0FA1\n"
    path = tmp_path / "drive.log"
    if packing == "zip":
        with zipfile.ZipFile(path, "w") as archive:
            archive.writestr("drive.log", line)
    else:
        path.write_bytes((lzma if packing == "xz" else bz2).compress(line))
    with pytest.raises(CaptureError, match=f"packed as {packing}.*npack it first") as refused:
        read_capture(path)
    assert str(refused.value).startswith(str(path))


def test_a_byte_order_mark_is_no_text(recording: Path) -> None:
    if recording.suffix in {".blf", ".db"}:
        pytest.skip("no text")
    plain = read_capture(recording)
    recording.write_bytes(b"\xef\xbb\xbf" + recording.read_bytes())
    marked = read_capture(recording)
    assert marked.summary.frames == plain.summary.frames
    assert np.array_equal(marked.frames.data, plain.frames.data)
    assert marked.summary.damage == plain.summary.damage == ""


def test_progress_is_told_to_the_end_of_what_the_library_reads(recording: Path) -> None:
    told: list[tuple[int, int]] = []
    read_capture(recording, progress=lambda done, total: told.append((done, total)))
    size = recording.stat().st_size
    assert told[-1][1] == size
    assert told[-1][0] == (0 if recording.suffix == ".db" else size)


@pytest.mark.parametrize("suffix", [".asc", ".blf"])
def test_a_file_that_becomes_shorter_while_the_library_reads_it_is_damaged(
    tmp_path: Path, suffix: str
) -> None:
    path = tmp_path / f"drive{suffix}"
    with can.Logger(path) as logger:
        for number in range(25_000):
            logger(can.Message(timestamp=1.7e9 + number / 100, arbitration_id=0x100, data=[1]))
    size = path.stat().st_size

    def cut(_done: int, _total: int) -> None:
        os.truncate(path, min(path.stat().st_size, size // 2))

    assert "became shorter" in read_capture(path, progress=cut).summary.damage
