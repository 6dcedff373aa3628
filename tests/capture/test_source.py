"""Compressed captures and fingerprints, against Python's own gzip and hashlib."""

import gzip
import hashlib
import io
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from canwheel.capture import read_capture
from canwheel.capture.source import Fingerprint, PlainSource, open_file, size_of, source_of
from canwheel.errors import CaptureError

Write = Callable[..., Path]


def text_of(path: Path, room: int = 1000) -> tuple[bytes, str, int]:
    """Return text, damage and bytes consumed."""
    found = bytearray()
    view = memoryview(bytearray(room))
    with open_file(path) as file:
        source = source_of(file, size_of(file, str(path)))
        while count := source.readinto(view):
            found += view[:count]
        return bytes(found), source.damage, source.consumed


@pytest.mark.parametrize("room", [1, 100, 1 << 20])
def test_gz_is_told_by_its_content(log_file: Write, drive_text: bytes, room: int) -> None:
    text = drive_text[:20_000]
    path = log_file(gzip.compress(text), "drive.log")
    assert text_of(path, room) == (text, "", path.stat().st_size)


def test_plain_text_may_be_called_gz(log_file: Write, drive_text: bytes) -> None:
    assert text_of(log_file(drive_text, "drive.log.gz")) == (drive_text, "", len(drive_text))


def test_several_members_and_padding_are_one_text(log_file: Write, drive_text: bytes) -> None:
    half = len(drive_text) // 2
    packed = gzip.compress(drive_text[:half]) + gzip.compress(drive_text[half:]) + bytes(512)
    assert text_of(log_file(packed))[:2] == (drive_text, "")


@pytest.mark.parametrize("share", [0.1, 0.5, 0.99])
def test_a_cut_gz_gives_what_came_before(log_file: Write, drive_text: bytes, share: float) -> None:
    packed = gzip.compress(drive_text)
    text, damage, _ = text_of(log_file(packed[: int(len(packed) * share)]))
    assert drive_text.startswith(text)
    assert len(text) > share * len(drive_text) / 2
    assert "too early" in damage


def test_a_damaged_gz_gives_what_came_before(log_file: Write, drive_text: bytes) -> None:
    packed = bytearray(gzip.compress(drive_text))
    middle = len(packed) // 2
    packed[middle : middle + 50] = bytes(50)
    text, damage, _ = text_of(log_file(bytes(packed)))
    assert len(text) > len(drive_text) / 4
    assert text[: len(drive_text) // 4] == drive_text[: len(drive_text) // 4]
    assert damage


@pytest.mark.parametrize("place", [-8, -5])
def test_a_wrong_checksum_costs_no_text(log_file: Write, drive_text: bytes, place: int) -> None:
    packed = bytearray(gzip.compress(drive_text))  # which ends in checksum and length
    packed[place] ^= 1
    text, damage, _ = text_of(log_file(gzip.compress(drive_text) + bytes(packed)), 10_000)
    assert text.rstrip() == (2 * drive_text).rstrip()
    assert damage


@pytest.mark.parametrize("room", [100, 1 << 20])
def test_what_stands_right_before_a_defect_is_given(log_file: Write, room: int) -> None:
    # digits without a pattern: two of text are one packed, so that the two run in step
    digits = np.random.default_rng(1).bytes(3000).hex().encode()
    packed = bytearray(gzip.compress(digits))
    packed[2000:2004] = b"\0\xff\0\xff"
    text, damage, _ = text_of(log_file(bytes(packed)), room)
    assert damage
    assert text[:3000] == digits[:3000]


def test_a_file_that_grows_is_read_as_it_was_when_opened(drive_text: bytes) -> None:
    source = PlainSource(io.BytesIO(drive_text), 100)
    assert source.readinto(memoryview(bytearray(1000))) == 100
    assert source.readinto(memoryview(bytearray(1000))) == 0


def test_the_fingerprint_is_that_of_the_bytes_on_disk(log_file: Write, drive_text: bytes) -> None:
    content = gzip.compress(drive_text * 30)
    path = log_file(content)
    with Fingerprint(path, len(content)) as fingerprint:
        assert fingerprint.hexdigest() == hashlib.sha256(content).hexdigest()


def test_a_fingerprint_of_a_file_that_vanished_is_an_error(tmp_path: Path) -> None:
    with (
        Fingerprint(tmp_path / "gone.log", 10) as fingerprint,
        pytest.raises(CaptureError, match=r"gone\.log: the file cannot be read"),
    ):
        fingerprint.hexdigest()


def test_a_file_that_becomes_shorter_while_it_is_read_is_damaged(
    log_file: Write, drive_text: bytes
) -> None:
    path = log_file(drive_text)
    view = memoryview(bytearray(1000))
    with open_file(path) as file:
        source = source_of(file, size_of(file, str(path)))
        assert source.readinto(view) == 1000
        path.write_bytes(drive_text[:1500])
        assert source.readinto(view) == 500
        assert source.damage == ""
        assert source.readinto(view) == 0
        assert "became shorter" in source.damage


def test_a_recording_that_becomes_shorter_says_so_in_its_summary(
    log_file: Write, drive_text: bytes
) -> None:
    text = drive_text * (4_000_000 // len(drive_text))
    path = log_file(text)

    def cut(done: int, total: int) -> None:
        if done < total:
            path.write_bytes(text[:done])

    summary = read_capture(path, progress=cut).summary
    assert "became shorter" in summary.damage
    assert summary.frames > 0
