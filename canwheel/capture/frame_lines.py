r"""Lines of the open SocketCAN text log to columns, all lines of a batch at once.

The form, one frame a line (read from the reader and the writer of the python-can library; the
length code and the dots from memory of the format's own description)::

    (seconds.fraction) channel ID#DATA          classic frame, 0 to 8 bytes of hexadecimal digits
    (seconds.fraction) channel ID#DATA_L        the same with a length code of 9 to F
    (seconds.fraction) channel ID##FDATA        CAN FD, 0 to 64 bytes; F: 1 BRS, 2 ESI
    (seconds.fraction) channel ID#R             remote frame; R0 to R8 gives the length asked for
    ... R   or   ... T                          received, or sent by the recorder itself

ID has three digits for the 11-bit kind and eight for the 29-bit kind; bit 29 set in eight digits
marks an adapter's report of an error. ``read_rows`` reads what recorders write, in columns;
the few lines that are written otherwise go through ``read_line``, one at a time, which is the
form's definition: the two agree wherever both apply.
"""

import re
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from canwheel.capture.lines import Bytes, Places
from canwheel.frames import FrameFlag

STANDARD_DIGITS = 3
EXTENDED_DIGITS = 8

_STANDARD_MAX = 0x7FF
_ID_MASK = 0x1FFF_FFFF
_ERROR_BIT = 0x2000_0000
_CLASSIC_MAX = 8
_FD_MAX = 64
_FD_BRS = 1
_FD_ESI = 2
_NS = 1_000_000_000
_FRACTION_DIGITS = 9
_SECOND_DIGITS = 10
_TIME_MAX_NS = 2**63 - 1

_LINE = re.compile(
    rb"""\s* \( (?P<minus>-?) (?P<seconds>\d+) (?: \. (?P<fraction>\d*) )? \)
    \s+ (?P<channel>\S+)
    \s+ (?P<id>[0-9A-Fa-f]{1,8}) \#
    (?: [Rr] (?P<asked>[0-8])? (?: _[9A-Fa-f] )?
      | (?: \# (?P<fd>[0-9A-Fa-f]) )? (?P<data> (?: [0-9A-Fa-f]{2} \.? )* ) (?P<code> _[9A-Fa-f] )?
    )
    (?: \s+ (?P<direction>[RrTt]) )? \s*""",
    re.VERBOSE,
)


class LineFrame(NamedTuple):
    """One line's frame; the fields are those of ``Frames``."""

    time_ns: int
    can_id: int
    flags: int
    length: int
    data: bytes
    channel: str


def read_line(line: bytes) -> LineFrame | None:
    """Return the frame that one line tells, or None when it is no frame."""
    part = _LINE.fullmatch(line)
    if part is None:
        return None
    fraction = (part["fraction"] or b"")[:_FRACTION_DIGITS].ljust(_FRACTION_DIGITS, b"0")
    time_ns = int(part["seconds"]) * _NS + int(fraction)
    can_id = int(part["id"], 16)
    extended = len(part["id"]) > STANDARD_DIGITS
    if time_ns > _TIME_MAX_NS or (not extended and can_id > _STANDARD_MAX):
        return None
    payload = _payload(part)
    if payload is None:
        return None
    flags, length, data = payload
    flags |= FrameFlag.EXTENDED if extended else 0
    flags |= FrameFlag.ERROR if can_id & _ERROR_BIT else 0
    flags |= FrameFlag.SENT if (part["direction"] or b"").lower() == b"t" else 0
    return LineFrame(
        -time_ns if part["minus"] else time_ns,
        can_id & _ID_MASK,
        flags,
        length,
        data,
        part["channel"].decode("utf-8", "replace"),
    )


