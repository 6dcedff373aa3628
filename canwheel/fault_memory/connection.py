"""The unit's connection for udsoncan: can-isotp's transport, pumped here, over the gate.

No thread and no waiting without a limit: `specific_wait_frame` drives the transport itself, one
frame at a time, so that a unit that never stops sending cannot keep it.
"""

import logging
import time
from collections.abc import Callable

import isotp
from isotp import errors as transport
from udsoncan.connections import BaseConnection
from udsoncan.exceptions import TimeoutException

from canwheel.errors import UnitError
from canwheel.fault_memory.gate import Gate
from canwheel.fault_memory.timing import Timing
from canwheel.fault_memory.unit_address import UnitAddress

_BLOCK_SIZE = 8
"""Frames that the unit may send before it waits for us."""

_PAUSE_MS = 5
"""Pause asked for between them: any adapter keeps up with that. [ms]"""

_LONGEST_ANSWER = 4095
"""What a first frame can announce without the escape to 32 bits (ISO 15765-2). [bytes]"""

_STEP_S = 0.05
"""Longest look for a frame before the transport's own limits are looked at again. [s]"""

_TWO_UNITS = "make sure that only the brake control unit answers on response_id"
_MIXED = "the unit's answer got mixed up with another one"

_TRANSPORT_WORDS: dict[type[Exception], str] = {
    transport.ConsecutiveFrameTimeoutError: "the unit's answer broke off in the middle",
    transport.InvalidCanDataError: "the unit sent a frame that the transport does not know",
    transport.UnexpectedFlowControlError: "the unit sent flow control that nobody asked for",
    transport.OverflowError: "the unit sent flow control that nobody asked for",
    transport.UnexpectedConsecutiveFrameError: "the unit's answer came without its beginning",
    transport.ReceptionInterruptedWithSingleFrameError: _MIXED,
    transport.ReceptionInterruptedWithFirstFrameError: _MIXED,
    transport.WrongSequenceNumberError: "a part of the unit's answer is missing or out of order",
    transport.FrameTooLongError: f"the unit's answer is longer than {_LONGEST_ANSWER} bytes",
    transport.ChangingInvalidRXDLError: "the unit's answer has a frame that is too short",
    transport.InvalidCanFdFirstFrameRXDL: "the unit's answer has a frame that is too short",
    transport.MissingEscapeSequenceError: "the unit sent a frame that the transport does not know",
}

for _name in ("isotp", "UdsClient", "Connection"):
    # Everything worth saying becomes an error of ours; without a handler Python would print it.
    logging.getLogger(_name).addHandler(logging.NullHandler())


