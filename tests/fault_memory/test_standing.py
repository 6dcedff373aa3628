"""Whether the car stands: nothing is sent while it moves."""

from collections.abc import Iterable
from typing import Any

import pytest

from canwheel.corners import CORNERS
from canwheel.definitions.layout import BitField, RawRange, SignalPlace, WheelLayout
from canwheel.errors import UnitError
from canwheel.fault_memory.gate import Gate
from canwheel.fault_memory.standing import WheelWatch, wait_for_standstill
from canwheel.frames import IdPattern

WHEELS_ID = 0x1A0
READ = "1902FF"


def place(position: int, *, offset: float = 0.0) -> SignalPlace:
    return SignalPlace(
        message="WHEELS",
        signal=str(CORNERS[position]),
        frame_id=WHEELS_ID,
        ids=IdPattern.exactly(WHEELS_ID, extended=False),
        bits=BitField(16 * position, 16, "little_endian"),
        scale=0.01,
        offset=offset,
        unit="km/h",
        not_values=(RawRange(0xFFFF, 0xFFFF, "not available"),),
    )


def layout(unit: str = "km/h", *, offset: float = 0.0) -> WheelLayout:
    return WheelLayout("van.dbc", tuple(place(p, offset=offset) for p in range(4)), unit)


def wheels(*raw: int) -> bytes:
    return b"".join(each.to_bytes(2, "little") for each in raw)


def drive(
    bench: Any, frames: Iterable[bytes], *, from_s: float = 0.0, every_s: float = 0.02
) -> None:
    """Put wheel frames on the bus, evenly."""
    for each, data in enumerate(frames):
        bench.bus.add(bench.clock.now_s + from_s + each * every_s, WHEELS_ID, data)


def test_a_standing_car_is_read(bench: Any) -> None:
    drive(bench, [wheels(0, 0, 0, 0)] * 400)
    bench.replies({READ: "5902FF"})
    begun_s = bench.clock.now_s
    assert bench.read(watch=WheelWatch(layout())).codes == ()
    assert bench.clock.now_s - begun_s >= 3.0


@pytest.mark.parametrize("corner", range(4))
@pytest.mark.parametrize("raw", [1, 5, 1000, 0x8000])
def test_any_corner_over_zero_stops_it_before_anything_is_sent(
    corner: int, raw: int, bench: Any
) -> None:
    speeds = [0, 0, 0, 0]
    speeds[corner] = raw
    drive(bench, [wheels(0, 0, 0, 0)] * 140 + [wheels(*speeds)] + [wheels(0, 0, 0, 0)] * 300)
    bench.replies({READ: "5902FF"})
    with pytest.raises(UnitError, match=f"the car moves .{CORNERS[corner].words}"):
        bench.read(watch=WheelWatch(layout()))
    assert bench.bus.sent == []


@pytest.mark.parametrize(
    ("speeds", "is_said"), [((0, 0, 3512, 0), True), ((20, 0, 0, 21), False), ((9,) * 4, False)]
)
def test_a_frozen_corner_is_told_from_a_car_that_rolls(
    *, speeds: tuple[int, ...], is_said: bool, bench: Any
) -> None:
    """One corner alone stops it as well, but where the car stands the person may say so."""
    drive(bench, [wheels(*speeds)] * 400)
    with pytest.raises(UnitError) as caught:
        bench.read(watch=WheelWatch(layout()))
    assert ("leave --dbc out" in caught.value.remedy) is is_said
    assert ("rear left: 35.1 km/h" in str(caught.value)) is is_said
    assert bench.bus.sent == []


def test_a_corner_without_a_value_says_nothing(bench: Any) -> None:
    """A dead corner's "not available" is no speed; the others decide."""
    drive(bench, [wheels(0, 0xFFFF, 0, 0)] * 400)
    bench.replies({READ: "5902FF"})
    assert bench.read(watch=WheelWatch(layout())).codes == ()


@pytest.mark.parametrize(
    "data",
    [wheels(0xFFFF, 0xFFFF, 0xFFFF, 0xFFFF), wheels(0, 0xFFFF, 0xFFFF, 0xFFFF), wheels(0)],
)
def test_too_few_corners_stop_it(data: bytes, bench: Any) -> None:
    drive(bench, [data] * 400)
    with pytest.raises(UnitError, match="too few wheel speeds"):
        bench.read(watch=WheelWatch(layout()))
    assert bench.bus.sent == []


def test_wheels_that_are_not_heard_stop_it(bench: Any) -> None:
    with pytest.raises(UnitError, match=r"too few wheel speeds .* heard: none"):
        bench.read(watch=WheelWatch(layout()))
    assert bench.bus.sent == []


def test_wheels_heard_for_the_last_moment_only_stop_it(bench: Any) -> None:
    drive(bench, [wheels(0, 0, 0, 0)] * 100, from_s=2.5)
    with pytest.raises(UnitError, match="too few wheel speeds"):
        bench.read(watch=WheelWatch(layout()))


def test_wheels_that_fall_silent_stop_the_next_request(bench: Any) -> None:
    drive(bench, [wheels(0, 0, 0, 0)] * 160)  # 3.2 s
    gate = Gate(bench.bus, bench.unit, watch=(watch := WheelWatch(layout())))
    wait_for_standstill(gate, watch)
    gate.send(0x760, bytes.fromhex("031902FF"), is_29_bit=False)
    bench.clock.sleep(2.0)
    with pytest.raises(UnitError, match="stopped coming"):
        gate.send(0x760, bytes.fromhex("031902FF"), is_29_bit=False)
    assert len(bench.bus.sent) == 1


def test_a_car_that_moves_off_stops_a_clearing(bench: Any) -> None:
    """Between the reading and the request to clear, the car rolls: nothing more is sent."""
    bench.replies({READ: "5902FF 40311128"})
    saved = bench.read()
    bench.bus.sent.clear()
    drive(bench, [wheels(0, 0, 0, 0)] * 151 + [wheels(0, 0, 3, 3)] * 300)
    with pytest.raises(UnitError, match="the car moves"):
        bench.clear(saved, watch=WheelWatch(layout()))
    assert all(bytes(message.data)[1] != 0x14 for message in bench.bus.sent)


def test_a_pulse_counter_stands_when_it_does_not_run(bench: Any) -> None:
    drive(bench, [wheels(7, 300, 65534, 0)] * 400)
    bench.replies({READ: "5902FF"})
    assert bench.read(watch=WheelWatch(layout("pulse count"))).codes == ()


def test_a_running_pulse_counter_stops_it(bench: Any) -> None:
    drive(bench, [wheels(7, 300, 65534, each // 50) for each in range(400)])
    with pytest.raises(UnitError, match="pulse counter runs"):
        bench.read(watch=WheelWatch(layout("pulse count")))
    assert bench.bus.sent == []


def test_an_offset_moves_the_zero(bench: Any) -> None:
    """Raw 10,000 at -100 km/h offset is zero; binary numbers may miss it by a hair."""
    drive(bench, [wheels(10_000, 10_000, 10_000, 10_000)] * 400)
    bench.replies({READ: "5902FF"})
    assert bench.read(watch=WheelWatch(layout(offset=-100.0))).codes == ()