def _payload(part: re.Match[bytes]) -> tuple[int, int, bytes] | None:
    """Return flags, length and data of what stands after the identifier."""
    if part["data"] is None:
        return FrameFlag.REMOTE, int(part["asked"] or 0), b""
    data = bytes.fromhex(part["data"].replace(b".", b"").decode())
    if part["fd"] is None:
        # a length code above 8 only goes with a full frame (ISO 11898-1, from memory)
        allowed = {_CLASSIC_MAX} if part["code"] else range(_CLASSIC_MAX + 1)
        return (0, len(data), data) if len(data) in allowed else None
    if part["code"] or len(data) > _FD_MAX:
        return None
    nibble = int(part["fd"], 16)
    flags = FrameFlag.FD
    flags |= FrameFlag.BRS if nibble & _FD_BRS else 0
    flags |= FrameFlag.ESI if nibble & _FD_ESI else 0
    return flags, len(data), data


# ---------------------------------------------------------------------------------------------
# The same for many lines at once. Eight characters are handled as one 64-bit word.

_U64 = np.uint64
_ALL = _U64(0xFFFF_FFFF_FFFF_FFFF)
_ZEROS = _U64(0x3030_3030_3030_3030)  # "00000000"
_HIGH_BITS = _U64(0x8080_8080_8080_8080)
_NINE_TO_HIGH_BIT = _U64(0x7676_7676_7676_7676)  # carries a byte above 9 into its high bit

_KEEP_FIRST = np.array([(1 << 8 * k) - 1 for k in range(9)], np.uint64)
_KEEP_LAST = ~_KEEP_FIRST[::-1]

_BAD_DIGIT = 0x100
_NOT_HEX = 0xFF


def _nibbles() -> NDArray[np.uint8]:
    """Return the value of every character as a hexadecimal digit."""
    value = np.full(256, _NOT_HEX, np.uint8)
    for digits in (b"0123456789ABCDEF", b"0123456789abcdef"):
        value[np.frombuffer(digits, np.uint8)] = np.arange(16)
    return value


def _pairs(nibble: NDArray[np.uint8]) -> NDArray[np.uint16]:
    """Return the value of every two characters, the first in the low byte, or `_BAD_DIGIT`."""
    high, low = nibble[np.newaxis, :].astype(np.uint16), nibble[:, np.newaxis].astype(np.uint16)
    value = (high << 4) | low
    value[(high == _NOT_HEX) | (low == _NOT_HEX)] = _BAD_DIGIT
    return value.astype(np.uint16, copy=False).ravel()


_NIBBLE = _nibbles()
_PAIR = _pairs(_NIBBLE)

_SHAPES = 16
"""Layouts of one field that are tried on a whole batch before its lines are read one by one."""

_CHANNEL_LETTERS = 16  # an interface name has at most 15 (Linux, IFNAMSIZ)


def bytes_at(text: Bytes, place: Places, count: int) -> Bytes:
    """Return `count` bytes from each place on, as (n, count)."""
    at = np.ndarray((len(text) - count + 1,), f"V{count}", text, 0, (1,))
    rows: Bytes = at[place].view(np.uint8).reshape(len(place), count)
    return rows


def _words_at(text: Bytes, place: Places) -> NDArray[np.uint64]:
    """Return the eight bytes from each place on as one word, the first in the lowest byte."""
    return bytes_at(text, place, 8).view("<u8").reshape(-1)


def _decimal(word: NDArray[np.uint64]) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """Return the value of eight decimal digits, and whether they all are digits."""
    digit = word ^ _ZEROS
    good = ((digit + _NINE_TO_HIGH_BIT) | digit) & _HIGH_BITS == 0
    pair = (digit * _U64(10) + (digit >> _U64(8))) & _U64(0x00FF_00FF_00FF_00FF)
    four = (pair * _U64(100) + (pair >> _U64(16))) & _U64(0x0000_FFFF_0000_FFFF)
    eight = (four * _U64(10_000) + (four >> _U64(32))) & _U64(0xFFFF_FFFF)
    return eight.view(np.int64), good


