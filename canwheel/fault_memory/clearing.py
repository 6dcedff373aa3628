"""Clear a unit's stored codes: after a saved reading, on a standing car, and never as a repair."""

from typing import TYPE_CHECKING

from canwheel.errors import RequestError, UnitError
from canwheel.fault_memory.documents import (
    ClearingDocument,
    ClearingVerdict,
    CodesDocument,
    UnitFacts,
)
from canwheel.fault_memory.gate import ALLOWED_SERVICES, Gate
from canwheel.fault_memory.reading import codes_document, listen_first
from canwheel.fault_memory.timing import Timing
from canwheel.fault_memory.unit_memory import Reading, SilenceError, UnitMemory

if TYPE_CHECKING:
    import can

    from canwheel.fault_memory.standing import WheelWatch
    from canwheel.fault_memory.unit_address import UnitAddress

CONFIRMING_WORD = "CLEAR"
"""What a person types before anything is cleared."""

NO_REPAIR = (
    "Clearing is no repair, and a code that is gone is no proof of one: drive, and compare the two "
    "drives."
)
NOT_TESTED = (
    "A code that is not yet tested since clearing says nothing until its test has run: drive to "
    "confirm."
)
MONITORS = "Clearing may have reset other self-tests of the unit; some need a drive to run again."


def check_same_unit(saved: CodesDocument, unit: "UnitAddress") -> None:
    """Make sure that a saved reading is of the unit that is to be cleared.

    Raises
    ------
    RequestError : it is of another one.
    """
    if saved.unit != UnitFacts.of(unit):
        raise RequestError(
            f"the saved reading is of another unit ({saved.unit.request_id:X}/"
            f"{saved.unit.response_id:X}, the vehicle file names {unit})",
            remedy="read and save the codes of this unit first",
        )


def clear_codes(
    bus: "can.BusABC",
    unit: "UnitAddress",
    saved: CodesDocument,
    *,
    standing: str,
    watch: "WheelWatch | None" = None,
    timing: Timing | None = None,
) -> ClearingDocument:
    """Clear all stored codes of one unit, and read again.

    The unit is read right before: what it stores must be in the saved reading, so that no evidence
    goes that nobody kept.

    Parameters
    ----------
    bus : an open python-can bus; it is closed in any case.
    unit : who is asked.
    saved : the saved reading of the same unit.
    standing : how it is known that the car stands, for the document.
    watch : looks at the wheels when a DBC was given; nothing is sent unless the car stands.
    timing : limits of every wait.

    Raises
    ------
    RequestError : the saved reading is of another unit, or does not hold what the unit stores now.
    UnitError : as `read_codes`.
    """
    limits = timing or Timing()
    gate = Gate(bus, unit, services=ALLOWED_SERVICES, watch=watch)
    try:
        check_same_unit(saved, unit)
        listen_first(gate, watch, limits)
        memory = UnitMemory(gate, unit, limits)
        now = codes_document(memory.read(with_extended=False), unit, vehicle=saved.vehicle)
        _check_kept(saved, now)
        if not now.faults:
            return _document("nothing_stored", standing, saved, now, None)
        _clear(memory)
        after = codes_document(_read_after(memory), unit, vehicle=saved.vehicle)
    finally:
        gate.close()
    verdict: ClearingVerdict = "came_back" if after.faults else "cleared"
    return _document(verdict, standing, saved, now, after)


def _clear(memory: UnitMemory) -> None:
    try:
        memory.clear()
    except SilenceError as silence:
        raise UnitError(
            f"{silence.what}; whether it cleared them is not known",
            where=silence.where,
            remedy="read the codes again",
        ) from silence


def _read_after(memory: UnitMemory) -> Reading:
    try:
        return memory.read(with_extended=False)
    except UnitError as error:
        raise UnitError(
            f"the unit said that it cleared its codes, but could not be read afterwards: "
            f"{error.what}",
            where=error.where,
            remedy="read the codes again",
        ) from error


def _check_kept(saved: CodesDocument, now: CodesDocument) -> None:
    kept = {code.number for code in saved.codes}
    lost = [code.code for code in now.faults if code.number not in kept]
    if lost:
        raise RequestError(
            f"the unit stores {', '.join(lost)}, which the saved reading does not hold: clearing "
            "would lose it",
            remedy="read and save the codes again, then clear",
        )


def _document(
    verdict: ClearingVerdict,
    standing: str,
    saved: CodesDocument,
    now: CodesDocument,
    after: CodesDocument | None,
) -> ClearingDocument:
    cautions = (NO_REPAIR,) if after is None else (NO_REPAIR, NOT_TESTED, MONITORS)
    return ClearingDocument(
        verdict=verdict,
        standing=standing,
        before=saved,
        at_clearing=now,
        after=after,
        cautions=cautions,
    )
