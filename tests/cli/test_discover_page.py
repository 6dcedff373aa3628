"""``canwheel discover --page``: the page is written once, and names the files with fingerprints."""

import hashlib
from pathlib import Path

import pytest
from click.testing import CliRunner

from canwheel.cli.discover import command
from canwheel.errors import RequestError
from canwheel.roadtest.layouts import NURSERY_PICKUP
from canwheel.roadtest.recording import write_log
from canwheel.roadtest.unlabelled import UnlabelledCapture, unlabelled_drive


@pytest.fixture(scope="module")
def drive() -> UnlabelledCapture:
    return unlabelled_drive(NURSERY_PICKUP, seed=5, others=30)


@pytest.fixture(scope="module")
def capture(drive: UnlabelledCapture, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("discover") / "drive.log"
    write_log(drive.frames, path)
    return path


def run(*arguments: object) -> int:
    outcome = CliRunner().invoke(command, [str(one) for one in arguments], standalone_mode=False)
    if outcome.exception is not None:
        raise outcome.exception
    return int(outcome.return_value)


def sha256(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def test_page_names_the_recording_and_what_was_written(
    capture: Path, drive: UnlabelledCapture, tmp_path: Path
) -> None:
    page, dbc = tmp_path / "page.html", tmp_path / "car.dbc"
    turn = f"left@{drive.left_s:.0f}"
    assert run(capture, "--turn", turn, "--page", page, "--write", dbc, "--units", "mph") == 0
    text = page.read_text(encoding="utf-8")
    assert "Wheel speeds found" in text
    for path in (capture, dbc, dbc.with_suffix(".toml")):
        assert path.name in text
        assert sha256(path) in text
    assert f"At {float(turn.removeprefix('left@')):g} s the car turned left." in text
    assert "mph a step" in text
    assert str(tmp_path) not in text


def test_page_that_is_there_stays_as_it_is(capture: Path, tmp_path: Path) -> None:
    page = tmp_path / "page.html"
    page.write_text("mine")
    with pytest.raises(RequestError, match="is there already"):
        run(capture, "--page", page)
    assert page.read_text() == "mine"


def test_options_that_do_not_go_together_are_told(capture: Path, tmp_path: Path) -> None:
    with pytest.raises(RequestError, match="no page is asked for"):
        run(capture, "--units", "mph")
    with pytest.raises(RequestError, match="--page and --confirm"):
        run(capture, "--page", tmp_path / "page.html", "--confirm", tmp_path / "car.dbc")
