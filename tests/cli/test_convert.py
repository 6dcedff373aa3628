"""``canwheel convert``: what it writes, what it says, and what it refuses."""

import gzip
import io
import sys
from pathlib import Path

import can
import pytest

from canwheel.cli.app import run
from canwheel.definitions.dbc import read_definitions

Captured = pytest.CaptureFixture[str]
DBC = Path(__file__).parents[2] / "dbc_examples" / "bakery_van.dbc"
FORMS = ("123#0011", "18FE0123#00", "123##1" + "AB" * 12, "321#R4", "00000123#22 T")


@pytest.fixture
def drive(tmp_path: Path) -> Path:
    path = tmp_path / "drive.log"
    lines = [f"(100.{n:06d}) can{n % 2} {FORMS[n % 5]}\n" for n in range(0, 1_000_000, 20_001)]
    path.write_text("".join(lines) + "noise\n(101.0) can0 12")
    return path


def test_a_whole_recording_is_written_and_told(drive: Path, capsys: Captured) -> None:
    out = drive.with_name("out.log.gz")
    assert run(["convert", str(drive), str(out)]) == 0
    output = capsys.readouterr()
    assert output.out == ""
    assert "50 of 50 frames written to" in output.err
    assert "1 lines were no frames, the first is line 51." in output.err
    assert "the last line was cut off" in output.err
    with gzip.open(out, "rt") as written, drive.open() as read:
        assert written.readlines() == read.readlines()[:50]


@pytest.mark.parametrize(
    ("identifiers", "count"),
    [
        (["123"], 20),
        (["0x123"], 20),
        (["00000123"], 10),
        (["18fe0123"], 10),
        (["321"], 0),
        (["123", "18FE0123", "0x00000123"], 40),
    ],
)
def test_only_some_identifiers(drive: Path, identifiers: list[str], count: int) -> None:
    out = drive.with_name("out.log")
    options = [word for identifier in identifiers for word in ("--only", identifier)]
    assert run(["convert", str(drive), str(out), *options]) == (0 if count else 2)
    if count:
        assert len(out.read_text().splitlines()) == count


def test_only_some_seconds(drive: Path) -> None:
    out = drive.with_name("out.log")
    assert run(["convert", str(drive), str(out), "--from", "0.25", "--to", "0.5"]) == 0
    times = [message.timestamp for message in can.LogReader(out)]
    assert min(times) >= 100.25
    assert max(times) <= 100.5
    assert len(times) == 12


def test_what_a_dbc_file_defines(tmp_path: Path, before: str) -> None:
    out = tmp_path / "wheels.log"
    assert run(["convert", before, str(out), "--dbc", str(DBC)]) == 0
    with gzip.open(before, "rt") as file:
        text = file.read()
    defined = {(m.frame_id, m.extended) for m in read_definitions(DBC).messages}
    expected = [
        message
        for message in can.CanutilsLogReader(io.StringIO(text))
        if (message.arbitration_id, message.is_extended_id) in defined
    ]
    written = list(can.LogReader(out))
    assert len(written) == len(expected) > 100
    assert all(a.equals(b, check_direction=False) for a, b in zip(written, expected, strict=True))


def test_from_standard_input(drive: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    out = drive.with_name("out.log")
    with drive.open() as stream:
        monkeypatch.setattr(sys, "stdin", stream)
        assert run(["convert", "-", str(out)]) == 0
    assert len(out.read_text().splitlines()) == 50


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["{drive}", "{drive}"], "exists already"),
        (["{drive}", "{folder}/out.xyz"], "suffix"),
        (["{drive}", "{folder}/none/out.log"], "folder"),
        (["{folder}/none.log", "{folder}/out.log"], "no such file"),
        (["{folder}", "{folder}/out.log"], "directory"),
        (["{drive}", "{folder}/out.log", "--only", "xyz"], "no CAN identifier"),
        (["{drive}", "{folder}/out.log", "--only", "20000000"], "no CAN identifier"),
        (["{drive}", "{folder}/out.log", "--from", "nan"], "give one such as 30"),
        (["{drive}", "{folder}/out.log", "--to", "inf"], "inf is no number that can be meant"),
        (["{drive}", "{folder}/out.log", "--from", "1e308"], "1e308 is no number"),
        (["{drive}", "{folder}/out.log", "--from", "5", "--to", "4"], "before it begins"),
        (["{drive}", "{folder}/out.log", "--from", "5"], "no frame of it"),
    ],
)
def test_what_cannot_be_done_is_told_in_one_line(
    drive: Path, capsys: Captured, arguments: list[str], says: str
) -> None:
    before = sorted(drive.parent.iterdir())
    named = [a.format(drive=drive, folder=drive.parent) for a in arguments]
    assert run(["convert", *named]) == 2
    output = capsys.readouterr()
    assert output.out == ""
    assert says in output.err
    assert len(output.err.splitlines()) == 1
    assert sorted(drive.parent.iterdir()) == before
