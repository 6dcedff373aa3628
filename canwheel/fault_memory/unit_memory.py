"""Ask one unit for its stored codes, or to clear them, and tell every way in which it may fail."""

import struct
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeVar

from udsoncan.client import Client
from udsoncan.exceptions import (
    InvalidResponseException,
    NegativeResponseException,
    TimeoutException,
    UnexpectedResponseException,
)
from udsoncan.Response import Response
from udsoncan.services.ReadDTCInformation import ReadDTCInformation

from canwheel.errors import UnitError
from canwheel.fault_memory.connection import UnitConnection
from canwheel.fault_memory.documents import ExtendedData, StoredCode
from canwheel.fault_memory.gate import REPORT_EXTENDED_DATA, Gate
from canwheel.fault_memory.refusals import BUSY, NOT_OFFERED, PENDING, RefusalError
from canwheel.fault_memory.timing import Timing
from canwheel.fault_memory.unit_address import UnitAddress

_EVERY_STATUS = 0xFF
_ALL_RECORDS = 0xFF
_ALL_CODES = 0xFF_FFFF

_MOST_EXTENDED = 32
"""Codes whose extended data are asked for: a brake unit seldom stores more, and each is a request
that may take `Timing.request_s`."""

_EXTENDED_HEAD = 5  # sub-function, three-byte code, status; the records follow

Answer = TypeVar("Answer", bound=Response)


class SilenceError(UnitError):
    """The unit did not answer in time."""


@dataclass(frozen=True, slots=True)
class Reading:
    """What the unit reported.

    Attributes
    ----------
    status_supported : bits of the status byte that the unit supports.
    codes : in the unit's order.
    answer : its answer to the main request, as sent.
    extended_data : whether extended data records were offered.
    """

    status_supported: int
    codes: tuple[StoredCode, ...]
    answer: bytes
    extended_data: ExtendedData