class UnitConnection(BaseConnection):
    """What udsoncan talks through.

    Parameters
    ----------
    gate : the only way to the bus.
    unit : whose frames these are.
    timing : limits of every wait.
    """

    def __init__(self, gate: Gate, unit: UnitAddress, timing: Timing) -> None:
        super().__init__()
        self._gate = gate
        self._unit = unit
        self._timing = timing
        self._troubles: list[Exception] = []
        self._may_receive = False
        self._layer = _transport_layer(unit, timing, self._receive, self._send, self._troubles)
        self._is_open = True

    def open(self) -> "UnitConnection":
        """Do nothing: the gate is open."""
        return self

    def close(self) -> None:
        """Let the transport go; the gate stays open, it belongs to the caller."""
        self._layer.reset()
        self._is_open = False

    def is_open(self) -> bool:
        """Whether it was not closed yet."""
        return self._is_open

    def empty_rxqueue(self) -> None:
        """Take and forget what came before the next request."""
        self._gate.catch_up()
        self._layer.reset()
        self._troubles.clear()

    def specific_send(self, payload: bytes, timeout: float | None = None) -> None:
        """Send a request, a single frame, at once."""
        del timeout  # a single frame waits for nobody
        self._layer.send(payload)
        self._may_receive = False
        self._layer.process(rx_timeout=0.0, do_rx=False)

    def specific_wait_frame(self, timeout: float | None = None) -> bytes:
        """Wait for one whole answer.

        Parameters
        ----------
        timeout : longest wait for its first frame; once it has begun, every frame may take
            `Timing.frame_s` and all of it `Timing.transfer_s`. [s]

        Raises
        ------
        TimeoutException : nothing came, which udsoncan tells from an answer.
        UnitError : the answer broke the rules of the transport.
        """
        begun_s = time.monotonic()
        wait_s = self._timing.p2_s if timeout is None else timeout
        while True:
            had_begun = self._is_receiving
            limit_s = self._timing.transfer_s if had_begun else wait_s
            left_s = begun_s + limit_s - time.monotonic()
            answer = self._step(min(_STEP_S, max(0.0, left_s)))
            if answer is not None:
                return answer
            if left_s <= 0 and had_begun:
                raise UnitError(
                    f"the unit's answer is not complete after {limit_s:g} s",
                    where=str(self._unit),
                    remedy=f"try again, and {_TWO_UNITS}",
                )
            if left_s <= 0 and not self._is_receiving:
                raise TimeoutException("no answer in time")  # type: ignore[no-untyped-call]

    def expect_silence(self, seconds: float) -> None:
        """Make sure that nothing follows an answer: a second one would be a second unit's.

        Raises
        ------
        UnitError : something followed.
        """
        deadline = time.monotonic() + seconds
        while (left_s := deadline - time.monotonic()) > 0:
            if self._step(min(_STEP_S, left_s)) is not None or self._is_receiving:
                raise UnitError(
                    "two answers came to one request: two units answer, or another tester asks",
                    where=str(self._unit),
                    remedy=_TWO_UNITS,
                )

    def _step(self, timeout_s: float) -> bytes | None:
        """Let the transport take at most one frame; return an answer that is complete with it."""
        self._may_receive = True
        self._layer.process(rx_timeout=timeout_s)
        if self._troubles:
            raise self._told(self._troubles[0])
        answer = self._layer.recv()
        return None if answer is None else bytes(answer)

    @property
    def _is_receiving(self) -> bool:
        return self._layer.rx_state is not isotp.TransportLayerLogic.RxState.IDLE

    def _receive(self, timeout_s: float) -> isotp.CanMessage | None:
        if not self._may_receive:
            return None
        self._may_receive = False
        data = self._gate.receive(timeout_s)
        if data is None:
            return None
        return isotp.CanMessage(
            arbitration_id=self._unit.response_id,
            dlc=len(data),
            data=data,
            extended_id=self._unit.is_29_bit,
        )

    def _send(self, message: isotp.CanMessage) -> None:
        self._gate.send(
            message.arbitration_id, bytes(message.data), is_29_bit=message.is_extended_id
        )

    def _told(self, trouble: Exception) -> UnitError:
        words = _TRANSPORT_WORDS.get(type(trouble), "the unit's answer broke the transport's rules")
        return UnitError(words, where=str(self._unit), remedy=f"try again, and {_TWO_UNITS}")


def _transport_layer(
    unit: UnitAddress,
    timing: Timing,
    receive: Callable[[float], isotp.CanMessage | None],
    send: Callable[[isotp.CanMessage], None],
    troubles: list[Exception],
) -> isotp.TransportLayerLogic:
    is_extended = unit.target is not None
    modes = isotp.AddressingMode
    mode = {
        (False, False): modes.Normal_11bits,
        (False, True): modes.Normal_29bits,
        (True, False): modes.Extended_11bits,
        (True, True): modes.Extended_29bits,
    }[is_extended, unit.is_29_bit]
    address = isotp.Address(
        mode,
        txid=unit.request_id,
        rxid=unit.response_id,
        target_address=unit.target,
        source_address=unit.source,
    )
    return isotp.TransportLayerLogic(
        rxfn=receive,
        txfn=send,
        address=address,
        error_handler=troubles.append,
        params={
            "tx_padding": unit.padding,
            "blocksize": _BLOCK_SIZE,
            "stmin": _PAUSE_MS,
            "rx_consecutive_frame_timeout": round(timing.frame_s * 1000),
            "max_frame_size": _LONGEST_ANSWER,
        },
    )
