"""The gate: the one place through which anything is sent, and the list of what may pass.

Every request that canwheel needs fits a single frame, so the gate judges frames: a single frame
that carries one of `ALLOWED_SERVICES` in exactly the form it knows, or a flow control frame, to
the unit's own request identifier. It is the only holder of the bus; the transport and service
libraries above it have no other way out.
"""

import time
from collections import deque
from typing import TYPE_CHECKING, Protocol

from canwheel.errors import UnitError
from canwheel.fault_memory.unit_address import UnitAddress

if TYPE_CHECKING:
    import can

READ_CODES = 0x19
CLEAR_CODES = 0x14

ALLOWED_SERVICES = frozenset({READ_CODES, CLEAR_CODES})
"""ISO 14229-1 ReadDTCInformation and ClearDiagnosticInformation. No session, no reset, no writing,
no routine, no security access, no input/output control, no tester present."""

READING_ONLY = frozenset({READ_CODES})
"""What a reading may send."""

REPORT_BY_STATUS_MASK = 0x02
REPORT_EXTENDED_DATA = 0x06

_REQUEST_LENGTHS = {
    bytes([READ_CODES, REPORT_BY_STATUS_MASK]): 3,  # and a status mask
    bytes([READ_CODES, REPORT_EXTENDED_DATA]): 6,  # and a three-byte code, a record number
    bytes([CLEAR_CODES, 0xFF]): 4,  # and two more FF: the group "all codes"
}
_ALL_CODES = bytes([CLEAR_CODES, 0xFF, 0xFF, 0xFF])

_SINGLE_FRAME, _FLOW_CONTROL = 0x0, 0x3  # high nibble of ISO 15765-2's first byte
_FLOW_STATUSES = (0x0, 0x1, 0x2)  # continue, wait, overflow
_FLOW_CONTROL_LENGTH = 3
_CLASSIC_FRAME_LENGTH = 8

_STEP_S = 0.1  # how often the watch is asked while nothing is sent
_CATCH_UP_S = 1.0  # a full queue of some thousand frames takes less
_KEPT_ECHOES = 64  # an adapter that returns sent frames returns them within a few frames


class ForbiddenError(RuntimeError):
    """Something other than an allowed request came to the gate: a defect of canwheel."""


class BusWatch(Protocol):
    """Something that sees every frame heard and can say that nothing may be sent now."""

    def see(self, message: "can.Message", now_s: float) -> None:
        """Look at a frame that was heard."""

    def check(self, now_s: float) -> None:
        """Raise a `UnitError` when nothing may be sent now."""


