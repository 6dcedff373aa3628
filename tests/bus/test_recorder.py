"""The recording survives what happens on a drive."""

import errno
import os
import queue
import subprocess
import threading
import time
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import can
import pytest

from canwheel.bus import safe_file
from canwheel.bus.adapters import AdapterSettings
from canwheel.bus.listening import AdapterDoor, open_listener
from canwheel.bus.recorder import Recorder
from canwheel.bus.side_file import read_facts, write_facts
from canwheel.errors import AdapterError, RecordingError, RequestError


@pytest.fixture
def virtual(no_sending: None) -> Iterator[Callable[[can.Message], None]]:  # noqa: ARG001 - a guard
    """Put frames on the virtual bus ``drive`` without a send call."""
    heard_by = can.interfaces.virtual.channels

    def put(message: can.Message) -> None:
        for listener in list(heard_by.get("drive", ())):
            listener.put(message)

    return put  # type: ignore[return-value]


def record_virtual(path: Path, **options: Any) -> Recorder:
    settings = AdapterSettings("virtual", "drive")
    return Recorder(path, lambda: open_listener(settings), **options)


def numbered(count: int, *, start: float = 1_700_000_000.0) -> list[can.Message]:
    return [
        can.Message(
            timestamp=start + number / 4096,
            arbitration_id=0x1A0,
            is_extended_id=False,
            data=number.to_bytes(8, "big"),
        )
        for number in range(count)
    ]


def numbers_in(path: Path) -> list[int]:
    """Frame numbers by the library's own reader, a half last line left out."""
    text = path.read_text("ascii")
    whole = text[: text.rfind("\n") + 1]
    copy = path.with_name("whole.log")
    copy.write_text(whole, "ascii")
    with can.LogReader(copy) as reader:
        return [int.from_bytes(message.data, "big") for message in reader]


def test_all_of_a_burst_in_order_and_the_facts_beside_it(
    tmp_path: Path, virtual: Callable[[can.Message], None]
) -> None:
    path = tmp_path / "drive.log"
    recorder = record_virtual(path, vehicle="Bakery van 7", vehicle_file="van.toml")
    recorder.start()
    for message in numbered(50_000):
        virtual(message)
    virtual(can.Message(timestamp=1_700_000_050.0, is_error_frame=True))
    time.sleep(0.5)
    recorder.stop()
    facts = recorder.finish()
    assert numbers_in(path)[:-1] == list(range(50_000))
    assert facts.frames == 50_001
    assert facts.error_frames == 1
    side = tomllib.loads((tmp_path / "drive.toml").read_text())
    assert side["interface"] == "virtual"
    assert side["listen_only"] is True
    assert side["manner"] == "no hardware"
    assert side["clock"] == "system"
    assert side["state"] == "ended"
    assert side["vehicle"] == "Bakery van 7"
    assert side["end_reason"] == "ended as asked"
    assert "#" not in (tmp_path / "drive.toml").read_text()
    assert read_facts(path) == facts


def test_frames_are_in_the_file_half_a_second_after_they_came(
    tmp_path: Path, virtual: Callable[[can.Message], None], wait: Callable[..., None]
) -> None:
    recorder = record_virtual(tmp_path / "a.log")
    recorder.start()
    virtual(numbered(1)[0])
    wait(lambda: recorder.path.stat().st_size > 0, 0.5)
    recorder.stop()
    recorder.finish()


def test_time_stamps_that_step_back_are_kept(
    tmp_path: Path, virtual: Callable[[can.Message], None]
) -> None:
    recorder = record_virtual(tmp_path / "a.log")
    recorder.start()
    for stamp in (100.0, 99.0, 101.0):
        virtual(can.Message(timestamp=stamp, is_extended_id=False, arbitration_id=1))
    time.sleep(0.3)
    recorder.stop()
    recorder.finish()
    stamps = [line.split()[0] for line in recorder.path.read_text().splitlines()]
    assert stamps == ["(100.000000)", "(99.000000)", "(101.000000)"]


