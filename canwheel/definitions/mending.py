"""DBC text as people have it, made into DBC text that the library takes.

Files in use carry value tables for signals that are gone, 29-bit identifiers without the bit that
marks them, names given twice, comments that nobody closed. None of that keeps a person from
reading the wheel speeds in them. What can be put right without a doubt is; what cannot and is not
a message or a signal is passed over and named. A message or signal that does not parse is refused
with its line: it could be a wheel. (The library itself takes a file that ends in the middle of a
signal for a whole one.)

The text keeps its lines, so that a line number stays true.
"""

import math
import re
from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass, field

EXTENDED_MARK = 1 << 31
"""Bit of a DBC's message number that says that the identifier has 29 bits."""

_LARGEST_11_BIT, _LARGEST_29_BIT = 0x7FF, 0x1FFF_FFFF

_NO_MESSAGE = "VECTOR__INDEPENDENT_SIG_MSG"
"""A name that the format reserves for a list of signals that are in no message."""

_NOBODY = "Vector__XXX"
"""The format's own word for a receiver that nobody named."""

_LONGEST_PAYLOAD = 1785
"""Most bytes that any transport over CAN carries in one message (SAE J1939-21, from memory)."""

_MOST_SELECTED = 4096
"""Most selector values that one message may list. The library makes a decoder for each, and for
each combination of nested ones; no real message comes near."""

_KEYWORDS = (
    "BA_|BA_DEF_|BA_DEF_DEF_|BA_DEF_DEF_REL_|BA_DEF_REL_|BA_REL_|BO_|BO_TX_BU_|BS_|BU_|CM_|"
    "ENVVAR_DATA_|EV_|NS_|SG_|SG_MUL_VAL_|SIG_GROUP_|SIG_VALTYPE_|SGTYPE_|VAL_|VAL_TABLE_|VERSION"
)
_STATEMENT = re.compile(rf'"(?:\\"|[^"])*?"|//[^\n]*|^[ \t]*({_KEYWORDS})(?![\w])', re.MULTILINE)

_NUMBER = r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?"
_STRING = r'"(?:\\"|[^"])*?"'
_NAME = r"(?!\d)\w+"
_MESSAGE = re.compile(r"\s*BO_\s+(\d+)\s+(\w+)\s*:\s*(\d+)\s+\w+")
_SIGNAL = re.compile(
    r"\s*SG_\s+(\w+)(?:\s+(\w+))?\s*:\s*(\d+)\s*\|\s*(\d+)\s*@\s*[01]\s*[-+]\s*"
    rf"\(\s*{_NUMBER}\s*,\s*{_NUMBER}\s*\)\s*\[\s*{_NUMBER}\s*\|\s*{_NUMBER}\s*\]\s*{_STRING}"
)
_BARE_FRACTION = re.compile(r"(?<=[(,\[|\s+-])\.(?=\d)")
_NO_NUMBER = re.compile(r"(?<!\w)(?:\d+\.?\d*[eE]\+?0*[1-9]\d{2,}|\d{40,})(?!\w)")
"""A number that cannot be meant: the library would write out all its digits, or overflow."""

_SELECTION = re.compile(r"\s*SG_MUL_VAL_\s+(\d+)\s+(\w+)\s+(\w+)\s+([-\d\s,]+);")
_FLAGGED_NUMBER = re.compile(r"((?:_|\b)(?:BO_|SG_|VAL_|VALTYPE_|GROUP_|BU_|REL_)\s+)(\d+)")

_OWNED = re.compile(r"\s*(?:VAL_|SIG_VALTYPE_|SG_MUL_VAL_)\s+(\d+)\s+(\w+)")
"""Statements about a signal that the library refuses where there is no such signal."""

_WELL_FORMED = {
    "CM_": re.compile(
        rf"\s*CM_\s+(?:(?:SG_\s+\d+\s+{_NAME}|BO_\s+\d+|[BE][UV]_\s+{_NAME})\s*)?{_STRING}\s*;"
    ),
    "VAL_": re.compile(rf"\s*VAL_\s+(?:\d+\s+)?\w+(?:\s+{_NUMBER}\s*{_STRING})*\s*;"),
    "VAL_TABLE_": re.compile(rf"\s*VAL_TABLE_\s+\w+(?:\s+{_NUMBER}\s*{_STRING})*\s*;"),
    "SIG_VALTYPE_": re.compile(r"\s*SIG_VALTYPE_\s+\d+\s+\w+\s*:\s*\d+\s*;"),
}
"""What statements beside messages and signals look like; one that does not is passed over."""

_WHAT_IT_IS = {
    "CM_": "comment",
    "VAL_": "value table",
    "VAL_TABLE_": "value table",
    "SIG_VALTYPE_": "number type",
    "SG_MUL_VAL_": "selection",
}


class UnusableLineError(Exception):
    """A line that no reading can put right."""

    def __init__(self, line: int, why: str) -> None:
        super().__init__(why)
        self.line = line


