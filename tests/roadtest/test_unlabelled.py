"""Captures without a DBC, and the truth that goes with them."""

from pathlib import Path

import numpy as np
import opendbc
import pytest

from canwheel.corners import CORNERS, Corner
from canwheel.definitions.assign import find_wheels
from canwheel.definitions.columns import extract_bits
from canwheel.definitions.dbc import read_definitions
from canwheel.roadtest.adopt import adopt_layout
from canwheel.roadtest.bus_layout import BusLayout, unit_per_kph
from canwheel.roadtest.layouts import BAKERY_VAN, NURSERY_PICKUP
from canwheel.roadtest.not_wheels import LOOK_ALIKES
from canwheel.roadtest.unlabelled import (
    UnlabelledCapture,
    unlabelled_drive,
    without_wheels,
)
from canwheel.roadtest.wheel_messages import wheel_messages
from canwheel.vehicle import Vehicle


@pytest.fixture(scope="module")
def capture() -> UnlabelledCapture:
    return unlabelled_drive(NURSERY_PICKUP, seed=5)


def field_at(capture: UnlabelledCapture, place: int, at_s: float) -> int:
    """Raw value of a corner's field in the first frame after a time."""
    field = capture.wheels[place]
    frames = capture.frames
    since_s = (frames.time_ns - frames.time_ns[0]) / 1e9
    row = np.flatnonzero((frames.can_id == field.frame_id) & (since_s > at_s))[0]
    return int(extract_bits(frames.data[row : row + 1], field.bits)[0])


def raw_of(layout: BusLayout, corner: Corner, kph: float) -> float:
    signal = next(s for _, s in layout.signals() if s.quantity == corner)
    per_kph = unit_per_kph(signal.unit, circumference_m=1.94, teeth=48)
    return (kph * per_kph - signal.offset) / signal.scale


def test_truth_is_where_the_frames_hold_the_speeds(capture: UnlabelledCapture) -> None:
    at_s, dash_kph = capture.steady
    for corner in CORNERS:
        raw = field_at(capture, corner.position, at_s)
        assert raw == pytest.approx(raw_of(NURSERY_PICKUP, corner, dash_kph / 1.02), rel=0.03)
    assert len(set(capture.frames.can_id.tolist())) >= 32


def test_turns_are_where_the_truth_says(capture: UnlabelledCapture) -> None:
    fl, fr, rl, rr = (field_at(capture, place, capture.left_s) for place in range(4))
    assert fl < fr
    assert rl < rr
    fl, fr, rl, rr = (field_at(capture, place, capture.right_s) for place in range(4))
    assert fl > fr
    assert rl > rr


def test_same_seed_same_capture(capture: UnlabelledCapture) -> None:
    again = unlabelled_drive(NURSERY_PICKUP, seed=5)
    assert np.array_equal(again.frames.data, capture.frames.data)
    assert np.array_equal(again.frames.time_ns, capture.frames.time_ns)


def test_dead_corner_holds_still_where_the_truth_says() -> None:
    capture = unlabelled_drive(BAKERY_VAN, seed=2, trouble=("dead", Corner.RL))
    field = capture.wheels[Corner.RL.position]
    mine = capture.frames.select(capture.frames.can_id == field.frame_id)
    assert set(extract_bits(mine.data, field.bits).tolist()) == {0}
    other = capture.wheels[Corner.RR.position]
    assert len(set(extract_bits(mine.data, other.bits).tolist())) > 100


def test_flagged_corner_says_all_ones() -> None:
    capture = unlabelled_drive(BAKERY_VAN, seed=2, trouble=("flagged", Corner.FL))
    field = capture.wheels[0]
    mine = capture.frames.select(capture.frames.can_id == field.frame_id)
    assert set(extract_bits(mine.data, field.bits).tolist()) == {8191}


@pytest.mark.parametrize("look_alike", LOOK_ALIKES)
def test_look_alikes_have_no_corner_that_moves(look_alike: str) -> None:
    capture = without_wheels(look_alike, seed=4, wheels=BAKERY_VAN)  # type: ignore[arg-type]
    assert capture.wheels == ()
    told = {signal.quantity for _, signal in capture.layout.signals()}
    assert look_alike == "parked" or not told & set(CORNERS)
    assert 30 <= len(set(capture.frames.can_id.tolist())) <= 66


def test_step_that_no_speed_has_becomes_a_usual_one() -> None:
    files = {path.name: path for path in Path(opendbc.__file__).parent.rglob("*.dbc")}
    for name in ("volvo_v40_2017_pt.dbc", "vw_meb.dbc", "_toyota_2017.dbc"):
        definitions = read_definitions(files[name])
        adopted = adopt_layout(definitions, find_wheels(definitions, Vehicle()))
        layout = wheel_messages(np.random.default_rng(1), adopted, definitions)
        for message, signal in layout.signals():
            if signal.quantity not in CORNERS:
                continue
            top = ((1 << signal.length) * signal.scale + signal.offset) / unit_per_kph(
                signal.unit, circumference_m=1.94, teeth=48
            )
            assert 150 <= top <= 700, (name, message.name, signal.name)
            old = next(s for _, s in adopted.signals() if s.quantity == signal.quantity)
            assert signal.bits == old.bits
            assert signal.offset / signal.scale == pytest.approx(old.offset / old.scale, abs=1)
