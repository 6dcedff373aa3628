"""From frames to the four corners: messages interleaved, gaps, marks, clocks, units."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from canwheel.capture.summary import CaptureSummary
from canwheel.corners import CORNERS, Corner
from canwheel.definitions.layout import BitField, RawRange, SignalPlace, SpeedUnit, WheelLayout
from canwheel.findings import examine
from canwheel.frames import Frames, IdPattern
from canwheel.judgement.cautions import caution_fit
from canwheel.track.build import build_track
from canwheel.track.wheel_track import WheelTrack
from canwheel.vehicle import Vehicle, VehicleFacts

FRONT, REAR, HELPER = 0x1A0, 0x1A2, 0x2B0
SCALE, MARK = 0.01, 0xFFFF
SECOND = 1_000_000_000


def place(can_id: int, start: int, *, scale: float = SCALE, offset: float = 0.0) -> SignalPlace:
    return SignalPlace(
        message=f"M{can_id:X}",
        signal=f"S{start}",
        frame_id=can_id,
        ids=IdPattern.exactly(can_id, extended=False),
        bits=BitField(start, 16, "big_endian"),
        scale=scale,
        offset=offset,
        unit="km/h",
        not_values=(RawRange(MARK, MARK, "not available"),),
    )


LAYOUT = WheelLayout(
    file="van.dbc",
    wheels=(place(FRONT, 7), place(FRONT, 23), place(REAR, 7), place(REAR, 23)),
    unit="km/h",
    helpers={"steering": place(HELPER, 7, scale=0.1, offset=-3000.0), "brake": place(HELPER, 23)},
)
ONE_MESSAGE = replace(LAYOUT, wheels=tuple(place(FRONT, 7 + 16 * k) for k in range(4)), helpers={})

Message = tuple[int, Any, Sequence[Any]]
"""Identifier; times [s] (n,); raw numbers of 16 bits each, in order, each (n,) or one for all."""


def heard(*messages: Message, shortest: int = 8) -> Frames:
    """Frames of several messages in the order of their times, and nothing else on the bus."""
    time_s = np.concatenate([np.asarray(times, float) for _, times, _ in messages])
    can_id = np.concatenate([np.full(len(times), i, np.uint32) for i, times, _ in messages])
    data = np.zeros((len(time_s), 8), np.uint8)
    row = 0
    for _, times, numbers in messages:
        for k, number in enumerate(numbers):
            raw = np.broadcast_to(np.asarray(number, np.int64), len(times))
            data[row : row + len(times), 2 * k] = raw >> 8
            data[row : row + len(times), 2 * k + 1] = raw & 0xFF
        row += len(times)
    order = np.argsort(time_s, kind="stable")
    count = len(time_s)
    return Frames(
        time_ns=np.round(time_s[order] * SECOND).astype(np.int64),
        can_id=can_id[order],
        flags=np.zeros(count, np.uint8),
        length=np.full(count, shortest, np.uint8),
        data=data[order],
        channel=np.zeros(count, np.uint8),
        channels=("can0",),
        index=np.arange(count, dtype=np.int64),
    )


def build(
    frames: Frames, layout: WheelLayout = LAYOUT, vehicle: Vehicle | None = None
) -> WheelTrack:
    summary = CaptureSummary(
        file="drive.log",
        sha256="",
        frames=int(frames.index[-1]) + 1,
        first_time_ns=int(frames.time_ns[0]),
        last_time_ns=int(frames.time_ns[-1]),
    )
    return build_track(frames, layout, vehicle or Vehicle(), summary)


def ticks(from_s: float, to_s: float, period_s: float = 0.02) -> Any:
    return np.arange(from_s, to_s - period_s / 2, period_s)


# --- several messages ---


def test_two_messages_at_their_own_phases_meet_on_one_time_base() -> None:
    front_s, rear_s = ticks(100, 110), ticks(100.013, 110, 0.04)
    speed = np.round(1000 * (front_s - 100)), np.round(1000 * (rear_s - 100))  # 10 km/h a second
    track = build(heard((FRONT, front_s, [speed[0]] * 2), (REAR, rear_s, [speed[1]] * 2)))
    assert track.time_s == pytest.approx(rear_s - 100)  # the slower one's own times
    assert np.all(np.abs(track.speed_kph - 10 * track.time_s[:, None]) < 0.02)
    assert track.wheel(Corner.FL).time_s == pytest.approx(front_s - 100)
    assert track.wheel(Corner.FL).period_s == pytest.approx(0.02)
    assert track.wheel(Corner.RL).period_s == pytest.approx(0.04)
    from_front = track.seen_from(Corner.FL)
    assert np.array_equal(from_front[:, 0], track.wheel(Corner.FL).speed_kph)
    off = np.abs(from_front - 10 * track.wheel(Corner.FL).time_s[:, None])
    assert np.nanmax(off[2:-2]) < 0.02


def test_one_message_needs_no_interpolation() -> None:
    time_s = ticks(0, 2)
    raw = np.round(np.linspace(0, 5000, len(time_s)))
    track = build(heard((FRONT, time_s, [raw, raw + 1, raw + 2, raw + 3])), ONE_MESSAGE)
    for corner in CORNERS:
        expected = (raw + corner.position) * SCALE
        assert track.speed_kph[:, corner.position] == pytest.approx(expected)
        assert track.seen_from(corner) is track.speed_kph


def test_a_gap_is_not_bridged() -> None:
    front_s = ticks(0, 10)
    rear_s = np.delete(ticks(0.01, 10), slice(200, 205))  # those from 4.01 s to 4.09 s are lost
    track = build(heard((FRONT, front_s, [5000, 5000]), (REAR, rear_s, [5000, 5000])))
    seen = track.seen_from(Corner.FL)
    lost = (front_s > 3.991) & (front_s < 4.109)
    assert np.isnan(seen[lost, 2:]).all()
    assert not np.isnan(seen[~lost & (front_s > 0.1) & (front_s < 9.9)]).any()


def test_one_or_two_lost_frames_are_bridged() -> None:
    front_s, rear_s = ticks(0, 10), np.delete(ticks(0.01, 10), [200, 201, 350])
    track = build(heard((FRONT, front_s, [5000, 5000]), (REAR, rear_s, [5000, 5000])))
    inside = (front_s > 0.1) & (front_s < 9.9)
    assert track.seen_from(Corner.FL)[inside] == pytest.approx(50)


# --- marks and short frames ---


def test_a_mark_is_no_speed() -> None:
    time_s = ticks(0, 2)
    raw = np.full(len(time_s), 5000)
    raw[20:30] = MARK
    track = build(heard((FRONT, time_s, [raw, 5000, 5000, 5000])), ONE_MESSAGE)
    fl = track.wheel(Corner.FL)
    assert np.isnan(fl.speed_kph[20:30]).all()
    assert fl.flagged.sum() == 10
    assert (fl.raw[fl.flagged] == MARK).all()
    assert np.nanmax(track.speed_kph) == 50


def test_a_signal_beyond_the_end_of_its_frames_is_not_read() -> None:
    time_s = ticks(0, 60)
    frames = heard((FRONT, time_s, [5000, 5010, 5020, 5030]), shortest=6)
    track = build(frames, ONE_MESSAGE)
    assert len(track.wheel(Corner.RR).time_s) == 0
    assert np.isnan(track.speed_kph[:, 3]).all()
    assert track.speed_kph[:, :3] == pytest.approx(np.tile([50.0, 50.1, 50.2], (len(time_s), 1)))
    examination = examine(track)
    assert examination.outcome.findings == ()
    assert examination.coverage.corners[3].read_km == 0


# --- silences ---


def rows_within(frames: Frames, from_s: float, to_s: float) -> Any:
    time_s = (frames.time_ns - frames.time_ns[0]) / SECOND
    return (time_s > from_s) & (time_s < to_s)


def test_a_recorder_that_hears_nothing_is_a_gap() -> None:
    frames = heard((FRONT, ticks(0, 20), [5000, 5000]), (REAR, ticks(0.007, 20), [5000, 5000]))
    kept = frames.select(~rows_within(frames, 8, 12))
    track = build(replace(kept, index=np.arange(len(kept), dtype=np.int64)))
    (gap,) = track.gaps
    assert (gap.from_s, gap.to_s) == (pytest.approx(8, abs=0.03), pytest.approx(12, abs=0.03))
    assert [event.kind for event in examine(track).outcome.events] == ["recording_gap"]


def test_a_message_that_stops_while_others_go_on_is_none() -> None:
    frames = heard(
        (FRONT, ticks(0, 20), [5000, 5000]),
        (REAR, ticks(0.007, 20), [5000, 5000]),
        (0x300, ticks(0.003, 20, 0.002), []),
    )
    track = build(frames.select(~(rows_within(frames, 8, 12) & (frames.can_id == REAR))))
    assert track.gaps == ()
    kinds = {(f.corner, f.kind) for f in examine(track).outcome.findings}
    assert kinds == {("RL", "message_missing"), ("RR", "message_missing")}


def test_a_few_lost_frames_are_no_gap() -> None:
    frames = heard((FRONT, ticks(0, 20), [5000] * 4))
    kept = frames.select(~rows_within(frames, 8, 8.2))
    assert build(kept, ONE_MESSAGE).gaps == ()


def test_frames_that_a_logger_hands_over_late_are_not_missing() -> None:
    time_s = ticks(0, 20)
    stamp_s = np.floor(time_s * 2) / 2  # every half second...
    late_s = np.where(stamp_s == 8, 8.5, stamp_s)  # ... but once
    assert build(heard((FRONT, late_s, [5000] * 4)), ONE_MESSAGE).gaps == ()
    (gap,) = build(heard((FRONT, stamp_s[stamp_s != 8], [5000] * 4)), ONE_MESSAGE).gaps
    assert gap.to_s - gap.from_s == pytest.approx(0.5, abs=0.05)


# --- the clock ---


@pytest.mark.parametrize("by_s", [-0.5, -3600, -365 * 86400, 7200, 365 * 86400])
def test_a_clock_that_steps_accuses_no_wheel(by_s: float) -> None:
    time_s = ticks(1000, 1040)
    rise = np.round(np.interp(time_s, [1000, 1005, 1015, 1040], [0, 0, 5000, 6000]))
    rng = np.random.default_rng(1)
    noisy = [np.round(rise * (1 + rng.normal(0, 0.002, len(rise)))) for _ in CORNERS]
    frames = heard((FRONT, time_s, noisy))
    times = frames.time_ns.copy()
    times[1000:] += round(by_s * SECOND)
    track = build(replace(frames, time_ns=times), ONE_MESSAGE)
    (step,) = track.clock_steps
    assert step.from_s == pytest.approx(20, abs=0.05)
    assert np.all(np.diff(track.time_s) > 0)
    assert track.duration_s == pytest.approx(40, abs=0.1)
    outcome = examine(track).outcome
    assert outcome.findings == ()
    assert [event.kind for event in outcome.events] == ["clock_step"]


def test_batches_with_one_stamp_rise_evenly() -> None:
    time_s = np.repeat(ticks(0, 10, 0.08), 4)
    rise = np.round(np.linspace(0, 5000, len(time_s)))
    track = build(heard((FRONT, time_s, [rise] * 4)), ONE_MESSAGE)
    assert np.diff(track.time_s) == pytest.approx(0.02)
    assert track.wheel(Corner.FL).period_s == pytest.approx(0.02)


def test_frames_a_little_out_of_order_are_sorted() -> None:
    frames = heard((FRONT, ticks(0, 4), [np.arange(200) * 10] * 4))
    order = np.arange(200)
    order[100], order[101] = 101, 100
    track = build(frames.select(order), ONE_MESSAGE)
    assert np.all(np.diff(track.time_s) > 0)
    assert np.all(np.diff(track.speed_kph[:, 0]) > 0)
    assert track.clock_steps == ()


# --- helpers, units, the car ---


def test_helpers_keep_their_own_times_and_scale() -> None:
    helper_s = ticks(0.004, 10, 0.05)
    marked = np.full(len(helper_s), 3500)
    marked[5] = MARK
    track = build(
        heard(
            (FRONT, ticks(0, 10), [5000, 5000]),
            (REAR, ticks(0.01, 10), [5000, 5000]),
            (HELPER, helper_s, [marked, 1]),
        )
    )
    steering, brake = track.helpers["steering"], track.helpers["brake"]
    assert steering.time_s == pytest.approx(helper_s)
    assert np.isnan(steering.value[5])
    assert np.delete(steering.value, 5) == pytest.approx(0.1 * 3500 - 3000)
    assert brake.value == pytest.approx(0.01)


def test_a_helper_that_never_came_is_empty() -> None:
    frames = heard((FRONT, ticks(0, 10), [5000, 5000]), (REAR, ticks(0.01, 10), [5000, 5000]))
    assert len(build(frames).helpers["steering"].time_s) == 0


@pytest.mark.parametrize(
    ("unit", "kph"),
    [
        ("km/h", 20.0),
        ("mph", 20 * 1.609344),
        ("m/s", 72.0),
        ("rpm", 20 / 60 * 2.0 * 3.6),
        ("rad/s", 20 / (2 * np.pi) * 2.0 * 3.6),
        ("pulses/s", 20 / 50 * 2.0 * 3.6),
        ("proportional", 20.0),
    ],
)
def test_units_become_kph(unit: SpeedUnit, kph: float) -> None:
    car = Vehicle(vehicle=VehicleFacts(rolling_circumference_m=2.0, ring_teeth=50))
    frames = heard((FRONT, ticks(0, 1), [2000] * 4))
    track = build(frames, replace(ONE_MESSAGE, unit=unit), car)
    assert track.speed_kph == pytest.approx(kph)
    assert track.unit == unit
    assert track.wheel(Corner.FL).resolution_kph == pytest.approx(kph / 2000)


def test_reverse_is_a_pace_like_any_other() -> None:
    layout = replace(
        ONE_MESSAGE, wheels=tuple(place(FRONT, 7 + 16 * k, offset=-100.0) for k in range(4))
    )
    track = build(heard((FRONT, ticks(0, 1), [9500] * 4)), layout)  # -5 km/h
    assert track.speed_kph == pytest.approx(5.0)


def test_what_the_vehicle_file_says_is_kept() -> None:
    facts = VehicleFacts(driven="rear", drive_side="right", wheelbase_m=2.6, track_m=1.6)
    frames = heard((FRONT, ticks(0, 1), [2000] * 4))
    track = build(frames, ONE_MESSAGE, Vehicle(vehicle=facts))
    assert (track.driven, track.drive_side) == ("rear", "right")
    assert track.wheelbase_over_track == pytest.approx(1.625)
    assert build(frames, ONE_MESSAGE).wheelbase_over_track is None
    assert (track.last_index, track.duration_s) == (49, pytest.approx(0.98))


def test_a_single_frame() -> None:
    track = build(heard((FRONT, [1.0], [5000] * 4)), ONE_MESSAGE)
    assert track.speed_kph.shape == (1, 4)
    assert examine(track).outcome.findings == ()


# --- values that can be no speed ---

TENTH = replace(ONE_MESSAGE, wheels=tuple(place(FRONT, 7 + 16 * k, scale=0.1) for k in range(4)))
"""Sixteen bits in steps of 0.1 km/h hold up to 6,553 km/h."""


def town_raw(time_s: Any) -> Any:
    """Four wheels between 20 and 60 km/h on a road with bumps, in steps of 0.1 km/h. (n, 4)"""
    bumps = np.random.default_rng(5).normal(0, 2, (len(time_s), 4))
    return np.round(400 + 200 * np.sin(time_s / 9)[:, None] + bumps).astype(np.int64)


def said_of(raw: Any, time_s: Any) -> tuple[WheelTrack, list[tuple[Corner, str]]]:
    track = build(heard((FRONT, time_s, list(raw.T))), TENTH)
    return track, [(f.corner, f.kind) for f in examine(track).outcome.findings]


def test_a_raw_value_beyond_every_speed_that_comes_back_is_a_mark() -> None:
    time_s = ticks(0, 120)
    raw = town_raw(time_s)
    raw[::50, 2] = 0xFFFE
    track, found = said_of(raw, time_s)
    assert found == [(Corner.RL, "flagged_invalid")]
    no_speed = track.wheel(Corner.RL).no_speed
    assert no_speed is not None
    assert (no_speed.mark, no_speed.count) == (0xFFFE, len(raw[::50]))
    assert np.isnan(track.speed_kph[::50, 2]).all()


def test_single_glitches_beyond_every_speed_are_jumps() -> None:
    time_s = ticks(0, 120)
    raw = town_raw(time_s)
    raw[500::700, 1] = 0xC000 + np.arange(len(raw[500::700]))
    _, found = said_of(raw, time_s)
    assert found == [(Corner.FR, "erratic")]


def test_one_glitch_beyond_every_speed_is_told_of_but_accuses_nobody() -> None:
    time_s = ticks(0, 120)
    raw = town_raw(time_s)
    raw[3000, 1] = 0xC000
    track, found = said_of(raw, time_s)
    assert found == []
    no_speed = track.wheel(Corner.FR).no_speed
    assert no_speed is not None
    assert (no_speed.count, no_speed.mark, no_speed.is_misplaced) == (1, None, False)
    assert no_speed.usual_kph == pytest.approx(0xC000 / 10)
    (caution,) = caution_fit(track, TENTH)
    assert "(front right) gives a value of 4915 km/h, once" in caution
    assert "it is taken for a jump" in caution


def test_a_field_that_mostly_gives_no_speed_is_not_judged() -> None:
    time_s = ticks(0, 120)
    raw = town_raw(time_s)
    raw[:, 3] = raw[:, 3].astype(np.uint16).byteswap()
    track, found = said_of(raw, time_s)
    assert found == []
    no_speed = track.wheel(Corner.RR).no_speed
    assert no_speed is not None
    assert no_speed.is_misplaced
    assert np.isnan(track.speed_kph[:, 3]).all()


def test_a_signal_without_a_unit_may_count_in_thousandths() -> None:
    time_s = ticks(0, 20)
    layout = replace(ONE_MESSAGE, unit="proportional")
    whole = replace(layout, wheels=tuple(place(FRONT, 7 + 16 * k, scale=1.0) for k in range(4)))
    track = build(heard((FRONT, time_s, [town_raw(time_s)[:, 0] * 100] * 4)), whole)
    assert track.wheel(Corner.FL).no_speed is None
    assert np.nanmax(track.speed_kph) > 50_000
