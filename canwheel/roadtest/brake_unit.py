"""A brake control unit's fault memory on a loopback bus: answers, and misbehaves on request.

It speaks ISO 15765-2 through can-isotp and enough of ISO 14229-1 by itself: reading stored codes
and their extended data, and clearing. It shares no code with the part of canwheel that asks.
"""

import threading
import time
from collections import deque
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from types import TracebackType
from typing import TYPE_CHECKING, Literal, Self

from canwheel.corners import Corner
from canwheel.errors import RequestError
from canwheel.outcome import FaultKind

if TYPE_CHECKING:
    import can
    import isotp

Misbehaviour = Literal[
    "busy",  # "busy, repeat the request" the first time
    "slow",  # asks for more time twice, then answers
    "silent",  # no answer at all
    "pending_for_ever",  # asks for more time again and again
    "busy_for_ever",  # "busy, repeat the request" every time
    "wrong_sequence",  # a long answer's frames out of order
    "oversize",  # announces more bytes than the transport carries
    "two_units",  # a second unit answers on the same identifier
    "other_session",  # answers nothing in the session that it is in
    "refuses_clearing",  # conditions not correct
    "comes_back",  # a cleared code fails again at once
]

FAILING = 0xAF  # fails now and in this cycle, pending, confirmed, since clearing, lamp requested
STORED = 0x28  # confirmed, failed since clearing, not failing now
CLEARED = 0x50  # not tested since clearing, nor in this cycle

_LOOPBACKS = ("can.interfaces.virtual", "can.interfaces.udp_multicast")

_SENSOR_CODES = {Corner.FL: 0x4031, Corner.FR: 0x4034, Corner.RL: 0x4037, Corner.RR: 0x403A}
_RING_CODES = {Corner.FL: 0x4030, Corner.FR: 0x4033, Corner.RL: 0x4036, Corner.RR: 0x4039}

_OPEN, _INTERMITTENT, _SIGNAL_INVALID, _NO_SIGNAL = 0x13, 0x1F, 0x29, 0x31
_ERRATIC, _TOO_LOW, _INCORRECT, _FEW_PULSES, _IMPLAUSIBLE = 0x2F, 0x36, 0x38, 0x39, 0x64

_FAILURES: dict[FaultKind, int | None] = {
    "no_signal": _OPEN,
    "late_pickup": _TOO_LOW,
    "dropout": _INTERMITTENT,
    "frozen": _NO_SIGNAL,
    "ring_damage": _FEW_PULSES,
    "wrong_ratio": _IMPLAUSIBLE,
    "erratic": _ERRATIC,
    "flagged_invalid": _SIGNAL_INVALID,
    "crossed": None,  # each sensor works, so that a unit usually stores nothing
    "copied": None,  # what the bus repeats is not what the unit measured
    "message_missing": None,  # the unit that is missed stores nothing; the others do
}

_READ, _CLEAR, _BY_MASK, _EXTENDED, _ANSWER = 0x19, 0x14, 0x02, 0x06, 0x40
_NEGATIVE = 0x7F
_NO_SERVICE, _NO_SUBFUNCTION, _BAD_LENGTH, _OUT_OF_RANGE = 0x11, 0x12, 0x13, 0x31
_BUSY, _CONDITIONS, _PENDING, _TOO_FAST, _NO_SESSION = 0x21, 0x22, 0x78, 0x88, 0x7F

_MASK_REQUEST_LENGTH, _EXTENDED_REQUEST_LENGTH = 3, 6
_CONSECUTIVE = 0x2  # high nibble of a frame that goes on with an answer
_OVERSIZE = bytes([0x10, 0x00, 0x00, 0x01, 0x86, 0xA0, 0x59, 0x02])  # 100,000 bytes announced

_TICK_S = 0.002  # shorter than the pause that a tester asks for between frames
_PENDING_EVERY_S = 0.3  # well inside the time that each "pending" gives
_FOR_EVER = 1000  # requests for more time: five minutes, longer than any tester waits
_FRAME_LENGTH = 8


@dataclass(slots=True)
class Fault:
    """One entry of the memory: three-byte number, status byte, how often it occurred."""

    number: int
    status: int = FAILING
    occurrences: int = 1


OLD_ENTRIES = tuple(Fault(number, CLEARED) for number in (0x503564, 0xC12187, 0x923456))
"""Entries without a fault, so that an answer takes frames enough to come out of order."""


@dataclass(frozen=True, slots=True)
class DoubleAddress:
    """Where the double listens and answers; `target` and `source` for extended addressing."""

    request_id: int
    response_id: int
    is_29_bit: bool = False
    target: int | None = None
    source: int | None = None


