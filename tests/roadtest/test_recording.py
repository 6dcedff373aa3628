"""Frames and logs against the libraries that decode and read them: cantools and python-can."""

import gzip
from dataclasses import replace
from pathlib import Path

import can
import cantools
import numpy as np
import pytest

from canwheel.corners import CORNERS, Corner
from canwheel.frames import FrameFlag, Frames
from canwheel.roadtest import faults
from canwheel.roadtest.bus_layout import BusLayout, SentSignal, dbc_text, unit_per_kph
from canwheel.roadtest.layouts import BAKERY_VAN, NURSERY_PICKUP, READY_MADE, SCHOOL_MINIBUS
from canwheel.roadtest.motion import FloatColumn
from canwheel.roadtest.recording import record_frames, write_log
from canwheel.roadtest.simulation import Drive, Scenario, simulate
from canwheel.roadtest.traffic import Chatter, random_traffic

EPOCH_NS = 1_790_000_000 * 10**9


def traffic(ids: int = 35) -> tuple[Chatter, ...]:
    taken = frozenset(m.frame_id for layout in READY_MADE for m in layout.messages)
    return random_traffic(np.random.default_rng(4), ids=ids, taken=taken)


def wheel_values(
    frames: Frames, layout: BusLayout
) -> dict[Corner, tuple[FloatColumn, FloatColumn, SentSignal]]:
    """All sendings of every wheel, decoded by cantools: (time, value) a corner."""
    database = cantools.database.load_string(dbc_text(layout), "dbc")
    result = {}
    for message in layout.wheel_messages:
        mine = frames.select(frames.can_id == message.frame_id)
        decoded = [
            database.decode_message(
                message.frame_id, row[: message.length].tobytes(), decode_choices=False
            )
            for row in mine.data
        ]
        for signal in message.signals:
            if isinstance(signal.quantity, Corner):
                values = np.array([d[signal.name] for d in decoded])
                result[signal.quantity] = ((mine.time_ns - EPOCH_NS) / 1e9, values, signal)
    return result


@pytest.mark.parametrize("layout", [BAKERY_VAN, NURSERY_PICKUP], ids=lambda layout: layout.name)
def test_decoded_speeds_are_the_latest_readings_to_half_a_step(
    healthy: Drive, layout: BusLayout
) -> None:
    decoded = wheel_values(record_frames(healthy, layout), layout)
    for corner in CORNERS:
        time_s, value, signal = decoded[corner]
        kph = value / unit_per_kph(signal.unit, circumference_m=1.935, teeth=48)
        step = signal.scale / unit_per_kph(signal.unit, circumference_m=1.935, teeth=48)
        row = np.searchsorted(healthy.time_s, time_s) - 1
        candidates = healthy.reading_kph[np.clip(row[:, None] - np.arange(3), 0, None)]
        error = np.abs(candidates[:, :, corner.position] - kph[:, None]).min(axis=1)
        assert error.max() <= step / 2 + 1e-9


def test_pulse_counters_count_the_distance(healthy: Drive) -> None:
    decoded = wheel_values(record_frames(healthy, SCHOOL_MINIBUS), SCHOOL_MINIBUS)
    for corner in (Corner.RL, Corner.RR):
        _, count, _ = decoded[corner]
        pulses = np.sum(np.diff(count) % 65536)
        assert pulses * 1.935 / 48 == pytest.approx(healthy.motion.travelled_m[-1], rel=0.02)


def test_invalid_raw_is_sent_where_the_unit_says_so(scenario: Scenario) -> None:
    fault = faults.FlaggedInvalid(Corner.RL, from_s=20, to_s=30)
    drive = simulate(replace(scenario, effects=(fault,)), seed=11)
    decoded = wheel_values(record_frames(drive, BAKERY_VAN), BAKERY_VAN)
    time_s, value, signal = decoded[Corner.RL]
    inside = (time_s > 20.1) & (time_s < 29.9)
    assert np.all(value[inside] == signal.invalid_raw * signal.scale)
    assert np.all(value[time_s > 30.1] <= 250)
    assert np.all(decoded[Corner.RR][1] <= 250)


def test_missing_message_stops_for_its_corners_only(scenario: Scenario) -> None:
    fault = faults.MessageMissing(Corner.RL, from_s=20, to_s=30)
    drive = simulate(replace(scenario, effects=(fault,)), seed=11)
    decoded = wheel_values(record_frames(drive, NURSERY_PICKUP), NURSERY_PICKUP)
    for corner, gap in ((Corner.RL, True), (Corner.RR, True), (Corner.FL, False)):
        time_s = decoded[corner][0]
        assert np.any((time_s > 20.1) & (time_s < 29.9)) != gap


