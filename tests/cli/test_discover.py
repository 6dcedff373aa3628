"""``canwheel discover``: screen, document, files written, and clear words for what cannot be."""

import json
import re
from dataclasses import replace
from pathlib import Path

import jsonschema
import numpy as np
import pytest

import canwheel.cli.discover
from canwheel.capture.summary import CaptureSummary
from canwheel.cli.app import run
from canwheel.corners import CORNERS
from canwheel.definitions.dbc import read_definitions
from canwheel.discovery.dbc import holds_some_of, say_stretch
from canwheel.errors import RequestError
from canwheel.roadtest.layouts import NURSERY_PICKUP
from canwheel.roadtest.recording import write_log
from canwheel.roadtest.unlabelled import (
    UnlabelledCapture,
    unlabelled_drive,
    without_wheels,
)
from canwheel.views.discover_document import ConfirmDocument, discover_json_schema

Captured = pytest.CaptureFixture[str]

HOUR_NS = 3600 * 10**9


@pytest.fixture(scope="module")
def drive() -> UnlabelledCapture:
    return unlabelled_drive(NURSERY_PICKUP, seed=5, others=30)


@pytest.fixture(scope="module")
def capture(drive: UnlabelledCapture, tmp_path_factory: pytest.TempPathFactory) -> str:
    path = tmp_path_factory.mktemp("discover") / "drive.log"
    write_log(drive.frames, path)
    return str(path)


@pytest.fixture(scope="module")
def second(tmp_path_factory: pytest.TempPathFactory) -> str:
    path = tmp_path_factory.mktemp("discover") / "second.log"
    frames = unlabelled_drive(NURSERY_PICKUP, seed=6, others=30).frames
    write_log(
        replace(frames, time_ns=frames.time_ns + HOUR_NS), path
    )  # no car drives twice at once
    return str(path)


@pytest.fixture(scope="module")
def turn(drive: UnlabelledCapture) -> str:
    return f"left@{drive.left_s:.1f}"


def test_the_screen_says_where_and_why(capture: str, turn: str, capsys: Captured) -> None:
    assert run(["discover", capture, "--turn", turn]) == 0
    out = capsys.readouterr().out
    assert "which corner is which is known" in out
    assert "start 7, 16 bits big-endian" in out
    assert "FL² + RR² = FR² + RL²" in out
    assert "Confirm it against a known speed and a known turn" in " ".join(out.split())
    assert max(map(len, out.splitlines())) <= 80