class UnitMemory:
    """One unit's fault memory, through a gate.

    Parameters
    ----------
    gate : the only way to the bus; it decides what may be sent.
    unit : who is asked.
    timing : limits of every wait.
    """

    def __init__(self, gate: Gate, unit: UnitAddress, timing: Timing) -> None:
        self._gate = gate
        self._unit = unit
        self._timing = timing
        self._asked_for_time = False
        self._connection = UnitConnection(gate, unit, timing)
        self._client = Client(
            self._connection,
            config={
                "request_timeout": timing.request_s,
                "p2_timeout": timing.p2_s,
                "p2_star_timeout": timing.p2_star_s,
                "nrc78_callback": self._note_pending,
            },
        )

    def read(self, *, with_extended: bool = True) -> Reading:
        """Read every stored code, and the extended data records of those that are faults.

        Raises
        ------
        UnitError : no answer, a refusal, an answer that breaks the rules, or two answers.
        """
        response = self._ask(
            lambda: self._client.get_dtc_by_status_mask(_EVERY_STATUS), "to report stored codes"
        )
        self._connection.expect_silence(self._timing.second_answer_s)
        supported = response.service_data.status_availability.get_byte_as_int()
        codes = tuple(
            StoredCode.reported(dtc.id, dtc.status.get_byte_as_int() & supported)
            for dtc in response.service_data.dtcs
        )
        extended_data: ExtendedData = "not_asked"
        if with_extended and any(code.is_fault for code in codes):
            codes, extended_data = self._with_extended(codes)
        return Reading(supported, codes, bytes(response.original_payload or b""), extended_data)

    def clear(self) -> None:
        """Ask the unit to clear all stored codes.

        Raises
        ------
        UnitError : no answer, a refusal, an answer that breaks the rules, or two answers.
        """
        self._ask(lambda: self._client.clear_dtc(_ALL_CODES), "to clear its stored codes")
        self._connection.expect_silence(self._timing.second_answer_s)

    def _with_extended(
        self, codes: tuple[StoredCode, ...]
    ) -> tuple[tuple[StoredCode, ...], ExtendedData]:
        """Add the extended data records; trouble with them never costs the codes themselves."""
        complete = list(codes)
        wanted = [position for position, code in enumerate(codes) if code.is_fault]
        read, broke_off = 0, False
        deadline = time.monotonic() + self._timing.extended_s
        for position in wanted[:_MOST_EXTENDED]:
            if time.monotonic() > deadline:
                break
            code = codes[position]
            try:
                records = self._extended(code.number)
            except RefusalError as refusal:
                if refusal.code in NOT_OFFERED:
                    break
                continue  # not for this code
            except SilenceError:
                break  # a unit that does not have it may just not answer
            except UnitError:
                broke_off = True
                break
            complete[position] = StoredCode.reported(code.number, code.status, extended=records)
            read += 1
        if broke_off:
            return tuple(complete), "broke_off"
        if not read:
            return codes, "not_offered"
        return tuple(complete), "read" if read == len(wanted) else "in_part"

    def _extended(self, number: int) -> bytes:
        request = ReadDTCInformation.make_request(
            subfunction=REPORT_EXTENDED_DATA,
            dtc=number,
            extended_data_record_number=_ALL_RECORDS,
        )
        response = self._ask(lambda: self._client.send_request(request), "to report extended data")
        data = response.data or b""
        if data[:4] != bytes([REPORT_EXTENDED_DATA]) + number.to_bytes(3, "big"):
            raise self._not_understood("it answered about another code")
        return data[_EXTENDED_HEAD:]

    def _ask(self, request: Callable[[], Answer | None], action: str) -> Answer:
        """Make a request, again while the unit is busy, and tell every failure in words."""
        deadline = time.monotonic() + self._timing.request_s
        for _ in range(self._timing.busy_tries):
            try:
                return self._ask_once(request, action)
            except RefusalError as refusal:
                if refusal.code != BUSY or time.monotonic() > deadline:
                    raise
            self._gate.listen(self._timing.busy_pause_s)
        return self._ask_once(request, action)

    def _ask_once(self, request: Callable[[], Answer | None], action: str) -> Answer:
        self._asked_for_time = False
        begun_s = time.monotonic()
        try:
            response = request()
        except NegativeResponseException as error:
            code = error.response.code
            raise RefusalError(
                action,
                0 if code is None else code,
                where=str(self._unit),
                session=self._unit.session,
            ) from error
        except TimeoutException as error:
            raise self._silence(action, time.monotonic() - begun_s) from error
        except (InvalidResponseException, UnexpectedResponseException) as error:
            raise self._not_understood(str(error)) from error
        except (ValueError, LookupError, struct.error, NotImplementedError) as error:
            # the library reads alien bytes with few checks of its own
            raise self._not_understood(str(error)) from error
        if response is None:
            raise self._not_understood("it is empty")
        return response

    def _note_pending(self) -> None:
        self._asked_for_time = True

    def _silence(self, action: str, waited_s: float) -> SilenceError:
        if self._asked_for_time:
            return SilenceError(
                f"the unit, asked {action}, asked for more time (response code {PENDING:02X}) and "
                f"gave no answer within {waited_s:.1f} s",
                where=str(self._unit),
                remedy="switch the ignition off and on, wait a minute, and try again",
            )
        if not self._gate.frames_heard:
            return SilenceError(
                f"the unit, asked {action}, gave no answer within {waited_s:.1f} s, and nothing at "
                "all was heard on the bus",
                where=str(self._unit),
                remedy="check that the ignition is on, the plug, the adapter and its bit rate",
            )
        return SilenceError(
            f"the unit, asked {action}, gave no answer within {waited_s:.1f} s, though the bus is "
            "alive",
            where=str(self._unit),
            remedy="check request_id, response_id, id_bits and addressing in [fault_memory]; a "
            "unit behind a gateway, or one that does not speak ISO 14229, cannot be reached",
        )

    def _not_understood(self, why: str) -> UnitError:
        return UnitError(
            f"the unit's answer cannot be understood: {why}",
            where=str(self._unit),
            remedy="try again, and check that only the brake control unit answers on response_id",
        )
