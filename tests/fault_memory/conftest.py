"""A bus and a clock of the tests' own, so that minutes of waiting take no time."""

import random
import time
from bisect import insort
from collections.abc import Callable
from dataclasses import dataclass, field
from types import SimpleNamespace

import can
import isotp.protocol
import isotp.tools
import pytest
import udsoncan.client

from canwheel.fault_memory import connection, gate, standing, unit_memory
from canwheel.fault_memory.clearing import clear_codes
from canwheel.fault_memory.documents import ClearingDocument, CodesDocument
from canwheel.fault_memory.reading import read_codes
from canwheel.fault_memory.timing import Timing
from canwheel.fault_memory.unit_address import UnitAddress

REQUEST_ID, RESPONSE_ID = 0x760, 0x768
UNIT = UnitAddress(REQUEST_ID, RESPONSE_ID, padding=0xAA)

Answers = list[tuple[float, bytes]]
"""Delay after the one before, and payload of a frame."""


class Clock:
    """Time that passes only when somebody waits."""

    def __init__(self) -> None:
        self.now_s = 1000.0

    def monotonic(self) -> float:
        return self.now_s

    def perf_counter(self) -> float:
        return self.now_s

    def perf_counter_ns(self) -> int:
        return round(self.now_s * 1e9)

    def sleep(self, seconds: float) -> None:
        self.now_s += seconds


@dataclass
class ScriptedBus:
    """A bus whose other end is a function: frame sent in, frames to be heard out."""

    clock: Clock
    respond: Callable[[bytes], Answers] = lambda _frame: []
    sent: list[can.Message] = field(default_factory=list)
    coming: list[tuple[float, can.Message]] = field(default_factory=list)
    closed: bool = False

    def send(self, message: can.Message) -> None:
        self.sent.append(message)
        at_s = self.clock.now_s
        for delay_s, data in self.respond(bytes(message.data)):
            at_s += delay_s
            self.add(at_s, RESPONSE_ID, data)

    def add(self, at_s: float, can_id: int, data: bytes, *, extended: bool = False) -> None:
        message = can.Message(arbitration_id=can_id, data=data, is_extended_id=extended)
        insort(self.coming, (at_s, message), key=lambda entry: entry[0])

    def recv(self, timeout: float) -> can.Message | None:
        if self.coming and self.coming[0][0] <= self.clock.now_s + timeout:
            at_s, message = self.coming.pop(0)
            self.clock.now_s = max(self.clock.now_s, at_s)
            return message
        self.clock.now_s += timeout + 1e-6
        return None

    def shutdown(self) -> None:
        self.closed = True

    @property
    def requests(self) -> list[bytes]:
        """Requests sent, without flow control and padding."""
        frames = [bytes(message.data) for message in self.sent]
        return [frame[1 : 1 + frame[0]] for frame in frames if frame[0] < 0x10]


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    clock = Clock()
    own = SimpleNamespace(
        monotonic=clock.monotonic,
        perf_counter=clock.perf_counter,
        perf_counter_ns=clock.perf_counter_ns,
        sleep=clock.sleep,
        time=time.time,
    )
    for module in (connection, gate, standing, unit_memory, udsoncan.client):
        monkeypatch.setattr(module, "time", own)
    monkeypatch.setattr(isotp.protocol, "time", own)
    monkeypatch.setattr(isotp.tools, "time", own)
    return clock


def frames_of(payload: bytes, *, pad: int = 0xAA) -> list[bytes]:
    """Cut a payload into frames by the rules of ISO 15765-2, written down here once more."""
    if len(payload) <= 7:
        frames = [bytes([len(payload)]) + payload]
    else:
        frames = [bytes([0x10 | len(payload) >> 8, len(payload) & 0xFF]) + payload[:6]]
        rest = payload[6:]
        frames += [
            bytes([0x20 | (number + 1) & 0xF]) + rest[7 * number : 7 * number + 7]
            for number in range(-(-len(rest) // 7))
        ]
    return [frame.ljust(8, bytes([pad])) for frame in frames]


class Replies:
    """Answers requests by a table, a long answer only after flow control."""

    def __init__(self, table: dict[bytes, bytes], *, delay_s: float = 0.01) -> None:
        self.table = table
        self.delay_s = delay_s
        self.waiting: list[bytes] = []

    def __call__(self, frame: bytes) -> Answers:
        if frame[0] >> 4 == 3:
            now, self.waiting = self.waiting[:8], self.waiting[8:]
            return [(0.005, each) for each in now]
        request = frame[1 : 1 + frame[0]]
        payload = self.table.get(request)
        if payload is None:
            return []
        frames = frames_of(payload)
        self.waiting = frames[1:]
        return [(self.delay_s, frames[0])]


def scrambled(frames: list[bytes], dice: random.Random) -> list[bytes]:
    """Damage frames in one to four ways."""
    frames = [bytearray(frame) for frame in frames]
    for _ in range(dice.randint(1, 4)):
        if not frames:
            break
        place = dice.randrange(len(frames))
        kind = dice.randrange(8)
        if kind == 0 and frames[place]:
            frames[place][dice.randrange(len(frames[place]))] = dice.randrange(256)
        elif kind == 1 and frames[place]:
            frames[place][dice.randrange(len(frames[place]))] ^= 1 << dice.randrange(8)
        elif kind == 2:
            del frames[place]
        elif kind == 3:
            frames.insert(place, bytearray(frames[place]))
        elif kind == 4:
            frames[place] = frames[place][: dice.randrange(9)]
        elif kind == 5:
            frames[place] = bytearray(dice.randbytes(dice.randrange(9)))
        elif kind == 6:
            dice.shuffle(frames)
        else:
            frames[place][:3] = dice.choice(
                [
                    b"\x03\x7f\x19",
                    b"\x10\x00\x00",
                    b"\x1f\xff\x59",
                    b"\x30\x00\x00",
                    b"\x32\x08\x05",
                ]
            )
    return [bytes(frame) for frame in frames]


@dataclass
class Bench:
    """A scripted bus, its clock, and short ways to ask over it."""

    clock: Clock
    bus: ScriptedBus
    unit: UnitAddress = UNIT
    timing: Timing = field(default_factory=Timing)
    frames_of = staticmethod(frames_of)
    scrambled = staticmethod(scrambled)

    def replies(self, table: dict[str, str], *, delay_s: float = 0.01) -> None:
        """Answer requests by a table of hexadecimal text."""
        self.bus.respond = Replies(
            {bytes.fromhex(key): bytes.fromhex(value) for key, value in table.items()},
            delay_s=delay_s,
        )

    def read(self, **options: object) -> CodesDocument:
        return read_codes(self.bus, self.unit, timing=self.timing, **options)  # type: ignore[arg-type]

    def clear(self, saved: CodesDocument, **options: object) -> ClearingDocument:
        options.setdefault("standing", "the test says so")
        return clear_codes(self.bus, self.unit, saved, timing=self.timing, **options)  # type: ignore[arg-type]


@pytest.fixture
def bench(clock: Clock) -> Bench:
    return Bench(clock, ScriptedBus(clock))
