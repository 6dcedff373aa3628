"""A DBC file, written: messages and signals that were found and not given."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from canwheel.definitions.layout import BitField
from canwheel.definitions.library import import_cantools

if TYPE_CHECKING:
    from cantools.database.can import Message, Signal

_LONGEST_CLASSICAL = 8
_SENDER = "BRAKE_UNIT"


@dataclass(frozen=True, slots=True)
class NewSignal:
    """A signal to be written. Value = raw * scale + offset, in `unit`."""

    name: str
    bits: BitField
    scale: float
    offset: float
    minimum: float
    maximum: float
    unit: str
    comment: str


@dataclass(frozen=True, slots=True)
class NewMessage:
    """A message to be written; `cycle_s` is how often it was heard. [s]"""

    name: str
    frame_id: int
    extended: bool
    length: int
    cycle_s: float
    signals: tuple[NewSignal, ...]
    comment: str


def render_dbc(messages: Sequence[NewMessage]) -> str:
    """Return the text of a DBC file, in ASCII: what a comment cannot say so is left out."""
    can = import_cantools().database.can
    database = can.Database(
        messages=[_message(message) for message in messages],
        nodes=[can.Node(name=_SENDER, comment=None)],
        version="",
    )
    text: str = database.as_dbc_string(sort_signals=None)
    return text.replace("\r\n", "\n")


def _message(message: NewMessage) -> "Message":
    made: Message = import_cantools().database.can.Message(
        frame_id=message.frame_id,
        name=message.name,
        length=message.length,
        signals=[_signal(signal) for signal in message.signals],
        comment=_plain(message.comment),
        senders=[_SENDER],
        cycle_time=max(1, round(1000 * message.cycle_s)),
        is_extended_frame=message.extended,
        is_fd=message.length > _LONGEST_CLASSICAL,
    )
    return made


def _signal(signal: NewSignal) -> "Signal":
    database = import_cantools().database
    made: Signal = database.can.Signal(
        name=signal.name,
        start=signal.bits.start,
        length=signal.bits.length,
        byte_order=signal.bits.byte_order,
        is_signed=signal.bits.is_signed,
        conversion=database.conversion.BaseConversion.factory(signal.scale, signal.offset),
        minimum=signal.minimum,
        maximum=signal.maximum,
        unit=signal.unit,
        comment=_plain(signal.comment),
    )
    return made


def _plain(comment: str) -> str:
    """A comment in ASCII and without the quotation mark that would end it."""
    spelt = comment.replace("²", "^2").replace('"', "'")
    return spelt.encode("ascii", "ignore").decode()
