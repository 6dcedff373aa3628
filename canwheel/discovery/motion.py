"""Four alike numbers as a rigid body's wheels: at rest, straight on, in turns.

For the four wheels of a car (British flag theorem) ``FL² + RR² = FR² + RL²``. Of the three ways to
halve four wheels, one halves left from right: its difference of squares is large in turns and has
the turn's sign. One halves front from rear: small, never negative (the front runs wider), and
proportional to the square of the first. The third, across, is nought.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Quad = NDArray[np.float64]
"""(t, 4) values of four fields."""

HALVES = (((0, 1), (2, 3)), ((0, 2), (1, 3)), ((0, 3), (1, 2)))
"""The three ways to halve four fields, by position."""

MOVING = 0.08
"""A car moves for sure from this share of its top speed on; below, steps and lags count too much."""

SMOOTH_S = 0.6
"""Differences are averaged over so long: a wheel's noise goes, a turn's difference stays. [s]"""

TURNS_FROM = 0.02
"""Least half difference of the two sides, of the speed, that the busiest twentieth of a drive with
turns shows: a bend of 37 m radius on a track of 1.5 m. Slip of driven wheels stays below."""

_REST_S = 1.0
"""A car that stands does so for longer than this. [s]"""

_APART_AT_REST = 0.05
"""Farthest that the values of rest lie apart, of the range of the drive."""

_FRONT_WIDER = (0.35, 4.5)
"""(L/t)²/2: how much the fronts' share grows with the square of the sides' difference; wheelbase
over track lies between 1.3 and 2.3 for cars (1.45 for L/t = 1.7; FACTS: derived), and noise in the
sides' difference lessens it."""

_SURE = 5.0
"""Standard deviations by which front and rear must differ in turns."""


@dataclass(frozen=True, slots=True, eq=False)
class Rest:
    """The raw values at which the car stands.

    Attributes
    ----------
    raw : (k,) of each field; the same for all as a rule.
    seen_s : how long all stood at it. [s]
    """

    raw: NDArray[np.float64]
    seen_s: float


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
    halves: tuple[tuple[int, int], tuple[int, int]] | None
    front: tuple[int, int] | None
    turn: float
    across: float
    spread: float
    ratio: tuple[float, float, float, float]
    front_sure: float
    copies: int


def find_rest(time_s: NDArray[np.float64], raw: Quad) -> Rest | None:
    """Find the values at which all stand still together, None when they never do.

    Parameters
    ----------
    time_s : (t,) moments. [s]
    raw : (t, k) raw values of two and more fields.

    Of the values that all hold unchanged for a second and more, it is those from which they move on
    in small steps, and the lowest; a mark such as "no value yet" is left by a jump. Some units
    count one wheel from another nought than the rest; the four then stand a little apart.
    """
    span = float(np.percentile(raw, 99) - np.percentile(raw, 1))
    near = np.ptp(raw, axis=1) <= _APART_AT_REST * span
    still = near & np.all(np.diff(raw, axis=0, prepend=np.nan) == 0, axis=1)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], still, [False]]).astype(np.int8)))
    seen: dict[tuple[float, ...], float] = {}
    for first, stop in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        begin, end = max(0, first - 1), stop - 1
        length_s = float(time_s[end] - time_s[begin])
        here = raw[end]
        beside = [raw[at] for at in (begin - 1, end + 1) if 0 <= at < len(raw)]
        if length_s >= _REST_S and all(np.all(np.abs(one - here) < span / 8) for one in beside):
            key = tuple(here.tolist())
            seen[key] = seen.get(key, 0.0) + length_s
    if not seen:
        return None
    lowest = min(seen, key=sum)
    return Rest(np.array(lowest), seen[lowest])


def fit_rigid_body(time_s: NDArray[np.float64], speed: Quad) -> RigidBody:
    """Compare four speeds, of any one scale and nought at rest, with a rigid body's wheels.

    Parameters
    ----------
    time_s : (t,) moments, evenly spaced. [s]
    speed : (t, 4), at least nought.
    """
    middle = np.median(speed, axis=1)
    top = float(np.percentile(middle, 99))
    moving = middle > MOVING * top
    # a wheel that sleeps or drops out says nothing of the body while it does
    sound = moving & (np.max(np.abs(speed - middle[:, np.newaxis]), axis=1) < 0.6 * middle)
    window = max(1, round(SMOOTH_S / max(1e-3, float(time_s[1] - time_s[0]))))
    ratio, straight = _ratios(speed, middle, sound, window)
    share = np.full(speed.shape, np.nan)
    share[sound] = (speed[sound] / middle[sound, np.newaxis] / ratio) ** 2
    contrast = [
        smoothed((share[:, a] + share[:, b] - share[:, c] - share[:, d]) / 4, window)
        for (a, b), (c, d) in HALVES
    ]
    used = np.all(np.isfinite(contrast), axis=0)
    size = [busiest(c[used]) for c in contrast]
    way = int(np.argmax(size))
    sides = contrast[way]
    turn = size[way]
    others = [k for k in range(3) if k != way]
    spread = np.nan
    if straight.any():
        relative = speed[straight] / middle[straight, np.newaxis] / ratio
        spread = float(np.median(np.ptp(relative, axis=1)))
    halves, front, across, sure = None, None, np.nan, 0.0
    if turn >= TURNS_FROM and used.sum() > 4 * window:
        fits = [_fit(contrast[k][used], sides[used], window) for k in others]
        # across is the one that is nearer to nought in turns
        turning = used & (np.abs(sides) > turn / 2)
        left = [float(np.sqrt(np.mean(contrast[k][turning] ** 2))) for k in others]
        across = min(left) / float(np.sqrt(np.mean(sides[turning] ** 2)))
        halves = HALVES[way]
        front, sure = _front(fits, [HALVES[k] for k in others])
        if front is not None:
            chosen = next(k for k in others if front in HALVES[k])
            left_over = contrast[next(k for k in others if k != chosen)][turning]
            across = float(np.sqrt(np.mean(left_over**2)) / np.sqrt(np.mean(sides[turning] ** 2)))
    fl, fr, rl, rr = (float(each) for each in ratio)
    return RigidBody(
        moving=moving,
        sides=sides,
        halves=halves,
        front=front,
        turn=turn,
        across=across,
        spread=spread,
        ratio=(fl, fr, rl, rr),
        front_sure=sure,
        copies=_copies(speed[sound]),
    )