class Gate:
    """The only way to and from the bus.

    Parameters
    ----------
    bus : an open python-can bus; the gate closes it.
    unit : whom requests may be sent to.
    services : what may be sent, a part of `ALLOWED_SERVICES`.
    watch : sees every frame, and is asked before anything is sent.

    Attributes
    ----------
    frames_heard : data frames of others heard so far.
    """

    def __init__(
        self,
        bus: "can.BusABC",
        unit: UnitAddress,
        *,
        services: frozenset[int] = READING_ONLY,
        watch: BusWatch | None = None,
    ) -> None:
        if not services <= ALLOWED_SERVICES:
            raise ForbiddenError(f"services {sorted(services - ALLOWED_SERVICES)} are never sent")
        self._bus = bus
        self._unit = unit
        self._services = services
        self._watch = watch
        self._sent: deque[bytes] = deque(maxlen=_KEPT_ECHOES)
        self.frames_heard = 0

    def send(self, can_id: int, data: bytes, *, is_29_bit: bool) -> None:
        """Send one frame, if it is one of those that may be sent.

        Raises
        ------
        ForbiddenError : it is not.
        UnitError : the watch says that nothing may be sent now, or the adapter failed.
        """
        if (can_id, is_29_bit) != (self._unit.request_id, self._unit.is_29_bit):
            raise ForbiddenError(f"identifier {can_id:X} is not the unit's request identifier")
        check_frame(data, prefix=self._unit.request_prefix, services=self._services)
        if self._watch is not None:
            self._watch.check(time.monotonic())
        import can  # noqa: PLC0415  python-can takes long to import

        message = can.Message(arbitration_id=can_id, data=data, is_extended_id=is_29_bit)
        self._sent.append(bytes(data))
        try:
            self._bus.send(message)
        except (can.CanError, OSError) as error:
            raise _adapter_failed(error) from error

    def receive(self, timeout_s: float) -> bytes | None:
        """Wait for the unit's next frame; None when none came in time.

        Raises
        ------
        UnitError : somebody else sends on the request identifier, or the adapter failed.
        """
        deadline = time.monotonic() + timeout_s
        while True:
            message = self._next(max(0.0, deadline - time.monotonic()))
            now_s = time.monotonic()
            if message is not None and self._is_answer(message, now_s):
                return bytes(message.data)
            if now_s >= deadline:
                return None

    def listen(self, seconds: float) -> None:
        """Hear the bus for a while and send nothing; answers that come are let go.

        Raises
        ------
        UnitError : as `receive`, or the watch says that nothing may be sent.
        """
        deadline = time.monotonic() + seconds
        while (left_s := deadline - time.monotonic()) > 0:
            self.receive(min(_STEP_S, left_s))
            if self._watch is not None:
                self._watch.check(time.monotonic())

    def catch_up(self) -> None:
        """Take what was heard already, so that the watch knows the car as it is now.

        Raises
        ------
        UnitError : as `receive`.
        """
        deadline = time.monotonic() + _CATCH_UP_S
        while time.monotonic() < deadline:
            message = self._next(0.0)
            if message is None:
                return
            self._is_answer(message, time.monotonic())

    def close(self) -> None:
        """Close the bus."""
        self._bus.shutdown()

    def _next(self, timeout_s: float) -> "can.Message | None":
        import can  # noqa: PLC0415  python-can takes long to import

        try:
            return self._bus.recv(timeout_s)
        except (can.CanError, OSError) as error:
            raise _adapter_failed(error) from error

    def _is_answer(self, message: "can.Message", now_s: float) -> bool:
        if message.is_error_frame or message.is_remote_frame:
            return False
        same_width = message.is_extended_id == self._unit.is_29_bit
        if same_width and message.arbitration_id == self._unit.request_id:
            self._know_own(message)
            return False
        self.frames_heard += 1
        if self._watch is not None:
            self._watch.see(message, now_s)
        is_answer = same_width and message.arbitration_id == self._unit.response_id
        return is_answer and not message.is_fd

    def _know_own(self, message: "can.Message") -> None:
        """Let a frame of our own pass that the adapter returned; raise at anybody else's."""
        data = bytes(message.data)
        if not message.is_rx:
            return
        if data in self._sent:
            self._sent.remove(data)
            return
        raise UnitError(
            f"somebody else sends {data.hex()} on the request identifier",
            where=str(self._unit),
            remedy="take other testers off the bus, or correct request_id in [fault_memory]",
        )


def check_frame(data: bytes, *, prefix: bytes, services: frozenset[int]) -> None:
    """Judge one frame's payload.

    Parameters
    ----------
    data : payload of the frame, padding included.
    prefix : address byte of extended addressing, or nothing.
    services : what may be sent, a part of `ALLOWED_SERVICES`.

    Raises
    ------
    ForbiddenError : it is neither an allowed request nor a flow control frame.
    """
    if len(data) > _CLASSIC_FRAME_LENGTH:
        raise ForbiddenError("only classic frames are sent")
    if not data.startswith(prefix):
        raise ForbiddenError("the frame is addressed to another unit")
    body = data[len(prefix) :]
    kind, low = (body[0] >> 4, body[0] & 0xF) if body else (-1, 0)
    if kind == _FLOW_CONTROL and low in _FLOW_STATUSES and len(body) >= _FLOW_CONTROL_LENGTH:
        return
    if kind != _SINGLE_FRAME:
        raise ForbiddenError("neither a single frame nor flow control")
    request = body[1 : 1 + low]
    if len(request) != low or not low:
        raise ForbiddenError("the single frame's length is wrong")
    if request[0] not in services:
        raise ForbiddenError(f"service {request[0]:02X} is never sent")
    if _REQUEST_LENGTHS.get(request[:2]) != len(request):
        raise ForbiddenError(f"request {request.hex()} has no form that is ever sent")
    if request[0] == CLEAR_CODES and request != _ALL_CODES:
        raise ForbiddenError("only all codes are ever cleared")


def _adapter_failed(error: Exception) -> UnitError:
    return UnitError(
        f"the adapter failed: {str(error) or type(error).__name__}",
        remedy="check that it is plugged in, and that nothing else uses it",
    )
