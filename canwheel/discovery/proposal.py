"""What `discover` proposes: sets of four fields, with the figures and reasons for each.

The shape for views: ``Discovery`` holds ``Candidate`` objects, the best first; each holds four
``WheelField`` objects and the ``Figures`` that speak for it.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from canwheel.corners import Corner
from canwheel.definitions.layout import BitField

SetKind = Literal["wheel speeds", "copy", "coarse copy", "pulse counters"]
"""What a set is. A copy repeats a better candidate, a coarse one in larger steps."""

FieldState = Literal["live", "faulty", "silent", "frozen", "no value"]
"""A field beside the other three: as alive as they; alive at times only; standing at the raw value
of rest, at another, or at all ones."""

SidesBy = Literal["declared turn", "named field", "unknown"]
AxlesBy = Literal["tight turns", "place in the message", "unknown"]
ScaleBy = Literal["held speed", "satellite track", "best fitting usual step", "unknown"]


@dataclass(frozen=True, slots=True)
class WheelField:
    """One of the four fields.

    Attributes
    ----------
    channel, can_id, extended, payload_bytes, period_s : the message.
    bits : where it stands.
    moving_bits : how many of its bits, from the lowest, ever moved.
    corner : which corner it is, where the drive and what was declared tell; else None.
    place : the corner that it is written as when nothing tells: one of the possible answers.
    state : beside the other three.
    ratio : to the mean of the four when straight; None of a field that is not live.
    rest_raw : raw value at which it stands while the car does.
    """

    channel: str
    can_id: int
    extended: bool
    payload_bytes: int
    period_s: float
    bits: BitField
    moving_bits: int
    corner: Corner | None
    place: Corner
    state: FieldState
    ratio: float | None
    rest_raw: float = 0.0


@dataclass(frozen=True, slots=True)
class Scale:
    """What one raw step is worth.

    Attributes
    ----------
    kph : of one step; None where nothing tells. [km/h]
    low_kph, high_kph : the range that the evidence leaves. [km/h]
    by : the evidence.
    says : one plain sentence.
    """

    kph: float | None
    low_kph: float | None
    high_kph: float | None
    by: ScaleBy
    says: str


@dataclass(frozen=True, slots=True)
class Figures:
    """The figures that speak for, or against, a set.

    Attributes
    ----------
    straight_spread_pct : usual difference between fastest and slowest when straight, each one's own
        ratio taken out; of the speed. [%]
    turn_pct : difference of the two sides in the busiest twentieth of the drive. [%]
    flag_residual_pct : what is left of FL² + RR² = FR² + RL² in turns, of the difference of the two
        sides; None without turns. [%]
    front_sure : standard deviations by which front and rear differ in tight turns.
    rest_s : how long all stood at the rest value together. [s]
    moving_s : how long the car moved. [s]
    steps : raw steps between rest and the fastest.
    others_at_rest : other numbers on the bus that stand at their lowest while these rest.
    """

    straight_spread_pct: float
    turn_pct: float
    flag_residual_pct: float | None
    front_sure: float
    rest_s: float
    moving_s: float
    steps: int
    others_at_rest: int


@dataclass(frozen=True, slots=True, eq=False)
class Traces:
    """The four over time, for drawing.

    Attributes
    ----------
    time_s : (t,) [s]
    steps : (t, 4) raw steps above rest, in the order of the candidate's fields.
    """

    time_s: NDArray[np.float64]
    steps: NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Candidate:
    """One set of four fields.

    Attributes
    ----------
    kind : what it is.
    fields : in corner order of their `place`: front left, front right, rear left, rear right.
    rest_raw : raw value at which the car stands, of most of the fields.
    rest_seen : whether the drive showed it; else it is inferred, or taken for nought.
    axles_by, sides_by : what tells front from rear, and left from right.
    scale : what a step is worth.
    figures : in numbers.
    reasons : in plain sentences, the strongest first.
    warnings : what is not known of it, in plain sentences.
    traces : for drawing.
    copy_of : position among the candidates of the one that it repeats.
    """

    kind: SetKind
    fields: tuple[WheelField, WheelField, WheelField, WheelField]
    rest_raw: float
    rest_seen: bool
    axles_by: AxlesBy
    sides_by: SidesBy
    scale: Scale
    figures: Figures
    reasons: tuple[str, ...]
    warnings: tuple[str, ...]
    traces: Traces
    copy_of: int | None = None

    @property
    def is_complete(self) -> bool:
        """Whether each field's corner is known."""
        return all(field.corner is not None for field in self.fields)


@dataclass(frozen=True, slots=True)
class Bus:
    """What was looked through.

    Attributes
    ----------
    messages : streams with enough frames to look at.
    numbers : bit fields that behave as numbers.
    """

    messages: int
    numbers: int


@dataclass(frozen=True, slots=True, eq=False)
class Discovery:
    """The outcome.

    Attributes
    ----------
    candidates : the best first; none where nothing behaves as four wheels.
    bus : what was looked through.
    next_steps : what to drive or to tell so that more can be known, in plain sentences.
    """

    candidates: tuple[Candidate, ...]
    bus: Bus
    next_steps: tuple[str, ...]
