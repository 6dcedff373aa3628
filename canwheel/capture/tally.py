"""What is counted while a recording is read."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canwheel.capture.summary import CaptureSummary, UnreadableLine
from canwheel.errors import CaptureError

_SHOWN_LETTERS = 60
"""Of an unreadable line, so many letters are shown."""


@dataclass(slots=True)
class Tally:
    """Counts of a scan that is under way; the fields are those of ``CaptureSummary``."""

    frames: int = 0
    first_time_ns: int = 0
    last_time_ns: int = 0
    unreadable_lines: int = 0
    first_unreadable: UnreadableLine | None = None
    cut_last_line: bool = False
    damage: str = ""
    size: int = 0  # of the file when it was opened [bytes]

    def unreadable(self, count: int, number: int, text: bytes) -> None:
        """Count lines that are no frame; `number` and `text` are the first one's."""
        self.unreadable_lines += count
        if self.first_unreadable is None or number < self.first_unreadable.number:
            shown = text.decode("utf-8", "replace")
            shown = "".join(letter if letter.isprintable() else "�" for letter in shown.strip())
            if len(shown) > _SHOWN_LETTERS:
                shown = f"{shown[:_SHOWN_LETTERS]}…"
            self.first_unreadable = UnreadableLine(number, shown)

    def check(self) -> None:
        """Refuse a file that is not, or not mostly, a recording.

        Raises
        ------
        CaptureError : no frames at all, or more unreadable lines than frames.
        """
        first = self.first_unreadable
        if self.unreadable_lines > self.frames and first is not None:
            raise CaptureError(
                f"{self.unreadable_lines} of {self.unreadable_lines + self.frames} lines are no"
                f" frames, the first is line {first.number}: {first.text!r}",
                remedy="check that this is a recording of the bus, with its time stamps in seconds",
            )
        if not self.frames:
            raise CaptureError(
                f"there is not one frame in it{f': {self.damage}' if self.damage else ''}",
                remedy="check that the recorder was connected and started",
            )

    def summary(self, *, file: str, sha256: str) -> CaptureSummary:
        """Return the finished summary."""
        return CaptureSummary(
            file=file,
            sha256=sha256,
            frames=self.frames,
            first_time_ns=self.first_time_ns,
            last_time_ns=self.last_time_ns,
            unreadable_lines=self.unreadable_lines,
            first_unreadable=self.first_unreadable,
            cut_last_line=self.cut_last_line,
            damage=self.damage,
        )


class ChannelNames:
    """The names of the channels so far, numbered in order of appearance."""

    MOST = 256

    def __init__(self) -> None:
        self._names: list[str] = []

    def numbered(
        self, channel: NDArray[np.int64], names: list[str]
    ) -> tuple[NDArray[np.uint8], tuple[str, ...]]:
        """Return the channels of some frames by their lasting numbers, and all names so far.

        Parameters
        ----------
        channel : (n,) index into `names`.
        names : the names as they were numbered for these frames alone; some may not occur.

        Raises
        ------
        CaptureError : more names than a channel number can tell apart.
        """
        if len(names) == 1 and names == self._names:
            return np.zeros(len(channel), np.uint8), tuple(self._names)
        used, first = np.unique(channel, return_index=True)
        lasting = np.zeros(len(names), np.uint8)
        for position in used[np.argsort(first)]:
            name = names[position]
            if name not in self._names:
                if len(self._names) == self.MOST:
                    raise CaptureError(
                        f"there are more than {self.MOST} channel names in it",
                        remedy="check that this is a recording of the bus",
                    )
                self._names.append(name)
            lasting[position] = self._names.index(name)
        return lasting[channel], tuple(self._names)
