"""`record`, `watch`, `replay`, `adapters` and `simulate` as a whole."""

import contextlib
import fcntl
import gzip
import os
import pty
import re
import select
import signal
import subprocess
import sys
import termios
import time
import tomllib
from collections.abc import Callable
from pathlib import Path

import can
import pytest

from canwheel.cli.app import run

PROJECT = Path(__file__).parents[2]
GROUP = "239.74.163.2"  # python-can's own default for IPv4 (UdpMulticastBus)
Captured = pytest.CaptureFixture[str]
Start = Callable[..., contextlib.AbstractContextManager[subprocess.Popen[str]]]


@pytest.fixture(autouse=True)
def no_configuration(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Keep the machine's own adapter configuration out of the tests."""
    for name in ("CAN_INTERFACE", "CAN_CHANNEL", "CAN_BITRATE", "CAN_CONFIG"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setattr(can.util, "CONFIG_FILES", [str(tmp_path / "can.conf")])
    monkeypatch.setattr(can, "rc", {})


def error_of(captured: Captured, *arguments: object) -> str:
    assert run([str(argument) for argument in arguments]) == 2
    error = captured.readouterr().err
    assert "Traceback" not in error
    return error


def wait_for(condition: Callable[[], object], timeout_s: float = 15.0) -> None:
    until = time.monotonic() + timeout_s
    while not condition():
        assert time.monotonic() < until, "it did not happen in time"
        time.sleep(0.02)


def test_record_for_a_while_and_end_by_itself(tmp_path: Path, capsys: Captured) -> None:
    out = tmp_path / "a.log"
    arguments = ["record", out, "--interface", "virtual", "--channel", "x", "--yes", "--for", "0.5"]
    assert run([str(argument) for argument in arguments]) == 0
    output = capsys.readouterr()
    assert "There is no wire behind it" in output.err
    assert "0 frames" in output.err
    side = tomllib.loads((tmp_path / "a.toml").read_text())
    assert side["state"] == "ended"
    assert out.exists()


def test_a_simulated_drive_recorded_watched_and_judged(
    tmp_path: Path, loopback: list[str], car: list[str], canwheel: Start
) -> None:
    """Two processes, the real network stack, and the view a third process."""
    out = tmp_path / "drive.log"
    with canwheel("record", out, *loopback, *car, "--yes", "--plain") as recorder:
        wait_for(out.exists)
        with canwheel("simulate", *loopback, "--speed", "16") as simulator:
            assert simulator.wait(60) == 0
        wait_for(lambda: out.stat().st_size > 500_000)
        recorder.send_signal(signal.SIGINT)
        screen, told = recorder.communicate(timeout=60)
    assert recorder.returncode == 0, told
    assert "Traceback" not in told
    assert re.search(r"recording \| [\d,]+ frames/s", screen)
    assert "FL" in screen
    assert "FAULT FOUND" in screen or "NOT ENOUGH DRIVING" in screen  # it ran 16 times as fast
    assert out.read_text().endswith("\n")


@pytest.mark.parametrize("name", ["SIGINT", "SIGTERM", "SIGHUP"])
def test_every_polite_end_closes_the_file(
    tmp_path: Path, loopback: list[str], name: str, canwheel: Start
) -> None:
    out = tmp_path / "a.log"
    with canwheel("record", out, *loopback, "--yes") as recorder:
        wait_for((tmp_path / "a.toml").exists)
        time.sleep(0.3)
        recorder.send_signal(getattr(signal, name))
        _, told = recorder.communicate(timeout=15)
    assert recorder.returncode == 0, told
    assert tomllib.loads((tmp_path / "a.toml").read_text())["state"] == "ended"


def test_a_view_that_is_killed_does_not_end_the_recording(
    tmp_path: Path, loopback: list[str], car: list[str], canwheel: Start
) -> None:
    out = tmp_path / "a.log"
    with canwheel("record", out, *loopback, *car, "--yes", "--plain") as recorder:
        wait_for(out.exists)

        def view() -> list[int]:
            children = Path(f"/proc/{recorder.pid}/task/{recorder.pid}/children")
            if not children.exists():
                pytest.skip("this system does not tell a process's children")
            return [int(pid) for pid in children.read_text().split()]

        wait_for(view)
        os.kill(view()[0], signal.SIGKILL)
        assert recorder.stderr is not None
        told = ""
        while "the recording goes on" not in told:
            told += recorder.stderr.readline()
        with canwheel("simulate", *loopback, "--speed", "64") as simulator:
            wait_for(lambda: out.stat().st_size > 10_000)
            simulator.kill()
        recorder.send_signal(signal.SIGTERM)
        recorder.communicate(timeout=15)
    assert recorder.returncode == 0


def test_killed_without_warning_the_file_reads(
    tmp_path: Path, loopback: list[str], canwheel: Start
) -> None:
    """One kill; tests/benchmarks/kills.py does a hundred."""
    out = tmp_path / "a.log"
    with canwheel("record", out, *loopback, "--yes") as recorder:
        wait_for(out.exists)
        with canwheel("simulate", *loopback, "--speed", "64"):
            wait_for(lambda: out.stat().st_size > 50_000)
            recorder.kill()
            recorder.communicate()
    text = out.read_text()
    whole = text[: text.rfind("\n") + 1]
    (tmp_path / "whole.log").write_text(whole)
    with can.LogReader(tmp_path / "whole.log") as reader:
        assert sum(1 for _ in reader) == whole.count("\n") > 500


# what stops it before it begins


def test_a_key_is_asked_for_and_without_a_terminal_that_is_said(
    tmp_path: Path, capsys: Captured
) -> None:
    assert run(["record", str(tmp_path / "a.log"), "--interface", "virtual"]) == 2
    output = capsys.readouterr()
    for words in ("BEFORE YOU DRIVE", "another watches", "anti-lock", "rules of the road", "pin 6"):
        assert words in " ".join(output.out.split())
    assert "--yes" in output.err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ([], "no adapter is named"),
        (["--interface", "nonesuch"], "knows no interface"),
        (["--interface", "slcan", "--channel", "/dev/none"], "bit rate"),
        (["--interface", "slcan", "--bitrate", "500000"], "needs a channel"),
        (["--interface", "gs_usb", "--bitrate", "500000"], "needs a channel"),
        (["--interface", "slcan", "--channel", "/dev/none", "--bitrate", "500000"], "/dev/none"),
        (["--interface", "virtual", "--bitrate", "quick"], "bits a second"),
        (["--interface", "virtual", "--bitrate", "auto"], "no bit rate"),
        (["--interface", "virtual", "--option", "port"], "KEY=VALUE"),
        (["--interface", "socketcand", "--channel", "can0"], "--acknowledge"),
        (["--interface", "virtual", "--dbc", "/no/such.dbc"], "/no/such.dbc"),
        (["--interface", "virtual", "--vehicle", "/no/such.toml"], "/no/such.toml"),
    ],
)
def test_one_clear_line_and_no_file(
    tmp_path: Path, capsys: Captured, options: list[str], words: str
) -> None:
    error = error_of(capsys, "record", tmp_path / "a.log", "--yes", *options)
    assert words in error
    assert list(tmp_path.iterdir()) == []


