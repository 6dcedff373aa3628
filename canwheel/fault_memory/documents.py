"""What was read from a unit's fault memory, as documents that can be kept."""

from pathlib import Path
from typing import Annotated, Literal

import msgspec

from canwheel.corners import Corner
from canwheel.errors import RequestError
from canwheel.fault_memory.code_words import WheelPart, describe_code
from canwheel.fault_memory.status import FAULT_STATES, CodeState, state_of, status_words
from canwheel.fault_memory.unit_address import UnitAddress
from canwheel.new_file import write_new
from canwheel.vehicle import Byte, CanId
from canwheel.version import VERSION

CodeNumber = Annotated[int, msgspec.Meta(ge=0, lt=1 << 24)]

ExtendedData = Literal["read", "not_offered", "in_part", "broke_off", "not_asked"]


class UnitFacts(msgspec.Struct, frozen=True):
    """Which unit was asked, so that a reading and a clearing are of the same one."""

    request_id: CanId
    response_id: CanId
    id_bits: Literal[11, 29] = 11
    target_address: Byte | None = None
    source_address: Byte | None = None

    @classmethod
    def of(cls, unit: UnitAddress) -> "UnitFacts":
        """Facts of an address; padding and session are not part of who the unit is."""
        return cls(
            request_id=unit.request_id,
            response_id=unit.response_id,
            id_bits=29 if unit.is_29_bit else 11,
            target_address=unit.target,
            source_address=unit.source,
        )


class StoredCode(msgspec.Struct, frozen=True):
    """One code as the unit reported it, and what it means by the open lists.

    Attributes
    ----------
    code : letter form with the failure type, ``C0034-1F``.
    number : its three bytes as one number.
    failure_type, failure : third byte, and in words.
    meaning, corner, part : what it names where the open lists say so.
    note : what the reader must know of this number.
    status, status_words, state : status byte (bits that the unit supports), in words, in one word.
    extended : extended data records as sent, hexadecimal; their meaning is the maker's.
    """

    code: str
    number: CodeNumber
    failure_type: Byte
    failure: str
    status: Byte
    status_words: tuple[str, ...]
    state: CodeState
    meaning: str | None = None
    corner: Corner | None = None
    part: WheelPart | None = None
    note: str = ""
    extended: str | None = None

    @property
    def is_fault(self) -> bool:
        """Whether it stands for a fault that the unit has seen."""
        return self.state in FAULT_STATES

    @classmethod
    def reported(cls, number: int, status: int, *, extended: bytes | None = None) -> "StoredCode":
        """Make one from what the unit sent; `status` masked by what the unit supports."""
        meaning = describe_code(number)
        return cls(
            code=meaning.text,
            number=number,
            failure_type=number & 0xFF,
            failure=meaning.failure,
            status=status,
            status_words=status_words(status),
            state=state_of(status),
            meaning=meaning.meaning,
            corner=meaning.corner,
            part=meaning.part,
            note=meaning.note,
            extended=None if extended is None else extended.hex(),
        )


class CodesDocument(msgspec.Struct, frozen=True, kw_only=True):
    """One reading of one unit.

    Attributes
    ----------
    schema, version : name of this form of document, and version of canwheel that wrote it.
    read_at : when, UTC, ISO 8601.
    vehicle : its name in the vehicle file.
    unit : which unit.
    status_supported : bits of the status byte that the unit supports.
    codes : in the order in which the unit sent them.
    answer : the unit's answer as sent, hexadecimal, so that nothing is lost in reading it.
    extended_data : whether extended data records were offered.
    cautions : what the reader must bear in mind.
    """

    schema: Literal["canwheel-codes/1"] = "canwheel-codes/1"
    version: str = VERSION
    read_at: str
    vehicle: str | None = None
    unit: UnitFacts
    status_supported: Byte
    codes: tuple[StoredCode, ...]
    answer: str
    extended_data: ExtendedData = "not_asked"
    cautions: tuple[str, ...] = ()

    @property
    def faults(self) -> tuple[StoredCode, ...]:
        """Codes that stand for a fault that the unit has seen."""
        return tuple(code for code in self.codes if code.is_fault)


ClearingVerdict = Literal["cleared", "came_back", "nothing_stored"]


class ClearingDocument(msgspec.Struct, frozen=True, kw_only=True):
    """What a clearing did; it is never a proof of repair.

    Attributes
    ----------
    verdict : ``cleared``; ``came_back`` when a fault stood in the memory again at the next
        reading; ``nothing_stored`` when nothing was there, and nothing was sent to clear it.
    standing : how it was known that the car stood.
    before : the saved reading.
    at_clearing : the reading right before the request to clear.
    after : the reading right after it, None when nothing was cleared.
    """

    schema: Literal["canwheel-clearing/1"] = "canwheel-clearing/1"
    verdict: ClearingVerdict
    standing: str
    before: CodesDocument
    at_clearing: CodesDocument
    after: CodesDocument | None = None
    cautions: tuple[str, ...] = ()


def read_codes_file(path: Path) -> CodesDocument:
    """Read a saved reading.

    Every word in it is made again from the numbers, so that a file that somebody edited cannot put
    a code on another corner.

    Raises
    ------
    RequestError : unreadable, no JSON, or no saved reading of stored codes.
    """
    try:
        document = msgspec.json.decode(path.read_bytes(), type=CodesDocument)
        codes = tuple(_again(code) for code in document.codes)
    except OSError as error:
        raise RequestError(
            f"cannot be read: {error.strerror}",
            where=str(path),
            remedy="check the path of the saved codes",
        ) from error
    except (msgspec.DecodeError, ValueError) as error:
        raise RequestError(
            f"is no saved reading of stored codes: {str(error).splitlines()[0]}",
            where=str(path),
            remedy="give a file that `canwheel codes read --save` wrote",
        ) from error
    return msgspec.structs.replace(document, codes=codes)


def _again(code: StoredCode) -> StoredCode:
    extended = None if code.extended is None else bytes.fromhex(code.extended)
    return StoredCode.reported(code.number, code.status, extended=extended)


def render_json(document: CodesDocument | ClearingDocument) -> str:
    """Return a document as JSON text."""
    return msgspec.json.format(msgspec.json.encode(document), indent=2).decode() + "\n"


def save_document(document: CodesDocument | ClearingDocument, path: Path) -> None:
    """Save a document as JSON, whole or not at all; an existing file is never overwritten.

    Raises
    ------
    RequestError : it is there already, or cannot be written.
    """
    write_new(path, render_json(document))
