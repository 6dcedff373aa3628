"""python-can's slcan driver, made to stand rubbish, speed and an adapter that refuses.

The driver reads its port byte by byte, a few thousand frames a second at most; an undecodable
byte stays in its buffer and spoils every line after it; a line cut short becomes a frame with too
few bytes; and the adapter's answer to the listen-only command is not looked at. Parsing, opening
and closing stay the driver's own.
"""

import contextlib
import re
import time
from collections import deque
from typing import Any, Literal

import can.util
from can.interfaces.slcan import slcanBus

Answer = Literal["agreed", "refused", "none"]
"""What the adapter said to being opened; some say nothing."""

_ANSWER_S = 0.5  # adapters answer within milliseconds; those behind a slow UART need some more
_SETTLE_S = 0.1  # for the answers to the commands before
_LONGEST_LINE = 160  # D, 8 of id, 1 of length, 64 bytes in hex, 4 of time stamp, and some

_END = re.compile(rb"[\r\a]")
_LINE = re.compile(
    rb"(?:[trdb](?P<short>[0-9A-Fa-f]{3})|[TRDBx](?P<long>[0-9A-Fa-f]{8}))"
    rb"(?P<code>[0-9A-Fa-f])(?P<rest>[0-9A-Fa-f]*)\Z"
)
_NO_FRAME = re.compile(rb"[zZVvNF][ -~]*\Z")  # answers: sent, version, serial number, status
_STAMP_DIGITS = 4  # some adapters add their own clock, milliseconds in a minute
_CLASSIC_MOST = 8
_SHORT_MOST = 0x7FF
_LONG_MOST = 0x1FFF_FFFF


class ListeningSlcanBus(slcanBus):
    """The driver, with whole-block reading, strict lines and a look at the adapter's answer.

    Attributes
    ----------
    answer : what the adapter said to the command that opened it.
    rubbish : lines that were no frame and no answer.
    """

    def __init__(self, channel: str, **kwargs: Any) -> None:
        self.answer: Answer = "none"
        self.rubbish = 0
        self._is_open = False
        self._lines: deque[str] = deque()
        try:
            super().__init__(channel, **kwargs)
        except BaseException:
            self._let_go()
            raise

    def open(self) -> None:
        """Open the adapter's channel, once: the driver asks twice, and the second time fails."""
        if self._is_open:
            return
        self._settle()
        super().open()
        self.answer = self._await_answer()
        self._is_open = True

    def close(self) -> None:
        """Close the adapter's channel."""
        self._is_open = False
        super().close()

    def shutdown(self) -> None:
        """Close the channel and the port; an adapter that is gone is no error."""
        with contextlib.suppress(can.CanError):
            super().shutdown()
        self._let_go()

    def _let_go(self) -> None:
        """Close the serial port, whatever state things are in."""
        port = getattr(self, "serialPortOrig", None)
        if port is not None:
            with contextlib.suppress(Exception):
                port.close()
        self._is_shutdown = True

    def _settle(self) -> None:
        """Take in the answers to earlier commands, and what an open channel still sent."""
        until = time.monotonic() + _SETTLE_S
        port = self.serialPortOrig
        while time.monotonic() < until:
            port.read(max(1, port.in_waiting))
        self._buffer.clear()

    def _await_answer(self) -> Answer:
        """Wait for the one byte that says yes or no; frames may come before or instead of it."""
        until = time.monotonic() + _ANSWER_S
        port = self.serialPortOrig
        while time.monotonic() < until and not self._buffer:
            self._buffer.extend(port.read(1))
        first = bytes(self._buffer[:1])
        if first in {self._OK, self._ERROR}:
            self._buffer.clear()
        return "agreed" if first == self._OK else "refused" if first == self._ERROR else "none"

    def _read(self, timeout: float | None) -> str | None:
        """Return the next line that is a frame, None when none came in time. [s]"""
        until = None if timeout is None else time.monotonic() + timeout
        port = self.serialPortOrig
        while not self._lines:
            with can.exceptions.error_check("the serial port cannot be read"):
                block = port.read(max(1, port.in_waiting))
            if block:
                self._take_in(block)
            elif until is not None and time.monotonic() >= until:
                return None
        return self._lines.popleft()

    def _take_in(self, block: bytes) -> None:
        """Cut a block into lines; keep the frames, count the rubbish, hold the rest back."""
        *lines, rest = _END.split(bytes(self._buffer) + block)
        for line in filter(None, lines):
            if is_frame(line):
                self._lines.append(line.decode("ascii"))
            elif not _NO_FRAME.match(line):
                self.rubbish += 1
        if len(rest) > _LONGEST_LINE:
            rest = b"?"  # no frame, whatever follows until the next end of line
        self._buffer[:] = rest


def is_frame(line: bytes) -> bool:
    """Whether a line of the ASCII protocol is a whole frame: kind, identifier, length, payload.

    Parameters
    ----------
    line : without its end of line.
    """
    parts = _LINE.match(line)
    if parts is None:
        return False
    if parts["short"] is not None:
        in_range = int(parts["short"], 16) <= _SHORT_MOST
    else:
        in_range = int(parts["long"], 16) <= _LONG_MOST
    code = int(parts["code"], 16)
    if line[:1] in b"dDbB":
        size = can.util.CAN_FD_DLC[code]
    elif code <= _CLASSIC_MOST:
        size = 0 if line[:1] in b"rR" else code
    else:
        return False
    return in_range and len(parts["rest"]) in {2 * size, 2 * size + _STAMP_DIGITS}
