"""Recordings that python-can reads: message by message, filled into columns block by block."""

import logging
import re
import sys
from collections.abc import Iterable, Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager, nullcontext
from importlib.abc import MetaPathFinder
from importlib.machinery import ModuleSpec
from pathlib import Path
from types import ModuleType, TracebackType
from typing import TYPE_CHECKING, Any, Self

import numpy as np

from canwheel.capture.source import GREW_SHORTER, Progress
from canwheel.capture.tally import ChannelNames, Tally
from canwheel.errors import CaptureError
from canwheel.frames import FrameFlag, Frames, Wanted, is_wanted

if TYPE_CHECKING:
    import can

_BLOCK_MESSAGES = 20_000
"""Messages filled into columns at a time."""

_FEWEST_TIMES = 10
"""From so few frames nobody can tell whether times grow."""

_GROWING_SHARE = 0.75
"""So many times are no earlier than the one before, at least, where they grow; about half of those
that count from the line before are."""

_NAMELESS_CHANNEL = "0"
"""Name of the channel where a format knows none: the first one, as the library counts them."""

_SHOWN_LETTERS = 80
"""Of what a library says, so many letters are shown."""

_REMARKS_OF = "can.io"
"""Name under which the library's readers log what they pass over."""

_BLF_HEADER_BYTES = 16
_BLF_SEARCH_BYTES = 8


class _WithoutMdf(MetaPathFinder):
    """Hides asammdf, which python-can would import for a format that it is not used for here."""

    def find_spec(
        self, fullname: str, path: Sequence[str] | None, target: ModuleType | None = None
    ) -> ModuleSpec | None:
        """Return no spec, but refuse asammdf."""
        del path, target
        if fullname == "asammdf":
            raise ModuleNotFoundError(fullname)
        return None


def import_can() -> ModuleType:
    """Import python-can without asammdf, which alone takes half a second.

    MDF files are read with asammdf's own columns (``mdf.py``). A program that imports python-can,
    or asammdf, before canwheel reads or listens gets both as they are.
    """
    hide = _WithoutMdf()
    if "can" not in sys.modules and "asammdf" not in sys.modules:
        sys.meta_path.insert(0, hide)
    try:
        import can  # noqa: PLC0415 - heavy: only where the library reads or listens
    finally:
        if hide in sys.meta_path:
            sys.meta_path.remove(hide)
    # its remarks are ours to tell; without a handler they would go to standard error
    logger = logging.getLogger("can")
    if not logger.handlers:
        logger.addHandler(logging.NullHandler())
    return can


def is_blf(head: bytes) -> bool:
    """Whether a file that begins so is a BLF recording."""
    return head.startswith(b"LOGG")


def is_sqlite(head: bytes) -> bool:
    """Whether a file that begins so is an SQLite database."""
    return head.startswith(b"SQLite format 3\0")


def is_asc(head: bytes) -> bool:
    """Whether a file that begins so is an ASC text log: its header tells date and number base."""
    return re.search(rb"(?mi)^[ \t]*base[ \t]+(hex|dec)[ \t]+timestamps", head) is not None


def is_trc(head: bytes) -> bool:
    """Whether a file that begins so is a TRC text log: its header is a remark with the version."""
    return head.startswith((b";$FILEVERSION=", b";---"))


def is_csv(head: bytes) -> bool:
    """Whether a file that begins so is the library's own table of messages."""
    return head.startswith(b"timestamp,arbitration_id,")


