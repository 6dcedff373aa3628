"""The other messages of a car: places, identifiers, load, and contents decoded by cantools."""

import cantools
import numpy as np
import pytest

from canwheel.roadtest.background import bus_load, random_background
from canwheel.roadtest.bus_layout import BusLayout, SentMessage, SentSignal, dbc_text
from canwheel.roadtest.packing import bit_places
from canwheel.roadtest.recording import record_frames
from canwheel.roadtest.simulation import Drive

SEEDS = range(40)


def drawn(seed: int, count: int = 45) -> tuple[SentMessage, ...]:
    return random_background(np.random.default_rng(seed), count=count, taken=frozenset({0x1B2}))


def pages(signal: SentSignal) -> set[int]:
    return {0, 1, 2, 3} if signal.page is None else {signal.page}


@pytest.mark.parametrize("seed", SEEDS)
def test_fields_fit_and_do_not_overlap(seed: int) -> None:
    for message in drawn(seed):
        seen: set[tuple[int, int]] = set()
        for signal in message.signals:
            assert signal.bits.bytes_needed <= message.length
            mine = {(page, bit) for page in pages(signal) for bit in bit_places(signal.bits)}
            assert not seen & mine
            seen |= mine


@pytest.mark.parametrize("seed", SEEDS)
def test_identifiers_are_free_and_the_bus_can_carry_them(seed: int) -> None:
    messages = drawn(seed)
    ids = [message.frame_id for message in messages]
    assert len(set(ids)) == len(messages) == 45
    assert 0x1B2 not in ids
    assert all(message.extended == (message.frame_id > 0x7FF) for message in messages)
    assert max(ids) < 1 << 29
    assert bus_load(messages, 500_000) < 0.7
    assert {0.01, 0.02} & {message.cycle_s for message in messages}


def test_all_that_a_bus_has_is_drawn_somewhere() -> None:
    signals = [signal for seed in SEEDS for message in drawn(seed) for signal in message.signals]
    told = {signal.quantity for signal in signals}
    assert {"engine_speed", "pedal", "coolant", "steering", "yaw_rate", "gear", "car_speed"} <= told
    assert {"odometer", "speed", "late_speed", "counter", "constant", "selector"} <= told
    assert {"checksum", "crc8", "xor"} <= told
    assert any(signal.unit == "pulses" for signal in signals)
    assert any(signal.unit == "km/h" and signal.scale >= 0.5 for signal in signals)
    assert {signal.length for signal in signals if signal.quantity == "counter"} >= {2, 3, 4, 8}
    assert {signal.byte_order for signal in signals} == {"little_endian", "big_endian"}
    assert any(message.extended for seed in SEEDS for message in drawn(seed))
    orders = [{s.byte_order for s in message.signals} for message in drawn(1)]
    assert all(orders)


def test_contents_follow_the_drive(healthy: Drive) -> None:
    """Decoded by cantools from the layout's own DBC text: an independent reading of the bits."""
    layout = BusLayout("other", drawn(3))
    database = cantools.database.load_string(dbc_text(layout), strict=True)
    frames = record_frames(healthy, layout)
    speed_kph = np.abs(healthy.motion.speed_mps) * 3.6
    checked = set()
    for message in layout.messages:
        mine = frames.select(frames.can_id == message.frame_id)
        for signal in message.signals:
            if signal.page is not None or signal.quantity not in {"car_speed", "speed", "steering"}:
                continue
            defined = database.get_message_by_name(message.name)
            values = np.array(
                [
                    defined.decode(row[: message.length].tobytes())[signal.name]
                    for row in mine.data[::50]
                ],
                float,
            )
            at_s = mine.time_ns[::50] / 1e9 - 1_790_000_000
            truth = speed_kph if signal.quantity != "steering" else healthy.motion.curvature
            there = healthy.motion.at(truth, at_s)
            assert np.corrcoef(values, there)[0, 1] > 0.97, signal
            checked.add(signal.quantity)
    assert checked == {"car_speed", "speed", "steering"}


def test_pages_take_turns(healthy: Drive) -> None:
    signals = (
        SentSignal("PAGE", "selector", 0, 2, maximum=1),
        SentSignal("A", "constant", 8, 8, page=0, offset=-5),
        SentSignal("B", "zero", 8, 8, page=1, offset=-9),
    )
    frames = record_frames(healthy, BusLayout("paged", (SentMessage("M", 0x100, signals),)))
    assert frames.data[:6, 0].tolist() == [0, 1, 0, 1, 0, 1]
    assert set(frames.data[1::2, 1].tolist()) == {9}
    assert 9 not in set(frames.data[::2, 1].tolist())
