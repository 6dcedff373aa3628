"""Which two of the four are left: by a turn that somebody declared, or a field that they named."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from canwheel.definitions.layout import BitField
from canwheel.discovery.hints import DeclaredTurn, SteeringField
from canwheel.discovery.places import read_field, two_complement
from canwheel.discovery.streams import Stream
from canwheel.errors import RequestError

_NEAR_S = 4.0
"""A person names a moment to the second or so, and a turn lasts some. [s]"""

_LEAST_TURN = 0.008
"""Half difference of the sides, of the speed, below which the car hardly turned: 94 m radius."""

_TELLS = 0.5
"""A steering field goes along with the sides' difference at least so much (correlation)."""

FloatColumn = NDArray[np.float64]


def first_is_left_by_turns(
    time_s: FloatColumn, sides: FloatColumn, turns: Sequence[DeclaredTurn]
) -> bool | None:
    """Return whether the first half is the left one, by declared turns; None without any.

    Parameters
    ----------
    time_s : (t,) moments. [s]
    sides : (t,) positive while the first half runs faster, NaN where nothing is known.
    turns : as declared; in a left turn the left wheels run slower.

    Raises
    ------
    RequestError : the car did not turn then, or two declared turns contradict each other.
    """
    answers: dict[bool, DeclaredTurn] = {}
    for turn in turns:
        near = np.abs(time_s - turn.time_s) <= _NEAR_S
        known = sides[near & np.isfinite(sides)]
        widest = float(known[np.argmax(np.abs(known))]) if len(known) else 0.0
        if abs(widest) < _LEAST_TURN:
            raise RequestError(
                f"the car hardly turned within {_NEAR_S:.0f} s of it",
                where=f"--turn {turn.side}@{turn.time_s:g}",
                remedy="give the time in seconds from the first frame, in the middle of a turn",
            )
        answers[(widest < 0) == (turn.side == "left")] = turn
    if len(answers) == 2:  # noqa: PLR2004 - both are claimed
        one, other = answers.values()
        raise RequestError(
            f"contradicts --turn {other.side}@{other.time_s:g}: both show the same side faster",
            where=f"--turn {one.side}@{one.time_s:g}",
            remedy="check which way the car turned, and when",
        )
    return next(iter(answers), None)


def first_is_left_by_field(
    time_s: FloatColumn, sides: FloatColumn, steering: SteeringField, streams: Sequence[Stream]
) -> tuple[bool, float]:
    """Return whether the first half is the left one, by a steering or yaw field, and how well.

    Parameters
    ----------
    time_s, sides : as for ``first_is_left_by_turns``.
    steering : the field.
    streams : of the capture.

    Raises
    ------
    RequestError : there is no such message, it is too short, or it does not go along with turns.
    """
    where = f"--steering 0x{steering.can_id:X}"
    stream = next(
        (s for s in streams if (s.can_id, s.extended) == (steering.can_id, steering.extended)),
        None,
    )
    if stream is None:
        raise RequestError(
            "no such message was heard often enough", where=where, remedy="check the identifier"
        )
    if steering.bits.bytes_needed > stream.data.shape[1]:
        raise RequestError(
            f"the field ends behind the message's {stream.data.shape[1]} bytes",
            where=where,
            remedy="check start and length",
        )
    raw = _unfolded(read_field(stream, steering.bits), steering.bits)
    known = np.isfinite(sides)
    angle = np.interp(time_s[known], stream.time_s, raw)
    along = 0.0
    if len(angle) and np.ptp(angle) > 0 and np.ptp(sides[known]) > 0:
        along = float(np.corrcoef(angle, sides[known])[0, 1])
    if abs(along) < _TELLS:
        raise RequestError(
            f"the field does not go along with the turns (correlation {along:.2f})",
            where=where,
            remedy="check start, length and byte order, or declare a turn with --turn",
        )
    left_when_it_grows = steering.grows == "left"
    return (along < 0) == left_when_it_grows, abs(along)


def _unfolded(raw: NDArray[np.int64], bits: BitField) -> FloatColumn:
    """Return raw values as two's complement where they then move in smaller steps."""
    signed = two_complement(raw, bits.length)
    as_signed = np.abs(np.diff(signed)).sum() < np.abs(np.diff(raw)).sum()
    return (signed if as_signed else raw).astype(np.float64)