class LibraryScan:
    """One pass over a recording with one of python-can's readers; see ``formats.Scan``.

    Parameters
    ----------
    path : a file on disk.
    suffix : key into the library's table of readers.
    wanted : identifiers to read, None for every frame.
    progress : told after every block.
    """

    def __init__(
        self, path: Path, suffix: str, wanted: Wanted | None, progress: Progress | None
    ) -> None:
        self.tally = Tally()
        self._path = path
        self._suffix = suffix
        self._wanted = wanted
        self._progress = progress
        self._channels = ChannelNames()

    def __iter__(self) -> Iterator[Frames]:
        """Yield the wanted frames."""
        with _Remarks() as remarks, _opened(self._path, self._suffix) as (reader, position):
            size = self._path.stat().st_size
            for block in self._blocks(reader):
                columns = self._columns(block)
                if getattr(reader, "timestamps_format", None) == "relative":  # of ASC alone
                    _require_growing(block)
                yield columns
                if self._progress is not None:
                    self._progress(min(position(), size), size)
            if getattr(reader, "file_size", 0) > size:  # BLF tells it in its header
                self.tally.damage = self.tally.damage or "the file ends too early: it was cut"
            if self._path.stat().st_size < size:
                self.tally.damage = self.tally.damage or GREW_SHORTER
            if remarks.count and not self.tally.damage:
                self.tally.damage = (
                    f"{remarks.count:,} pieces of it could not be read, the first: {remarks.first}"
                )

    def _blocks(self, messages: Iterable["can.Message"]) -> Iterator[list["can.Message"]]:
        """Yield messages in blocks; what stops the library early is told as damage."""
        block: list[can.Message] = []
        try:
            for message in messages:
                block.append(message)
                if len(block) == _BLOCK_MESSAGES:
                    yield block
                    block = []
        except Exception as error:  # noqa: BLE001 - the library raises whatever it stumbles over
            self.tally.damage = (
                f"it cannot be read beyond frame {self.tally.frames + len(block)}"
                f" ({in_words(error)})"
            )
        if block:
            yield block

    def _columns(self, block: list["can.Message"]) -> Frames:
        """Return the wanted ones of some messages as columns."""
        index = np.arange(self.tally.frames, self.tally.frames + len(block))
        payloads = [b"" if m.is_remote_frame else bytes(m.data) for m in block]
        width = max(8, *map(len, payloads))
        data = np.frombuffer(b"".join(p.ljust(width, b"\0") for p in payloads), np.uint8)
        # the library's time is a float of seconds, at today's epoch good to a quarter microsecond
        time_us = np.array([m.timestamp for m in block], np.float64) * 1e6
        if not np.isfinite(time_us).all() or np.abs(time_us).max() > np.iinfo(np.int64).max / 1e3:
            raise CaptureError("there are time stamps in it that are no times")
        time_ns = np.rint(time_us).astype(np.int64) * 1000
        if not self.tally.frames:
            self.tally.first_time_ns = int(time_ns[0])
        self.tally.last_time_ns = int(time_ns[-1])
        self.tally.frames += len(block)

        can_id = np.array([m.arbitration_id & 0x1FFF_FFFF for m in block], np.uint32)
        flags = np.array([_flags(m) for m in block], np.uint8)
        length = np.array(
            [m.dlc if m.is_remote_frame else len(m.data) for m in block], np.int64
        ).astype(np.uint8)
        keep = np.ones(len(block), np.bool_)
        if self._wanted is not None:
            keep = is_wanted(self._wanted, can_id, flags)
        names = {name: number for number, name in enumerate(dict.fromkeys(map(_channel, block)))}
        channel = np.array([names[_channel(m)] for m in block], np.int64)
        numbers, channels = self._channels.numbered(channel[keep], list(names))
        return Frames(
            time_ns=time_ns[keep],
            can_id=can_id[keep],
            flags=flags[keep],
            length=length[keep],
            data=data.reshape(-1, width)[keep],
            channel=numbers,
            channels=channels,
            index=index[keep],
        )


def _require_growing(block: list["can.Message"]) -> None:
    """Refuse times that each count from the frame before.

    Some programs call times relative that count from the begin of the recording: those grow. The
    others cannot be added up, as lines that are no frames count too, and the library drops them.

    Raises
    ------
    CaptureError : the times of these messages do not grow.
    """
    if len(block) < _FEWEST_TIMES:
        return
    time_s = np.array([message.timestamp for message in block])
    if time_s[-1] <= time_s[0] or np.mean(np.diff(time_s) >= 0) < _GROWING_SHARE:
        raise CaptureError(
            "its time stamps are relative, each counts from the line before it",
            remedy="export it with absolute time stamps",
        )


