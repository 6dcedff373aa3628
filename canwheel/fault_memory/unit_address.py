"""Whom the requests are for: the brake control unit's address on the bus, checked."""

from dataclasses import dataclass

from canwheel.errors import VehicleError
from canwheel.vehicle import FaultMemoryFacts

_SHORT_ID, _LONG_ID = 11, 29  # bits
_STANDARD_ID_LIMIT = 0x7FF

_EVERYBODY_11_BIT = 0x7DF
"""Identifier that asks every unit on the bus at once (ISO 15765-4, from memory)."""

_EVERYBODY_29_BIT = 0x18DB_0000
"""The same with 29 bits: 0x18DB followed by two address bytes (ISO 15765-2, from memory)."""

_README = "README shows a [fault_memory] section"


@dataclass(frozen=True, slots=True)
class UnitAddress:
    """Where one unit listens and answers.

    Attributes
    ----------
    request_id, response_id, is_29_bit : identifiers.
    target, source : extended addressing's byte in front of a request and of an answer, else None.
    padding : byte that fills a request up to eight bytes, None for short frames.
    session : the session in which the unit is said to answer; told, never opened.
    """

    request_id: int
    response_id: int
    is_29_bit: bool = False
    target: int | None = None
    source: int | None = None
    padding: int | None = 0xCC
    session: int | None = None

    @property
    def request_prefix(self) -> bytes:
        """What stands in front of every payload that is sent."""
        return b"" if self.target is None else bytes([self.target])

    @property
    def id_bits(self) -> int:
        """Width of both identifiers."""
        return _LONG_ID if self.is_29_bit else _SHORT_ID

    def __str__(self) -> str:
        """Return ``unit 7A0/7A8``, with both address bytes where there are any."""
        width = 8 if self.is_29_bit else 3
        ids = f"unit {self.request_id:0{width}X}/{self.response_id:0{width}X}"
        if self.target is None or self.source is None:
            return ids
        return f"{ids} (address {self.target:02X}/{self.source:02X})"


def unit_address(facts: FaultMemoryFacts, *, where: str) -> UnitAddress:
    """Check the section ``[fault_memory]`` and make an address of it.

    Parameters
    ----------
    facts : the section as it was read.
    where : name of the vehicle file, for messages.

    Raises
    ------
    VehicleError : an identifier is missing, does not fit its width, asks every unit at once, or an
        address byte is missing or of no use.
    """
    section = f"{where}, fault_memory"
    if facts.request_id is None or facts.response_id is None:
        missing = "request_id" if facts.request_id is None else "response_id"
        raise VehicleError(
            f"{missing} is missing: nobody said where the brake control unit listens and answers",
            where=section,
            remedy=_README,
        )
    ids = (facts.request_id, facts.response_id)
    id_bits = facts.id_bits or (_LONG_ID if max(ids) > _STANDARD_ID_LIMIT else _SHORT_ID)
    is_29_bit = id_bits == _LONG_ID
    _check_ids(*ids, is_29_bit=is_29_bit, section=section)
    _check_bytes(facts, section=section)
    return UnitAddress(
        request_id=facts.request_id,
        response_id=facts.response_id,
        is_29_bit=is_29_bit,
        target=facts.target_address,
        source=facts.source_address,
        padding=None if facts.padding == "none" else facts.padding,
        session=facts.session,
    )


def _check_ids(request_id: int, response_id: int, *, is_29_bit: bool, section: str) -> None:
    if request_id == response_id:
        raise VehicleError("request_id and response_id are the same", where=section, remedy=_README)
    if not is_29_bit and max(request_id, response_id) > _STANDARD_ID_LIMIT:
        raise VehicleError(
            f"{max(request_id, response_id):#x} does not fit 11 bits",
            where=section,
            remedy="correct the identifier, or set id_bits = 29",
        )
    everybody = (
        request_id & 0x1FFF_0000 == _EVERYBODY_29_BIT
        if is_29_bit
        else request_id == _EVERYBODY_11_BIT
    )
    if everybody:
        raise VehicleError(
            f"request_id {request_id:#x} asks every unit on the bus at once",
            where=section,
            remedy="give the brake control unit's own request identifier",
        )


def _check_bytes(facts: FaultMemoryFacts, *, section: str) -> None:
    given = (facts.target_address is not None, facts.source_address is not None)
    if facts.addressing == "extended" and not all(given):
        missing = "source_address" if given[0] else "target_address"
        raise VehicleError(
            f"extended addressing needs {missing}", where=section, remedy="add both address bytes"
        )
    if facts.addressing == "normal" and any(given):
        raise VehicleError(
            "an address byte is given, but addressing is normal",
            where=section,
            remedy='set addressing = "extended", or take the address bytes out',
        )
