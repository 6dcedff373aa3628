"""The written DBC: read by cantools as it was meant, and by the package's own assignment."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import cantools
import numpy as np
import pytest

from canwheel.corners import CORNERS
from canwheel.definitions.assign import find_wheels
from canwheel.definitions.dbc import read_definitions
from canwheel.discovery import Candidate, DeclaredTurn, HeldSpeed, Hints, discover_wheels
from canwheel.discovery.dbc import (
    check_writable,
    render_candidate_dbc,
    render_candidate_vehicle,
)
from canwheel.errors import RequestError
from canwheel.vehicle import Vehicle, read_vehicle

KNOWN = Hints(turns=(DeclaredTurn("left", 47.0),), speeds=(HeldSpeed(48.0, 17.0),))


@pytest.fixture(scope="module")
def best(make_bus: Any) -> Candidate:
    frames = make_bus(rest_raw=6767)
    return discover_wheels(frames, int(frames.time_ns[0]), KNOWN).candidates[0]


def test_cantools_decodes_it_to_the_speeds_that_were_packed(
    best: Candidate, make_bus: Any, town: Any
) -> None:
    database = cantools.database.load_string(render_candidate_dbc(best, "drive.log"), "dbc")
    frames = make_bus(rest_raw=6767)
    wheels = frames.select(frames.can_id == 0x1A6)
    assert best.scale.kph is not None
    for row in (500, 2400, 4900):  # a straight, a left and a right turn
        decoded = database.decode_message(0x1A6, wheels.data[row].tobytes())
        told = [decoded[f"WHEEL_SPEED_{corner}"] for corner in CORNERS]
        assert np.allclose(told, town.kph[row] * best.scale.kph / 0.01, atol=0.02)


def test_the_assignment_of_corners_reads_its_names(best: Candidate, tmp_path: Path) -> None:
    """With and without the vehicle file beside it; the corners are told by the signals' names."""
    dbc, vehicle = tmp_path / "car.dbc", tmp_path / "car.toml"
    dbc.write_text(render_candidate_dbc(best, "drive.log"))
    vehicle.write_text(render_candidate_vehicle(best, dbc.name, "drive.log"))
    definitions = read_definitions(dbc)
    for car in (Vehicle(), read_vehicle(vehicle)):
        layout = find_wheels(definitions, car)
        assert layout.unit == "km/h"
        for corner, field in zip(CORNERS, best.fields, strict=True):
            place = layout.wheel(corner)
            assert place.bits == field.bits
            assert place.offset == pytest.approx(-6767 * place.scale)
            assert [mark.low for mark in place.not_values] == [0xFFFF]


def test_a_scale_without_evidence_has_no_unit(best: Candidate, tmp_path: Path) -> None:
    relative = replace(best, scale=replace(best.scale, by="best fitting usual step"))
    dbc = tmp_path / "car.dbc"
    dbc.write_text(render_candidate_dbc(relative, "drive.log"))
    assert find_wheels(read_definitions(dbc), Vehicle()).unit == "proportional"


def test_comments_carry_the_evidence_in_plain_ascii(best: Candidate) -> None:
    hostile = 'drive";\nBO_ 1 X: 8 Y\x1b[2J".log'
    text = render_candidate_dbc(best, hostile)
    assert text.isascii()
    assert "FL^2 + RR^2 = FR^2 + RL^2" in text
    assert "to be confirmed against a known speed and a known turn" in text
    assert [message.name for message in cantools.database.load_string(text, "dbc").messages] == [
        "WHEEL_SPEEDS_422"
    ]
    vehicle = render_candidate_vehicle(best, "car.dbc", hostile)
    assert "\x1b" not in vehicle
    assert "BO_ 1 X" not in vehicle.replace("?", "\n").split("\n[wheels]")[1]


def test_corners_that_nobody_knows_are_not_written_unasked(best: Candidate) -> None:
    fl, fr, rl, rr = (replace(field, corner=None) for field in best.fields)
    mirror = replace(best, fields=(fl, fr, rl, rr), sides_by="unknown")
    with pytest.raises(RequestError, match="two mirror images"):
        check_writable(mirror, mirror_unknown=False)
    with pytest.raises(RequestError, match="which corner is which"):
        check_writable(replace(mirror, axles_by="unknown"), mirror_unknown=False)
    check_writable(mirror, mirror_unknown=True)
    assert "ARE A GUESS" in render_candidate_dbc(mirror, "drive.log")
    assert "ARE A GUESS" not in render_candidate_dbc(best, "drive.log")


def test_pulse_counters_are_written_as_such(best: Candidate, tmp_path: Path) -> None:
    pulses = replace(best, kind="pulse counters")
    dbc = tmp_path / "car.dbc"
    dbc.write_text(render_candidate_dbc(pulses, "drive.log"))
    layout = find_wheels(read_definitions(dbc), Vehicle())
    assert layout.unit == "pulse count"
    assert {place.scale for place in layout.wheels} == {1.0}