@dataclass(frozen=True, slots=True)
class Mended:
    """The text to parse, and what of the file is not in it, one plain line each."""

    text: str
    passed_over: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Statement:
    """One statement: its keyword, where it stands, and its text."""

    keyword: str
    start: int
    end: int
    text: str


@dataclass(slots=True)
class _Selections:
    """How many values the selectors of one message tell apart; see `_MOST_SELECTED`."""

    values: dict[str, int] = field(default_factory=dict)
    selectors: set[str] = field(default_factory=set)
    nested: bool = False

    def add(self, selector: str, count: int) -> None:
        """Count further values of a selector; the only selector of a message has no name."""
        self.values[selector] = self.values.get(selector, 0) + count

    @property
    def decoders(self) -> int:
        """Most decoders that the library makes for them."""
        return math.prod(self.values.values()) if self.nested else sum(self.values.values())


@dataclass(slots=True)
class _Mending:
    """The state of one pass over a file."""

    text: str
    line_starts: list[int]
    changes: list[tuple[int, int, str]] = field(default_factory=list)
    passed_over: list[str] = field(default_factory=list)
    signals: dict[int, set[str]] = field(default_factory=dict)
    names: dict[int, str] = field(default_factory=dict)
    names_taken: set[str] = field(default_factory=set)
    unmarked: set[int] = field(default_factory=set)
    selections: dict[int, "_Selections"] = field(default_factory=dict)

    def line(self, statement: _Statement) -> int:
        """Line on which a statement starts, counted from 1."""
        leading = len(statement.text) - len(statement.text.lstrip())
        return bisect_right(self.line_starts, statement.start + leading)

    def replace(self, statement: _Statement, new: str) -> None:
        """Put another text in a statement's place."""
        if new != statement.text:
            self.changes.append((statement.start, statement.end, new))

    def pass_over(self, statement: _Statement, why: str) -> None:
        """Take a statement out, but for its line ends, and say so."""
        self.replace(statement, re.sub(r"[^\n]", " ", statement.text))
        self.passed_over.append(f"line {self.line(statement)}: {why}")

    def refuse(self, statement: _Statement, why: str) -> UnusableLineError:
        """Return the error for a statement that cannot be used and must not be passed over."""
        return UnusableLineError(self.line(statement), why)

    def result(self) -> Mended:
        """Return the text with all changes made."""
        parts, end = [], 0
        for start, next_end, new in sorted(self.changes):
            parts += [self.text[end:start], new]
            end = next_end
        return Mended("".join([*parts, self.text[end:]]), tuple(self.passed_over))


def mend(text: str) -> Mended:
    """Put right what can be, and pass over what need not be read.

    Raises
    ------
    UnusableLineError : a number or a size that cannot be meant.
    """
    line_starts = [0, *(found.end() for found in re.finditer("\n", text))]
    mending = _Mending(text, line_starts)
    statements = list(_statements(text))
    for statement in statements:
        if _NO_NUMBER.search(re.sub(_STRING, '""', statement.text)):
            raise mending.refuse(statement, "a number in it is too large to be meant")
    _mend_messages(mending, statements)
    for statement in statements:
        if statement.keyword not in ("BO_", "SG_"):
            _mend_other(mending, statement)
    return mending.result()


def _statements(text: str) -> Iterator[_Statement]:
    """Split a text into its statements; keywords in strings and comments are none."""
    keyword, start = "", 0
    for found in _STATEMENT.finditer(text):
        if found[1] is None:
            continue
        if keyword:
            yield _Statement(keyword, start, found.start(), text[start : found.start()])
        keyword, start = found[1], found.start()
    if keyword:
        yield _Statement(keyword, start, len(text), text[start:])


def _is_listed_keyword(statement: _Statement) -> bool:
    """Whether this is only a line of the list of keywords that stands under ``NS_``."""
    first_line = statement.text.lstrip().partition("\n")[0]
    return first_line.strip() == statement.keyword


def _mend_messages(mending: _Mending, statements: list[_Statement]) -> None:
    """Mend messages and their signals, and take note of them for the other statements."""
    number: int | None = None  # of the message that the next signals belong to
    for statement in statements:
        if statement.keyword == "BO_":
            number = _mend_message(mending, statement)
        elif statement.keyword == "SG_":
            if number is None:
                mending.replace(statement, re.sub(r"[^\n]", " ", statement.text))
            else:
                _mend_signal(mending, statement, number)
        elif not _is_listed_keyword(statement):
            number = -1  # a signal that stands alone; left for the parser to refuse