@pytest.mark.parametrize("layout", READY_MADE, ids=lambda layout: layout.name)
def test_bus_carries_one_frame_at_a_time_in_time_for_all(healthy: Drive, layout: BusLayout) -> None:
    frames = record_frames(healthy, layout, traffic())
    gap_s = np.diff(frames.time_ns) / 1e9
    shortest_s = 47 / layout.bitrate  # no frame is shorter (Linux include/linux/can/length.h)
    assert gap_s.min() >= shortest_s - 1e-6
    for message in layout.messages:
        time_s = frames.time_ns[frames.can_id == message.frame_id] / 1e9
        assert np.mean(np.diff(time_s)) == pytest.approx(message.cycle_s, rel=1e-3)
        assert 1e-5 < np.std(np.diff(time_s)) < 0.002
    assert len(np.unique(frames.can_id)) == 35 + len(layout.messages)


def test_frames_are_the_same_for_the_same_seed(scenario: Scenario, healthy: Drive) -> None:
    first = record_frames(healthy, BAKERY_VAN, traffic())
    second = record_frames(simulate(scenario, seed=11), BAKERY_VAN, traffic())
    assert np.array_equal(first.time_ns, second.time_ns)
    assert np.array_equal(first.data, second.data)


def test_recorder_that_fetches_in_batches_stamps_them_alike(
    scenario: Scenario, healthy: Drive
) -> None:
    drive = simulate(replace(scenario, batch_s=0.02), seed=11)
    frames = record_frames(drive, BAKERY_VAN, traffic())
    since_ns = frames.time_ns - EPOCH_NS
    assert np.all(since_ns % 20_000_000 == 0)
    assert np.all(np.diff(since_ns) >= 0)
    late_ns = since_ns - (record_frames(healthy, BAKERY_VAN, traffic()).time_ns - EPOCH_NS)
    assert late_ns.min() >= -1000
    assert late_ns.max() < 20_001_000


def test_checksums_are_the_sum_of_the_other_bytes(healthy: Drive) -> None:
    frames = record_frames(healthy, NURSERY_PICKUP)
    mine = frames.data[frames.can_id == 0x0F5].astype(int)
    assert np.array_equal(mine[:, 7], (mine[:, :7].sum(axis=1) + 0x0F5) % 256)


@pytest.mark.parametrize("layout", READY_MADE, ids=lambda layout: layout.name)
@pytest.mark.parametrize("suffix", [".log", ".log.gz"])
def test_log_equals_python_can_s_reading_of_it(
    healthy: Drive, tmp_path: Path, layout: BusLayout, suffix: str
) -> None:
    frames = record_frames(healthy, layout, traffic(5))
    frames = frames.select(np.arange(3000))
    path = tmp_path / f"drive{suffix}"
    write_log(frames, path)
    with can.LogReader(path) as reader:
        messages = list(reader)
    assert len(messages) == len(frames)
    for row, message in enumerate(messages):
        assert message.timestamp == pytest.approx(frames.time_ns[row] / 1e9, abs=5e-7)
        assert message.arbitration_id == frames.can_id[row]
        assert message.is_extended_id == bool(frames.flags[row] & FrameFlag.EXTENDED)
        assert message.is_fd == bool(frames.flags[row] & FrameFlag.FD)
        assert bytes(message.data) == frames.data[row, : frames.length[row]].tobytes()
        assert message.channel == "can0"


def test_gz_log_is_the_same_to_the_last_byte_wherever_and_whenever(
    healthy: Drive, tmp_path: Path
) -> None:
    frames = record_frames(healthy, BAKERY_VAN)
    write_log(frames, tmp_path / "one.log.gz")
    write_log(frames, tmp_path / "two.log.gz")
    write_log(frames, tmp_path / "plain.log")
    packed = (tmp_path / "one.log.gz").read_bytes()
    assert packed == (tmp_path / "two.log.gz").read_bytes()
    assert packed[4:8] == bytes(4)  # RFC 1952: no time stamp
    assert packed[3] == 0  # RFC 1952: no file name
    assert gzip.decompress(packed) == (tmp_path / "plain.log").read_bytes()


def test_traffic_has_free_identifiers_and_urgent_ones_come_more_often() -> None:
    taken = frozenset(range(0x100, 0x300))
    drawn = random_traffic(np.random.default_rng(0), ids=50, taken=taken)
    ids = [c.frame_id for c in drawn]
    assert len(set(ids)) == 50
    assert not taken & set(ids)
    assert [c.cycle_s for c in drawn] == sorted(c.cycle_s for c in drawn)


def test_layout_units_other_than_a_speed_s_are_refused() -> None:
    with pytest.raises(ValueError, match="furlong"):
        unit_per_kph("furlong", circumference_m=1.9, teeth=48)


@pytest.mark.parametrize(
    ("unit", "value"),
    [
        ("km/h", 72.0),
        ("mph", 44.7387),  # 1 mile = 1.609344 km exactly
        ("m/s", 20.0),
        ("rad/s", 65.2015),  # 20 / 1.9273 * 2 pi
        ("rpm", 622.632),  # 20 / 1.9273 * 60
        ("pulses/s", 498.106),  # 20 / 1.9273 * 48
    ],
)
def test_units(unit: str, value: float) -> None:
    per_kph = unit_per_kph(unit, circumference_m=1.9273, teeth=48)
    assert 72.0 * per_kph == pytest.approx(value, rel=1e-5)