def faults_of(kind: FaultKind, corner: Corner, *, repaired: bool = False) -> tuple[Fault, ...]:
    """Codes that a unit would store for a simulated fault; none for kinds that units do not see.

    Parameters
    ----------
    kind, corner : the simulated fault.
    repaired : it is there no longer, but still stored.
    """
    failure = _FAILURES[kind]
    if failure is None:
        return ()
    high = (_RING_CODES if kind == "ring_damage" else _SENSOR_CODES)[corner]
    return (Fault(high << 8 | failure, STORED if repaired else FAILING),)


@dataclass(slots=True)
class Memory:
    """The fault memory and its answers: request in, answers out, no bus.

    Attributes
    ----------
    faults : what is stored.
    misbehaviour : what it does wrong, None for a well-behaved unit.
    speed_kph : tells how fast the car is; a moving one's codes are not cleared. [km/h]
    supported : bits of the status byte that it supports.
    """

    faults: list[Fault] = field(default_factory=list)
    misbehaviour: Misbehaviour | None = None
    speed_kph: Callable[[], float] = lambda: 0.0
    supported: int = 0xFF
    _asked: int = 0

    def answer(self, request: bytes) -> bytes | None:
        """Return the answer to one request, None for silence."""
        service = request[0]
        self._asked += 1
        if self.misbehaviour == "silent":
            return None
        if self.misbehaviour == "other_session":
            return bytes([_NEGATIVE, service, _NO_SESSION])
        if self.misbehaviour == "busy_for_ever" or (
            self.misbehaviour == "busy" and self._asked == 1
        ):
            return bytes([_NEGATIVE, service, _BUSY])
        answers = {_READ: self._report, _CLEAR: self._clear}
        result = answers[service](request) if service in answers else _NO_SERVICE
        if isinstance(result, int):
            return bytes([_NEGATIVE, service, result])
        return bytes([service + _ANSWER]) + result

    def _report(self, request: bytes) -> bytes | int:
        if len(request) == 1:
            return _BAD_LENGTH
        if request[1] == _BY_MASK:
            return self._by_mask(request)
        if request[1] == _EXTENDED:
            return self._extended(request)
        return _NO_SUBFUNCTION

    def _by_mask(self, request: bytes) -> bytes | int:
        if len(request) != _MASK_REQUEST_LENGTH:
            return _BAD_LENGTH
        reported = [fault for fault in self.faults if fault.status & self.supported & request[2]]
        return bytes([_BY_MASK, self.supported]) + b"".join(
            fault.number.to_bytes(3, "big") + bytes([fault.status & self.supported])
            for fault in reported
        )

    def _extended(self, request: bytes) -> bytes | int:
        if len(request) != _EXTENDED_REQUEST_LENGTH:
            return _BAD_LENGTH
        number = int.from_bytes(request[2:5], "big")
        for fault in self.faults:
            if fault.number == number:
                record = bytes([0x01, fault.occurrences & 0xFF])
                return bytes([_EXTENDED]) + request[2:5] + bytes([fault.status]) + record
        return _OUT_OF_RANGE

    def _clear(self, request: bytes) -> bytes | int:
        if len(request) != len(b"\x14\xff\xff\xff"):
            return _BAD_LENGTH
        if request[1:] != b"\xff\xff\xff":
            return _OUT_OF_RANGE
        if self.speed_kph() > 0:
            return _TOO_FAST
        if self.misbehaviour == "refuses_clearing":
            return _CONDITIONS
        for fault in self.faults:
            fault.status = FAILING if self.misbehaviour == "comes_back" else CLEARED
        return b""