def test_what_had_arrived_when_the_end_was_asked_for_is_taken_as_well(
    tmp_path: Path, virtual: Callable[[can.Message], None]
) -> None:
    """Thousands of frames wait in the driver while the end is asked for."""
    recorder = record_virtual(tmp_path / "drive.log")
    recorder.start()
    for message in numbered(20_000):
        virtual(message)
    began_s = time.monotonic()
    recorder.stop()
    assert recorder.finish().frames == 20_000
    assert time.monotonic() - began_s < 5
    assert numbers_in(tmp_path / "drive.log") == list(range(20_000))


@pytest.mark.parametrize("taken", ["drive.log", "drive.toml"])
def test_a_file_that_exists_is_never_touched(tmp_path: Path, taken: str) -> None:
    (tmp_path / taken).write_text("mine")
    with pytest.raises(RequestError, match=rf"{taken}: exists already"):
        record_virtual(tmp_path / "drive.log")
    assert (tmp_path / taken).read_text() == "mine"
    assert len(list(tmp_path.iterdir())) == 1


def test_a_file_that_appears_meanwhile_is_not_touched_either(tmp_path: Path) -> None:
    path = tmp_path / "drive.log"
    path.write_text("mine")
    with pytest.raises(RequestError):
        safe_file.SafeLog(path)
    side = tmp_path / "drive.toml"
    side.write_text("mine")
    facts = read_facts(path)
    assert facts is None
    assert path.read_text() == side.read_text() == "mine"


@pytest.mark.parametrize("name", ["drive.blf", "drive", "drive.log.gz"])
def test_only_a_text_log_is_recorded(tmp_path: Path, name: str) -> None:
    with pytest.raises(RequestError, match=r"ends in \.log"):
        record_virtual(tmp_path / name)


def test_a_folder_that_is_not_there_is_one_clear_line(tmp_path: Path) -> None:
    with pytest.raises(RequestError, match="cannot be made"):
        record_virtual(tmp_path / "nowhere" / "drive.log")


def test_an_adapter_that_cannot_be_opened_leaves_no_file(tmp_path: Path) -> None:
    settings = AdapterSettings("slcan", "/dev/no-such-port", 500_000)
    with pytest.raises(AdapterError):
        Recorder(tmp_path / "a.log", AdapterDoor(settings).open)
    assert list(tmp_path.iterdir()) == []


def serial_door(adapter: Any) -> AdapterDoor:
    return AdapterDoor(
        AdapterSettings("slcan", str(adapter.path), 500_000, options={"sleep_after_open": 0})
    )


def test_pulled_out_and_back_goes_on_in_the_same_file_with_the_gap_on_record(
    tmp_path: Path,
    serial_adapter: Callable[..., Any],
    wait: Callable[..., None],
    no_sending: None,  # noqa: ARG001 - a guard
) -> None:
    adapter = serial_adapter()
    recorder = Recorder(tmp_path / "drive.log", serial_door(adapter).open)
    recorder.start()
    adapter.hears(*(b"t1A08%016X" % n for n in range(100)))
    wait(lambda: recorder.progress.frames == 100)
    adapter.raw(b"t1A08000000")  # torn off in the middle of a line
    adapter.pull_out()
    wait(lambda: recorder.progress.state == "waiting")
    wait(lambda: b'state = "waiting"' in recorder.path.with_suffix(".toml").read_bytes())
    assert recorder.path.read_bytes().count(b"\n") == 100  # what came is safe already
    assert "cannot be read" in recorder.progress.says
    adapter.plug_in()
    wait(lambda: recorder.progress.state == "recording")
    adapter.wait_open()
    adapter.hears(*(b"t1A08%016X" % n for n in range(100, 200)))
    wait(lambda: recorder.progress.frames == 200)
    recorder.stop()
    facts = recorder.finish()
    assert numbers_in(recorder.path) == list(range(200))
    (gap,) = facts.gap
    assert gap.to is not None
    assert 0 < (gap.to - gap.since).total_seconds() < 5
    assert adapter.sent == []