class _Remarks(logging.Handler):
    """Counts what the library says of pieces that it passes over."""

    def __init__(self) -> None:
        super().__init__(logging.WARNING)
        self.count = 0
        self.first = ""

    def emit(self, record: logging.LogRecord) -> None:
        """Count one."""
        self.first = self.first or in_words(record.getMessage())
        self.count += 1

    def __enter__(self) -> Self:
        """Begin to listen."""
        logging.getLogger(_REMARKS_OF).addHandler(self)
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Listen no more."""
        logging.getLogger(_REMARKS_OF).removeHandler(self)


def _channel(message: "can.Message") -> str:
    return _NAMELESS_CHANNEL if message.channel is None else str(message.channel)


def _flags(message: "can.Message") -> int:
    """Return the library's several booleans as one number."""
    flags = 0
    if message.is_error_frame:  # of 29 bits always, as in the text log
        flags |= FrameFlag.ERROR | FrameFlag.EXTENDED
    if message.is_extended_id:
        flags |= FrameFlag.EXTENDED
    if message.is_remote_frame:
        flags |= FrameFlag.REMOTE
    if message.is_fd:
        flags |= FrameFlag.FD
    if message.bitrate_switch:
        flags |= FrameFlag.BRS
    if message.error_state_indicator:
        flags |= FrameFlag.ESI
    if not message.is_rx:
        flags |= FrameFlag.SENT
    return int(flags)


def in_words(said: Exception | str) -> str:
    """Return what a library says, short and on one line."""
    text = "".join(letter if letter.isprintable() else " " for letter in str(said))
    text = " ".join(text.split()) or type(said).__name__
    return f"{text[:_SHOWN_LETTERS]}…" if len(text) > _SHOWN_LETTERS else text


@contextmanager
def _opened(path: Path, suffix: str) -> Iterator[tuple[Iterable["can.Message"], Any]]:
    """Open a file with the library's reader; yield its messages, and what tells the position.

    Raises
    ------
    CaptureError : the library finds no such recording in it.
    """
    can = import_can()
    reader_class = can.io.player.MESSAGE_READERS.get(suffix)
    if suffix == ".blf":
        reader_class = _checking_blf_reader(reader_class)
    is_text = reader_class is not None and issubclass(
        reader_class, can.io.generic.TextIOMessageReader
    )
    is_binary = reader_class is not None and issubclass(
        reader_class, can.io.generic.BinaryIOMessageReader
    )
    file: AbstractContextManager[Any]
    if is_text:
        file = path.open(encoding="utf-8-sig", errors="replace")  # a mark at the begin is no text
    elif is_binary and suffix != ".db":
        file = path.open("rb")
    else:
        file = nullcontext(path)  # a database opens its file itself
    with file as opened:
        try:
            reader = can.LogReader(path) if reader_class is None else reader_class(opened)
        except Exception as error:
            raise CaptureError(
                f"this cannot be read as a {suffix} recording ({in_words(error)})",
                remedy="check that the file is whole and its name fits its content",
            ) from error
        try:
            yield reader, _position_of(opened)
        finally:
            reader.stop()


def _position_of(opened: Any) -> Any:
    """Return what tells how far a file has been read. [bytes]

    The library closes a file that it has read to its end, before the last block is given on.
    """
    raw = getattr(opened, "buffer", opened)
    if not hasattr(raw, "tell"):
        return lambda: 0
    return lambda: sys.maxsize if opened.closed else raw.tell()


def _checking_blf_reader(base: Any) -> Any:
    """Return the library's BLF reader with a check for objects of no size.

    On one of these the library goes round in circles for ever.
    """

    class CheckingReader(base):  # type: ignore[misc]  # the class comes at run time
        def _parse_container(self, data: bytes) -> Any:
            whole = self._tail + data
            place = whole.find(b"LOBJ", 0, _BLF_SEARCH_BYTES)
            while 0 <= place <= len(whole) - _BLF_HEADER_BYTES:
                size = int.from_bytes(whole[place + 8 : place + 12], "little")
                if size < _BLF_HEADER_BYTES:
                    raise ValueError("an object in it has no size")
                following = place + size
                place = whole.find(b"LOBJ", following, following + _BLF_SEARCH_BYTES)
            return super()._parse_container(data)

    return CheckingReader
