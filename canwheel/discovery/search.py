"""Sets of four alike fields, judged: which of them can be the wheels of a car."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canwheel.discovery.alike import sets_of
from canwheel.discovery.comparing import AWAY, compare_speeds, smoothed
from canwheel.discovery.fields import Field
from canwheel.discovery.motion import RigidBody, fit_rigid_body
from canwheel.discovery.places import two_complement
from canwheel.discovery.rest import Rest, find_rest
from canwheel.discovery.survey import Survey

_LOOKED_AT = 12
"""Fields of one group that come into question, the smoothest ones."""

_FEWEST_STEPS = 20
"""Raw steps between rest and the fastest: a whole-number speed in a walk round a yard."""

_FARTHEST_RATIO = 0.14
"""How far a wheel's own ratio may lie from the mean: a ring of 44 teeth for 48 and a worn tyre."""

WIDEST_SPREAD = 0.03
"""Straight on, the four differ by no more of the speed, and one or two steps."""

_FLAG_HOLDS = 0.15
"""In turns FL² + RR² = FR² + RL² may be missed by this share of the sides' difference, and a step:
3 % are seen on a real road with front and rear in two messages; numbers that are no four wheels
miss it by a third, as a rule."""

TIGHTEST = 0.4
"""Half difference of the two sides, of the speed, that no car reaches: half a track of 1.6 m over
a turning radius of 2 m; the tightest turn of a car's rear axle is about twice as wide."""

_TIGHT, _TOLD_TWICE = 0.03, 0.1
"""In turns of 25 m radius, of which half a track is 0.03, a front wheel runs faster than the rear
one behind it by a fifth of the sides' half difference (L/t times L/R); in tighter ones by more."""

_PARTS = 0.5
"""Sides that differ by two steps and more have parted; by less, they may just be rounded."""

COARSE_STEPS = 120
"""Coarser numbers, such as whole km/h, are wheels only if they show turns: a bus carries several
copies of the car's speed, and rounding alone makes those differ. [steps at the fastest]"""

_SHORTEST_MOVE_S = 8.0
"""The car must move for so long. [s]"""

_LEAST_CHANGE = 0.15
"""Without a rest, a speed changes at least by this share of itself in a drive; voltages of four
cells and the like do not."""


_LAGS = 0.8
"""Share of the differences that the acceleration explains in late copies; in copies that come up to
0.2 s late it is 0.85 and more (measured), on a real straight road 0.54 by slip, in turns 0.1."""

_FEWEST_MOMENTS = 20

_SIGNED = 0.9
"""A sign makes all steps together smaller than this share: it saves a step over the whole range
each time that the car begins to drive backwards."""

_MOST_AWAY = 0.03
"""Share of the driving for which a live field may be away from the other three: locked or spinning
wheels are so for moments."""

_ACCELERATION_OVER_S, _FASTEST_CHANGE = 0.5, 0.25
"""In half a second a car gains or loses less than this share of its top speed, but for one moment
in a hundred: braking with 0.8 g from 60 km/h is 0.24; a torque comes and goes faster. [s]"""


@dataclass(frozen=True, slots=True, eq=False)
class FourFields:
    """Four fields as they stand, and how far they are a car's wheels.

    Attributes
    ----------
    fields : the four.
    length : bits that their values are read from, the same for all.
    is_signed : whether they go below nought, as a car's do that drives backwards.
    raw : (t, 4) raw values at the survey's moments; of pulse counters, pulses a second.
    rest : where they stand still together, None when the drive does not show it.
    rest_raw : (4,) the raw values taken for rest.
    body : their motion.
    cost : how far they are from the ideal, for choosing among sets that share fields.
    """

    fields: tuple[Field, Field, Field, Field]
    length: int
    is_signed: bool
    raw: NDArray[np.float64]
    rest: Rest | None
    rest_raw: NDArray[np.float64]
    body: RigidBody
    cost: float


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
    is_signed = goes_below_nought(chosen, length)
    raw, held = columns_of(survey, chosen, length, is_signed=is_signed)
    rest = find_rest(survey.moments.time_s, held)
    rest_raw = np.zeros(4) if rest is None or is_pulses(chosen) else rest.raw
    speed = np.abs(raw - rest_raw)
    if not moves_like_a_car(survey, raw, rest, rest_raw):
        return None
    body = fit_rigid_body(survey.moments.time_s, speed)
    if not _can_be_wheels(body, survey.moments.time_s, speed):
        return None
    return FourFields(
        fields=(a, b, c, d),
        length=length,
        is_signed=is_signed,
        raw=raw,
        rest=rest,
        rest_raw=rest_raw,
        body=body,
        cost=_cost(chosen, body),
    )


