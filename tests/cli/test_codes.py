"""``canwheel codes`` from the outside, over a loopback bus with the brake unit double on it."""

import functools
import io
import itertools
import json
import os
import pty
import select
import threading
import time
import tty
from collections.abc import Iterator
from pathlib import Path
from typing import Self

import can
import pytest

from canwheel.cli.app import run

# clearing, reading: imported before a fixture puts something else in the place of `Timing`
from canwheel.fault_memory import clearing, reading, timing  # noqa: F401
from canwheel.roadtest.brake_unit import BrakeUnit, DoubleAddress, Fault, Memory
from canwheel.views.terminal import Screen

VEHICLE = """
[vehicle]
name = "Bakery van 7"
drive_side = "right"

[fault_memory]
request_id = 0x7A0
response_id = 0x7A8
session = 3
"""
FAULTS = (Fault(0x403111, 0x2F), Fault(0x40351F, 0x28), Fault(0x503564, 0x50))
DBC = """VERSION ""
BU_: UNIT
BO_ 416 WHEELS: 8 UNIT
 SG_ SPEED_FL : 0|16@1+ (0.01,0) [0|650] "km/h" UNIT
 SG_ SPEED_FR : 16|16@1+ (0.01,0) [0|650] "km/h" UNIT
 SG_ SPEED_RL : 32|16@1+ (0.01,0) [0|650] "km/h" UNIT
 SG_ SPEED_RR : 48|16@1+ (0.01,0) [0|650] "km/h" UNIT
"""
channels = itertools.count()


class Car:
    """A loopback bus with a brake unit on it, wheel frames, and everything sent to the unit."""

    def __init__(self, folder: Path) -> None:
        self.channel = f"codes {next(channels)}"
        self.vehicle = folder / "van.toml"
        self.vehicle.write_text(VEHICLE)
        self.dbc = folder / "van.dbc"
        self.dbc.write_text(DBC)
        self.witness = self.connect()
        self.wheels = self.connect()
        self.unit = BrakeUnit(self.connect(), DoubleAddress(0x7A0, 0x7A8), FAULTS)
        self.wheel_bytes = bytes(8)
        self.stop = threading.Event()
        self.roll = threading.Thread(target=self._send_wheels, daemon=True)

    def connect(self) -> can.BusABC:
        return can.Bus(interface="virtual", channel=self.channel)

    def _send_wheels(self) -> None:
        while not self.stop.wait(0.02):
            self.wheels.send(
                can.Message(arbitration_id=416, data=self.wheel_bytes, is_extended_id=False)
            )

    def __enter__(self) -> Self:
        self.unit.__enter__()
        self.roll.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.stop.set()
        self.roll.join()
        self.unit.__exit__(None, None, None)
        self.witness.shutdown()
        self.wheels.shutdown()

    def codes(self, *words: str | Path) -> int:
        options = ("--vehicle", self.vehicle, "--interface", "virtual", "--channel", self.channel)
        return run([str(word) for word in ("codes", *words, *options)])

    def services_sent(self) -> list[int]:
        heard = iter(lambda: self.witness.recv(0), None)
        frames = [bytes(m.data) for m in heard if m.arbitration_id == 0x7A0]
        return [frame[1] for frame in frames if frame[0] >> 4 == 0]


@pytest.fixture
def car(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Car]:
    # One second of listening before each command is for real buses.
    quick = functools.partial(timing.Timing, listen_first_s=0.05)
    monkeypatch.setattr(timing, "Timing", quick)
    monkeypatch.setattr("sys.stdin", io.StringIO())
    with Car(tmp_path) as car:
        yield car


def test_read_on_the_screen(car: Car, capsys: pytest.CaptureFixture[str]) -> None:
    assert car.codes("read") == 0
    out, err = capsys.readouterr()
    assert err == ""
    assert "front left (passenger's side) wheel-speed sensor" in out
    assert "fails now; circuit short to ground" in out
    assert "C0035-1F  ambiguous" in out
    assert "not yet tested since clearing" in out
    assert max(map(len, out.splitlines())) <= 80
    assert set(car.services_sent()) == {0x19}


