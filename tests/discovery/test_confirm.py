"""A proposal on a second drive: confirmed, contradicted point by point, or not shown."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from canwheel.corners import Corner
from canwheel.definitions.dbc import read_definitions
from canwheel.definitions.survey import find_wheels_of
from canwheel.discovery import DeclaredTurn, HeldSpeed, Hints, discover_wheels
from canwheel.discovery.confirm import Confirmation, confirm_frames
from canwheel.discovery.dbc import render_candidate_dbc
from canwheel.frames import Frames
from canwheel.vehicle import Vehicle

LEFT = Hints(turns=(DeclaredTurn("left", 47.0),), speeds=(HeldSpeed(48.0, 17.0),))


@pytest.fixture(scope="module")
def dbc(make_bus: Any, tmp_path_factory: pytest.TempPathFactory) -> Path:
    frames = make_bus()
    best = discover_wheels(frames, int(frames.time_ns[0]), LEFT).candidates[0]
    path = tmp_path_factory.mktemp("proposal") / "car.dbc"
    path.write_text(render_candidate_dbc(best, "drive.log"))
    return path


def outcomes(dbc: Path, frames: Frames, hints: Hints | None = None) -> dict[str, str]:
    layout = find_wheels_of(read_definitions(dbc), Vehicle(), dbc)
    points = confirm_frames(frames, int(frames.time_ns[0]), layout, hints or Hints())
    return {point.name: point.outcome for point in points} | {
        "verdict": Confirmation(None, "car.dbc", points).verdict  # type: ignore[arg-type]
    }


def test_the_same_car_on_another_drive(dbc: Path, make_bus: Any, make_drive: Any) -> None:
    other = make_drive(seed=9, tyres=(1.003, 1.0, 1.001, 0.998))
    said = outcomes(dbc, make_bus(kph=other.kph), LEFT)
    assert said["verdict"] == "confirmed"
    assert {said[name] for name in ("rest", "sides", "front", "left", "scale")} == {"fits"}


WRONG = {
    "sides": (Corner.FL, Corner.RL, Corner.FR, Corner.RR),
    "front": (Corner.RL, Corner.RR, Corner.FL, Corner.FR),
    "left": (Corner.FR, Corner.FL, Corner.RR, Corner.RL),
}


@pytest.mark.parametrize("point", WRONG)
def test_a_car_whose_corners_stand_elsewhere(point: str, dbc: Path, make_bus: Any) -> None:
    said = outcomes(dbc, make_bus(order=WRONG[point]), LEFT)
    assert said[point] == "contradicts"
    assert said["verdict"] == "contradicted"


def test_another_nought(dbc: Path, make_bus: Any) -> None:
    assert outcomes(dbc, make_bus(rest_raw=2000))["rest"] == "contradicts"


def test_a_speed_that_the_dash_contradicts(dbc: Path, make_bus: Any) -> None:
    fast = Hints(speeds=(HeldSpeed(80.0, 17.0),))
    assert outcomes(dbc, make_bus(), fast)["scale"] == "contradicts"


def test_a_drive_that_shows_too_little(dbc: Path, make_bus: Any, make_drive: Any) -> None:
    straight = make_drive(((0, 30), (30, 55), (60, 40)), ())
    said = outcomes(dbc, make_bus(kph=straight.kph))
    assert said["verdict"] == "not_shown"
    assert {said[name] for name in ("rest", "sides", "front", "left", "scale")} == {"not shown"}
    assert outcomes(dbc, make_bus(kph=np.zeros_like(straight.kph)))["heard"] == "not shown"
    moving = make_bus()
    at_once = replace(moving, time_ns=np.zeros_like(moving.time_ns))
    assert outcomes(dbc, at_once)["heard"] == "not shown"


def test_messages_that_are_not_there(dbc: Path, make_bus: Any) -> None:
    frames = make_bus()
    said = outcomes(dbc, frames.select(frames.can_id != 0x1A6))
    assert said == {"heard": "contradicts", "verdict": "contradicted"}
