"""Four places on the bus, one of them perhaps dead, before anybody asks which corner is which."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canwheel.discovery.completing import complete_groups
from canwheel.discovery.fields import Field
from canwheel.discovery.length import full_length, still_value
from canwheel.discovery.motion import Pair, fit_rigid_body
from canwheel.discovery.places import Place, payload_bits
from canwheel.discovery.proposal import FieldState
from canwheel.discovery.rest import infer_rest
from canwheel.discovery.search import FourFields, away_from_the_others, find_fours
from canwheel.discovery.survey import Survey
from canwheel.discovery.three import ThreeFields, find_threes, three_of_four

_FINER = 0.04
"""Twice as many steps outweigh so much of the cost: of two sets that are both wheels, the finer one
comes first."""

_SAME_SPEED = 0.99
"""Correlation of two sets of which one repeats the other."""

_COARSER = 0.7
"""A set with less than this share of another's steps is its coarse copy."""

FloatColumn = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class FoundSet:
    """A set of four.

    Attributes
    ----------
    fields : the live ones, first among the places.
    places, states : where each of the four ends, and what it is beside the others.
    ratios : each one's own when straight, None for one that is not live.
    length, moving_bits : bits of each, and those of them that moved.
    is_signed : whether the highest one is a sign.
    raw : (t, 4) raw values at the survey's moments; of pulse counters, pulses a second.
    rest_raw, rest_s : (4,) where the car stands, and how long that was seen. [s]
    moving : (t,) when the car moved.
    sides : (t,) half difference of squares, positive while the first half runs faster.
    halves, front : the two sides, and the front one of each; None where no turn tells.
    axles_by_turns : whether it was turns that told `front`, and not where the fields stand.
    front_sure, turn, across, spread : as in ``RigidBody``; `across` NaN with a dead one.
    cost : for ranking.
    """

    fields: tuple[Field, ...]
    places: tuple[Place, ...]
    states: tuple[FieldState, ...]
    ratios: tuple[float | None, ...]
    length: int
    moving_bits: int
    is_signed: bool
    raw: NDArray[np.float64]
    rest_raw: FloatColumn
    rest_s: float
    moving: NDArray[np.bool_]
    sides: FloatColumn
    halves: tuple[Pair, Pair] | None
    front: Pair | None
    axles_by_turns: bool
    front_sure: float
    turn: float
    across: float
    spread: float
    cost: float

    @property
    def is_pulses(self) -> bool:
        """Whether it counts pulses."""
        return self.fields[0].kind == "pulse counter"

    @property
    def live(self) -> list[int]:
        """Positions of the live fields."""
        return [k for k, state in enumerate(self.states) if state == "live"]

    def steps(self) -> FloatColumn:
        """Mean raw steps of the live ones above rest. (t,)"""
        live = self.live
        mean: FloatColumn = np.abs(self.raw[:, live] - self.rest_raw[live]).mean(axis=1)
        return mean

    @property
    def rank(self) -> tuple[bool, float]:
        """What sets are ordered by: speeds before pulses, cost, and how finely it counts."""
        steps = max(1.0, float(np.percentile(self.steps(), 99)))
        return self.is_pulses, self.cost - _FINER * float(np.log2(steps))


def find_sets(survey: Survey) -> list[FoundSet]:
    """Return all sets, the best first; none has a bit in common with a better one."""
    survey, groups = complete_groups(survey)
    fours, without = find_fours(survey, groups)
    sets = []
    for four in fours:
        three = three_of_four(survey, four)
        sets.append(set_of_four(survey, four) if three is None else set_of_three(survey, three))
    sets += [set_of_three(survey, three) for three in find_threes(survey, without)]
    return _finer_first(_without_shared_bits(survey, sorted(sets, key=lambda found: found.rank)))


def is_same_speed(one: FoundSet, other: FoundSet) -> bool:
    """Whether two sets tell one speed."""
    return float(np.corrcoef(one.steps(), other.steps())[0, 1]) >= _SAME_SPEED


def is_coarser(one: FoundSet, other: FoundSet) -> bool:
    """Whether a set tells the speed in plainly fewer steps than another."""
    mine, theirs = (np.percentile(found.steps(), 99) for found in (one, other))
    return bool(mine < _COARSER * theirs)


def _finer_first(sets: Sequence[FoundSet]) -> list[FoundSet]:
    """Put a set before those that are coarse copies of it."""
    ordered: list[FoundSet] = []
    for found in sets:
        copies = [
            place
            for place, other in enumerate(ordered)
            if not found.is_pulses and is_coarser(other, found) and is_same_speed(other, found)
        ]
        ordered.insert(copies[0] if copies else len(ordered), found)
    return ordered


