"""Sets of four alike fields, judged: which of them can be the wheels of a car."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from canwheel.discovery.alike import sets_of
from canwheel.discovery.fields import Field
from canwheel.discovery.motion import Quad, Rest, RigidBody, find_rest, fit_rigid_body
from canwheel.discovery.survey import Survey

_LOOKED_AT = 12
"""Fields of one group that come into question, the smoothest ones."""

_FEWEST_STEPS = 20
"""Raw steps between rest and the fastest: a whole-number speed in a walk round a yard."""

_FARTHEST_RATIO = 0.14
"""How far a wheel's own ratio may lie from the mean: a ring of 44 teeth for 48 and a worn tyre."""

_WIDEST_SPREAD = 0.03
"""Straight on, the four differ by no more of the speed, and one or two steps."""

_FLAG_HOLDS = 0.3
"""In turns FL² + RR² = FR² + RL² may be missed by this share of the sides' difference: 3 % are
seen on a real road with front and rear in two messages; numbers that are no four wheels miss it by
a third and more."""

_SHORTEST_MOVE_S = 8.0
"""The car must move for so long. [s]"""

_LEAST_CHANGE = 0.15
"""Without a rest, a speed changes at least by this share of itself in a drive; voltages of four
cells and the like do not."""


@dataclass(frozen=True, slots=True, eq=False)
class FourFields:
    """Four fields as they stand, and how far they are a car's wheels.

    Attributes
    ----------
    fields : the four.
    length : bits that their values are read from, the same for all.
    raw : (t, 4) raw values at the survey's moments; of pulse counters, pulses a second.
    rest : where they stand still together, None when the drive does not show it.
    rest_raw : the raw value taken for rest.
    body : their motion.
    cost : how far they are from the ideal, for choosing among sets that share fields.
    """

    fields: tuple[Field, Field, Field, Field]
    length: int
    raw: Quad
    rest: Rest | None
    rest_raw: float
    body: RigidBody
    cost: float

    @property
    def steps(self) -> float:
        """Raw steps between rest and the fastest."""
        return float(np.percentile(self.raw, 99) - self.rest_raw)


def find_fours(
    survey: Survey, groups: Sequence[Sequence[int]]
) -> tuple[list[FourFields], list[Sequence[int]]]:
    """Return the sets of four that can be wheels, and the groups in which there is none.

    No field belongs to two of the sets.
    """
    found: list[FourFields] = []
    without: list[Sequence[int]] = []
    for group in groups:
        four = [
            judged
            for chosen in sets_of(group, survey.fields, 4, _LOOKED_AT)
            if (judged := judge_four(survey, [survey.fields[at] for at in chosen])) is not None
        ]
        if four:
            found += _without_shared(four)
        else:
            without.append(group)
    return found, without


def judge_four(survey: Survey, chosen: Sequence[Field]) -> FourFields | None:
    """Judge four fields, None when they cannot be a car's wheels."""
    a, b, c, d = chosen
    length = common_length(survey, chosen)
    raw, held = columns_of(survey, chosen, length)
    rest = find_rest(survey.moments.time_s, held)
    rest_raw = 0.0 if rest is None else rest.raw
    if chosen[0].kind == "pulse counter":
        rest_raw = 0.0
    speed = np.abs(raw - rest_raw)
    if not moves_like_a_car(survey, raw, rest, rest_raw):
        return None
    body = fit_rigid_body(survey.moments.time_s, speed)
    if not _can_be_wheels(body, survey, speed):
        return None
    return FourFields(
        (a, b, c, d), length, raw, rest, rest_raw, body, _cost(chosen, body)
    )


def common_length(survey: Survey, chosen: Sequence[Field]) -> int:
    """Length that all fields can be read with: the longest, if what it adds to others is still."""
    longest = max(field.length for field in chosen)
    for field in chosen:
        rate = survey.rates[field.stream].rate[field.byte_order]
        top = field.lsb - longest + 1
        if top < 0 or np.any(rate[top : field.lsb - field.length + 1] > 0):
            return min(field.length for field in chosen)
    return longest


def columns_of(
    survey: Survey, chosen: Sequence[Field], length: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Raw values at the moments, interpolated and as last sent. (t, k) each"""
    between, held = [], []
    for field in chosen:
        if field.kind == "pulse counter":
            pace = np.interp(survey.moments.time_s, field.time_s, field.value)
            between.append(pace)
            held.append(pace)
            continue
        bits = survey.place(field.stream, field.byte_order, field.lsb, length)
        between.append(survey.between(field.stream, bits))
        held.append(survey.held(field.stream, bits))
    return np.column_stack(between), np.column_stack(held)


def moves_like_a_car(
    survey: Survey, raw: NDArray[np.float64], rest: Rest | None, rest_raw: float
) -> bool:
    """Whether values cover enough steps for long enough, and are not a constant with a ripple."""
    low, high = np.percentile(raw, (1, 99))
    if high - rest_raw < _FEWEST_STEPS:
        return False
    if rest is None and high - low < _LEAST_CHANGE * high:
        return False
    step_s = float(survey.moments.time_s[1] - survey.moments.time_s[0])
    moving = np.median(raw, axis=1) - rest_raw > 0.1 * (high - rest_raw)  # noqa: PLR2004
    return bool(moving.sum() * step_s >= _SHORTEST_MOVE_S)


def _can_be_wheels(body: RigidBody, survey: Survey, speed: Quad) -> bool:
    """Whether four numbers can be a car's wheels by how they move."""
    step = 1.5 / max(1.0, float(np.median(speed[body.moving]))) if body.moving.any() else 1.0
    if not body.spread <= _WIDEST_SPREAD + step:
        return False
    if max(abs(ratio - 1) for ratio in body.ratio) > _FARTHEST_RATIO:
        return False
    if body.copies > 1:
        return False
    del survey
    return body.halves is None or body.across <= _FLAG_HOLDS


def _cost(chosen: Sequence[Field], body: RigidBody) -> float:
    flag = 0.15 if body.halves is None else body.across
    roughness = sum(field.roughness for field in chosen)
    return (
        flag
        + 5 * roughness
        + 2 * body.spread
        + 0.2 * body.copies
        + 0.1 * (1 - regularity(chosen))
    )


def regularity(chosen: Sequence[Field]) -> float:
    """How regularly the fields stand in their messages, 0 to 1."""
    places: dict[int, list[int]] = {}
    for field in chosen:
        places.setdefault(field.stream, []).append(field.lsb)
    each = [sorted(at) for at in places.values()]
    if len(each) == 1:
        gaps = np.diff(each[0])
        if np.all(gaps == gaps[0]):
            return 1.0
        return 0.7 if gaps[0] == gaps[-1] else 0.2
    return 1.0 if all(at == each[0] for at in each) else 0.3


def _without_shared(four: list[FourFields]) -> list[FourFields]:
    """The best of the sets, and of the others those that share no bit with a better one."""
    kept: list[FourFields] = []
    for one in sorted(four, key=lambda judged: judged.cost):
        if not any(_share(one.fields, other.fields) for other in kept):
            kept.append(one)
    return kept


def _share(one: Sequence[Field], other: Sequence[Field]) -> bool:
    return any(
        a.stream == b.stream
        and a.byte_order == b.byte_order
        and a.line_bits.start < b.line_bits.stop
        and b.line_bits.start < a.line_bits.stop
        for a in one
        for b in other
    )


def pairs_of(count: int) -> list[tuple[int, int]]:
    """All pairs of so many."""
    return list(combinations(range(count), 2))