class BrakeUnit:
    """The double on a bus, in a thread of its own; a context manager that starts and stops it.

    Parameters
    ----------
    bus : an open loopback bus of its own, which it closes in the end.
    address : where it listens and answers.
    faults : what is stored.
    misbehaviour : what it does wrong.
    speed_kph : tells how fast the car is. [km/h]
    padding : byte that fills its frames.

    Raises
    ------
    RequestError : the bus could be a real one.
    """

    def __init__(
        self,
        bus: "can.BusABC",
        address: DoubleAddress,
        faults: Iterable[Fault] = (),
        *,
        misbehaviour: Misbehaviour | None = None,
        speed_kph: Callable[[], float] = lambda: 0.0,
        padding: int = 0xAA,
    ) -> None:
        if not type(bus).__module__.startswith(_LOOPBACKS):
            raise RequestError(
                "a simulated brake unit answers on a loopback bus only",
                where=type(bus).__name__,
                remedy="use --interface virtual or udp_multicast",
            )
        self._bus = bus
        self.memory = Memory([replace(fault) for fault in faults], misbehaviour, speed_kph)
        memories = [self.memory]
        if misbehaviour == "two_units":
            memories.append(Memory([Fault(0xC12187, STORED)]))
        self._stations = [_Station(bus, address, memory, padding) for memory in memories]
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="brake unit double", daemon=True)

    def __enter__(self) -> Self:
        """Start answering."""
        self._thread.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Stop answering and close the bus."""
        self._stop.set()
        self._thread.join()
        self._bus.shutdown()

    def _run(self) -> None:
        while not self._stop.is_set():
            message = self._bus.recv(_TICK_S)
            for station in self._stations:
                station.step(message)


class _Station:
    """One unit: a transport, a memory, and what it does wrong on the way out."""

    def __init__(
        self, bus: "can.BusABC", address: DoubleAddress, memory: Memory, padding: int
    ) -> None:
        import isotp  # noqa: PLC0415  brings python-can, which takes long to import

        self._bus = bus
        self._address = address
        self._memory = memory
        self._heard: deque[isotp.CanMessage] = deque()
        self._due: deque[tuple[float, bytes]] = deque()
        self._consecutive_sent = 0
        self._prefix = b"" if address.source is None else bytes([address.source])
        self._layer = isotp.TransportLayerLogic(
            rxfn=lambda _timeout: self._heard.popleft() if self._heard else None,
            txfn=self._send,
            address=_isotp_address(address),
            error_handler=lambda _error: None,
            params={"tx_padding": padding, "blocksize": 0, "stmin": 0},
        )

    def step(self, message: "can.Message | None") -> None:
        """Take a frame, if any, and do what is due."""
        import isotp  # noqa: PLC0415  see above

        if message is not None and not message.is_error_frame and not message.is_remote_frame:
            self._heard.append(
                isotp.CanMessage(
                    arbitration_id=message.arbitration_id,
                    dlc=message.dlc,
                    data=bytes(message.data),
                    extended_id=message.is_extended_id,
                )
            )
        self._layer.process()
        request = self._layer.recv()
        if request:
            self._respond(bytes(request))
        while self._due and self._due[0][0] <= time.monotonic():
            self._layer.send(self._due.popleft()[1])
            self._layer.process()

    def _respond(self, request: bytes) -> None:
        now_s = time.monotonic()
        pending = bytes([_NEGATIVE, request[0], _PENDING])
        self._due.clear()
        if self._memory.misbehaviour == "oversize":
            self._send_frame(self._prefix + _OVERSIZE)
            return
        if self._memory.misbehaviour == "pending_for_ever":
            self._due.extend(
                (now_s + each * _PENDING_EVERY_S, pending) for each in range(_FOR_EVER)
            )
            return
        if self._memory.misbehaviour == "slow":
            self._due.extend((now_s + each * _PENDING_EVERY_S, pending) for each in range(2))
            now_s += 2 * _PENDING_EVERY_S
        answer = self._memory.answer(request)
        if answer is not None:
            self._consecutive_sent = 0
            self._due.append((now_s, answer))

    def _send(self, message: "isotp.CanMessage") -> None:
        data = bytearray(message.data)
        first = len(self._prefix)
        if data[first] >> 4 == _CONSECUTIVE:
            self._consecutive_sent += 1
            if self._memory.misbehaviour == "wrong_sequence" and self._consecutive_sent > 1:
                data[first] = (_CONSECUTIVE << 4) | ((data[first] + 1) & 0xF)
        self._send_frame(bytes(data))

    def _send_frame(self, data: bytes) -> None:
        import can  # noqa: PLC0415  python-can takes long to import

        self._bus.send(
            can.Message(
                arbitration_id=self._address.response_id,
                data=data[:_FRAME_LENGTH],
                is_extended_id=self._address.is_29_bit,
            )
        )


def _isotp_address(address: DoubleAddress) -> "isotp.Address":
    import isotp  # noqa: PLC0415  brings python-can, which takes long to import

    modes = isotp.AddressingMode
    mode = {
        (False, False): modes.Normal_11bits,
        (False, True): modes.Normal_29bits,
        (True, False): modes.Extended_11bits,
        (True, True): modes.Extended_29bits,
    }[address.target is not None, address.is_29_bit]
    return isotp.Address(
        mode,
        txid=address.response_id,
        rxid=address.request_id,
        target_address=address.source,
        source_address=address.target,
    )