def test_the_document_keeps_its_schema(capture: str, capsys: Captured) -> None:
    assert run(["discover", capture, "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    jsonschema.validate(document, discover_json_schema())
    first = document["candidates"][0]
    assert document["schema"] == "canwheel-discover/1"
    assert [field["corner"] for field in first["fields"]] == [None] * 4
    assert len(first["traces"]["steps"]) == 4
    assert {len(column) for column in first["traces"]["steps"]} == {len(first["traces"]["time_s"])}
    assert np.max(np.abs(first["traces"]["steps"])) > 1000


def test_what_is_written_is_checked_as_a_hand_written_one(
    capture: str, turn: str, tmp_path: Path, capsys: Captured
) -> None:
    dbc = tmp_path / "car.dbc"
    assert run(["discover", capture, "--turn", turn, "--write", str(dbc)]) == 0
    assert run(["check", capture, "--dbc", str(dbc)]) == 0
    capsys.readouterr()
    beside = ["--dbc", str(dbc), "--vehicle", str(tmp_path / "car.toml")]
    assert run(["check", capture, *beside]) == 0
    assert "ALL FOUR SOUND" in capsys.readouterr().out
    written = {
        signal.place.signal: (signal.place.frame_id, signal.place.bits)
        for message in read_definitions(dbc).messages
        for signal in message.signals
    }
    true = {
        f"WHEEL_SPEED_{signal.quantity}": (message.frame_id, signal.bits)
        for message in NURSERY_PICKUP.wheel_messages
        for signal in message.signals
        if signal.quantity in CORNERS
    }
    assert written == true


def test_a_second_drive_confirms_it(
    capture: str, second: str, turn: str, tmp_path: Path, capsys: Captured
) -> None:
    dbc = str(tmp_path / "car.dbc")
    assert run(["discover", capture, "--turn", turn, "--write", dbc]) == 0
    capsys.readouterr()
    assert run(["discover", "--confirm", dbc, second]) == 0
    assert "CONFIRMED" in capsys.readouterr().out.upper()
    assert run(["discover", "--confirm", dbc, second, "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    jsonschema.validate(document, discover_json_schema(ConfirmDocument))
    assert document["verdict"] == "confirmed"
    mirrored = str(tmp_path / "mirrored.dbc")
    other = turn.replace("left", "right")
    assert run(["discover", capture, "--turn", other, "--write", mirrored]) == 0
    drive = unlabelled_drive(NURSERY_PICKUP, seed=6, others=30)
    declared = f"left@{drive.left_s:.1f}"
    assert run(["discover", "--confirm", mirrored, second, "--turn", declared]) == 1


def test_the_recording_it_was_found_in_confirms_nothing(
    capture: str, second: str, turn: str, tmp_path: Path, capsys: Captured
) -> None:
    """Neither as it is, nor in another form, nor a part of it."""
    dbc, packed, part = (str(tmp_path / name) for name in ("car.dbc", "other.mf4", "part.log"))
    assert run(["discover", capture, "--turn", turn, "--write", dbc]) == 0
    assert run(["convert", capture, packed]) == 0
    assert run(["convert", capture, part, "--from", "5"]) == 0
    capsys.readouterr()
    for same in (capture, packed, part):
        assert run(["discover", "--confirm", dbc, same, "--turn", turn]) == 2
        error = capsys.readouterr().err
        assert "holds the drive that car.dbc was found in" in error
        assert "Record a second drive" in error
    assert run(["discover", "--confirm", dbc, second]) == 0


def test_a_clock_that_tells_no_date_tells_only_the_whole() -> None:
    """Two recordings that begin at nought overlap without being one."""
    first, second = (CaptureSummary("drive.log", "", 9, 0, last) for last in (10**11, 2 * 10**11))
    comment = f"Proposed from drive.log, {say_stretch(first)}; to be confirmed"
    assert holds_some_of(comment, first)
    assert not holds_some_of(comment, second)
    assert not holds_some_of("Four wheel speeds.", first)


def test_nothing_is_written_of_which_the_corners_are_unknown(
    capture: str, tmp_path: Path, capsys: Captured
) -> None:
    dbc = tmp_path / "car.dbc"
    assert run(["discover", capture, "--write", str(dbc)]) == 2
    captured = capsys.readouterr()
    assert "mirror images" in captured.err
    assert "Proposal" in captured.out or "PROPOSAL" in captured.out
    assert run(["discover", capture, "--write", str(dbc), "--json"]) == 2
    captured = capsys.readouterr()
    assert "mirror images" in captured.err
    assert captured.out == ""
    assert list(tmp_path.iterdir()) == []
    assert run(["discover", capture, "--write", str(dbc), "--mirror-unknown"]) == 0
    assert "ARE A GUESS" in dbc.read_text()


def test_a_bus_without_wheels_shows_nothing(tmp_path: Path, capsys: Captured) -> None:
    path = tmp_path / "rest.log"
    write_log(without_wheels("two axle speeds", seed=3).frames, path)
    assert run(["discover", str(path)]) == 3
    assert "NOTHING FOUND" in capsys.readouterr().out.upper()
    assert run(["discover", str(path), "--write", str(tmp_path / "a.dbc")]) == 2
    assert "nothing was found" in capsys.readouterr().err


BAD = {
    "no such file": ["none.log"],
    "is not SIDE@SECONDS": ["{capture}", "--turn", "left 75"],
    "is not KM/H@SECONDS": ["{capture}", "--speed", "fifty"],
    "is not ID:START:LENGTH:ORDER": ["{capture}", "--steering", "0C5"],
    "no such message was heard": ["{capture}", "--steering", "7AF:0:16:le"],
    "has no channel": ["{capture}", "--channel", "can7"],
    "End it in .dbc": ["{capture}", "--write", "{folder}/car.txt"],
    "folder does not exist": ["{capture}", "--write", "{folder}/none/car.dbc"],
    "do not go together": ["{capture}", "--confirm", "a.dbc", "--write", "{folder}/b.dbc"],
    "cannot be read": ["{capture}", "--track", "none.gpx"],
    "hardly turned": ["{capture}", "--turn", "left@1"],
    "car stood then": ["{capture}", "--speed", "50@0"],
    "named for the page": ["{capture}", "--write", "{folder}/d.dbc", "--page", "{folder}/d.dbc"],
    "by --write. Give": ["{capture}", "--write", "{folder}/d.dbc", "--page", "{folder}/d.toml"],
    "999999999… is no number": ["{capture}", "--turn", f"left@{'9' * 400}"],
    "no candidate 9": ["{capture}", "--write", "{folder}/c.dbc", "--candidate", "9"],
}


@pytest.mark.parametrize("words", BAD)
def test_what_cannot_be_is_told_in_one_line(
    words: str, capture: str, tmp_path: Path, capsys: Captured
) -> None:
    arguments = [part.format(capture=capture, folder=tmp_path) for part in BAD[words]]
    assert run(["discover", *arguments]) == 2
    error = capsys.readouterr().err
    assert words in error
    assert len(error.strip().splitlines()) == 1
    assert list(tmp_path.iterdir()) == []


def test_files_that_are_there_stay_as_they_are(
    capture: str, turn: str, tmp_path: Path, capsys: Captured
) -> None:
    vehicle = tmp_path / "car.toml"
    vehicle.write_text("# mine\n")
    assert run(["discover", capture, "--turn", turn, "--write", str(tmp_path / "car.dbc")]) == 2
    assert "is there already" in capsys.readouterr().err
    assert vehicle.read_text() == "# mine\n"
    assert not (tmp_path / "car.dbc").exists()


def test_a_dbc_does_not_stay_without_its_vehicle_file(
    capture: str, turn: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Captured
) -> None:
    def full(path: Path, text: str) -> None:
        if path.suffix == ".toml":
            raise RequestError("cannot be written: the disk is full", where=str(path))
        path.write_text(text)

    monkeypatch.setattr(canwheel.cli.discover, "write_new", full)
    assert run(["discover", capture, "--turn", turn, "--write", str(tmp_path / "car.dbc")]) == 2
    assert "the disk is full" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_time_stamps_that_stand_still_are_refused(
    capture: str, second: str, tmp_path: Path, turn: str, capsys: Captured
) -> None:
    dbc, still = tmp_path / "car.dbc", tmp_path / "still.log"
    assert run(["discover", capture, "--turn", turn, "--write", str(dbc)]) == 0
    text = Path(second).read_text()
    still.write_text(re.sub(r"^\(\d+\.\d+\)", "(0.000000)", text, flags=re.MULTILINE))
    for arguments in (["discover", str(still)], ["discover", "--confirm", str(dbc), str(still)]):
        capsys.readouterr()
        assert run(arguments) == 2
        assert f"{still}: the time stamps stand still" in capsys.readouterr().err