def test_read_as_json_and_saved(
    car: Car, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    kept = tmp_path / "codes.json"
    assert car.codes("read", "--json", "--save", kept) == 0
    out, err = capsys.readouterr()
    assert err == ""
    document = json.loads(out)
    assert document == json.loads(kept.read_text())
    assert document["schema"] == "canwheel-codes/1"
    assert [code["corner"] for code in document["codes"]] == ["FL", None, None]
    assert car.codes("read", "--save", kept) == 2
    assert "is there already" in capsys.readouterr().err
    assert json.loads(kept.read_text()) == document


def test_clear_with_everything_said(
    car: Car, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    kept, after = tmp_path / "codes.json", tmp_path / "after.json"
    assert car.codes("read", "--save", kept) == 0
    capsys.readouterr()
    words = ("clear", "--reading", kept, "--standing", "--confirm", "CLEAR", "--save", after)
    assert car.codes(*words, "--json") == 0
    out, err = capsys.readouterr()
    document = json.loads(out)
    assert document["verdict"] == "cleared"
    assert document["standing"] == "somebody said so"
    assert {code["status"] for code in document["after"]["codes"]} == {0x50}
    assert document == json.loads(after.read_text())
    assert "C0031-11" in err  # the saved reading is shown again
    assert set(car.services_sent()) == {0x19, 0x14}
    assert car.codes("read") == 0
    screen = capsys.readouterr().out
    assert "NOT YET TESTED" in screen  # and nothing that could be taken for a repair
    assert "No fault stored; 3 codes not tested since clearing" in screen


def test_the_reading_is_shown_again_without_control_characters(
    car: Car, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """It goes to standard error, where colours would come out as their escape sequences."""
    kept = car.vehicle.with_name("codes.json")
    assert car.codes("read", "--save", kept) == 0
    capsys.readouterr()
    monkeypatch.setattr("canwheel.cli.codes.this_screen", lambda: Screen(colour=True))
    assert car.codes("clear", "--reading", kept, "--standing", "--confirm", "CLEAR") == 0
    out, err = capsys.readouterr()
    assert "C0031-11  front left" in err
    assert "[1m" not in err
    assert "\x1b[1m" in out


@pytest.mark.parametrize(
    ("missing", "words"),
    [
        ("--confirm", "no terminal to ask at"),
        ("--standing", "no terminal to ask at"),
        ("--reading", "missing option"),
    ],
)
def test_nothing_is_sent_to_clear_when_something_is_missing(
    missing: str,
    words: str,
    car: Car,
    capsys: pytest.CaptureFixture[str],
    tmp_path: Path,
) -> None:
    kept = tmp_path / "codes.json"
    assert car.codes("read", "--save", kept) == 0
    car.services_sent()
    capsys.readouterr()
    given = {"--reading": [kept], "--standing": [], "--confirm": ["CLEAR"]}
    del given[missing]
    options = [word for name, values in given.items() for word in (name, *values)]
    assert car.codes("clear", *options) == 2
    assert words in capsys.readouterr().err
    assert car.services_sent() == []


class Keyboard(io.StringIO):
    """A person at a terminal."""

    def isatty(self) -> bool:
        return True


@pytest.mark.parametrize(
    ("typed", "expected"),
    [
        ("y\nCLEAR\n", (0, "Type CLEAR to clear all stored codes")),
        ("n\nCLEAR\n", (2, "codes are cleared on a standing car only")),
        ("y\nno\n", (2, "nothing was cleared")),
        ("y\n", (130, "stopped")),  # end of input at the question is a refusal
    ],
)
def test_a_person_is_asked(
    typed: str,
    expected: tuple[int, str],
    car: Car,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    kept = car.vehicle.with_name("codes.json")
    assert car.codes("read", "--save", kept) == 0
    car.services_sent()
    capsys.readouterr()
    monkeypatch.setattr("sys.stdin", Keyboard(typed))
    exit_code, said = expected
    assert car.codes("clear", "--reading", kept) == exit_code
    assert said in capsys.readouterr().err
    assert (0x14 in car.services_sent()) == (exit_code == 0)


def test_a_wrong_word_clears_nothing(
    car: Car, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    kept = tmp_path / "codes.json"
    assert car.codes("read", "--save", kept) == 0
    car.services_sent()
    assert car.codes("clear", "--reading", kept, "--standing", "--confirm", "yes") == 2
    assert "the word is CLEAR, not 'yes'" in capsys.readouterr().err
    assert car.services_sent() == []


def test_a_standing_car_by_its_dbc(
    car: Car, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    kept = tmp_path / "codes.json"
    assert car.codes("read", "--save", kept) == 0
    words = ("clear", "--reading", kept, "--dbc", car.dbc, "--confirm", "CLEAR", "--json")
    capsys.readouterr()
    assert car.codes(*words) == 0
    assert "read zero" in json.loads(capsys.readouterr().out)["standing"]


def test_a_moving_car_by_its_dbc(car: Car, capsys: pytest.CaptureFixture[str]) -> None:
    car.wheel_bytes = bytes([0, 0, 0, 0, 1, 0, 0, 0])
    assert car.codes("read", "--dbc", car.dbc) == 2
    err = capsys.readouterr().err
    assert "the car moves (rear left: 0.01 km/h)" in err
    assert err.count("\n") == 1
    assert car.services_sent() == []


def test_a_silent_unit_is_one_line(car: Car, capsys: pytest.CaptureFixture[str]) -> None:
    car.unit.memory.misbehaviour = "silent"
    assert car.codes("read") == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.count("\n") == 1
    assert "no answer within 1.0 s, though the bus is alive" in err


def test_a_session_is_never_opened(car: Car, capsys: pytest.CaptureFixture[str]) -> None:
    car.unit.memory.misbehaviour = "other_session"
    assert car.codes("read") == 2
    assert "canwheel opens none (the vehicle file names session 0x03)" in capsys.readouterr().err
    assert set(car.services_sent()) == {0x19}


def test_a_code_that_comes_back_is_exit_1(
    car: Car, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    kept = tmp_path / "codes.json"
    assert car.codes("read", "--save", kept) == 0
    car.unit.memory.misbehaviour = "comes_back"
    words = ("clear", "--reading", kept, "--standing", "--confirm", "clear")
    assert car.codes(*words) == 1
    assert "CAME BACK" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["codes", "read"], "missing option '--vehicle'"),
        (["codes", "read", "--vehicle", "nowhere.toml"], "cannot be read"),
        (["codes", "write"], "no such command"),
        (["codes"], "missing command"),
    ],
)
def test_bad_commands(words: str, said: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(words) == 2
    assert said in capsys.readouterr().err.lower()


def test_help_of_every_command(capsys: pytest.CaptureFixture[str]) -> None:
    for words in (["codes"], ["codes", "read"], ["codes", "clear"]):
        assert run([*words, "--help"]) == 0
        assert "Usage: canwheel codes" in capsys.readouterr().out


class SerialUnit:
    """An adapter with the open ASCII protocol on a pseudo-terminal, and a brake unit behind it."""

    def __init__(self) -> None:
        self.master, slave = pty.openpty()
        tty.setraw(self.master)
        tty.setraw(slave)
        self.port = os.ttyname(slave)
        self.memory = Memory([Fault(0x403713, 0x2F)])
        self.commands: list[bytes] = []
        self.stop = threading.Event()
        self.thread = threading.Thread(target=self._serve, daemon=True)

    def _serve(self) -> None:
        pending, sent_s = b"", 0.0
        while not self.stop.is_set():
            if self.commands and self.commands[-1] != b"C" and time.monotonic() - sent_s > 0.02:
                sent_s = time.monotonic()
                os.write(self.master, b"t1A080000000000000000\r")  # the wheels stand
            if not select.select([self.master], [], [], 0.005)[0]:
                continue
            *commands, pending = (pending + os.read(self.master, 256)).split(b"\r")
            for command in filter(None, commands):
                self.commands.append(command)
                os.write(self.master, self._answer(command))

    def _answer(self, command: bytes) -> bytes:
        if not command.startswith(b"t"):
            return b"\r"
        data = bytes.fromhex(command[5:].decode())
        answer = self.memory.answer(data[1 : 1 + data[0]])
        assert answer is not None
        return b"z\rt7A8%d%02X%s\r" % (len(answer) + 1, len(answer), answer.hex().encode())

    def __enter__(self) -> Self:
        self.thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.stop.set()
        self.thread.join()
        os.close(self.master)


def test_read_and_clear_through_the_real_serial_driver(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """All that the adapter is told to send to the car, byte for byte."""
    vehicle, dbc, kept = (tmp_path / name for name in ("van.toml", "van.dbc", "codes.json"))
    vehicle.write_text(f"{VEHICLE}\n[bus]\nbitrate = 500000\n")
    dbc.write_text(DBC)
    with SerialUnit() as adapter:
        options = ["--interface", "slcan", "--channel", adapter.port]
        options += ["--vehicle", str(vehicle), "--dbc", str(dbc)]
        assert run(["codes", "read", *options, "--save", str(kept)]) == 0, capsys.readouterr().err
        clear = ["codes", "clear", *options, "--reading", str(kept), "--confirm", "CLEAR", "--json"]
        capsys.readouterr()
        assert run(clear) == 0
        document = json.loads(capsys.readouterr().out)
    assert [code["code"] for code in document["before"]["codes"]] == ["C0037-13"]
    assert [code["status"] for code in document["after"]["codes"]] == [0x50]
    frames = [command for command in adapter.commands if command[:1] in b"tTrRdDbB"]
    assert frames == [
        b"t7A08031902FFCCCCCCCC",
        b"t7A08061906403713FFCC",
        b"t7A08031902FFCCCCCCCC",
        b"t7A080414FFFFFFCCCCCC",
        b"t7A08031902FFCCCCCCCC",
    ]
