"""What the checks say: faults (`Finding`), look-alikes (`Event`), and what could not be judged."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Literal, get_args

from canwheel.corners import Corner

FaultKind = Literal[
    "no_signal",
    "late_pickup",
    "dropout",
    "frozen",
    "ring_damage",
    "wrong_ratio",
    "crossed",
    "erratic",
    "flagged_invalid",
    "message_missing",
    "copied",
]
FAULT_KINDS: tuple[FaultKind, ...] = get_args(FaultKind)

EventKind = Literal["wheel_lock", "wheel_spin", "one_axle_turning", "recording_gap", "clock_step"]

Figure = float | int | str | bool

GOES_WITH_TURN = "goes_with_turn"
"""Evidence that a fault goes with turning one way: ``left``, ``right`` or ``straight``."""

GOES_WITH_BAND = "goes_with_band_from_kph"
"""Evidence that a fault goes with a speed band: the lower end of the band. [km/h]"""

OFF_S = "off_s"
"""Evidence of a ratio that is wrong for a time only: for how long in all. [s]"""

REPEATED_S = "repeated_s"
"""Evidence of a reading that is a copy for a part of the drive only: for how long in all. [s]"""

OF_BOTH_PAIRS = "of_both_pairs"
"""Evidence that two corners are exchanged and the two others as well, as if the car were turned."""


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of the drive. [s from the capture's first frame]"""

    from_s: float
    to_s: float


@dataclass(frozen=True, slots=True)
class Finding:
    """One kind of fault at one corner.

    Attributes
    ----------
    corner, kind : where and what.
    confidence : that this is a fault, of this kind and at this corner, 0 to 1.
    spans : when it showed, in order, at least one.
    count : how many separate times it showed.
    says : one plain sentence with its figures, without the corner's name, which the view adds.
    evidence : figures by name, as the contract names them; rounded, plain numbers and words.
    """

    corner: Corner
    kind: FaultKind
    confidence: float
    spans: tuple[Span, ...]
    count: int
    says: str
    evidence: Mapping[str, Figure] = field(default_factory=dict)

    @property
    def from_s(self) -> float:
        """When it first showed. [s]"""
        return self.spans[0].from_s

    @property
    def to_s(self) -> float:
        """When it last showed. [s]"""
        return self.spans[-1].to_s


@dataclass(frozen=True, slots=True)
class Event:
    """What looks like a fault and need not be one; `corner` is None when it is not one corner's."""

    kind: EventKind
    corner: Corner | None
    from_s: float
    to_s: float
    says: str


@dataclass(frozen=True, slots=True)
class NotJudged:
    """A kind that this drive could not show at a corner, and why, in plain words."""

    corner: Corner
    kind: FaultKind
    why: str


@dataclass(frozen=True, slots=True)
class Outcome:
    """What one check, or all of them, found; each part in order of time or of corner."""

    findings: tuple[Finding, ...] = ()
    events: tuple[Event, ...] = ()
    not_judged: tuple[NotJudged, ...] = ()

    @classmethod
    def merge(cls, outcomes: Iterable["Outcome"]) -> "Outcome":
        """Put several outcomes together, in the order given."""
        parts = list(outcomes)
        return cls(
            findings=tuple(f for part in parts for f in part.findings),
            events=tuple(e for part in parts for e in part.events),
            not_judged=tuple(n for part in parts for n in part.not_judged),
        )
