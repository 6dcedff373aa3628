"""The fast path for the open SocketCAN text log: only wanted frames become numbers.

Every chunk of the text goes through these steps, each for all its lines at once:

1. where the lines begin and end (``lines.py``);
2. where each line's ``#`` stands, which also tells frames from what is none;
3. which identifiers may be wanted, digit by digit before the ``#`` (``Sieve``);
4. those few lines to columns (``frame_lines.py``), which checks every character of them.

Lines that are not wanted are only checked for an opening parenthesis and a ``#``.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import islice

import numpy as np
from numpy.typing import NDArray

from canwheel.capture.frame_lines import (
    EXTENDED_DIGITS,
    STANDARD_DIGITS,
    LineBatch,
    LineFrame,
    bytes_at,
    read_line,
    read_rows,
)
from canwheel.capture.lines import (
    BYTE_ORDER_MARK,
    CHUNK_BYTES,
    LINE_LIMIT,
    SLACK,
    Bytes,
    LineChunk,
    Places,
    iter_chunks,
)
from canwheel.capture.source import ByteSource, Progress
from canwheel.capture.tally import ChannelNames, Tally
from canwheel.frames import Frames, IdPattern, Wanted, is_wanted

_BATCH_BYTES = 512 * 1024
"""Wanted lines are gathered up to this size before they are read, as a batch has a fixed cost."""

_FRONT = 16
"""Bytes in front of a gathered batch, as ``LineBatch`` asks."""

_SHAPES = 6
"""Shapes of a line remembered: a few channels, each with both kinds of identifier."""

_TRIES = 1000
"""Lines of a chunk that are tried for the time of its first or last frame."""

_HASH, _OPEN, _BLANK = ord("#"), ord("("), ord(" ")


def is_text(head: bytes) -> bool:
    """Whether a file that begins so is a text log: a frame stands in one of its first lines."""
    lines = head.removeprefix(BYTE_ORDER_MARK).split(b"\n", _TRIES)[:_TRIES]
    return any(line.lstrip()[:1] == b"(" and read_line(line) is not None for line in lines)


class Sieve:
    """Tells by the digits before the ``#`` which lines may carry a wanted identifier.

    Parameters
    ----------
    wanted : patterns, or None for every identifier.
    """

    def __init__(self, wanted: Wanted | None) -> None:
        self.everything = wanted is None
        self._digits: dict[int, list[_Digit]] = {}
        for width, extended in ((STANDARD_DIGITS, False), (EXTENDED_DIGITS, True)):
            patterns = [p for p in wanted or () if p.extended is extended]
            if patterns:
                digits = [_Digit(patterns, place) for place in range(1, width + 1)]
                # the choosiest digit first, so that the later ones see few lines
                self._digits[width] = sorted(digits, key=lambda digit: len(digit.letters))

    def pick(self, text: Bytes, lines: "_Located") -> NDArray[np.intp]:
        """Return which of the lines may be wanted, by position, in order."""
        if lines.width not in self._digits:
            return np.empty(0, np.intp)
        first, *others = self._digits[lines.width]
        rows = np.flatnonzero(first.fits(text[lines.offset - first.place :].take(lines.begin)))
        begin = lines.begin.take(rows)
        for digit in others:
            fits = digit.fits(text[lines.offset - digit.place :].take(begin))
            rows, begin = rows[fits], begin[fits]
        return rows


class _Digit:
    """What patterns allow at one place of the identifier, counted back from the ``#``."""

    _FEW = 4  # so many letters are compared one by one faster than looked up

    def __init__(self, patterns: Sequence[IdPattern], place: int) -> None:
        shift = 4 * (place - 1)
        fitting = [
            digit
            for digit in range(16)
            if any(((digit << shift ^ p.value) & p.mask) >> shift & 15 == 0 for p in patterns)
        ]
        self.place = place
        self.letters = sorted({ord(form) for digit in fitting for form in (f"{digit:x}{digit:X}")})
        self._table = np.zeros(256, np.bool_)
        self._table[self.letters] = True

    def fits(self, letter: Bytes) -> NDArray[np.bool_]:
        """Which of the letters are allowed here."""
        if len(self.letters) > self._FEW:
            looked_up: NDArray[np.bool_] = self._table.take(letter)
            return looked_up
        hit: NDArray[np.bool_] = letter == self.letters[0]
        for other in self.letters[1:]:
            hit |= letter == other
        return hit