def test_a_recording_is_never_overwritten(tmp_path: Path, capsys: Captured) -> None:
    (tmp_path / "a.log").write_text("mine")
    error = error_of(capsys, "record", tmp_path / "a.log", "--yes", "--interface", "virtual")
    assert "never overwritten" in error
    assert (tmp_path / "a.log").read_text() == "mine"


def test_a_dbc_that_does_not_fit_is_told_before_anybody_drives(
    tmp_path: Path, capsys: Captured
) -> None:
    (tmp_path / "x.dbc").write_text('VERSION ""\n')
    error = error_of(
        capsys,
        "record",
        tmp_path / "a.log",
        "--yes",
        "--interface",
        "virtual",
        "--dbc",
        tmp_path / "x.dbc",
    )
    assert "x.dbc" in error
    assert not (tmp_path / "a.log").exists()


@pytest.mark.parametrize("interface", ["slcan", "gs_usb", "socketcan", "socketcand"])
def test_nothing_is_simulated_where_a_car_could_be(capsys: Captured, interface: str) -> None:
    error = error_of(capsys, "simulate", "--interface", interface, "--channel", "can0")
    assert "could have a car behind it" in error


# the rest


def test_adapters_are_listed_with_the_options_that_open_them(
    capsys: Captured, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("canwheel.bus.adapters._SEARCH_S", 0.5)
    assert run(["adapters"]) == 0
    text = capsys.readouterr().out
    assert f"--interface udp_multicast --channel {GROUP}" in text


def test_replay_ends_on_the_verdict_of_check(
    before: str, after: str, car: list[str], capsys: Captured
) -> None:
    for capture in (before, after):
        code = run(["check", capture, *car])
        screen = capsys.readouterr().out
        assert run(["replay", capture, *car, "--speed", "64", "--plain"]) == code
        replayed = capsys.readouterr().out
        assert replayed.endswith(screen)
        assert re.search(r"playing \| \d+ frames/s", replayed)


def test_replay_refuses_what_check_refuses(
    cut: Callable[[Callable[[list[str]], list[str]]], str], car: list[str], capsys: Captured
) -> None:
    still = cut(lambda lines: [f"(0.000000) {line.split(' ', 1)[1]}" for line in lines])
    refusal = error_of(capsys, "check", still, *car)
    assert "the time stamps stand still" in refusal
    assert run(["replay", still, *car, "--plain"]) == 2
    replayed = capsys.readouterr()
    assert replayed.err == refusal
    assert not replayed.out, "nothing of it is played"


class Terminal:
    """The program on a pseudo-terminal of 80 by 24."""

    def __init__(self, *arguments: object) -> None:
        self.master, slave = pty.openpty()
        termios.tcsetwinsize(slave, (24, 80))
        self.process = subprocess.Popen(
            [sys.executable, "-m", "canwheel", *map(str, arguments)],
            stdin=slave,
            stdout=slave,
            stderr=slave,
            cwd=PROJECT,
            env=dict(os.environ, TERM="xterm-256color"),
            start_new_session=True,
            preexec_fn=lambda: fcntl.ioctl(0, termios.TIOCSCTTY, 0),  # noqa: PLW1509 - one thread
        )
        os.close(slave)
        self.drawn = b""

    def press(self, keys: bytes) -> None:
        os.write(self.master, keys)

    def see(self, words: bytes) -> None:
        until = time.monotonic() + 20
        while words not in self.drawn:
            assert time.monotonic() < until, self.drawn[-2000:]
            if select.select([self.master], [], [], 0.1)[0]:
                self.drawn += os.read(self.master, 65536)

    def end(self) -> int:
        with contextlib.suppress(OSError):
            while block := os.read(self.master, 65536):
                self.drawn += block
        assert b"Traceback" not in self.drawn
        return self.process.wait(10)

    def close(self) -> None:
        self.process.kill()
        self.process.wait()
        os.close(self.master)


def test_replay_in_a_terminal(before: str, car: list[str]) -> None:
    """Drawn, paused by a key, left by q, judged."""
    with contextlib.closing(Terminal("replay", before, *car)) as terminal:
        terminal.see(b"PLAYING")
        terminal.see(b"front left")
        terminal.press(b" ")
        terminal.see(b"PAUSED")
        terminal.press(b"n")
        terminal.press(b"q")
        terminal.see(b"once more")
        terminal.press(b"q")
        terminal.see(b"FAULT FOUND")
        assert terminal.end() == 1


def test_record_in_a_terminal_and_its_view_killed(
    tmp_path: Path, loopback: list[str], car: list[str]
) -> None:
    """The cautions, a key, the view; then the view dies, and Ctrl-C must still end it all."""
    out = tmp_path / "a.log"
    with contextlib.closing(Terminal("record", out, *loopback, *car)) as terminal:
        terminal.see(b"BEFORE YOU DRIVE")
        terminal.see(b"Press any key")
        assert not out.exists()
        time.sleep(0.5)  # for the program to wait for the key; one pressed before is dropped
        terminal.press(b"x")
        terminal.see(b"RECORDING")
        terminal.see(b"front left")
        pid = terminal.process.pid
        children = Path(f"/proc/{pid}/task/{pid}/children")
        if not children.exists():
            pytest.skip("this system does not tell a process's children")
        os.kill(int(children.read_text().split()[0]), signal.SIGKILL)
        terminal.see(b"the recording goes on")
        terminal.see(b"error frames, ")
        terminal.press(b"\x03")
        assert terminal.end() == 0
    assert tomllib.loads((tmp_path / "a.toml").read_text())["state"] == "ended"


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no full device here")
def test_full_output_does_not_end_a_recording(tmp_path: Path) -> None:
    place = ["--interface", "virtual", "--channel", "x", "--yes", "--plain", "--for", "2.5"]
    with Path("/dev/full").open("w") as full:
        result = subprocess.run(
            [sys.executable, "-m", "canwheel", "record", str(tmp_path / "a.log"), *place],
            stdin=subprocess.DEVNULL,
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            check=False,
            cwd=PROJECT,
        )
    assert result.returncode == 0
    assert "the recording goes on" in result.stderr
    assert "Ended as asked" in result.stderr
    assert tomllib.loads((tmp_path / "a.toml").read_text())["state"] == "ended"


@pytest.mark.parametrize("endless", ["nan", "inf"])
def test_an_end_that_never_comes_is_refused(endless: str, tmp_path: Path, capsys: Captured) -> None:
    place = ["--interface", "virtual", "--channel", "x", "--yes"]
    line = error_of(capsys, "record", tmp_path / "a.log", *place, "--for", endless)
    assert f"{endless} is no number that can be meant" in line
    assert list(tmp_path.iterdir()) == []
    line = error_of(capsys, "simulate", *place[:4], "--speed", "nan")
    assert "nan is no number that can be meant" in line


def test_watching_a_finished_recording(
    tmp_path: Path, before: str, car: list[str], capsys: Captured
) -> None:
    log = tmp_path / "a.log"
    log.write_bytes(gzip.decompress(Path(before).read_bytes()))
    assert run(["watch", str(log), *car, "--plain"]) == 0
    assert "FAULT: no signal" in capsys.readouterr().out
    assert "no such file" in error_of(capsys, "watch", tmp_path / "none.log", *car)


@pytest.mark.parametrize(
    "content", [b"what is this\n", b"LOGG\x90\0\0\0" * 9, b"\x1f\x8b\x08", b"(1\n"]
)
def test_what_is_no_text_log_cannot_be_watched(
    content: bytes, tmp_path: Path, capsys: Captured
) -> None:
    log = tmp_path / "a.log"
    log.write_bytes(content)
    line = error_of(capsys, "watch", log, "--plain")
    assert f"{log}: is no text log" in line
    assert "canwheel replay" in line
    assert len(line.splitlines()) == 1


@pytest.mark.parametrize("content", [b"", b"(1700000000.1"])
def test_a_log_that_is_only_begun_can_be_watched(
    content: bytes, tmp_path: Path, capsys: Captured
) -> None:
    log = tmp_path / "a.log"
    log.write_bytes(content)
    assert run(["watch", str(log), "--plain"]) == 0
    assert "0 frames" in capsys.readouterr().out
