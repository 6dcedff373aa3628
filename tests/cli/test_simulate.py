"""`simulate`: the made-up van on a loopback bus, its brake unit, and who may be asked when."""

import contextlib
import json
import signal
import subprocess
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from canwheel.cli.app import run
from canwheel.corners import Corner
from canwheel.definitions.assign import find_wheels
from canwheel.definitions.columns import decode_signal
from canwheel.definitions.dbc import read_definitions
from canwheel.roadtest.demo import make_drive
from canwheel.vehicle import Vehicle

Captured = pytest.CaptureFixture[str]
Start = Callable[..., contextlib.AbstractContextManager[subprocess.Popen[str]]]


def wait_to_hear(process: subprocess.Popen[str], words: str) -> str:
    """Read what it tells, up to the line with these words."""
    assert process.stderr is not None
    told = ""
    while words not in told:
        line = process.stderr.readline()
        assert line, told
        told += line
    return told


def ask(capsys: Captured, *words: object) -> dict[str, object]:
    code = run([str(word) for word in ("codes", *words, "--json")])
    output = capsys.readouterr()
    assert code == 0, output.err
    document: dict[str, object] = json.loads(output.out)
    return document


def codes_in(document: object) -> list[tuple[str, int]]:
    assert isinstance(document, dict)
    return [(code["code"], code["status"]) for code in document["codes"]]


def test_a_bus_that_cannot_be_opened_is_told_before_the_van_drives(capsys: Captured) -> None:
    place = ["--interface", "udp_multicast", "--channel", "no channel"]
    assert run(["simulate", *place]) == 2
    error = capsys.readouterr().err
    assert error.startswith("canwheel: udp_multicast on no channel cannot be opened")
    assert len(error.splitlines()) == 1


def test_the_codes_of_a_fault_and_of_its_repair(
    tmp_path: Path, capsys: Captured, loopback: list[str], car: list[str], canwheel: Start
) -> None:
    """Read after the first drive, kept after the repair, cleared once the van stands again."""
    kept = tmp_path / "codes.json"
    simulate = ("simulate", *loopback, "--corner", "RL", "--codes", "--speed", "64")
    with canwheel(*simulate) as van:
        assert "stores C0037-13" in wait_to_hear(van, "stands")
        assert codes_in(ask(capsys, "read", *loopback, *car)) == [("C0037-13", 0xAF)]
        van.send_signal(signal.SIGINT)
        assert van.wait(10) == 0
    with canwheel(*simulate, "--repaired") as van:
        wait_to_hear(van, "stands")
        saved = ask(capsys, "read", *loopback, *car, "--save", kept)
        assert codes_in(saved) == [("C0037-13", 0x28)]
        cleared = ask(capsys, "clear", *loopback, *car, "--reading", kept, "--confirm", "CLEAR")
        assert cleared["verdict"] == "cleared"
        assert codes_in(cleared["after"]) == [("C0037-13", 0x50)]


def test_a_moving_van_is_not_asked_and_would_refuse(
    tmp_path: Path, capsys: Captured, loopback: list[str], car: list[str], canwheel: Start
) -> None:
    """From 56 to 185 s of the round the van does not stop: here that is a quarter of a minute."""
    kept = tmp_path / "codes.json"
    with canwheel("simulate", *loopback, "--codes", "--speed", "8") as van:
        wait_to_hear(van, "\n60 of ")
        assert run(["codes", "read", *loopback, *car]) == 2
        assert "the car moves (" in capsys.readouterr().err
        vehicle = car[2:]
        ask(capsys, "read", *loopback, *vehicle, "--save", kept)
        said = ["--reading", str(kept), "--standing", "--confirm", "CLEAR"]
        assert run(["codes", "clear", *loopback, *vehicle, *said]) == 2
        assert "the vehicle speed is too high (response code 88)" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("how", "words"),
    [
        ("silent", "though the bus is alive"),
        ("pending-for-ever", "asked for more time"),
        ("wrong-sequence", "missing or out of order"),
        ("oversize", "longer than 4095 bytes"),
        ("two-units", "two units answer"),
    ],
)
def test_a_unit_that_misbehaves_is_one_line(
    *,
    how: str,
    words: str,
    capsys: Captured,
    loopback: list[str],
    car: list[str],
    canwheel: Start,
) -> None:
    with canwheel("simulate", *loopback, "--codes", "--misbehave", how, "--speed", "8") as van:
        wait_to_hear(van, "Driving")
        assert run(["codes", "read", *loopback, *car[2:], "--timeout", "2"]) == 2
        error = capsys.readouterr().err
        assert words in error
        assert error.count("\n") == 1


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--repaired", "--fault", "none"], "no fault to repair"),
        (["--misbehave", "silent"], "no brake unit"),
        (["--codes", "--misbehave", "rude"], "rude"),
    ],
)
def test_what_makes_no_sense_is_one_line(options: list[str], words: str, capsys: Captured) -> None:
    assert run(["simulate", "--interface", "virtual", *options]) == 2
    error = capsys.readouterr().err
    assert words in error
    assert error.count("\n") == 1


@pytest.mark.parametrize("repaired", [False, True])
def test_the_van_stands_at_the_end_and_its_speed_is_the_motion_s(
    *, repaired: bool, car: list[str]
) -> None:
    """What is repeated holds every wheel message and not one speed over zero."""
    drive = make_drive(Corner.RL, "no_signal", repaired=repaired)
    layout = find_wheels(read_definitions(Path(car[1])), Vehicle())
    standing = drive.standing()
    assert set(standing.can_id) == set(drive.frames.can_id)
    for place in layout.wheels:
        column = decode_signal(standing, place)
        assert len(column) > 40  # every 40 ms
        assert not np.any(column.value)
    assert drive.speed_kph(0.0) == 0.0
    assert drive.speed_kph(1e9) == 0.0
    # The speed is the true one: the front right wheel's reading follows it in the first straight.
    column = decode_signal(drive.frames, layout.wheel(Corner.FR))
    at_s = (drive.frames.time_ns[column.rows] - drive.frames.time_ns[0]) / 1e9
    straight = (at_s > 10) & (at_s < 14)
    truth = [drive.speed_kph(at) for at in at_s[straight]]
    assert np.allclose(column.value[straight], truth, rtol=0.05)
