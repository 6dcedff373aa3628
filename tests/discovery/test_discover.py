"""The town drive of the tests, packed by cantools: found where cantools put it.

The drive's speeds come from rigid-body motion written down in ``tests/conftest.py``, beside the
package; the bits come from an outside library.
"""

from typing import Any

import numpy as np
import pytest

from canwheel.corners import CORNERS, Corner
from canwheel.definitions.layout import BitField
from canwheel.discovery import (
    DeclaredTurn,
    Discovery,
    HeldSpeed,
    Hints,
    SatelliteTrack,
    discover_wheels,
)
from canwheel.errors import RequestError
from canwheel.frames import Frames

LEFT = Hints(turns=(DeclaredTurn("left", 47.0),))
"""The town drive's first tight turn, to the left (`TOWN_TURNS`)."""

LAYOUTS = {
    "sixteen bits, highest byte first": ((7, 23, 39, 55), 16, "big_endian", 0.01, 0),
    "sixteen bits, lowest byte first": ((0, 16, 32, 48), 16, "little_endian", 0.01, 0),
    "thirteen bits without a gap": ((0, 13, 26, 39), 13, "little_endian", 0.03125, 0),
    "fifteen bits without a gap, highest first": ((7, 8, 25, 42), 15, "big_endian", 0.01, 0),
    "rest that is not raw nought": ((7, 23, 39, 55), 16, "big_endian", 0.01, 6767),
}


def found(frames: Frames, hints: Hints | None = None) -> Discovery:
    return discover_wheels(frames, int(frames.time_ns[0]), hints)


@pytest.mark.parametrize("name", LAYOUTS)
def test_the_four_fields_and_their_corners(name: str, make_bus: Any) -> None:
    starts, length, byte_order, step, rest = LAYOUTS[name]
    discovery = found(make_bus(starts, length, byte_order, step_kph=step, rest_raw=rest), LEFT)
    best = discovery.candidates[0]
    assert best.kind == "wheel speeds"
    for field, corner, start in zip(best.fields, CORNERS, starts, strict=True):
        assert field.corner == corner
        assert field.state == "live"
        assert field.can_id == 0x1A6
        assert field.bits == BitField(start, length, byte_order)
        assert field.rest_raw == rest
    assert best.axles_by == "tight turns"
    assert best.sides_by == "declared turn"
    assert best.rest_seen


ORDERS = (
    (Corner.RR, Corner.FL, Corner.RL, Corner.FR),
    (Corner.FR, Corner.FL, Corner.RR, Corner.RL),
    (Corner.RL, Corner.RR, Corner.FL, Corner.FR),
)


@pytest.mark.parametrize("order", ORDERS)
def test_corners_are_told_by_motion_and_not_by_order(
    order: tuple[Corner, ...], make_bus: Any
) -> None:
    best = found(make_bus(order=order), LEFT).candidates[0]
    starts = dict(zip(order, (7, 23, 39, 55), strict=True))
    assert {field.corner: field.bits.start for field in best.fields} == starts


def test_a_right_turn_declared_left_is_the_mirror_image(make_bus: Any) -> None:
    wrong = Hints(turns=(DeclaredTurn("right", 47.0),))
    best = found(make_bus(), wrong).candidates[0]
    assert [field.bits.start for field in best.fields] == [23, 7, 55, 39]


def test_without_a_declared_turn_one_of_two_mirror_images(make_bus: Any) -> None:
    best = found(make_bus()).candidates[0]
    assert [field.corner for field in best.fields] == [None] * 4
    assert best.axles_by == "tight turns"
    assert best.sides_by == "unknown"
    assert any("mirror" in warning for warning in best.warnings)
    fronts = {best.fields[0].bits.start, best.fields[1].bits.start}
    assert fronts == {7, 23}


def test_declared_turns_that_contradict_each_other(make_bus: Any) -> None:
    turns = (DeclaredTurn("left", 47.0), DeclaredTurn("left", 99.0))  # the second is a right one
    with pytest.raises(RequestError, match="contradicts"):
        found(make_bus(), Hints(turns=turns))


def test_a_turn_declared_where_the_car_went_straight(make_bus: Any) -> None:
    with pytest.raises(RequestError, match="hardly turned"):
        found(make_bus(), Hints(turns=(DeclaredTurn("left", 75.0),)))


@pytest.mark.parametrize("corner", CORNERS)
@pytest.mark.parametrize(
    ("value", "state"), [(0, "silent"), (0xFFFF, "no value"), (1234, "frozen")]
)
def test_a_dead_corner_has_its_place(corner: Corner, value: int, state: str, make_bus: Any) -> None:
    best = found(make_bus(dead={corner: value}), LEFT).candidates[0]
    assert [field.bits.start for field in best.fields] == [7, 23, 39, 55]
    assert [field.corner for field in best.fields] == list(CORNERS)
    assert best.fields[corner.position].state == state
    assert [f.state for f in best.fields].count("live") == 3


def test_a_wheel_that_wakes_up_late(make_bus: Any, town: Any) -> None:
    kph = town.kph.copy()
    kph[kph[:, 2] < 20, 2] = 0
    best = found(make_bus(kph=kph), LEFT).candidates[0]
    assert [field.bits.start for field in best.fields] == [7, 23, 39, 55]
    assert best.fields[2].state == "faulty"
    assert best.fields[2].corner == Corner.RL


