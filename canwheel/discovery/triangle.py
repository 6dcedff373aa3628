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

_EXPLAINED = 0.5
"""Share of the pair's difference by which three are plainly a car's wheels; on a real road with
front and rear in two messages it is 0.9 (measured). Where steps are coarse it is less, ..."""

_WIDER = (0.7, 9.0)
"""... but the front one of the pair then gains (L/t)² with the square of the sides' difference:
wheelbase over track lies between 1.3 and 2.3 for cars, and noise lessens it."""

_PAIR_ALIKE = 0.12
"""In wide turns the two on one side differ by less than this share of the sides' difference."""

_WIDE = 0.05
"""Half difference of the sides, of the speed, above which the two on one side differ by a quarter
of it and more: a radius of 15 m and less (L/t times L/R)."""

_DOUBLE_TRACKS = np.linspace(0.75, 1.7, 20)
"""Twice the track over the wheelbase, for anything on four wheels; 1.17 for a usual car."""

_PLAIN = 4.0
"""How much likelier, as a logarithm, the better of two explanations must be (e⁴ is 55 to 1). Of
simulated drives in which one of four corners was taken away all came out right (measured)."""


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
    explained : share of the pair's difference that the one alone explains, as a rigid body's.
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
    explained: float = 0.0
    alone_is_front: bool | None = None

    @property
    def is_plain(self) -> bool:
        """Whether the turns, if there are any, show three wheels and nothing else."""
        if self.pair is None:
            return True
        low, high = _WIDER
        fits = self.explained >= _EXPLAINED or low <= self.wider <= high
        tight = fits and self.front_sure >= SURE
        return tight or (self.turn < _WIDE and self.pair_differs < _PAIR_ALIKE * self.turn)


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
    gain, apart_from = np.sign(growth.grows) * apart[pair][used], 2 * sides[used]
    front, rear = (_misfit(gain, apart_from, share) for share in (0.5, -0.5))
    likelier = len(gain) / (4 * compared.window) * abs(np.log(front / rear))  # of normal misfits
    is_sure = growth.sure >= SURE and likelier >= _PLAIN
    return replace(
        flat,
        pair=pair if growth.grows > 0 else (pair[1], pair[0]),
        alone=alone,
        wider=abs(growth.grows),
        front_sure=growth.sure,
        pair_differs=size[pair] / 2,
        explained=1.0 - min(front, rear) / max(float(np.var(gain)), 1e-18),
        alone_is_front=bool(front < rear) if is_sure else None,
    )


def _misfit(wider: FloatColumn, sides: FloatColumn, share: float) -> float:
    """What is left of a pair's gain when it is told by the one alone; the least of all tracks.

    With ``g = L/R`` for a turn of radius R the front one of the pair gains ``g²`` on the rear one,
    and the one alone differs from the mean of the two by ``±(2t/L)·g + g²/2`` at the front and by
    ``±(2t/L)·g − g²/2`` at the rear (derived from the rigid body). So by how much it differs tells
    what the pair should gain, in two ways that part in tight turns. A constant and a share of the
    difference are taken out: ratios and unequal tracks.

    Parameters
    ----------
    wider, sides : (n,) the front one's gain, and how far the one alone is from their mean.
    share : of g² in that, one half or minus one half.
    """
    bend = share * np.sign(sides)
    straight, _ = np.linalg.qr(np.column_stack([np.ones_like(sides), sides]))
    least = np.inf
    for double_track in _DOUBLE_TRACKS:
        inside = np.maximum(double_track**2 + 4 * bend * np.abs(sides), 0.0)
        turn = (np.sqrt(inside) - double_track) / np.where(bend == 0, 1.0, 2 * bend)
        left = wider - turn**2
        left -= straight @ (straight.T @ left)
        least = min(least, float(np.mean(left**2)))
    return max(least, 1e-18)