def _without_shared_bits(survey: Survey, sets: Sequence[FoundSet]) -> list[FoundSet]:
    taken: dict[int, set[int]] = {}
    kept = []
    for found in sets:
        bits = [
            (place.stream, payload_bits(survey.bits(place, found.moving_bits)))
            for place in found.places
        ]
        if all(taken.get(stream, set()).isdisjoint(mine) for stream, mine in bits):
            kept.append(found)
            for stream, mine in bits:
                taken.setdefault(stream, set()).update(mine)
    return kept


def set_of_four(survey: Survey, four: FourFields) -> FoundSet:
    """Return the set that four live fields are."""
    body = four.body
    places = tuple(field.place for field in four.fields)
    raw, rest_raw, length = four.raw, four.rest_raw, four.length
    if four.fields[0].kind == "number" and not four.is_signed:
        length, above = _with_still_bits(survey, places, length, raw, rest_raw)
        raw, rest_raw = raw + above, rest_raw + above
        if four.rest is None:
            inferred = infer_rest(survey, raw.mean(axis=1), four.fields)
            rest_raw = np.full(4, 0.0 if inferred is None else inferred)
            body = fit_rigid_body(survey.moments.time_s, np.maximum(raw - rest_raw, 0.0))
    return FoundSet(
        fields=four.fields,
        places=places,
        states=_states(np.abs(raw - rest_raw), body.moving),
        ratios=body.ratio,
        length=length,
        moving_bits=four.length,
        is_signed=four.is_signed,
        raw=raw,
        rest_raw=rest_raw,
        rest_s=0.0 if four.rest is None else four.rest.seen_s,
        moving=body.moving,
        sides=body.sides,
        halves=body.halves,
        front=body.front,
        axles_by_turns=True,
        front_sure=body.front_sure,
        turn=body.turn,
        across=body.across,
        spread=body.spread,
        cost=four.cost,
    )


def _states(speed: NDArray[np.float64], moving: NDArray[np.bool_]) -> tuple[FieldState, ...]:
    """Say which of four is alive at times only."""
    away = away_from_the_others(speed, moving)
    return tuple("faulty" if k == away else "live" for k in range(4))


def set_of_three(survey: Survey, three: ThreeFields) -> FoundSet:
    """Return the set that three live fields and the place of a fourth are."""
    triangle = three.triangle
    places = (*(field.place for field in three.fields), three.fourth.place)
    length, above = three.length, 0
    if not three.is_signed:
        length, above = _with_still_bits(survey, places, length, three.raw, three.rest_raw)
    raw, rest_raw = three.raw + above, three.rest_raw + above
    if three.rest is None:
        inferred = infer_rest(survey, raw.mean(axis=1), three.fields)
        rest_raw = np.full(3, 0.0 if inferred is None else inferred)
    bits = survey.bits(three.fourth.place, length, is_signed=three.is_signed)
    dead = survey.held(three.fourth.place.stream, bits)
    halves = front = None
    if triangle.pair is not None and triangle.alone is not None:
        halves = ((triangle.alone, 3), triangle.pair)
        is_front = triangle.alone_is_front
        if is_front is None:  # its place in the message is all there is to go by
            is_front = _is_mate(places, triangle.alone, *triangle.pair)
        front = (triangle.alone if is_front else 3, triangle.pair[0])
    return FoundSet(
        fields=three.fields,
        places=places,
        states=("live", "live", "live", three.fourth.state),
        ratios=(*triangle.ratio, None),
        length=length,
        moving_bits=three.length,
        is_signed=three.is_signed,
        raw=np.column_stack([raw, dead]),
        rest_raw=np.append(rest_raw, np.median(rest_raw)),
        rest_s=0.0 if three.rest is None else three.rest.seen_s,
        moving=triangle.moving,
        sides=triangle.sides,
        halves=halves,
        front=front,
        axles_by_turns=triangle.alone_is_front is not None,
        front_sure=triangle.front_sure,
        turn=triangle.turn,
        across=float("nan"),
        spread=triangle.spread,
        cost=three.cost,
    )


def _with_still_bits(
    survey: Survey,
    places: tuple[Place, ...],
    length: int,
    raw: NDArray[np.float64],
    rest_raw: FloatColumn,
) -> tuple[int, int]:
    """Return the full length, and what the still bits in it add to the values."""
    steps = np.abs(raw - rest_raw).mean(axis=1)
    whole = full_length(survey, places, length, steps, float(np.median(rest_raw)))
    return whole, still_value(survey, places[0], length, whole)


def _is_mate(places: Sequence[Place], alone: int, front: int, rear: int) -> bool:
    """Whether a field is on the front one's axle and not the rear's, by where it stands.

    Most layouts have the two of an axle side by side (common practice; nine in ten of an open set).
    """
    in_order = sorted(range(4), key=lambda k: places[k].reading_order)
    axle = {k: number // 2 for number, k in enumerate(in_order)}
    if axle[front] != axle[rear]:
        return axle[alone] == axle[front]
    apart = [
        (places[alone].stream != places[k].stream, abs(places[alone].lsb - places[k].lsb))
        for k in (front, rear)
    ]
    return apart[0] <= apart[1]