def test_without_waiting_a_lost_adapter_ends_the_recording(
    tmp_path: Path, serial_adapter: Callable[..., Any], wait: Callable[..., None]
) -> None:
    adapter = serial_adapter()
    recorder = Recorder(tmp_path / "drive.log", serial_door(adapter).open, wait=False)
    recorder.start()
    adapter.hears(b"t1A01FF")
    wait(lambda: recorder.progress.frames == 1)
    adapter.pull_out()
    wait(lambda: not recorder.is_running)
    facts = recorder.finish()
    assert facts.state == "ended"
    assert "cannot be read" in str(facts.end_reason)


def test_stopping_while_the_adapter_is_away(
    tmp_path: Path, serial_adapter: Callable[..., Any], wait: Callable[..., None]
) -> None:
    adapter = serial_adapter()
    recorder = Recorder(tmp_path / "drive.log", serial_door(adapter).open)
    recorder.start()
    adapter.pull_out()
    wait(lambda: recorder.progress.state == "waiting")
    recorder.stop()
    assert recorder.finish().state == "ended"


def test_an_adapter_that_lost_power_for_a_moment_is_opened_afresh(
    tmp_path: Path, serial_adapter: Callable[..., Any], wait: Callable[..., None]
) -> None:
    adapter = serial_adapter()
    door = serial_door(adapter)

    def impatient() -> Any:
        listener = door.open()
        listener.renew_after_s = 0.3
        return listener

    recorder = Recorder(tmp_path / "drive.log", impatient)
    recorder.start()
    adapter.wait_open()
    adapter.opened_with = None  # the port is there, the channel is closed
    wait(lambda: adapter.opened_with == b"L")
    while not recorder.progress.frames:
        adapter.hears(b"t1A01FF")
        time.sleep(0.02)
    recorder.stop()
    assert recorder.finish().gap == ()


def test_rubbish_packets_that_pass_for_frames_cost_no_frame(
    tmp_path: Path, virtual: Callable[[can.Message], None]
) -> None:
    recorder = record_virtual(tmp_path / "a.log")
    recorder.start()
    good = numbered(2)
    virtual(good[0])
    virtual(can.Message(timestamp=1.0, arbitration_id="word"))  # type: ignore[arg-type]
    virtual(can.Message(timestamp=float("nan"), arbitration_id=1.5))  # type: ignore[arg-type]
    virtual(good[1])
    time.sleep(0.4)
    recorder.stop()
    facts = recorder.finish()
    assert numbers_in(recorder.path) == [0, 1]
    assert facts.rubbish == 2


def test_a_defect_in_the_receiving_thread_is_told_and_what_came_is_kept(
    tmp_path: Path, virtual: Callable[[can.Message], None], monkeypatch: pytest.MonkeyPatch
) -> None:
    recorder = record_virtual(tmp_path / "a.log")
    listener = recorder._listener  # noqa: SLF001 - to break it
    assert listener is not None
    receive = listener.receive
    left = queue.SimpleQueue[None]()
    for _ in range(3):
        left.put(None)

    def break_down(timeout_s: float) -> can.Message | None:
        if left.empty():
            raise ZeroDivisionError
        left.get()
        return receive(timeout_s)

    monkeypatch.setattr(listener, "receive", break_down)
    for message in numbered(3):
        virtual(message)
    recorder.start()
    with pytest.raises(ZeroDivisionError):
        recorder.finish()
    assert numbers_in(recorder.path) == [0, 1, 2]


# a full disk


