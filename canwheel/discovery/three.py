"""Three live fields, and the place where the fourth belongs: a corner that is dead already."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canwheel.discovery.alike import sets_of
from canwheel.discovery.fields import Field
from canwheel.discovery.fourth import Fourth, fourth_places, state_of
from canwheel.discovery.places import Place
from canwheel.discovery.rest import Rest, find_rest
from canwheel.discovery.search import (
    TIGHTEST,
    WIDEST_SPREAD,
    FourFields,
    away_from_the_others,
    columns_of,
    common_length,
    goes_below_nought,
    is_coarse,
    lags,
    moves_like_a_car,
    one_step,
)
from canwheel.discovery.survey import Survey
from canwheel.discovery.triangle import Triangle, fit_triangle

_LOOKED_AT = 10
"""Fields of one group that come into question, the smoothest ones."""

_FARTHEST_RATIO = 0.1
"""How far a live wheel's own ratio may lie from the mean; two faults at once are not looked for."""


_TIGHTER = 1.2
"""Three wheels that turned so much more than all four seem to have had their turns hidden."""


@dataclass(frozen=True, slots=True, eq=False)
class ThreeFields:
    """Three live fields and the fourth's place.

    Attributes
    ----------
    fields : the live ones.
    length, is_signed : bits of each, and whether the highest one is a sign.
    raw : (t, 3) raw values at the survey's moments.
    rest, rest_raw : as in ``FourFields``.
    triangle : what the turns tell of the three.
    fourth : the likeliest place of the other one.
    cost : for choosing among several.
    """

    fields: tuple[Field, Field, Field]
    length: int
    is_signed: bool
    raw: NDArray[np.float64]
    rest: Rest | None
    rest_raw: NDArray[np.float64]
    triangle: Triangle
    fourth: Fourth
    cost: float


def find_threes(survey: Survey, groups: Sequence[Sequence[int]]) -> list[ThreeFields]:
    """Return sets of three live fields with a place for the fourth, the best one of each group."""
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
    """Return the three that show turns which a fourth hides; None where none does.

    A wheel that sleeps at low speed hides just the turns that tell the corners.

    Parameters
    ----------
    survey : the bus.
    four : alike fields.
    """
    away = away_from_the_others(np.abs(four.raw - four.rest_raw), four.body.moving)
    if away is None:
        return None
    chosen = [field for k, field in enumerate(four.fields) if k != away]
    three = judge_three(survey, chosen, place=four.fields[away].place)
    if three is None or three.triangle.pair is None:
        return None
    tighter = three.triangle.turn > _TIGHTER * four.body.turn
    return three if tighter or four.body.front is None else None


def judge_three(
    survey: Survey, chosen: Sequence[Field], *, place: Place | None = None
) -> ThreeFields | None:
    """Judge three fields, None when they cannot be three of a car's wheels.

    Parameters
    ----------
    survey, chosen : the bus, and the three.
    place : of the fourth, where it is known.
    """
    if chosen[0].kind != "number":
        return None
    length = common_length(survey, chosen)
    is_signed = goes_below_nought(chosen, length)
    raw, held = columns_of(survey, chosen, length, is_signed=is_signed)
    rest = find_rest(survey.moments.time_s, held)
    rest_raw = np.zeros(3) if rest is None else rest.raw
    if not moves_like_a_car(survey, raw, rest, rest_raw):
        return None
    speed = np.abs(raw - rest_raw)
    triangle = fit_triangle(survey.moments.time_s, speed)
    if not _can_be_wheels(triangle, survey.moments.time_s, speed):
        return None
    places = [(place, 1.0)] if place else fourth_places(survey, chosen, length)
    fourths = []
    for one, regular in places:
        bits = survey.bits(one, length, is_signed=is_signed)
        state = state_of(survey.held(one.stream, bits), raw, float(np.median(rest_raw)), bits)
        if state is not None:
            fourths.append(Fourth(one, state[0], regular, state[1]))
    if not fourths:
        return None
    fourth = min(fourths, key=lambda one: one.cost)
    if triangle.pair is None and rest is None and fourth.state == "faulty":
        return None  # neither a turn, nor a rest, nor a corner that is plainly dead
    roughness = sum(field.roughness for field in chosen)
    cost = fourth.cost + 5 * roughness + 2 * triangle.spread
    a, b, c = chosen
    return ThreeFields(
        fields=(a, b, c),
        length=length,
        is_signed=is_signed,
        raw=raw,
        rest=rest,
        rest_raw=rest_raw,
        triangle=triangle,
        fourth=fourth,
        cost=cost,
    )


def _can_be_wheels(
    triangle: Triangle, time_s: NDArray[np.float64], speed: NDArray[np.float64]
) -> bool:
    """Whether three numbers can be three of a car's wheels by how they move."""
    if not triangle.spread <= WIDEST_SPREAD + 1.5 * one_step(speed, triangle.moving):
        return False
    if max(abs(ratio - 1) for ratio in triangle.ratio) > _FARTHEST_RATIO:
        return False
    if triangle.copies or not triangle.is_plain or triangle.turn > TIGHTEST:
        return False
    if triangle.pair is None and is_coarse(speed):
        return False
    return not lags(time_s, speed)