def _first(text: Bytes, start: Places, end: Places, value: int) -> Places:
    """Return how far from `start` a byte first stands in each line; -1 where that is not known.

    A recorder writes a field in few layouts, so the place is learned from a line and tried on all
    that are left.
    """
    offset = np.full(len(start), -1, np.int64)
    todo = np.arange(len(start))
    for _ in range(_SHAPES):
        if not len(todo):
            break
        line = text[start[todo[0]] : end[todo[0]]].tobytes()
        guess = line.find(value)
        hit = text.take(start[todo] + guess, mode="clip") == value if guess >= 0 else todo < 0
        hit[0] = True
        offset[todo[hit]] = guess
        todo = todo[~hit]
    return offset


@dataclass(frozen=True, slots=True, eq=False)
class LineBatch:
    """Lines to be read: n of them in a text that has room around it.

    Attributes
    ----------
    text : the bytes; 16 before the first line and 256 after the last may be looked at.
    start, end : (n,) where each line begins and where it ends, newline excluded.
    hash_at : (n,) where its first ``#`` stands.
    """

    text: Bytes
    start: Places
    end: Places
    hash_at: Places

    def __len__(self) -> int:
        """Return n, the number of lines."""
        return len(self.start)

    def line(self, row: int) -> bytes:
        """Return one line."""
        return self.text[self.start[row] : self.end[row]].tobytes()


@dataclass(frozen=True, slots=True, eq=False)
class Rows:
    """What a batch of lines says, line by line; the fields are those of ``Frames``.

    Attributes
    ----------
    good : (n,) the line is a frame; the other columns count only there.
    channel : (n,) index into `channels`, the names in this batch.
    """

    good: NDArray[np.bool_]
    time_ns: NDArray[np.int64]
    can_id: NDArray[np.uint32]
    flags: NDArray[np.uint8]
    length: NDArray[np.uint8]
    data: Bytes
    channel: NDArray[np.int64]
    channels: list[str]


def read_rows(batch: LineBatch) -> Rows:
    """Read a batch of lines."""
    text, start = batch.text, batch.start
    end, sent = _without_direction(text, batch.end)
    can_id, extended, id_at, good = _identifiers(text, batch.hash_at)
    time_ns, after_time, good_time = _times(text, start, end)
    flags, length, data, good_data = _payloads(text, batch.hash_at + 1, end)
    good &= good_time & good_data
    channel, channels, good_channel = _channels(text, after_time, id_at - 1, good)
    good &= good_channel
    flags |= extended * np.uint8(FrameFlag.EXTENDED) | sent * np.uint8(FrameFlag.SENT)
    error = extended & (can_id & np.uint32(_ERROR_BIT) != 0)
    flags |= error * np.uint8(FrameFlag.ERROR)
    good &= extended | (can_id <= _STANDARD_MAX)
    can_id &= np.uint32(_ID_MASK)
    rows = Rows(good, time_ns, can_id, flags, length, data, channel, channels)
    return rows if good.all() else _read_the_rest(batch, rows)


def _read_the_rest(batch: LineBatch, rows: Rows) -> Rows:
    """Read the lines that are not in the usual form one by one."""
    frames = {row: read_line(batch.line(row)) for row in np.flatnonzero(~rows.good).tolist()}
    longest = max((len(frame.data) for frame in frames.values() if frame), default=0)
    data = rows.data
    if longest > data.shape[1]:
        data = np.zeros((len(batch), longest), np.uint8)
        data[:, : rows.data.shape[1]] = rows.data
    for row, frame in frames.items():
        if frame is None:
            continue
        rows.good[row] = True
        rows.time_ns[row], rows.can_id[row] = frame.time_ns, frame.can_id
        rows.flags[row], rows.length[row] = frame.flags, frame.length
        data[row] = 0
        data[row, : len(frame.data)] = np.frombuffer(frame.data, np.uint8)
        if frame.channel not in rows.channels:
            rows.channels.append(frame.channel)
        rows.channel[row] = rows.channels.index(frame.channel)
    return Rows(
        rows.good,
        rows.time_ns,
        rows.can_id,
        rows.flags,
        rows.length,
        data,
        rows.channel,
        rows.channels,
    )


