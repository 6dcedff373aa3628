"""Four alike numbers as a rigid body's wheels: at rest, straight on, in turns.

For the four wheels of a car (British flag theorem) ``FL² + RR² = FR² + RL²``. Of the three ways to
halve four wheels, one halves left from right: its difference of squares is large in turns and has
the turn's sign. One halves front from rear: small, never negative (the front runs wider), and
proportional to the square of the first. The third, across, is nought.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canwheel.discovery.comparing import (
    SURE,
    TURNS_FROM,
    Growth,
    busiest,
    compare_speeds,
    count_copies,
    fit_growth,
    smoothed,
)

FloatTable = NDArray[np.float64]
Pair = tuple[int, int]

HALVES: tuple[tuple[Pair, Pair], ...] = (
    ((0, 1), (2, 3)),
    ((0, 2), (1, 3)),
    ((0, 3), (1, 2)),
)
"""The three ways to halve four fields, by position."""

_FRONT_WIDER = (0.35, 4.5)
"""(L/t)²/2: how much the fronts' share grows with the square of the sides' difference; wheelbase
over track lies between 1.3 and 2.3 for cars (1.45 for L/t = 1.7; derived from the rigid body), and
noise in the sides' difference lessens it."""


@dataclass(frozen=True, slots=True, eq=False)
class RigidBody:
    """How far four numbers obey a rigid body.

    Attributes
    ----------
    moving : (t,) when the car moved.
    sides : (t,) half difference of the squares of the two sides over four times the mean square:
        half track over turn radius, NaN where it stood; its sign is that of ``halves``.
    halves : the way that halves the sides, None when no turn tells.
    front : the two at the front, None when no tight turn tells.
    turn : busiest twentieth of `sides`, as a share of the speed.
    across : what is left of the flag relation in turns, as a share of the sides' difference; NaN
        without turns.
    spread : usual difference between the fastest and the slowest of the four when straight, of the
        speed, after each one's own ratio.
    ratio : each one's ratio to the mean of the four when straight.
    front_sure : standard deviations by which front and rear differ.
    copies : pairs that never differ while the car moves.
    """

    moving: NDArray[np.bool_]
    sides: NDArray[np.float64]
    halves: tuple[Pair, Pair] | None
    front: Pair | None
    turn: float
    across: float
    spread: float
    ratio: tuple[float, float, float, float]
    front_sure: float
    copies: int


def fit_rigid_body(time_s: NDArray[np.float64], speed: FloatTable) -> RigidBody:
    """Compare four speeds, of any one scale and nought at rest, with a rigid body's wheels.

    Parameters
    ----------
    time_s : (t,) moments, evenly spaced. [s]
    speed : (t, 4), at least nought.
    """
    compared = compare_speeds(time_s, speed)
    contrast = [
        smoothed(
            (compared.square[:, (a, b)].sum(axis=1) - compared.square[:, (c, d)].sum(axis=1)) / 4,
            compared.window,
        )
        for (a, b), (c, d) in HALVES
    ]
    used = np.all(np.isfinite(contrast), axis=0)
    size = [busiest(one[used]) for one in contrast]
    way = int(np.argmax(size))
    sides, turn = contrast[way], size[way]
    halves, front, across, sure = None, None, float("nan"), 0.0
    if turn >= TURNS_FROM and used.sum() > 4 * compared.window:
        halves = HALVES[way]
        others = [k for k in range(3) if k != way]
        fits = [fit_growth(contrast[k][used], sides[used], compared.window) for k in others]
        front, sure = _front(fits, [HALVES[k] for k in others])
        turning = used & (np.abs(sides) > turn / 2)
        scale = float(np.sqrt(np.mean(sides[turning] ** 2)))
        left = {k: float(np.sqrt(np.mean(contrast[k][turning] ** 2))) / scale for k in others}
        # without tight turns either of the two may be the one across: the smaller one then
        across = min(left.values())
        if front is not None:
            across = next(left[k] for k in others if front not in HALVES[k])
    a, b, c, d = (float(each) for each in compared.ratio)
    return RigidBody(
        moving=compared.moving,
        sides=sides,
        halves=halves,
        front=front,
        turn=turn,
        across=across,
        spread=compared.spread,
        ratio=(a, b, c, d),
        front_sure=sure,
        copies=count_copies(speed[compared.sound]),
    )


def _front(fits: list[Growth], ways: list[tuple[Pair, Pair]]) -> tuple[Pair | None, float]:
    """Return the two at the front, if one of the ways plainly halves front from rear."""
    low, high = _FRONT_WIDER
    order = sorted(range(2), key=lambda k: -abs(fits[k].grows))
    best, other = fits[order[0]], fits[order[1]]
    plain = low <= abs(best.grows) <= high and abs(other.grows) < abs(best.grows) / 2
    if not plain or best.sure < SURE:
        return None, best.sure
    faster, slower = ways[order[0]]
    return (faster if best.grows > 0 else slower), best.sure
