"""Read a unit's stored codes, from an open bus to a document."""

from datetime import UTC, datetime
from typing import TYPE_CHECKING

from canwheel.fault_memory.documents import CodesDocument, UnitFacts
from canwheel.fault_memory.gate import READING_ONLY, Gate
from canwheel.fault_memory.standing import STANDSTILL_S, WheelWatch, wait_for_standstill
from canwheel.fault_memory.timing import Timing
from canwheel.fault_memory.unit_address import UnitAddress
from canwheel.fault_memory.unit_memory import Reading, UnitMemory

if TYPE_CHECKING:
    import can

KEEP = "Keep this reading before anything is cleared: clearing removes the evidence."
BY_LIST = (
    "Letter forms and failure types are those of ISO 15031-6 and SAE J2012; a unit may use its "
    "maker's own. The vehicle's service information comes first."
)
STORED_IS_PAST = (
    "A stored code tells what the unit once saw, not what is wrong now: the recorded drive does."
)


def read_codes(
    bus: "can.BusABC",
    unit: UnitAddress,
    *,
    vehicle: str | None = None,
    watch: WheelWatch | None = None,
    timing: Timing | None = None,
) -> CodesDocument:
    """Read every stored code of one unit; nothing but requests to read is sent.

    Parameters
    ----------
    bus : an open python-can bus; it is closed in any case.
    unit : who is asked.
    vehicle : its name, for the document.
    watch : looks at the wheels when a DBC was given; nothing is sent unless the car stands.
    timing : limits of every wait.

    Raises
    ------
    UnitError : the car moves, no answer, a refusal, an answer that breaks the rules, two answers,
        somebody else on the request identifier, or the adapter failed.
    """
    limits = timing or Timing()
    gate = Gate(bus, unit, services=READING_ONLY, watch=watch)
    try:
        listen_first(gate, watch, limits)
        reading = UnitMemory(gate, unit, limits).read()
    finally:
        gate.close()
    return codes_document(reading, unit, vehicle=vehicle)


def listen_first(gate: Gate, watch: WheelWatch | None, timing: Timing) -> None:
    """Hear the bus before the first request: who else is there, and whether the car stands.

    Raises
    ------
    UnitError : nothing may be sent.
    """
    if watch is None:
        gate.listen(timing.listen_first_s)
    else:
        wait_for_standstill(gate, watch, seconds=max(STANDSTILL_S, timing.listen_first_s))


def codes_document(reading: Reading, unit: UnitAddress, *, vehicle: str | None) -> CodesDocument:
    """Make a document of what a unit reported."""
    return CodesDocument(
        read_at=datetime.now(UTC).isoformat(timespec="seconds"),
        vehicle=vehicle,
        unit=UnitFacts.of(unit),
        status_supported=reading.status_supported,
        codes=reading.codes,
        answer=reading.answer.hex(),
        extended_data=reading.extended_data,
        cautions=(KEEP, STORED_IS_PAST, BY_LIST) if reading.codes else (STORED_IS_PAST,),
    )
