"""Three live fields, and the place where the fourth belongs: a corner that is dead already."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canwheel.definitions.layout import BitField, ByteOrder
from canwheel.discovery.alike import sets_of
from canwheel.discovery.fields import Field
from canwheel.discovery.motion import (
    MOVING,
    SMOOTH_S,
    TURNS_FROM,
    Rest,
    busiest,
    find_rest,
    smoothed,
)
from canwheel.discovery.proposal import FieldState
from canwheel.discovery.search import (
    FourFields,
    columns_of,
    common_length,
    lags,
    moves_like_a_car,
    one_step,
)
from canwheel.discovery.survey import Survey

_LOOKED_AT = 10
_WIDEST_SPREAD = 0.03
_LIKE_THE_OTHERS = 0.12
"""A fourth that is alive at times is then as near to the others as this, of the speed."""

_ALIVE_FROM = 0.15
"""Share of the driving for which it must be, to be called alive at times."""

_MOSTLY_ALIVE = 0.5
"""A fourth that wanders while it is away from the others must be near them for this share."""

_STANDS = 0.9
"""Share of the time away from the others for which a dead or sleeping fourth stands at one value."""

_PACE = 1.7

_EVIDENCE: dict[FieldState, float] = {
    "faulty": 0.0,
    "no value": 0.05,
    "frozen": 0.25,
    "silent": 0.1,
}
"""What a fourth's state adds to the cost; bits that mean nothing are still most often at nought,
so a nought that is also rest says less than a value that is."""


@dataclass(frozen=True, slots=True, eq=False)
class Fourth:
    """A place where the fourth field can stand.

    Attributes
    ----------
    stream : index of its message.
    lsb : place of its lowest bit in the line.
    state : what stands there.
    regular : how well the place completes the other three, 0 to 1.
    """

    stream: int
    lsb: int
    state: FieldState
    regular: float


@dataclass(frozen=True, slots=True, eq=False)
class ThreeFields:
    """Three live fields and the fourth's place.

    Attributes
    ----------
    fields : the live ones.
    length : bits of each.
    raw : (t, 3) raw values at the survey's moments.
    rest, rest_raw : as in ``FourFields``.
    fourth : the likeliest place of the other one.
    geometry : what the turns tell of the three.
    spread : usual difference between them when straight, of the speed.
    cost : for choosing among several.
    """

    fields: tuple[Field, Field, Field]
    length: int
    raw: NDArray[np.float64]
    rest: Rest | None
    rest_raw: NDArray[np.float64]
    fourth: Fourth
    geometry: "Triangle"
    spread: float
    cost: float


@dataclass(frozen=True, slots=True, eq=False)
class Triangle:
    """Three wheels of a rigid body.

    Attributes
    ----------
    pair : the two on one side, by position, the front one first where `front_sure` says so; None
        without turns.
    alone : the one on the other side.
    alone_is_front : whether that one is at the front, None where it cannot be told.
    front_sure : standard deviations by which the two of the pair differ in turns.
    sides : (t,) half difference of squares, positive while the one alone runs faster.
    turn : its busiest twentieth.
    ratio : each one's ratio to the mean when straight.
    moving : (t,) when the car moved.
    wider : how much the front one of the pair gains with the square of `sides`.
    pair_differs : busiest twentieth of the pair's own half difference.
    """

    pair: tuple[int, int] | None
    alone: int | None
    alone_is_front: bool | None
    front_sure: float
    sides: NDArray[np.float64]
    turn: float
    ratio: tuple[float, ...]
    moving: NDArray[np.bool_]
    wider: float
    pair_differs: float

    @property
    def is_plain(self) -> bool:
        """Whether the turns, if there are any, show three wheels and nothing else."""
        if self.pair is None:
            return True
        low, high = _FRONT_WIDER
        tight = self.front_sure >= _SURE and low <= self.wider <= high
        return tight or self.pair_differs < _PAIR_ALIKE * self.turn


def find_threes(survey: Survey, groups: Sequence[Sequence[int]]) -> list[ThreeFields]:
    """Return sets of three live fields with a place for the fourth; no field belongs to two."""
    found: list[ThreeFields] = []
    for group in groups:
        mine = [
            judged
            for chosen in sets_of(group, survey.fields, 3, _LOOKED_AT)
            if (judged := judge_three(survey, [survey.fields[at] for at in chosen])) is not None
        ]
        if mine:
            found.append(min(mine, key=lambda judged: judged.cost))
    return found


def three_of_four(survey: Survey, four: FourFields) -> ThreeFields | None:
    """Return the three that show turns, where all four together show none; None where none do.

    A wheel that sleeps at low speed hides just the tight turns that tell the corners.

    Parameters
    ----------
    survey : the bus.
    four : alike fields in whose motion no turn is to be seen.
    """
    best: ThreeFields | None = None
    for left_out in range(4):
        chosen = [field for k, field in enumerate(four.fields) if k != left_out]
        other = four.fields[left_out]
        three = judge_three(survey, chosen, place=(other.stream, other.lsb))
        if three is None or three.geometry.pair is None or three.fourth.state == "live":
            continue
        if best is None or three.cost < best.cost:
            best = three
    return best


def judge_three(
    survey: Survey, chosen: Sequence[Field], *, place: tuple[int, int] | None = None
) -> ThreeFields | None:
    """Judge three fields, None when they cannot be three of a car's wheels.

    Parameters
    ----------
    survey, chosen : the bus, and the three.
    place : message and lowest bit of the fourth, where it is known.
    """
    if chosen[0].kind != "number":
        return None
    length = common_length(survey, chosen)
    raw, held = columns_of(survey, chosen, length)
    rest = find_rest(survey.moments.time_s, held)
    rest_raw = np.zeros(3) if rest is None else rest.raw
    if not moves_like_a_car(survey, raw, rest, rest_raw):
        return None
    speed = np.abs(raw - rest_raw)
    geometry, spread = _triangle(survey.moments.time_s, speed)
    if not spread <= _WIDEST_SPREAD + 1.5 * one_step(speed, geometry.moving):
        return None
    if max(abs(ratio - 1) for ratio in geometry.ratio) > _FARTHEST_RATIO:
        return None
    if _copied(speed, geometry) or not geometry.is_plain:
        return None
    if geometry.pair is None and lags(speed, geometry.moving):
        return None
    fourths = [
        fourth
        for one in ([(*place, 1.0)] if place else _places(survey, chosen, length))
        if (fourth := _judged(survey, chosen, one, length, raw, float(np.median(rest_raw))))
        is not None
    ]
    if not fourths:
        return None
    fourth = min(fourths, key=_cost_of_fourth)
    roughness = sum(field.roughness for field in chosen)
    a, b, c = chosen
    return ThreeFields(
        fields=(a, b, c),
        length=length,
        raw=raw,
        rest=rest,
        rest_raw=rest_raw,
        fourth=fourth,
        geometry=geometry,
        spread=spread,
        cost=_cost_of_fourth(fourth) + 5 * roughness + 2 * spread,
    )


def _cost_of_fourth(fourth: Fourth) -> float:
    return 0.5 * (1 - fourth.regular) + _EVIDENCE.get(fourth.state, 0.0)


def _copied(speed: NDArray[np.float64], geometry: Triangle) -> bool:
    """Whether two of the three never differ."""
    moving = speed[geometry.moving]
    pairs = ((0, 1), (0, 2), (1, 2))
    return any(float(np.mean(moving[:, a] == moving[:, b])) > 0.98 for a, b in pairs)  # noqa: PLR2004


def _places(
    survey: Survey, chosen: Sequence[Field], length: int
) -> Iterator[tuple[int, int, float]]:
    """Places that complete three fields to four: message, lowest bit, and how regularly."""
    by_stream: dict[int, list[int]] = {}
    for field in chosen:
        by_stream.setdefault(field.stream, []).append(field.lsb)
    match sorted((len(at) for at in by_stream.values()), reverse=True):
        case [3]:
            (only,) = by_stream
            order = chosen[0].byte_order
            yield from _in_one_message(survey, only, by_stream[only], order, length)
        case [2, 1]:
            full = next(at for at in by_stream.values() if len(at) == 2)  # noqa: PLR2004
            stream, (taken,) = next((s, at) for s, at in by_stream.items() if len(at) == 1)
            for lsb in full:
                if lsb != taken:
                    yield stream, lsb, 1.0
        case _:
            yield from _in_another_message(survey, chosen)


def _in_one_message(
    survey: Survey, stream: int, taken: list[int], byte_order: ByteOrder, length: int
) -> Iterator[tuple[int, int, float]]:
    a, b, c = sorted(taken)
    bits = survey.streams[stream].bits
    for lsb in dict.fromkeys((a + c - b, b + c - a, a + b - c)):
        four = sorted({a, b, c, lsb})
        inside = length - 1 <= lsb < bits
        if len(four) < 4 or not inside or min(np.diff(four)) < length:  # noqa: PLR2004
            continue
        gaps = np.diff(four)
        regular = 0.9 if np.all(gaps == gaps[0]) else 0.7
        yield stream, lsb, regular + _begins_evenly(four, byte_order, bits)


def _begins_evenly(four: list[int], byte_order: ByteOrder, bits: int) -> float:
    """Up to 0.1 where four fields begin at an even place of the payload, as blocks of them do."""
    first = bits - 1 - four[-1] if byte_order == "little_endian" else four[0] + 1
    best = max((size for size in (8, 16, 32, 64) if first % size == 0), default=4)
    return 0.1 * np.log2(best / 4) / 4


def _in_another_message(
    survey: Survey, chosen: Sequence[Field]
) -> Iterator[tuple[int, int, float]]:
    """Messages like those of the three, at the same place; the nearest identifiers first."""
    first = survey.streams[chosen[0].stream]
    ids = sorted(survey.streams[field.stream].can_id for field in chosen)
    for number, stream in enumerate(survey.streams):
        slow, fast = max(stream.period_s, first.period_s), min(stream.period_s, first.period_s)
        alike = stream.bits == first.bits and slow < _PACE * fast
        alike &= (stream.channel, stream.extended) == (first.channel, first.extended)
        if alike and stream.can_id not in ids:
            apart = min(abs(stream.can_id - one) for one in ids)
            yield number, chosen[0].lsb, 1.0 / (1.0 + apart / 16)


def _judged(
    survey: Survey,
    chosen: Sequence[Field],
    place: tuple[int, int, float],
    length: int,
    raw: NDArray[np.float64],
    rest_raw: float,
) -> Fourth | None:
    """Say what stands at a place, None when it is something else."""
    stream, lsb, regular = place
    bits = survey.place(stream, chosen[0].byte_order, lsb, length)
    value = survey.held(stream, bits)
    state = state_of(value, raw, rest_raw, bits)
    return None if state is None else Fourth(stream, lsb, state, regular)


def state_of(
    value: NDArray[np.float64], raw: NDArray[np.float64], rest_raw: float, bits: BitField
) -> FieldState | None:
    """Say what a column is beside three live ones; None when it has nothing to do with them."""
    middle = np.median(raw, axis=1)
    speed = np.abs(middle - rest_raw)
    moving = speed > MOVING * float(np.percentile(speed, 99))
    mine = value[moving]
    if not len(mine):
        return None
    near = np.abs(mine - middle[moving]) <= _LIKE_THE_OTHERS * speed[moving] + 1
    away = mine[~near]
    if not len(away):
        return "faulty"
    values, counts = np.unique(away, return_counts=True)
    usual = float(values[np.argmax(counts)])
    if counts.max() < _STANDS * len(away):  # it wanders
        return "faulty" if float(np.mean(near)) > _MOSTLY_ALIVE else None
    if usual >= (1 << bits.length) - 2:
        return "no value"
    if float(np.mean(near)) >= _ALIVE_FROM:
        return "faulty"
    return "silent" if usual in (rest_raw, 0.0) else "frozen"


def _triangle(time_s: NDArray[np.float64], speed: NDArray[np.float64]) -> tuple[Triangle, float]:
    """Compare three speeds with three wheels of a rigid body."""
    middle = np.median(speed, axis=1)
    moving = middle > MOVING * float(np.percentile(middle, 99))
    sound = moving & (np.max(np.abs(speed - middle[:, np.newaxis]), axis=1) < 0.6 * middle)
    window = max(1, round(SMOOTH_S / max(1e-3, float(time_s[1] - time_s[0]))))
    relative = np.full(speed.shape, np.nan)
    relative[sound] = speed[sound] / middle[sound, np.newaxis]
    ratio = np.ones(3)
    straight = sound
    for _ in range(3):
        width = np.ptp(
            np.column_stack([smoothed(relative[:, k] / ratio[k], window) for k in range(3)]), axis=1
        )
        known = np.isfinite(width)
        if not known.any():
            break
        straight = known & sound & (width <= np.percentile(width[known], 30))
        ratio = np.nanmedian(relative[straight], axis=0)
        ratio /= ratio.mean()
    spread = float(np.median(np.ptp(relative[straight] / ratio, axis=1))) if straight.any() else 1.0
    square = (relative / ratio) ** 2
    apart = {
        (a, b): smoothed(square[:, a] - square[:, b], window) for a, b in ((0, 1), (0, 2), (1, 2))
    }
    used = np.all([np.isfinite(each) for each in apart.values()], axis=0)
    size = {pair: busiest(each[used]) for pair, each in apart.items()}
    pair = min(size, key=lambda each: size[each])
    alone = 3 - sum(pair)
    own = square[:, alone] - (square[:, pair[0]] + square[:, pair[1]]) / 2
    sides = smoothed(own, window) / 2
    turn = busiest(sides[used])
    ratios = tuple(float(each) for each in ratio)
    if turn < TURNS_FROM or used.sum() < 4 * window:
        nothing = Triangle(None, None, None, 0.0, sides, turn, ratios, moving, 0.0, 0.0)
        return nothing, spread
    wider, sure = _grows(apart[pair][used], sides[used], window)
    if wider < 0:
        pair = (pair[1], pair[0])
    is_front = _alone_is_front(np.abs(apart[min(pair), max(pair)][used]), 2 * sides[used])
    return (
        Triangle(
            pair,
            alone,
            is_front if sure > _SURE else None,
            sure,
            sides,
            turn,
            ratios,
            moving,
            abs(wider),
            size[pair[0], pair[1]] / 2 if pair in size else size[pair[1], pair[0]] / 2,
        ),
        spread,
    )


_SURE = 5.0

_FRONT_WIDER = (0.7, 9.0)
"""(L/t)²: how much the front one of a pair gains with the square of the sides' half difference, in
the terms of this module; twice what ``motion.py`` has."""

_PAIR_ALIKE = 0.12
"""In wide turns the two on one side differ by less than this share of the sides' difference."""

