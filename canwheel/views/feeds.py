"""What a live view shows, and whom it asks for it.

A view never computes: it asks its feed for a `LiveState` and draws it. There are two feeds, a log
that still grows (`followed_drive.py`) and a recording (`replayed_drive.py`).
"""

from dataclasses import dataclass
from typing import Literal, Protocol

from canwheel.judgement.guide import Guide
from canwheel.pipeline import Check
from canwheel.views.bus_flow import BusFlow

FeedState = Literal["recording", "waiting", "playing", "paused", "ended"]


@dataclass(frozen=True, slots=True, eq=False)
class LiveState:
    """Everything that a view shows.

    Attributes
    ----------
    name : of the recording.
    state, says : what goes on, and a remark on it.
    at_s : time of the drive. [s]
    length_s : of a replay's recording; None while it is recorded. [s]
    speed : times real time.
    flow : of the bus.
    speed_kph : one a corner; None where it says nothing now. [km/h]
    check, guide : the judgement of the drive so far, and what to drive; None before there is one.
    adapter : in words, where it is known.
    """

    name: str
    state: FeedState
    at_s: float
    flow: BusFlow
    speed_kph: tuple[float | None, ...] = (None, None, None, None)
    says: str = ""
    length_s: float | None = None
    speed: float = 1.0
    check: Check | None = None
    guide: Guide | None = None
    adapter: str = ""


class Feed(Protocol):
    """Where a view gets its state from. `refresh` is called from one thread at a time."""

    def refresh(self) -> LiveState:
        """Return the state now."""

    def close(self) -> None:
        """Let go of files and threads."""