def test_a_full_disk_is_one_clear_line_and_the_file_ends_in_a_whole_line(
    tmp_path: Path,
    virtual: Callable[[can.Message], None],
    wait: Callable[..., None],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    room = [1000]
    write = os.write

    def write_until_full(fd: int, block: bytes) -> int:
        if room[0] == 0:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        taken = write(fd, bytes(block)[: room[0]])
        room[0] -= taken
        return taken

    recorder = record_virtual(tmp_path / "a.log")
    monkeypatch.setattr(safe_file.os, "write", write_until_full)
    recorder.start()
    for message in numbered(100):
        virtual(message)
    wait(lambda: not recorder.is_running)
    monkeypatch.undo()
    with pytest.raises(RecordingError, match="disk is full") as told:
        recorder.finish()
    assert "\n" not in str(told.value)
    text = recorder.path.read_text()
    assert text.endswith("\n")
    assert numbers_in(recorder.path) == list(range(text.count("\n")))
    assert text.count("\n") > 10


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system of 256 kB in memory, where the machine allows one."""
    folder = tmp_path / "disk"
    folder.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=256k", "tmpfs", str(folder)]
    try:
        subprocess.run(mount, check=True, capture_output=True)
    except (OSError, subprocess.CalledProcessError):
        pytest.skip("this machine lets nobody mount a file system of its own here")
    yield folder
    subprocess.run(["umount", "-l", str(folder)], check=True)  # noqa: S607 - as above


def test_a_really_full_disk(
    small_disk: Path, virtual: Callable[[can.Message], None], wait: Callable[..., None]
) -> None:
    recorder = record_virtual(small_disk / "drive.log")
    recorder.start()
    for message in numbered(20_000):
        virtual(message)
    wait(lambda: not recorder.is_running)
    with pytest.raises(RecordingError, match="disk is full"):
        recorder.finish()
    text = recorder.path.read_text()
    assert text.endswith("\n")
    assert numbers_in_elsewhere(text) == list(range(text.count("\n")))
    assert len(text) > 200_000
    facts = read_facts(recorder.path)  # there is no room for a new side file, but in the old one
    assert facts is not None
    assert facts.state == "ended"
    assert "disk is full" in (facts.end_reason or "")
    assert facts.frames == text.count("\n")
    assert {path.name for path in small_disk.iterdir()} == {"drive.log", "drive.toml"}


def numbers_in_elsewhere(text: str) -> list[int]:
    return [int(line.split("#")[1], 16) for line in text.splitlines()]


def test_a_disk_that_fails_to_sync_is_told(
    tmp_path: Path,
    virtual: Callable[[can.Message], None],
    wait: Callable[..., None],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def fail(fd: int) -> None:
        raise OSError(errno.EIO, os.strerror(errno.EIO), fd)

    monkeypatch.setattr(safe_file, "SYNC_S", 0.1)
    recorder = record_virtual(tmp_path / "a.log")
    recorder.start()
    monkeypatch.setattr(safe_file.os, "fsync", fail)
    until = time.monotonic() + 5
    while recorder.is_running and time.monotonic() < until:
        virtual(numbered(1)[0])
        time.sleep(0.05)
    wait(lambda: not recorder.is_running)
    monkeypatch.undo()
    with pytest.raises(RecordingError, match="cannot be written any more"):
        recorder.finish()


def test_a_side_file_that_cannot_be_written_does_not_end_the_recording(
    tmp_path: Path,
    virtual: Callable[[can.Message], None],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    recorder = record_virtual(tmp_path / "a.log")
    recorder.start()
    virtual(numbered(1)[0])

    def fail(*_: object, **__: object) -> None:
        raise RecordingError("cannot be written")

    monkeypatch.setattr("canwheel.bus.recorder.write_facts", fail)
    time.sleep(0.4)
    recorder.stop()
    assert recorder.finish().frames == 1
    assert "cannot be written" in recorder.progress.says


def test_the_file_is_asked_onto_the_disk_within_five_seconds(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, wait: Callable[..., None]
) -> None:
    assert safe_file.SYNC_S <= 5.0
    synced = threading.Event()
    log = safe_file.SafeLog(tmp_path / "a.log")
    log.close()
    monkeypatch.setattr(safe_file, "SYNC_S", 0.05)
    monkeypatch.setattr(safe_file.os, "fsync", lambda _: synced.set())
    log = safe_file.SafeLog(tmp_path / "b.log")
    synced.clear()
    log.write(b"(0.000000) can0 1A0#\n")
    wait(synced.is_set)
    log.close()


def test_the_side_file_is_replaced_whole(tmp_path: Path) -> None:
    recorder = record_virtual(tmp_path / "a.log")
    recorder.start()
    for _ in range(20):
        write_facts(tmp_path / "a.toml", recorder.facts)
        assert read_facts(recorder.path) == recorder.facts
    recorder.stop()
    recorder.finish()
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.log", "a.toml"]