def _ratios(
    speed: Quad, middle: NDArray[np.float64], sound: NDArray[np.bool_], window: int
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Each one's ratio to the middle when straight, and when that was. (4,) and (t,)"""
    relative = np.full(speed.shape, np.nan)
    relative[sound] = speed[sound] / middle[sound, np.newaxis]
    ratio = np.ones(4)
    straight = sound
    for _ in range(3):
        if not sound.any():
            break
        apart = np.column_stack([smoothed(relative[:, k] / ratio[k], window) for k in range(4)])
        width = np.ptp(apart, axis=1)
        known = np.isfinite(width)
        if not known.any():
            break
        limit = np.percentile(width[known], 30)
        straight = known & (width <= limit) & sound
        ratio = np.nanmedian(relative[straight], axis=0)
        ratio /= ratio.mean()
    return ratio, straight


def smoothed(value: NDArray[np.float64], window: int) -> NDArray[np.float64]:
    """Moving mean; NaN where one of the values is."""
    if window <= 1 or len(value) < window:
        return value
    known = np.isfinite(value)
    total = np.cumsum(np.concatenate([[0.0], np.where(known, value, 0.0)]))
    count = np.cumsum(np.concatenate([[0], known]))
    mean = np.full(len(value), np.nan)
    half = window // 2
    full = count[window:] - count[:-window] == window
    inner = (total[window:] - total[:-window]) / window
    mean[half : half + len(inner)] = np.where(full, inner, np.nan)
    return mean


def busiest(value: NDArray[np.float64]) -> float:
    return float(np.percentile(np.abs(value), 95)) if len(value) else 0.0


@dataclass(frozen=True, slots=True)
class _Curve:
    """How a difference grows with the square of the sides' difference."""

    grows: float
    sure: float


def _fit(value: NDArray[np.float64], sides: NDArray[np.float64], window: int) -> _Curve:
    """Fit ``a + b·sides + c·sides²``, leaving out what lies far off."""
    columns = np.column_stack([np.ones_like(sides), sides, sides**2])
    keep = np.ones(len(value), np.bool_)
    solution = np.zeros(3)
    for _ in range(3):
        solution, *_ = np.linalg.lstsq(columns[keep], value[keep], rcond=None)
        rest = np.abs(value - columns @ solution)
        keep = rest <= 4 * np.median(rest) + 1e-12
    rest = value[keep] - columns[keep] @ solution
    independent = max(1.0, keep.sum() / (2 * window))
    variance = float(np.mean(rest**2)) / independent * keep.sum()
    inverse = np.linalg.pinv(columns[keep].T @ columns[keep])
    deviation = float(np.sqrt(max(variance * inverse[2, 2], 1e-18)))
    return _Curve(float(solution[2]), abs(float(solution[2])) / deviation)


def _front(
    fits: list[_Curve], ways: list[tuple[tuple[int, int], tuple[int, int]]]
) -> tuple[tuple[int, int] | None, float]:
    """Return the two at the front, if one of the ways plainly halves front from rear."""
    low, high = _FRONT_WIDER
    order = sorted(range(2), key=lambda k: -abs(fits[k].grows))
    best, other = fits[order[0]], fits[order[1]]
    plain = low <= abs(best.grows) <= high and abs(other.grows) < abs(best.grows) / 2
    if not plain or best.sure < _SURE:
        return None, best.sure
    faster, slower = ways[order[0]]
    return (faster if best.grows > 0 else slower), best.sure


def _copies(speed: Quad) -> int:
    """How many pairs never differ. A pair of wheels does, by noise alone."""
    if not len(speed):
        return 0
    pairs = [(a, b) for a in range(4) for b in range(a + 1, 4)]
    return sum(float(np.mean(speed[:, a] == speed[:, b])) > 0.98 for a, b in pairs)