def is_pulses(chosen: Sequence[Field]) -> bool:
    """Whether these count pulses."""
    return chosen[0].kind == "pulse counter"


def common_length(survey: Survey, chosen: Sequence[Field]) -> int:
    """Length that all fields can be read with: the longest, if what it adds to others is still."""
    longest = max(field.length for field in chosen)
    for field in chosen:
        rate = survey.rates[field.stream].rate[field.byte_order]
        top = field.lsb - longest + 1
        if top < 0 or np.any(rate[top : field.lsb - field.length + 1] > 0):
            return min(field.length for field in chosen)
    return longest


def goes_below_nought(chosen: Sequence[Field], length: int) -> bool:
    """Whether numbers move in smaller steps if their highest bit is a sign."""
    if is_pulses(chosen):
        return False
    raw = [field.value.astype(np.int64) for field in chosen if field.length == length]
    plain = sum(int(np.abs(np.diff(one)).sum()) for one in raw)
    signed = sum(int(np.abs(np.diff(two_complement(one, length))).sum()) for one in raw)
    return signed < _SIGNED * plain


def columns_of(
    survey: Survey, chosen: Sequence[Field], length: int, *, is_signed: bool
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Raw values at the moments, interpolated and as last sent. (t, k) each"""
    between, held = [], []
    for field in chosen:
        if field.kind == "pulse counter":
            pace = np.interp(survey.moments.time_s, field.time_s, field.value)
            between.append(pace)
            held.append(pace)
            continue
        bits = survey.bits(field.place, length, is_signed=is_signed)
        between.append(survey.between(field.stream, bits))
        held.append(survey.held(field.stream, bits))
    return np.column_stack(between), np.column_stack(held)


def moves_like_a_car(
    survey: Survey, raw: NDArray[np.float64], rest: Rest | None, rest_raw: NDArray[np.float64]
) -> bool:
    """Whether values cover enough steps for long enough, and are not a constant with a ripple.

    Parameters
    ----------
    survey : of the drive.
    raw : (t, 3) or (t, 4) raw values at the survey's moments.
    rest : where they stand still together, None when the drive does not show it.
    rest_raw : one a column, the raw values taken for rest.
    """
    steps = np.median(raw - rest_raw, axis=1)
    low, high = np.percentile(steps, (1, 99))
    if high < _FEWEST_STEPS or (rest is None and high - low < _LEAST_CHANGE * high):
        return False
    step_s = float(survey.moments.time_s[1] - survey.moments.time_s[0])
    if (steps > 0.1 * high).sum() * step_s < _SHORTEST_MOVE_S:
        return False
    apart = max(1, round(_ACCELERATION_OVER_S / step_s))
    change = np.percentile(np.abs(steps[apart:] - steps[:-apart]), 99)
    return bool(change <= _FASTEST_CHANGE * high)


def _can_be_wheels(
    body: RigidBody, time_s: NDArray[np.float64], speed: NDArray[np.float64]
) -> bool:
    """Whether four numbers can be a car's wheels by how they move."""
    if not body.spread <= WIDEST_SPREAD + 1.5 * one_step(speed, body.moving):
        return False
    if max(abs(ratio - 1) for ratio in body.ratio) > _FARTHEST_RATIO or body.copies > 1:
        return False
    parts = False
    if body.halves is not None:
        if body.turn > TIGHTEST:
            return False
        turning = body.moving & (np.abs(body.sides) > body.turn / 2)
        rounding = one_step(speed, turning) / body.turn
        if body.across > _FLAG_HOLDS + rounding:
            return False
        parts = rounding < _PARTS
        if body.turn > _TIGHT and _same_twice(body.halves, body.turn, speed[turning]):
            return False
    return (parts or not is_coarse(speed)) and not lags(time_s, speed)


def _same_twice(
    halves: tuple[tuple[int, int], tuple[int, int]], turn: float, speed: NDArray[np.float64]
) -> bool:
    """Whether each half is one number told twice, as two speeds of axles in two messages are."""
    mean = speed.mean(axis=1)
    differ = [float(np.median(np.abs(speed[:, a] - speed[:, b]) / mean)) for a, b in halves]
    return max(differ) < _TOLD_TWICE * turn


def is_coarse(speed: NDArray[np.float64]) -> bool:
    """Whether speeds come in so few steps that rounding alone makes them differ. (t, k) steps"""
    return bool(np.percentile(np.median(speed, axis=1), 99) < COARSE_STEPS)


def lags(time_s: NDArray[np.float64], speed: NDArray[np.float64]) -> bool:
    """Whether the fields differ by how late they come, as copies of one speed do.

    The difference of a late copy is its delay times the acceleration; that of a wheel is slip,
    ratio, turns and noise, of which slip alone goes along with the acceleration.

    Parameters
    ----------
    time_s : (t,) moments, evenly spaced. [s]
    speed : (t, k) raw steps above rest.
    """
    compared = compare_speeds(time_s, speed)
    even = smoothed(speed, compared.window)
    mean = even.mean(axis=1)
    change = np.gradient(mean)
    used = compared.moving & np.isfinite(mean) & np.isfinite(change)
    if used.sum() < _FEWEST_MOMENTS or np.ptp(change[used]) == 0:
        return False
    scale = np.column_stack([np.ones(used.sum()), mean[used]])
    delay = _without(scale, change[used])
    apart = [_without(scale, even[used, k] - mean[used]) for k in range(speed.shape[1])]
    explained = [
        float(delay @ one) ** 2 / float(delay @ delay) / float(one @ one)
        for one in apart
        if float(one @ one) > 0
    ]
    return max(explained, default=0.0) > _LAGS


def _without(columns: NDArray[np.float64], value: NDArray[np.float64]) -> NDArray[np.float64]:
    """What is left of a value when all that the columns explain is taken out. (n,)"""
    left: NDArray[np.float64] = value - columns @ np.linalg.lstsq(columns, value, rcond=None)[0]
    return left


def away_from_the_others(speed: NDArray[np.float64], moving: NDArray[np.bool_]) -> int | None:
    """Return which one of four is far from the other three now and then; None for none or several.

    Parameters
    ----------
    speed : (t, 4) raw steps above rest.
    moving : (t,) when the car moved.
    """
    middle = np.median(speed, axis=1)[:, np.newaxis]
    away = np.abs(speed - middle)[moving] > AWAY * middle[moving]
    often = np.flatnonzero(away.mean(axis=0) > _MOST_AWAY)
    return int(often[0]) if len(often) == 1 else None


def one_step(speed: NDArray[np.float64], when: NDArray[np.bool_]) -> float:
    """One raw step as a share of the usual speed at some moments; 1 where there are none.

    Parameters
    ----------
    speed : (t, k) raw steps above rest.
    when : (t,) the moments.
    """
    return 1.0 / max(1.0, float(np.median(speed[when]))) if when.any() else 1.0


def _cost(chosen: Sequence[Field], body: RigidBody) -> float:
    flag = 0.15 if body.halves is None else body.across
    roughness = sum(field.roughness for field in chosen)
    return (
        flag + 5 * roughness + 2 * body.spread + 0.2 * body.copies + 0.1 * (1 - regularity(chosen))
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
