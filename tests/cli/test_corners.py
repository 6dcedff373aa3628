"""``canwheel corners``: the screen, the document, the vehicle file it writes."""

import json
from pathlib import Path

import msgspec
import pytest

from canwheel.cli.app import run
from canwheel.vehicle import read_vehicle
from canwheel.views.corners_document import CornersDocument

Captured = pytest.CaptureFixture[str]

CORNERS = ("FL", "FR", "RL", "RR")


def dbc(folder: Path, *units: str) -> Path:
    """A DBC with a set of four wheel speeds for each brake unit, 12 bits, with a value table."""
    text = ""
    for number, unit in enumerate(units, 1):
        text += f"BO_ {number} {unit}: 8 UNIT\n"
        for i, corner in enumerate(CORNERS):
            text += f' SG_ WHEEL_{corner} : {16 * i}|12@1+ (0.1,0) [0|400] "km/h" X\n'
        text += f'\nVAL_ {number} WHEEL_FL 4094 "init" ;\n'
    path = folder / "car.dbc"
    path.write_text(text)
    return path


def recording(folder: Path, can_id: int) -> Path:
    """A second of one message, 50 a second."""
    path = folder / "drive.log"
    path.write_text(
        "".join(f"({i / 50:.6f}) can0 {can_id:03X}#0000000000000000\n" for i in range(51))
    )
    return path


def test_the_screen(tmp_path: Path, capsys: Captured) -> None:
    assert run(["corners", "--dbc", str(dbc(tmp_path, "BRAKES"))]) == 0
    text = capsys.readouterr().out
    assert "FOUR CORNERS FOUND" in text
    assert "Rear left    BRAKES.WHEEL_RL, named in the signal" in text
    assert "0.1 km/h, 12 bits unsigned, little-endian" in text
    assert "no value, front left   0xFFE init" in text
    assert max(map(len, text.splitlines())) <= 80


def test_the_rate_in_a_recording(tmp_path: Path, capsys: Captured) -> None:
    file = str(dbc(tmp_path, "BRAKES"))
    assert run(["corners", "--dbc", file, "--capture", str(recording(tmp_path, 1))]) == 0
    assert "BRAKES  0x1, 51.0 a second in the recording" in capsys.readouterr().out
    assert run(["corners", "--dbc", file, "--capture", str(recording(tmp_path, 9))]) == 0
    text = capsys.readouterr().out
    assert "NOT HEARD" in text
    assert "never in the recording" in text


def test_a_recording_settles_two_equal_sets(tmp_path: Path, capsys: Captured) -> None:
    file = str(dbc(tmp_path, "OLD_UNIT", "NEW_UNIT"))
    assert run(["corners", "--dbc", file]) == 2
    error = capsys.readouterr().err
    assert "2 sets of wheel speeds that are equally good" in error
    assert 'FL = "NEW_UNIT.WHEEL_FL"' in error
    assert run(["corners", "--dbc", file, "--capture", str(recording(tmp_path, 2))]) == 0
    text = capsys.readouterr().out
    assert "Front left   NEW_UNIT.WHEEL_FL" in text
    assert "OLD_UNIT: speeds in km/h" in text


def test_the_document(tmp_path: Path, capsys: Captured) -> None:
    file = str(dbc(tmp_path, "BRAKES"))
    capture = str(recording(tmp_path, 1))
    assert run(["corners", "--dbc", file, "--capture", capture, "--json"]) == 0
    document = msgspec.json.decode(capsys.readouterr().out, type=CornersDocument, strict=True)
    assert document.schema == "canwheel-corners/1"
    assert list(document.wheels) == list(CORNERS)
    wheel = document.wheels["FL"]  # type: ignore[index]
    assert (wheel.message, wheel.frame_id, wheel.signal) == ("BRAKES", 1, "WHEEL_FL")
    assert (wheel.resolution, wheel.per_second) == (0.1, 51.0)
    assert [each.low for each in wheel.not_values] == [4094, 4095]


def test_file_names_that_are_no_unicode(tmp_path: Path, capsys: Captured) -> None:
    odd = {}
    for file in (dbc(tmp_path, "BRAKES"), recording(tmp_path, 1)):
        odd[file.suffix] = file.rename(tmp_path / f"caf\udce9{file.suffix}")
    arguments = ["--dbc", str(odd[".dbc"]), "--capture", str(odd[".log"])]
    assert run(["corners", *arguments, "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["definitions"] == "caf\\udce9.dbc"
    assert document["capture"].endswith("caf\\udce9.log")
    assert run(["corners", *arguments]) == 0


def test_the_vehicle_file_that_it_writes(tmp_path: Path, capsys: Captured) -> None:
    known = tmp_path / "known.toml"
    known.write_text(
        '[vehicle]\nname = "Van \\"7\\""\ndrive_side = "right"\nwheelbase_m = 2.98\n'
        "[fault_memory]\nrequest_id = 0x7A0\n"
    )
    written = tmp_path / "new.toml"
    files = ["--dbc", str(dbc(tmp_path, "BRAKES")), "--vehicle", str(known)]
    assert run(["corners", *files, "--write", str(written)]) == 0
    assert "Front right (driver's side)" in capsys.readouterr().out
    vehicle = read_vehicle(written)
    assert vehicle.wheels.RR == "BRAKES.WHEEL_RR"
    assert vehicle.vehicle == read_vehicle(known).vehicle
    assert vehicle.fault_memory.request_id == 0x7A0
    assert written.read_text().endswith("\n[fault_memory]\nrequest_id = 0x7A0\n")
    assert run(["corners", "--dbc", files[1], "--vehicle", str(written)]) == 0
    assert "named in the vehicle file" in capsys.readouterr().out


def test_a_file_that_is_there_is_not_written_over(tmp_path: Path, capsys: Captured) -> None:
    file = dbc(tmp_path, "BRAKES")
    before = file.read_bytes()
    assert run(["corners", "--dbc", str(file), "--write", str(file)]) == 2
    assert "is there already" in capsys.readouterr().err
    assert file.read_bytes() == before
    assert run(["corners", "--dbc", str(file), "--write", str(tmp_path / "no" / "v.toml")]) == 2
    assert "cannot be written" in capsys.readouterr().err


@pytest.mark.parametrize("name", ['"', "\\", "ü\x7f", "line\nend", "\t", "\x1b[31m", "🚗 van"])
def test_any_name_is_written_as_toml_reads_it(name: str, tmp_path: Path) -> None:
    known, written = tmp_path / "known.toml", tmp_path / "new.toml"
    text = json.dumps(name, ensure_ascii=False).replace("\x7f", "\\u007F")
    known.write_text(f"[vehicle]\nname = {text}\n", encoding="utf-8")
    files = ["--dbc", str(dbc(tmp_path, "BRAKES")), "--vehicle", str(known)]
    assert run(["corners", *files, "--write", str(written)]) == 0
    assert read_vehicle(written).vehicle.name == name