def _without_direction(text: Bytes, end: Places) -> tuple[Places, NDArray[np.bool_]]:
    """Return where each line ends without carriage return and direction, and which were sent."""
    end = end - (text.take(end - 1) == ord("\r"))
    letter = text.take(end - 1) | 0x20  # lower case
    marked = ((letter == ord("r")) | (letter == ord("t"))) & (text.take(end - 2) == ord(" "))
    return end - 2 * marked, marked & (letter == ord("t"))


def _identifiers(
    text: Bytes, hash_at: Places
) -> tuple[NDArray[np.uint32], NDArray[np.bool_], Places, NDArray[np.bool_]]:
    """Return identifiers, which have eight digits, where they begin, and which are good."""
    standard = text.take(hash_at - STANDARD_DIGITS - 1) == ord(" ")
    extended = ~standard & (text.take(hash_at - EXTENDED_DIGITS - 1) == ord(" "))
    digits = np.where(extended, EXTENDED_DIGITS, STANDARD_DIGITS)
    keep = _KEEP_LAST.take(digits)
    word = (_words_at(text, hash_at - EXTENDED_DIGITS) & keep) | (_ZEROS & ~keep)
    value = _PAIR.take(word.view("<u2").reshape(-1, 4))
    good = (standard | extended) & (value < _BAD_DIGIT).all(axis=1)
    can_id = value.astype(np.uint8).view(">u4").reshape(-1).astype(np.uint32)
    return can_id, extended, hash_at - digits, good


def _times(
    text: Bytes, start: Places, end: Places
) -> tuple[NDArray[np.int64], Places, NDArray[np.bool_]]:
    """Return time stamps, where the closing parenthesis stands, and which are good. [ns]"""
    close = start + _first(text, start, end, ord(")"))
    point = start + _first(text, start, end, ord("."))
    minus = text.take(start + 1) == ord("-")
    seconds = point - start - 1 - minus
    fraction = close - point - 1
    good = (text.take(start) == ord("(")) & (seconds > 0) & (seconds <= _SECOND_DIGITS)
    good &= (fraction >= 0) & (fraction <= _FRACTION_DIGITS)
    seconds, fraction = np.where(good, seconds, 1), np.where(good, fraction, 0)
    point = np.where(good, point, start + 1)

    keep = _KEEP_LAST.take(np.minimum(seconds, 8))
    low, good_low = _decimal((_words_at(text, point - 8) & keep) | (_ZEROS & ~keep))
    keep = _KEEP_LAST.take(np.maximum(seconds - 8, 0))
    high, good_high = _decimal((_words_at(text, point - 16) & keep) | (_ZEROS & ~keep))
    keep = _KEEP_FIRST.take(np.minimum(fraction, 8))
    part, good_part = _decimal((_words_at(text, point + 1) & keep) | (_ZEROS & ~keep))
    last = np.where(fraction == _FRACTION_DIGITS, text.take(point + 9), ord("0")) - ord("0")
    good &= good_low & good_high & good_part & (last >= 0) & (last <= 9)  # noqa: PLR2004
    whole = high * 100_000_000 + low
    good &= whole < _TIME_MAX_NS // _NS
    time_ns = whole * _NS + part * 10 + last
    return np.where(minus, -time_ns, time_ns), close, good