_FARTHEST_RATIO = 0.1


def _grows(
    value: NDArray[np.float64], sides: NDArray[np.float64], window: int
) -> tuple[float, float]:
    """How a difference grows with the square of the sides', and in standard deviations."""
    columns = np.column_stack([np.ones_like(sides), sides, sides**2])
    solution, *_ = np.linalg.lstsq(columns, value, rcond=None)
    rest = value - columns @ solution
    independent = max(1.0, len(value) / (2 * window))
    variance = float(np.mean(rest**2)) / independent * len(value)
    inverse = np.linalg.pinv(columns.T @ columns)
    deviation = float(np.sqrt(max(variance * inverse[2, 2], 1e-18)))
    return float(solution[2]), abs(float(solution[2])) / deviation


def _alone_is_front(wider: NDArray[np.float64], sides: NDArray[np.float64]) -> bool | None:
    """Whether the wheel alone on its side is at the front.

    With ``g = L/R`` (the root of the pair's difference of squares) the difference of the one alone
    from the mean of the pair is ``±(2t/L)·g + g²/2`` for a front wheel and ``±(2t/L)·g − g²/2`` for
    a rear one (from the rigid body, derived). Left and right turns, or tight and wide ones, tell.
    """
    root = np.sqrt(wider)
    tight = root > _TIGHT
    if tight.sum() < 10:  # noqa: PLR2004
        return None
    root, sides = root[tight], sides[tight]
    signed = np.sign(sides) * root
    misfit = []
    for share in (0.5, -0.5):
        left = sides - share * root**2
        slope = float(signed @ left) / float(signed @ signed)
        misfit.append(float(np.mean((left - slope * signed) ** 2)))
    front, rear = misfit
    if min(front, rear) > _PLAIN * max(front, rear):
        return None
    return front < rear


_TIGHT = 0.12
"""Wheelbase over turn radius from which on a turn is tight: 22 m for 2.65 m."""

_PLAIN = 0.6
"""The better of two explanations must leave less than this share of what the other leaves."""
