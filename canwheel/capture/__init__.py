"""A recording to `Frames`, and back."""

from canwheel.capture.reading import IdCount, iter_frames, read_capture, read_ids
from canwheel.capture.summary import Capture, CaptureSummary, UnreadableLine

__all__ = [
    "Capture",
    "CaptureSummary",
    "IdCount",
    "UnreadableLine",
    "iter_frames",
    "read_capture",
    "read_ids",
]
