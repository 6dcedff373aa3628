"""Clearing: only what was kept, only on a standing car, and never as a repair."""

from typing import Any

import msgspec
import pytest

from canwheel.errors import RequestError, UnitError
from canwheel.fault_memory.documents import CodesDocument
from canwheel.fault_memory.refusals import RefusalError
from canwheel.fault_memory.unit_address import UnitAddress

READ, CLEAR = "1902FF", "14FFFFFF"
STORED = "5902FF 40311128 40341328"
CLEARED = "5902FF 40311150 40341350"


class Unit:
    """Answers readings in turn, and a clearing."""

    def __init__(self, bench: Any, *readings: str, clearing: str | None = "54") -> None:
        self.bench = bench
        self.readings = list(readings)
        self.clearing = clearing

    def __call__(self, frame: bytes) -> list[tuple[float, bytes]]:
        if frame[0] >> 4 == 3:
            frames, self.rest = self.rest, []
            return [(0.005, each) for each in frames]
        request = frame[1 : 1 + frame[0]]
        if request[0] == 0x14:
            answer = self.clearing
        elif request[1] == 0x06:
            return []
        else:
            answer = self.readings.pop(0) if self.readings else None
        if answer is None:
            return []
        frames = self.bench.frames_of(bytes.fromhex(answer))
        self.rest = frames[1:]
        return [(0.01, frames[0])]


def saved(bench: Any, reading: str = STORED) -> CodesDocument:
    bench.bus.respond = Unit(bench, reading)
    document = bench.read()
    bench.bus.sent.clear()
    return document


def test_clear_and_read_again(bench: Any) -> None:
    before = saved(bench)
    bench.bus.respond = Unit(bench, STORED, CLEARED)
    document = bench.clear(before)
    assert document.verdict == "cleared"
    assert bench.bus.requests == [bytes.fromhex(each) for each in (READ, CLEAR, READ)]
    assert [code.state for code in document.after.codes] == ["not_yet_tested"] * 2
    assert [code.status for code in document.after.codes] == [0x50, 0x50]
    assert any("no repair" in caution for caution in document.cautions)
    assert any("drive to confirm" in caution for caution in document.cautions)
    assert bench.bus.closed
    plain = msgspec.json.decode(msgspec.json.encode(document))
    assert plain["schema"] == "canwheel-clearing/1"
    assert plain["standing"] == "the test says so"


def test_a_fault_that_comes_back_at_once(bench: Any) -> None:
    before = saved(bench)
    bench.bus.respond = Unit(bench, STORED, "5902FF 4031112F 40341350")
    assert bench.clear(before).verdict == "came_back"


def test_nothing_stored_sends_nothing_to_clear(bench: Any) -> None:
    before = saved(bench)
    bench.bus.respond = Unit(bench, "5902FF 40311150")
    document = bench.clear(before)
    assert document.verdict == "nothing_stored"
    assert document.after is None
    assert bench.bus.requests == [bytes.fromhex(READ)]


def test_a_code_that_was_not_kept_stops_it(bench: Any) -> None:
    before = saved(bench)
    bench.bus.respond = Unit(bench, "5902FF 40311128 C1218708")
    with pytest.raises(RequestError, match="stores U0121-87, which the saved reading does not"):
        bench.clear(before)
    assert bench.bus.requests == [bytes.fromhex(READ)]


@pytest.mark.parametrize(
    "other",
    [
        UnitAddress(0x761, 0x768),
        UnitAddress(0x760, 0x769),
        UnitAddress(0x760, 0x768, is_29_bit=True),
        UnitAddress(0x760, 0x768, target=1, source=2),
    ],
)
def test_a_reading_of_another_unit_stops_it(other: UnitAddress, bench: Any) -> None:
    before = saved(bench)
    bench.unit = other
    bench.bus.closed = False
    with pytest.raises(RequestError, match="another unit"):
        bench.clear(before)
    assert bench.bus.sent == []
    assert bench.bus.closed


@pytest.mark.parametrize(
    ("refusal", "words"),
    [
        ("7F1422", "conditions are not correct"),
        ("7F1488", "vehicle speed is too high"),
        ("7F1489", "vehicle speed is too low"),
        ("7F147F", "opens none"),
        ("7F1433", "does not work around"),
    ],
)
def test_refusals(refusal: str | None, words: str, bench: Any) -> None:
    before = saved(bench)
    bench.bus.respond = Unit(bench, STORED, clearing=refusal)
    with pytest.raises(RefusalError, match=words):
        bench.clear(before)
    assert bench.bus.requests == [bytes.fromhex(READ), bytes.fromhex(CLEAR)]


def test_silence_leaves_it_unknown(bench: Any) -> None:
    before = saved(bench)
    bench.bus.respond = Unit(bench, STORED, clearing=None)
    with pytest.raises(UnitError, match="whether it cleared them is not known"):
        bench.clear(before)


def test_silence_after_it_says_that_it_was_cleared(bench: Any) -> None:
    before = saved(bench)
    bench.bus.respond = Unit(bench, STORED)
    with pytest.raises(UnitError, match="said that it cleared its codes, but could not be read"):
        bench.clear(before)