def test_four_copies_of_one_speed_are_no_wheels(make_bus: Any, town: Any) -> None:
    same = np.repeat(town.kph.mean(axis=1, keepdims=True), 4, axis=1)
    assert found(make_bus(kph=same)).candidates == ()


def test_copies_that_come_late_are_no_wheels(make_bus: Any, town: Any) -> None:
    mean = town.kph.mean(axis=1)
    late = [np.interp(town.time_s - delay, town.time_s, mean) for delay in (0, 0.05, 0.1, 0.18)]
    assert found(make_bus(kph=np.column_stack(late))).candidates == ()


def test_a_parked_car_shows_nothing(make_bus: Any, town: Any) -> None:
    assert found(make_bus(kph=np.zeros_like(town.kph))).candidates == ()


def test_nothing_but_a_next_step_from_an_empty_bus() -> None:
    discovery = discover_wheels(Frames.empty(), 0)
    assert discovery.candidates == ()
    assert "Record another drive" in discovery.next_steps[0]


def test_time_shifted_by_an_hour_changes_nothing(make_bus: Any) -> None:
    frames = make_bus()
    later = found(
        Frames(
            frames.time_ns + 3_600_000_000_000,
            *(getattr(frames, name) for name in frames.__slots__[1:]),
        ),
        LEFT,
    )
    assert later.candidates[0].fields == found(frames, LEFT).candidates[0].fields


def test_a_held_speed_gives_the_scale(make_bus: Any, town: Any) -> None:
    """The dash shows 2 % too much here, within what UN Regulation 39 allows (FACTS: 5.3)."""
    at_s = 17.0
    shown = float(np.interp(at_s, town.time_s, town.kph.mean(axis=1))) * 1.02
    best = found(make_bus(), Hints(speeds=(HeldSpeed(shown, at_s),))).candidates[0]
    assert best.scale.by == "held speed"
    assert best.scale.low_kph is not None
    assert best.scale.high_kph is not None
    assert best.scale.low_kph <= 0.01 <= best.scale.high_kph
    assert best.scale.kph == 0.01


def test_a_car_that_drives_backwards(make_bus: Any, town: Any) -> None:
    """Signed speeds: from 110 to 122 s of the town drive backwards, as two's complement."""
    kph = town.kph.copy()
    back = (town.time_s > 114) & (town.time_s < 122)
    kph[back] *= -0.3
    raw = np.round(kph / 0.01).astype(np.int64) & 0xFFFF
    best = found(make_bus(kph=raw * 0.01), LEFT).candidates[0]
    for field, start in zip(best.fields, (7, 23, 39, 55), strict=True):
        assert field.bits == BitField(start, 16, "big_endian", is_signed=True)
    assert best.traces.steps.min() < -100


def test_marks_before_there_are_values_do_no_harm(make_bus: Any, town: Any) -> None:
    """All bits set for the first 8 s, as units do that wait for their first pulses."""
    kph = town.kph.copy()
    kph[town.time_s < 8] = 655.35
    discovery = found(make_bus(kph=kph), LEFT)
    best = discovery.candidates[0]
    assert [field.bits.start for field in best.fields] == [7, 23, 39, 55]
    assert [field.corner for field in best.fields] == list(CORNERS)
    assert best.rest_raw == 0
    assert best.figures.steps < 7000


def test_coarse_copies_stand_behind(make_bus: Any) -> None:
    frames = make_bus()
    coarse = make_bus((0, 8, 16, 24), 8, "little_endian", step_kph=1.0)
    copy = coarse.select(coarse.can_id == 0x1A6)
    copy.can_id[:] = 0x410
    both = Frames.concatenate([frames, copy])
    both = both.select(np.argsort(both.time_ns, kind="stable"))
    first, second = found(both, LEFT).candidates[:2]
    assert (first.kind, first.fields[0].can_id) == ("wheel speeds", 0x1A6)
    assert (second.kind, second.fields[0].can_id, second.copy_of) == ("coarse copy", 0x410, 0)


def test_pulse_counters_are_named_and_stand_behind(make_bus: Any, town: Any) -> None:
    """48 pulses a turn of 1.94 m, counted modulo 256 in a message of their own."""
    pulses = np.cumsum(town.kph / 3.6 / 1.94 * 48 * 0.02, axis=0) % 256
    counters = make_bus((0, 8, 16, 24), 8, "little_endian", kph=np.floor(pulses) * 0.01)
    counters = counters.select(counters.can_id == 0x1A6)
    alone = found(counters, LEFT).candidates
    assert [one.kind for one in alone] == ["pulse counters"]
    assert [field.corner for field in alone[0].fields] == list(CORNERS)
    counters.can_id[:] = 0x1A0
    both = Frames.concatenate([make_bus(), counters])
    both = both.select(np.argsort(both.time_ns, kind="stable"))
    first, second = found(both, LEFT).candidates
    assert (first.kind, second.kind) == ("wheel speeds", "pulse counters")
    assert [field.can_id for field in second.fields] == [0x1A0] * 4


def test_a_satellite_track_gives_the_scale(make_bus: Any, town: Any) -> None:
    frames = make_bus()
    points = np.arange(0.0, town.time_s[-1], 1.0)
    kph = np.interp(points, town.time_s, town.kph.mean(axis=1))
    track = SatelliteTrack("drive.gpx", frames.time_ns[0] / 1e9 + points, kph)
    best = found(frames, Hints(track=track)).candidates[0]
    assert best.scale.by == "satellite track"
    assert best.scale.kph == pytest.approx(0.01, rel=0.01)
