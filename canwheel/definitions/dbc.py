"""A DBC file to `Definitions`: every signal's place and the words around it, as plain facts."""

import codecs
import hashlib
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from canwheel.definitions.j1939 import is_wheel_group, standard_place
from canwheel.definitions.layout import BitField, ByteOrder, Multiplex, SignalPlace
from canwheel.definitions.library import load_database
from canwheel.definitions.meaning import all_ones, words_without_value
from canwheel.definitions.mending import mend
from canwheel.errors import DefinitionsError
from canwheel.frames import IdPattern

if TYPE_CHECKING:
    from cantools.database.can import Message, Signal

_LONGEST_NUMBER = 64
"""Longest field that is a number; longer ones carry text or blocks of data. [bits]"""

_FLOAT_LENGTHS = (16, 32, 64)

_LONGEST_CYCLE_MS = 1e6
"""A stated cycle time beyond this is none. [ms]"""

_LARGEST_FILE = 16 << 20
"""A DBC file larger than this is none: the largest known ones have a few million characters, and
a million takes the library two seconds and 60 MB. [bytes]"""


@dataclass(frozen=True, slots=True)
class DefinedSignal:
    """A signal and what the DBC's value table calls some of its raw values."""

    place: SignalPlace
    words: Mapping[int, str]


@dataclass(frozen=True, slots=True)
class DefinedMessage:
    """A message and its signals, in the order of the payload."""

    name: str
    frame_id: int
    extended: bool
    length: int
    comment: str
    senders: tuple[str, ...]
    signals: tuple[DefinedSignal, ...]


@dataclass(frozen=True, slots=True)
class Definitions:
    """All that a DBC file defines.

    Attributes
    ----------
    file : its name.
    messages : in the file's order.
    passed_over : what was in the file and could not be used, one plain line each.
    sha256 : of the file's bytes, hexadecimal.
    path : the file as it was given, for messages; without one its name stands for it.
    """

    file: str
    messages: tuple[DefinedMessage, ...]
    passed_over: tuple[str, ...] = ()
    sha256: str = ""
    path: str = ""

    @property
    def where(self) -> str:
        """What the file is called in messages."""
        return self.path or self.file


def read_definitions(path: Path) -> Definitions:
    """Read a DBC file.

    Raises
    ------
    DefinitionsError : unreadable, or not a DBC file; the message names the line.
    """
    content = _read_bytes(path)
    text = _decode_text(content)
    if not text.strip():
        raise DefinitionsError("is empty", where=str(path), remedy="give a DBC file")
    try:
        mended = mend(text)
        messages = tuple(map(define_message, load_database(mended.text).messages))
    except Exception as error:
        raise _not_parsed(path, text, error) from error
    return Definitions(
        file=path.name,
        messages=messages,
        passed_over=mended.passed_over,
        sha256=hashlib.sha256(content).hexdigest(),
        path=str(path),
    )


def _read_bytes(path: Path) -> bytes:
    try:
        with path.open("rb") as file:
            content = file.read(_LARGEST_FILE + 1)
    except OSError as error:
        raise DefinitionsError(
            f"cannot be read: {error.strerror}", where=str(path), remedy="check the path"
        ) from error
    if len(content) > _LARGEST_FILE:
        raise DefinitionsError(
            f"is larger than {_LARGEST_FILE >> 20} MB, which no DBC file is",
            where=str(path),
            remedy="give the DBC file, not the recording",
        )
    return content


def _decode_text(content: bytes) -> str:
    """The file's text: UTF-8 or UTF-16 by its mark, UTF-8 if it is that, else cp1252."""
    if content.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return content.decode("utf-16", errors="replace")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return content.decode("cp1252", errors="replace")


def _not_parsed(path: Path, text: str, error: Exception) -> DefinitionsError:
    """Say in one line where and why the library gave up."""
    line = getattr(error, "line", None) or _line_of_message(text, str(error))
    said = re.split(r"(?<=column \d): |(?<=column \d\d): |(?<=column \d\d\d): ", str(error))[0]
    return DefinitionsError(
        f"is not a DBC file that can be read: {said.rstrip('.')}",
        where=f"{path}, line {line}" if line else str(path),
        remedy="mend that line or ask for a whole copy of the file",
    )