def _mend_message(mending: _Mending, statement: _Statement) -> int | None:
    """Mend a message; return its number, None when it is passed over, -1 when it is no message."""
    found = _MESSAGE.match(statement.text)
    if found is None:
        raise mending.refuse(statement, "a message that is not written as one")
    number, name, length = int(found[1]), found[2], int(found[3])
    if name == _NO_MESSAGE:
        return -1
    if length > _LONGEST_PAYLOAD:
        raise mending.refuse(statement, f"message {name} has {length} bytes")
    bare = number & ~EXTENDED_MARK
    if number >= 2 * EXTENDED_MARK or bare > _LARGEST_29_BIT:
        mending.pass_over(statement, f"message {name}, whose identifier has more than 29 bits")
        return None
    if name[0].isdigit():
        mending.pass_over(statement, f"message {name}, whose name starts with a digit")
        return None
    if mending.names.get(number) == name:
        mending.pass_over(statement, f"message {name} a second time")
        return None
    if number == bare and bare > _LARGEST_11_BIT:
        mending.unmarked.add(number)
        mending.replace(statement, _marked(statement.text, number))
        mending.passed_over.append(
            f"line {mending.line(statement)}: message {name} lacks the mark of a 29-bit "
            "identifier; it is read as one"
        )
    if name in mending.names_taken:
        mending.passed_over.append(
            f"line {mending.line(statement)}: message name {name} stands for another message too"
        )
    mending.names.setdefault(number, name)
    mending.names_taken.add(name)
    mending.signals.setdefault(number, set())
    return number


def _mend_signal(mending: _Mending, statement: _Statement, number: int) -> None:
    """Mend a signal of a message."""
    found = _SIGNAL.match(statement.text)
    if found is None:
        raise mending.refuse(statement, "a signal that is not written as one")
    if number not in mending.signals:
        return
    name, start, length = found[1], int(found[3]), int(found[4])
    if max(start, length) > 8 * _LONGEST_PAYLOAD:
        raise mending.refuse(statement, f"signal {name} stands beyond any message")
    if name[0].isdigit():
        mending.pass_over(statement, f"signal {name}, whose name starts with a digit")
    elif length == 0:
        mending.pass_over(statement, f"signal {name}, which has no bits")
    elif name in mending.signals[number]:
        mending.pass_over(statement, f"signal {name} a second time in its message")
    else:
        mending.signals[number].add(name)
        _note_selector(mending, statement, number, name, found[2] or "")
        end = found.end()
        plain = _BARE_FRACTION.sub("0.", statement.text[:end])
        receivers = statement.text[end:]
        if not receivers.strip():
            receivers = f" {_NOBODY}{receivers}"
        mending.replace(statement, plain + receivers)


def _mend_other(mending: _Mending, statement: _Statement) -> None:
    """Mend a statement beside messages and signals."""
    keyword, text = statement.keyword, statement.text
    if _is_listed_keyword(statement):
        return
    what = _WHAT_IT_IS.get(keyword, "statement")
    well_formed = _WELL_FORMED.get(keyword)
    if well_formed is not None and well_formed.match(text) is None:
        mending.pass_over(statement, f"{what} that is not written as one")
        return
    owned = _OWNED.match(text)
    if owned is not None:
        number, signal = int(owned[1]), owned[2]
        if signal not in mending.signals.get(number, ()):
            mending.pass_over(statement, f"{what} for signal {signal}, which is not there")
            return
    if keyword in ("SG_MUL_VAL_", "VAL_"):
        _count_selected(mending, statement)
    if mending.unmarked:
        mending.replace(statement, _marked_reference(text, mending.unmarked))


def _note_selector(
    mending: _Mending, statement: _Statement, number: int, name: str, mark: str
) -> None:
    """Take note of a selector, or of a signal that hangs on one, by the mark behind its name."""
    if not mark:
        return
    selections = mending.selections.setdefault(number, _Selections())
    if mark.endswith("M"):
        selections.selectors.add(name)
        selections.nested |= mark != "M"
    if mark != "M":
        selections.add("", 1)
    _refuse_too_many(mending, statement, selections)


def _count_selected(mending: _Mending, statement: _Statement) -> None:
    """Count the values that a statement has a selector tell apart."""
    owned = _OWNED.match(statement.text)
    if owned is None:
        return
    selections = mending.selections.setdefault(int(owned[1]), _Selections())
    listed = _SELECTION.match(statement.text)
    if listed is not None:
        ranges = re.findall(r"(\d+)\s*-\s*(\d+)", listed[4])
        selections.selectors.add(listed[3])
        selections.add(listed[3], sum(max(0, int(high) - int(low) + 1) for low, high in ranges))
    elif owned[2] in selections.selectors:  # the library makes a decoder for each named value
        selections.add(owned[2], len(re.findall(_STRING, statement.text)))
    _refuse_too_many(mending, statement, selections)


def _refuse_too_many(mending: _Mending, statement: _Statement, selections: _Selections) -> None:
    """Refuse a message whose selectors tell more values apart than any real one's."""
    if selections.decoders > _MOST_SELECTED:
        raise mending.refuse(statement, "its message has more selected signals than any real one")


def _marked(text: str, number: int) -> str:
    """Set the mark of a 29-bit identifier in a message's own number."""
    return text.replace(str(number), str(number | EXTENDED_MARK), 1)


def _marked_reference(text: str, unmarked: set[int]) -> str:
    """Set the mark where a statement names one of the messages that lacked it."""

    def mark(found: re.Match[str]) -> str:
        number = int(found[2])
        return found[1] + str(number | EXTENDED_MARK if number in unmarked else number)

    return _FLAGGED_NUMBER.sub(mark, text, count=1)