@dataclass(frozen=True, slots=True)
class _Shape:
    """How far from a line's begin its ``#`` stands, and how many digits precede it."""

    offset: int
    width: int


@dataclass(frozen=True, slots=True, eq=False)
class _Located:
    """Lines of a chunk that look like frames and share the width of their identifier.

    Attributes
    ----------
    rows : (k,) which lines of the chunk; None for all of them.
    begin : (k,) places of which each is `offset` before the line's ``#``.
    offset : at least `_FRONT`.
    width : digits of the identifier; 0 where the line is not in the usual form.
    """

    rows: Places | None
    begin: Places
    offset: int
    width: int


@dataclass(frozen=True, slots=True, eq=False)
class _Candidates:
    """Lines that may be wanted frames.

    Attributes
    ----------
    batch : the lines.
    order : (k,) how many lines that look like frames come before each.
    number : (k,) number in the file, from 1.
    """

    batch: LineBatch
    order: Places
    number: Places

    def __len__(self) -> int:
        """Return k, the number of lines."""
        return len(self.order)


class TextScan:
    """One pass over a text log.

    Iterate over it once to get the wanted frames in pieces; `tally` is complete afterwards.

    Parameters
    ----------
    source : the text.
    wanted : identifiers to read, None for every frame.
    progress : told after every chunk.
    chunk_bytes : text taken at a time.
    """

    def __init__(
        self,
        source: ByteSource,
        wanted: Wanted | None,
        progress: Progress | None = None,
        *,
        chunk_bytes: int = CHUNK_BYTES,
    ) -> None:
        self.tally = Tally()
        self._source = source
        self._wanted = wanted
        self._progress = progress
        self._sieve = Sieve(wanted)
        self._chunk_bytes = chunk_bytes
        self._shapes: list[_Shape] = []
        self._lines = 0  # in the chunks before this one
        self._bad = 0  # lines that looked like frames until they were read
        self._has_first_time = False
        self._channels = ChannelNames()

    def __iter__(self) -> Iterator[Frames]:
        """Yield the wanted frames."""
        gathered = _Gathered()
        for chunk in iter_chunks(self._source, chunk_bytes=self._chunk_bytes):
            if chunk.unended and read_line(chunk.line(0)) is None:
                self.tally.cut_last_line = bool(chunk.line(0).strip())
                break
            candidates = self._scan(chunk)
            if self._progress is not None:
                self._progress(self._source.consumed, self._source.size)
            if self._sieve.everything:
                yield self._read(candidates)
            elif len(candidates):
                gathered.add(candidates)
                if gathered.size >= _BATCH_BYTES:
                    yield self._read(gathered.take())
        if gathered.size:
            yield self._read(gathered.take())
        self.tally.damage = self._source.damage

    def _scan(self, chunk: LineChunk) -> _Candidates:
        """Find what looks like a frame in a chunk, count it, and pick what may be wanted."""
        located, left = self._locate(chunk)
        order: Places | None = None  # None: every line looks like a frame
        if len(left):
            left = self._look_closer(chunk, left, located)
        count = len(chunk)
        if len(left):
            self._count_unreadable(chunk, left)
            looks = np.ones(len(chunk), np.bool_)
            looks[left] = False
            order = np.cumsum(looks) - 1
            count -= len(left)
        self._note_times(chunk, left)

        rows, hash_at = _in_order([self._pick(chunk, part) for part in located])
        candidates = _Candidates(
            LineBatch(chunk.text, chunk.start.take(rows), chunk.end.take(rows), hash_at),
            (rows if order is None else order.take(rows)) + (self.tally.frames + self._bad),
            rows + (self._lines + 1),
        )
        self.tally.frames += count
        self._lines += len(chunk)
        return candidates

    def _locate(self, chunk: LineChunk) -> tuple[list[_Located], Places]:
        """Try the shapes that the last chunk had; return what fits, and the lines that do not."""
        text, start = chunk.text, chunk.start
        length = chunk.end - start
        usual = length.max() <= LINE_LIMIT
        left: Places | None = None
        located = []
        for shape in self._shapes:
            begin, extent = (start, length) if left is None else (start[left], length[left])
            hit = text[shape.offset :].take(begin) == _HASH
            hit &= text[shape.offset - shape.width - 1 :].take(begin) == _BLANK
            hit &= text.take(begin) == _OPEN
            hit &= extent > shape.offset
            if not usual:
                hit &= extent <= LINE_LIMIT
            if hit.all():
                located.append(_Located(left, begin, shape.offset, shape.width))
                return located, np.empty(0, np.int64)
            rows = np.flatnonzero(hit)
            lines = rows if left is None else left[rows]
            located.append(_Located(lines, begin[rows], shape.offset, shape.width))
            left = np.flatnonzero(~hit) if left is None else left[~hit]
        return located, np.arange(len(chunk)) if left is None else left

    def _look_closer(self, chunk: LineChunk, left: Places, located: list[_Located]) -> Places:
        """Find the ``#`` of lines in no known shape; return the lines that look like no frame."""
        text, start, end = chunk.text, chunk.start[left], chunk.end[left]
        places = np.append(chunk.find(_HASH), np.iinfo(np.int64).max)
        hash_at = places[np.searchsorted(places, start)]
        has_hash = (hash_at < end) & (end - start <= LINE_LIMIT)
        opens = text.take(start) == _OPEN
        for row in np.flatnonzero(has_hash & (text.take(start) <= _BLANK)):
            opens[row] = chunk.line(left[row]).lstrip().startswith(b"(")
        looks = has_hash & opens
        hash_at = np.where(looks, hash_at, start + _FRONT)
        width = np.zeros(len(left), np.int64)
        width[text.take(hash_at - (EXTENDED_DIGITS + 1)) == _BLANK] = EXTENDED_DIGITS
        width[text.take(hash_at - (STANDARD_DIGITS + 1)) == _BLANK] = STANDARD_DIGITS
        for digits in (0, STANDARD_DIGITS, EXTENDED_DIGITS):
            rows = np.flatnonzero(looks & (width == digits))
            if len(rows):
                located.append(_Located(left[rows], hash_at[rows] - _FRONT, _FRONT, digits))
        self._learn(located, chunk)
        no_frames: Places = left[~looks]
        return no_frames

    def _learn(self, located: list[_Located], chunk: LineChunk) -> None:
        """Remember the most frequent shapes of a chunk for the next one."""
        lines: Counter[_Shape] = Counter()
        for part in located:
            if part.width:
                start = chunk.start if part.rows is None else chunk.start[part.rows]
                offsets = part.begin + part.offset - start
                offsets, counts = np.unique(offsets, return_counts=True)
                for offset, count in zip(offsets.tolist(), counts.tolist(), strict=True):
                    if _FRONT <= offset < SLACK:
                        lines[_Shape(offset, part.width)] += count
        self._shapes = [shape for shape, _ in lines.most_common(_SHAPES)]

    def _pick(self, chunk: LineChunk, part: _Located) -> tuple[Places, Places]:
        """Return lines that may be wanted, and where their ``#`` stands."""
        if self._sieve.everything or not part.width:
            rows = np.arange(len(chunk)) if part.rows is None else part.rows
            return rows, part.begin + part.offset
        picked = self._sieve.pick(chunk.text, part)
        rows = picked if part.rows is None else part.rows[picked]
        return rows, part.begin[picked] + part.offset

    def _count_unreadable(self, chunk: LineChunk, rows: Places) -> None:
        """Count those of the lines that are not blank."""
        rows = rows[chunk.end[rows] > chunk.start[rows]]
        maybe_blank = np.flatnonzero(chunk.text.take(chunk.start[rows]) <= _BLANK)
        blank = [k for k in maybe_blank if chunk.line(rows[k]).isspace()]
        rows = np.delete(rows, blank)
        if len(rows):
            number = self._lines + int(rows[0]) + 1
            self.tally.unreadable(len(rows), number, chunk.line(rows[0]))

    def _note_times(self, chunk: LineChunk, no_frames: Places) -> None:
        """Note the time of the first and of the last frame."""
        skip = set(no_frames.tolist())
        rows = range(len(chunk))
        if not self._has_first_time:
            first = _first_frame(chunk, (row for row in rows if row not in skip))
            if first is not None:
                self.tally.first_time_ns = first.time_ns
                self._has_first_time = True
        last = _first_frame(chunk, (row for row in reversed(rows) if row not in skip))
        if last is not None:
            self.tally.last_time_ns = last.time_ns

    def _read(self, candidates: _Candidates) -> Frames:
        """Read candidates and keep what is wanted."""
        rows = read_rows(candidates.batch)
        bad = ~rows.good
        index = candidates.order - self._bad
        if bad.any():
            first = int(np.flatnonzero(bad)[0])
            count = int(bad.sum())
            number = int(candidates.number[first])
            self.tally.unreadable(count, number, candidates.batch.line(first))
            self.tally.frames -= count
            self._bad += count
            index -= np.cumsum(bad)
        keep = rows.good
        if self._wanted is not None:
            keep = keep & is_wanted(self._wanted, rows.can_id, rows.flags)
        channel, channels = self._channels.numbered(rows.channel[keep], rows.channels)
        return Frames(
            time_ns=rows.time_ns[keep],
            can_id=rows.can_id[keep],
            flags=rows.flags[keep],
            length=rows.length[keep],
            data=rows.data[keep],
            channel=channel,
            channels=channels,
            index=index[keep],
        )