def _line_of_message(text: str, said: str) -> int | None:
    """Line of the message that an error text names, where it names one."""
    named = re.search(r"\bin message (\w+)", said)
    if named is None:
        return None
    defined = re.search(rf"^\s*BO_\s+\d+\s+{named[1]}\b", text, re.MULTILINE)
    return text.count("\n", 0, defined.start()) + 1 if defined else None


def define_message(message: "Message") -> DefinedMessage:
    """Return the plain facts of one of the library's messages."""
    numbers = [signal for signal in message.signals if _is_number(signal)]
    return DefinedMessage(
        name=message.name,
        frame_id=message.frame_id,
        extended=message.is_extended_frame,
        length=message.length,
        comment=message.comment or "",
        senders=tuple(message.senders),
        signals=tuple(_signal(message, signal) for signal in numbers),
    )


def _is_number(signal: "Signal") -> bool:
    """Whether a field can be a number at all."""
    if not (math.isfinite(signal.scale) and math.isfinite(signal.offset)):
        return False
    if signal.is_float:
        return signal.length in _FLOAT_LENGTHS
    return 1 <= signal.length <= _LONGEST_NUMBER and signal.start >= 0


def _signal(message: "Message", signal: "Signal") -> DefinedSignal:
    """Return the plain facts of one of the library's signals."""
    place = SignalPlace(
        message=message.name,
        signal=signal.name,
        frame_id=message.frame_id,
        ids=IdPattern.exactly(message.frame_id, extended=message.is_extended_frame),
        bits=_bits(signal),
        scale=float(signal.scale),
        offset=float(signal.offset),
        unit=signal.unit or "",
        minimum=None if signal.minimum is None else float(signal.minimum),
        maximum=None if signal.maximum is None else float(signal.maximum),
        multiplex=_multiplex(message, signal),
        cycle_s=_cycle_s(message),
        comment=signal.comment or "",
    )
    words = {int(raw): str(word) for raw, word in (signal.choices or {}).items()}
    said = words_without_value(words)
    marks = tuple(mark for mark in all_ones(place) if mark.low not in words)
    place = replace(place, not_values=said + marks)
    if message.protocol == "j1939" or is_wheel_group(
        message.frame_id, extended=message.is_extended_frame
    ):
        place = standard_place(place)
    return DefinedSignal(place, words)


def _cycle_s(message: "Message") -> float | None:
    """Return the message's cycle time, if the file states one that can be. [s]"""
    stated: object = message.cycle_time  # whatever type the file declares the attribute with
    if isinstance(stated, int | float) and 0 < stated <= _LONGEST_CYCLE_MS:
        return stated / 1000
    return None


def _bits(signal: "Signal") -> BitField:
    """Return where a signal stands."""
    order: ByteOrder = "little_endian" if signal.byte_order == "little_endian" else "big_endian"
    return BitField(signal.start, signal.length, order, signal.is_signed, signal.is_float)


def _multiplex(message: "Message", signal: "Signal") -> tuple[Multiplex, ...]:
    """Return the selectors that a signal hangs on, the outermost first."""
    if not signal.multiplexer_ids:
        return ()
    by_name = {each.name: each for each in message.signals}
    chain: list[Multiplex] = []
    seen: set[str] = set()
    hanging: Signal | None = signal
    while hanging is not None and hanging.name not in seen:
        seen.add(hanging.name)
        selector = by_name.get(hanging.multiplexer_signal or "")
        if selector is not None and hanging.multiplexer_ids:
            mask = (1 << selector.length) - 1
            values = frozenset(value & mask for value in hanging.multiplexer_ids)
            chain.append(Multiplex(_bits(selector), values))
        hanging = selector
    return tuple(reversed(chain))
