"""Two recordings of real cars: found where their DBC files, written by hand, say they stand.

One is a minute of nearly straight road without a stop (the example segment of comma2k19, MIT
licence), the other two and a half minutes with tight right turns and a standstill, front and rear
in two messages (a clean trace of the DAGA data set, MIT licence).
"""

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from canwheel.capture import read_capture
from canwheel.capture.summary import CaptureSummary
from canwheel.corners import CORNERS, Corner
from canwheel.definitions.dbc import read_definitions
from canwheel.definitions.layout import BitField, SignalPlace, WheelLayout
from canwheel.definitions.survey import find_wheels_of
from canwheel.discovery import (
    Candidate,
    DeclaredTurn,
    Hints,
    SteeringField,
    discover_wheels,
)
from canwheel.discovery.dbc import render_candidate_dbc
from canwheel.discovery.places import payload_bits
from canwheel.frames import Frames
from canwheel.pipeline import judge
from canwheel.track.channel import choose_channel
from canwheel.vehicle import Vehicle

FOLDER = Path(__file__).parents[3] / "shared" / "data"
pytestmark = pytest.mark.skipif(
    not FOLDER.is_dir(),
    reason="the folder of real drives, ../shared/data, is not beside the project",
)
RIGHT = Hints(turns=(DeclaredTurn("right", 86.0),))
"""Steering on road-turns correlates -0.99 with the left/right difference (the folder's README):
all its tight turns are right ones; one is at 86 s."""


@cache
def recording(name: str) -> tuple[Frames, CaptureSummary, WheelLayout]:
    path = FOLDER / f"{name}.log.gz"
    capture = read_capture(path)
    definitions = read_definitions(FOLDER / f"{name}.dbc")
    return capture.frames, capture.summary, find_wheels_of(definitions, Vehicle(), path)


def best_of(frames: Frames, summary: CaptureSummary, hints: Hints | None = None) -> Candidate:
    return discover_wheels(frames, summary.first_time_ns, hints).candidates[0]


def stands_at(candidate: Candidate) -> dict[tuple[int, int], BitField]:
    return {(f.can_id, f.bits.start): f.bits for f in candidate.fields}


def true_places(layout: WheelLayout) -> dict[tuple[int, int], BitField]:
    return {(w.frame_id, w.bits.start): w.bits for w in layout.wheels}


@pytest.mark.parametrize("name", ["road-turns", "road-minute"])
def test_the_four_fields_stand_where_the_dbc_says(name: str) -> None:
    frames, summary, layout = recording(name)
    assert stands_at(best_of(frames, summary)) == {
        key: replace(bits, is_signed=False) for key, bits in true_places(layout).items()
    }


def test_turns_tell_all_four_corners_given_one() -> None:
    frames, summary, layout = recording("road-turns")
    best = best_of(frames, summary, RIGHT)
    for field in best.fields:
        assert field.corner is not None
        place = layout.wheel(field.corner)
        assert (field.can_id, field.bits.start) == (place.frame_id, place.bits.start)
        assert field.rest_raw == 32768  # the folder's DBC: "Raw 32768 is standstill."
    assert (best.axles_by, best.sides_by) == ("tight turns", "declared turn")


def test_a_named_steering_field_tells_left_from_right() -> None:
    """The size of the steering angle; every turn of the drive is a right one."""
    frames, summary, layout = recording("road-turns")
    size = SteeringField(8, extended=False, bits=BitField(53, 14, "big_endian"), grows="right")
    best = best_of(frames, summary, Hints(steering=size))
    assert best.sides_by == "named field"
    assert best.fields[0].bits.start == layout.wheel(Corner.FL).bits.start
    assert best.fields[0].can_id == layout.wheel(Corner.FL).frame_id


def test_a_straight_minute_tells_no_corner_and_infers_the_rest() -> None:
    frames, summary, layout = recording("road-minute")
    best = best_of(frames, summary)
    assert [field.corner for field in best.fields] == [None] * 4
    assert (best.axles_by, best.sides_by) == ("unknown", "unknown")
    assert not best.rest_seen
    place = layout.wheels[0]
    true_rest = -place.offset / place.scale
    assert best.rest_raw == pytest.approx(true_rest, abs=50)  # half a km/h of steps of 0.01
    assert any("never stood still" in warning for warning in best.warnings)


def test_nothing_else_is_taken_for_wheels() -> None:
    """Cars without a second set of wheel speeds on the bus show one candidate."""
    for name in ("road-turns", "road-minute"):
        frames, summary, _ = recording(name)
        assert len(discover_wheels(frames, summary.first_time_ns).candidates) == 1


def silenced(frames: Frames, place: SignalPlace, raw: int) -> Frames:
    """The same with one signal's bits overwritten."""
    rows = place.ids.matches(frames.can_id, frames.flags)
    data = frames.data.copy()
    bits = sorted(payload_bits(replace(place.bits, is_signed=False)))
    first, last = bits[0] // 8, bits[-1] // 8
    assert (last - first, place.bits.byte_order) == (1, "big_endian")  # two whole bytes here
    data[rows, first], data[rows, last] = raw >> 8, raw & 0xFF
    return replace(frames, data=data)


@pytest.mark.parametrize("corner", CORNERS)
def test_a_dead_corner_is_found_and_then_accused(corner: Corner, tmp_path: Path) -> None:
    """The written DBC, and `check` on the same capture, accuse that corner and no other."""
    frames, summary, layout = recording("road-turns")
    harmed = silenced(frames, layout.wheel(corner), 32768)
    best = best_of(harmed, summary, RIGHT)
    assert {field.corner: field.state for field in best.fields} == {
        each: "silent" if each == corner else "live" for each in CORNERS
    }
    dbc = tmp_path / "proposed.dbc"
    dbc.write_text(render_candidate_dbc(best, "road-turns.log.gz"))
    proposed = find_wheels_of(read_definitions(dbc), Vehicle(), tmp_path / "none.log")
    wanted, channel = choose_channel(harmed, proposed, None, tmp_path / "none.log")
    judged = judge(wanted, summary, proposed, Vehicle(), channel=channel).judgement
    accused = {j.corner: [f.kind for f in j.findings] for j in judged.with_verdict("faulty")}
    assert accused == {corner: ["no_signal"]}


@pytest.mark.parametrize("corner", CORNERS)
def test_a_dead_corner_on_the_straight_minute(corner: Corner) -> None:
    frames, summary, layout = recording("road-minute")
    best = best_of(silenced(frames, layout.wheel(corner), 6767), summary)
    assert stands_at(best).keys() == true_places(layout).keys()
    dead = [field for field in best.fields if field.state != "live"]
    assert [field.bits.start for field in dead] == [layout.wheel(corner).bits.start]


def test_the_mirrored_car_is_the_mirrored_answer() -> None:
    """The same frames and the turn declared the other way."""
    frames, summary, _ = recording("road-turns")
    right = best_of(frames, summary, RIGHT).fields
    left = best_of(frames, summary, Hints(turns=(DeclaredTurn("left", 86.0),))).fields
    assert [f.bits.start for f in left] == [right[k].bits.start for k in (1, 0, 3, 2)]
    assert [f.can_id for f in left] == [right[k].can_id for k in (1, 0, 3, 2)]


def test_a_third_of_the_frames_is_enough() -> None:
    """A logger that keeps a third of the frames, at random."""
    frames, summary, layout = recording("road-turns")
    kept = np.random.default_rng(5).random(len(frames)) < 1 / 3
    best = best_of(frames.select(kept), summary, RIGHT)
    assert stands_at(best).keys() == true_places(layout).keys()
    assert best.is_complete