def _payloads(
    text: Bytes, begin: Places, end: Places
) -> tuple[NDArray[np.uint8], NDArray[np.uint8], Bytes, NDArray[np.bool_]]:
    """Return flags, length, data, and which are good, of what stands between `begin` and `end`."""
    first = text.take(begin)
    filled = begin < end
    fd = filled & (first == ord("#"))
    remote = filled & ((first | 0x20) == ord("r"))
    flags = remote * np.uint8(FrameFlag.REMOTE)
    if fd.any():
        nibble = _NIBBLE.take(text.take(begin + 1))
        flags |= fd * np.uint8(FrameFlag.FD)
        flags |= (fd & (nibble & _FD_BRS != 0)) * np.uint8(FrameFlag.BRS)
        flags |= (fd & (nibble & _FD_ESI != 0)) * np.uint8(FrameFlag.ESI)
        begin = begin + 2 * fd
    digits = end - begin
    length = digits >> 1
    good = (digits & 1 == 0) & (digits >= 0) & (length <= np.where(fd, _FD_MAX, _CLASSIC_MAX))
    if fd.any():
        good &= ~fd | (nibble != _NOT_HEX)
    if remote.any():
        asked = np.where(digits == 1, 0, text.take(begin + 1).astype(np.int64) - ord("0"))
        good_asked = (digits <= 2) & (asked >= 0) & (asked <= _CLASSIC_MAX)  # noqa: PLR2004
        good = np.where(remote, good_asked, good)
        length = np.where(remote, asked, length)
    length = np.where(good, length, 0)
    bytes_here = np.where(remote, 0, length)
    data, good_data = _hex_bytes(text, begin, bytes_here)
    return flags, length.astype(np.uint8), data, good & good_data


def _hex_bytes(text: Bytes, begin: Places, count: Places) -> tuple[Bytes, NDArray[np.bool_]]:
    """Return the bytes that pairs of digits spell, zero-filled, and which rows are good."""
    data, good = _hex_block(text, begin, np.minimum(count, _CLASSIC_MAX), _CLASSIC_MAX)
    long = np.flatnonzero(count > _CLASSIC_MAX)
    if len(long):
        width = int(count.max())
        wide = np.zeros((len(begin), width), np.uint8)
        wide[:, :_CLASSIC_MAX] = data
        wide[long], good[long] = _hex_block(text, begin[long], count[long], width)
        data = wide
    return data, good


def _hex_block(
    text: Bytes, begin: Places, count: Places, width: int
) -> tuple[Bytes, NDArray[np.bool_]]:
    """Return `width` columns of bytes, zero from each row's `count` on, and which rows are good."""
    value = _PAIR.take(bytes_at(text, begin, 2 * width).view("<u2").reshape(-1, width))
    if len(count) and count.min() < width:
        value[np.arange(width) >= count[:, np.newaxis]] = 0
    if not len(count) or value.max() < _BAD_DIGIT:
        return value.astype(np.uint8), np.ones(len(count), np.bool_)
    return value.astype(np.uint8), value.max(axis=1) < _BAD_DIGIT


def _channels(
    text: Bytes, close: Places, end: Places, good: NDArray[np.bool_]
) -> tuple[NDArray[np.int64], list[str], NDArray[np.bool_]]:
    """Return each line's channel, the names, and which lines have one.

    Parameters
    ----------
    close : where the closing parenthesis before the name stands.
    end : where the blank after the name stands.
    good : lines worth looking at.
    """
    begin = close + 2
    letters = end - begin
    good = good & (letters > 0) & (letters <= _CHANNEL_LETTERS)
    good &= text.take(close + 1, mode="clip") == ord(" ")
    word = bytes_at(text, np.where(good, begin, 0), _CHANNEL_LETTERS).view("<u8").reshape(-1, 2)
    letters = np.where(good, letters, 0)
    first = word[:, 0] & _KEEP_FIRST.take(np.minimum(letters, 8))
    second = word[:, 1] & _KEEP_FIRST.take(np.maximum(letters - 8, 0))
    channel = np.zeros(len(begin), np.int64)
    names: list[str] = []
    todo = np.flatnonzero(good)
    while len(todo):
        row = todo[0]
        same = (first[todo] == first[row]) & (second[todo] == second[row])
        name = text[begin[row] : end[row]].tobytes()
        if name.split() == [name]:
            channel[todo[same]] = len(names)
            names.append(name.decode("utf-8", "replace"))
        else:
            good[todo[same]] = False
        todo = todo[~same]
    return channel, names, good