def _first_frame(chunk: LineChunk, rows: Iterable[int]) -> LineFrame | None:
    """Return the first frame among the lines, looking at not too many."""
    for row in islice(rows, _TRIES):
        frame = read_line(chunk.line(row))
        if frame is not None:
            return frame
    return None


def _in_order(parts: list[tuple[Places, Places]]) -> tuple[Places, Places]:
    """Merge lines and the places in them by line."""
    if len(parts) == 1:
        return parts[0]
    if not parts:
        return np.empty(0, np.int64), np.empty(0, np.int64)
    rows = np.concatenate([rows for rows, _ in parts])
    place = np.concatenate([place for _, place in parts])
    in_order = np.argsort(rows, kind="stable")
    return rows[in_order], place[in_order]


class _Gathered:
    """Candidates of several chunks, their lines copied side by side into a text of their own."""

    def __init__(self) -> None:
        self.size = 0
        self._text: list[Bytes] = []
        self._columns: list[tuple[Places, ...]] = []

    def add(self, part: _Candidates) -> None:
        """Copy some lines."""
        batch = part.batch
        length = batch.end - batch.start
        width = int(length.max())
        start = np.arange(self.size, self.size + width * len(part), width)
        self._text.append(bytes_at(batch.text, batch.start, width).reshape(-1))
        self._columns.append((start, length, batch.hash_at - batch.start, part.order, part.number))
        self.size += width * len(part)

    def take(self) -> _Candidates:
        """Return what has been gathered and begin anew."""
        front, slack = np.zeros(_FRONT, np.uint8), np.zeros(SLACK, np.uint8)
        text = np.concatenate([front, *self._text, slack])
        start, length, offset, order, number = map(np.concatenate, zip(*self._columns, strict=True))
        start += _FRONT
        self.size = 0
        self._text, self._columns = [], []
        batch = LineBatch(text, start, start + length, start + offset)
        return _Candidates(batch, order, number)
