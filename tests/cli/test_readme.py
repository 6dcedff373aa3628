"""What the README shows is what the program does."""

import re
import shlex
from pathlib import Path

import cantools
import pytest

from canwheel.corners import CORNERS
from canwheel.definitions.assign import find_wheels
from canwheel.definitions.dbc import read_definitions
from canwheel.job import read_job
from canwheel.judgement.wording import KIND_WORDS
from canwheel.pipeline import check
from canwheel.vehicle import Vehicle, read_vehicle
from canwheel.views.screen import render_check
from canwheel.views.terminal import Screen

PROJECT = Path(__file__).parents[2]
README = (PROJECT / "README.md").read_text(encoding="utf-8")


def block(language: str, *, holding: str = "") -> str:
    found = re.findall(rf"^```{language}\n(.*?)^```", README, re.DOTALL | re.MULTILINE)
    return next(text for text in found if holding in text)


def test_the_worked_dbc_gives_the_four_corners(tmp_path: Path) -> None:
    path = tmp_path / "van.dbc"
    path.write_text(block("dbc"))
    layout = find_wheels(read_definitions(path), Vehicle())
    assert [layout.wheel(corner).signal for corner in CORNERS] == [
        f"WHEEL_SPEED_{corner.value}" for corner in CORNERS
    ]
    # Outside reference: cantools decodes the worked frame to the worked speeds.
    database = cantools.database.load_file(path)
    frame = re.search(r"The frame `1A6#([0-9A-F]{16})`", README)
    assert frame is not None
    speeds = database.decode_message(0x1A6, bytes.fromhex(frame[1]))
    assert list(speeds.values()) == pytest.approx([40.00, 40.03, 39.98, 40.01])
    assert "40.00 km/h at the front left, and 40.03, 39.98 and 40.01 km/h" in README


def test_the_vehicle_file_is_a_valid_one_and_names_every_key(tmp_path: Path) -> None:
    path = tmp_path / "van.toml"
    path.write_text(block("toml", holding="[vehicle]"))
    vehicle = read_vehicle(path)
    for section in vehicle.__struct_fields__:
        for key in getattr(vehicle, section).__struct_fields__:
            assert re.search(rf"\b{key}\b", block("toml", holding="[vehicle]")), key


def test_the_job_file_is_a_valid_one_and_names_every_key(tmp_path: Path) -> None:
    path = tmp_path / "job.toml"
    path.write_text(block("toml", holding="technician"))
    job = read_job(path)
    assert all(getattr(job, key) is not None for key in job.__struct_fields__)


def test_the_first_commands_name_files_that_are_there() -> None:
    first, second = re.findall(r"^python3 -m venv .*$", README, re.MULTILINE)
    files = [word for word in shlex.split(first) if word.startswith(("captures/", "dbc_examples/"))]
    assert len(files) == 4
    for name in files:
        assert (PROJECT / name).is_file()
    assert second.endswith(".venv/bin/python -m pytest -n auto --cov")


def test_the_screen_shown_is_that_of_the_first_recording() -> None:
    capture, dbc, vehicle = (
        PROJECT / name
        for name in (
            "captures/before.log.gz",
            "dbc_examples/bakery_van.dbc",
            "dbc_examples/bakery_van.toml",
        )
    )
    shown = re.search(r"^  FAULT FOUND.*?(?=^```)", README, re.DOTALL | re.MULTILINE)
    assert shown is not None
    assert shown[0] in render_check(check(capture, dbc, vehicle), Screen())


@pytest.mark.parametrize("words", KIND_WORDS.values())
def test_every_kind_is_explained(words: str) -> None:
    assert f"| {words} |" in README
