"""Three live wheels as a rigid body's: which two share a side, which of them is at the front."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from canwheel.discovery.comparing import (
    SURE,
    TURNS_FROM,
    busiest,
    compare_speeds,
    count_copies,
    fit_growth,
    smoothed,
)

FloatColumn = NDArray[np.float64]
FloatTable = NDArray[np.float64]
Pair = tuple[int, int]
_PAIRS: tuple[Pair, ...] = ((0, 1), (0, 2), (1, 2))

_FRONT_WIDER = (0.7, 9.0)
"""(L/t)²: how much the front one of a pair gains with the square of the sides' half difference;
twice what ``motion.py`` has, which counts two pairs."""

_PAIR_ALIKE = 0.12
"""In wide turns the two on one side differ by less than this share of the sides' difference."""

_TIGHT = 0.12
"""Wheelbase over turn radius from which on a turn is tight: 22 m for 2.65 m."""

_FEWEST_TIGHT = 10
"""Moments of tight turns below which they tell nothing."""

_PLAIN = 0.7
"""The better of two explanations must leave less than this share of what the other leaves."""


@dataclass(frozen=True, slots=True, eq=False)
class Triangle:
    """Three wheels of a rigid body.

    Attributes
    ----------
    moving : (t,) when the car moved.
    ratio : each one's ratio to the mean when straight.
    spread : usual difference of fastest and slowest when straight, of the speed.
    copies : pairs that never differ while the car moves.
    pair : the two on one side, the one at the front first; None without turns.
    alone : the one on the other side.
    sides : (t,) half difference of squares, positive while the one alone runs faster.
    turn : its busiest twentieth.
    wider : how much the front one of the pair gains with the square of `sides`.
    front_sure : standard deviations by which it does.
    pair_differs : busiest twentieth of the pair's own half difference.
    alone_is_front : whether the one alone is at the front, None where it cannot be told.
    """

    moving: NDArray[np.bool_]
    ratio: tuple[float, float, float]
    spread: float
    copies: int
    pair: Pair | None
    alone: int | None
    sides: FloatColumn
    turn: float
    wider: float = 0.0
    front_sure: float = 0.0
    pair_differs: float = 0.0
    alone_is_front: bool | None = None

    @property
    def is_plain(self) -> bool:
        """Whether the turns, if there are any, show three wheels and nothing else."""
        if self.pair is None:
            return True
        low, high = _FRONT_WIDER
        tight = self.front_sure >= SURE and low <= self.wider <= high
        return tight or self.pair_differs < _PAIR_ALIKE * self.turn


def fit_triangle(time_s: FloatColumn, speed: FloatTable) -> Triangle:
    """Compare three speeds, of any one scale and nought at rest, with three of a car's wheels.

    Parameters
    ----------
    time_s : (t,) moments, evenly spaced. [s]
    speed : (t, 3), at least nought.
    """
    compared = compare_speeds(time_s, speed)
    square = compared.square
    apart = {(a, b): smoothed(square[:, a] - square[:, b], compared.window) for a, b in _PAIRS}
    used = np.all([np.isfinite(each) for each in apart.values()], axis=0)
    size = {pair: busiest(each[used]) for pair, each in apart.items()}
    pair = min(size, key=lambda each: size[each])
    alone = 3 - sum(pair)
    own = square[:, alone] - square[:, pair].mean(axis=1)
    sides = smoothed(own, compared.window) / 2
    turn = busiest(sides[used])
    a, b, c = (float(each) for each in compared.ratio)
    flat = Triangle(
        moving=compared.moving,
        ratio=(a, b, c),
        spread=compared.spread,
        copies=count_copies(speed[compared.sound]),
        pair=None,
        alone=None,
        sides=sides,
        turn=turn,
    )
    if turn < TURNS_FROM or used.sum() < 4 * compared.window:
        return flat
    growth = fit_growth(apart[pair][used], sides[used], compared.window)
    is_front = None
    if growth.sure >= SURE:
        is_front = _alone_is_front(np.abs(apart[pair][used]), 2 * sides[used])
    return replace(
        flat,
        pair=pair if growth.grows > 0 else (pair[1], pair[0]),
        alone=alone,
        wider=abs(growth.grows),
        front_sure=growth.sure,
        pair_differs=size[pair] / 2,
        alone_is_front=is_front,
    )


def _alone_is_front(wider: FloatColumn, sides: FloatColumn) -> bool | None:
    """Whether the wheel alone on its side is at the front.

    With ``g = L/R`` (the root of the pair's difference of squares) the difference of the one alone
    from the mean of the pair is ``±(2t/L)·g + g²/2`` for a front wheel and ``±(2t/L)·g − g²/2`` for
    a rear one (derived from the rigid body). Left and right turns, or tight and wide ones, tell.

    Parameters
    ----------
    wider, sides : (n,) the pair's difference of squares, and the one's difference from their mean.
    """
    root = np.sqrt(wider)
    tight = root > _TIGHT
    if tight.sum() < _FEWEST_TIGHT:
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
