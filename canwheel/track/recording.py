"""A recording to the frames that carry its wheels: of one channel, and by a clock that runs."""

from dataclasses import dataclass
from pathlib import Path

from canwheel.capture import read_capture
from canwheel.capture.source import Progress
from canwheel.capture.summary import CaptureSummary
from canwheel.definitions.layout import WheelLayout
from canwheel.frames import Frames
from canwheel.track.channel import choose_channel
from canwheel.track.clock import require_running_clock


@dataclass(frozen=True, slots=True, eq=False)
class WheelRecording:
    """What of a recording is looked at.

    Attributes
    ----------
    summary : of the whole recording.
    channel : name of the one that carries the wheels.
    frames : those that the layout asks for, of that channel.
    """

    summary: CaptureSummary
    channel: str
    frames: Frames


def read_wheels(
    capture: Path,
    layout: WheelLayout,
    *,
    channel: str | None = None,
    progress: Progress | None = None,
) -> WheelRecording:
    """Read the frames that carry the wheels and helpers.

    Parameters
    ----------
    capture : the recording.
    layout : which signals.
    channel : of the capture; None for the one that carries the wheels.
    progress : called with bytes of the capture read and bytes in all.

    Raises
    ------
    CaptureError : it cannot be read, no channel carries all wheel messages, or its time stamps do
        not tell when they came.
    RequestError : there is no such channel, or more than one carries all wheel messages.
    """
    recording = read_capture(capture, layout.wanted, progress=progress)
    summary = recording.summary
    frames, chosen = choose_channel(
        recording.frames, layout, channel, capture, damage=summary.damage
    )
    require_running_clock(frames, summary.file)
    return WheelRecording(summary, chosen, frames)
