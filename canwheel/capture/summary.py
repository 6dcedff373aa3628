"""`Capture`: the frames that were wanted, and what was seen of the rest on the way."""

from dataclasses import dataclass

from canwheel.frames import Frames

_DATED_NS = 86_400 * 10**9
"""A clock that stands within a day of zero counts from the recorder's own start. [ns]"""


@dataclass(frozen=True, slots=True)
class UnreadableLine:
    """The first line of a capture that is no frame. `number` counts from 1."""

    number: int
    text: str


@dataclass(frozen=True, slots=True)
class CaptureSummary:
    """What a scan says of the whole capture.

    Attributes
    ----------
    file : name as given.
    sha256 : of the file's bytes as they lie on disk, hexadecimal.
    frames : all frames, wanted or not.
    first_time_ns, last_time_ns : time stamps of the first and the last frame. [ns]
    unreadable_lines : lines that are neither a frame nor blank; the cut last line of a recording
        that was ended without warning is not one of them.
    first_unreadable : where the first one is.
    cut_last_line : whether the last line is cut off.
    damage : what is wrong with the file beyond its lines, in words; empty when nothing is.
    """

    file: str
    sha256: str
    frames: int
    first_time_ns: int
    last_time_ns: int
    unreadable_lines: int = 0
    first_unreadable: UnreadableLine | None = None
    cut_last_line: bool = False
    damage: str = ""

    @property
    def duration_s(self) -> float:
        """From the first frame to the last, never negative. [s]"""
        return max(0.0, (self.last_time_ns - self.first_time_ns) / 1e9)

    @property
    def is_dated(self) -> bool:
        """Whether its time stamps tell the date."""
        return self.first_time_ns > _DATED_NS


@dataclass(frozen=True, slots=True, eq=False)
class Capture:
    """The wanted frames of a recording and the summary of all of it."""

    frames: Frames
    summary: CaptureSummary
