"""Long columns made short enough to draw, so that what lasts a single sample is still drawn."""

import numpy as np
from numpy.typing import NDArray

from canwheel.track.wheel_track import FloatColumn

POINTS = 1800
"""Of one line on the page: each pixel of a chart gets its least and its most."""

BREAK_PERIODS = 3.5
"""Samples farther apart than so many usual steps are not joined by a line."""


def thin_line(
    time_s: FloatColumn, values: FloatColumn, *, points: int = POINTS
) -> tuple[FloatColumn, FloatColumn]:
    """Thin a column by the least and the most in each stretch of time.

    Parameters
    ----------
    time_s, values : (n,) rising times and values; NaN breaks the line, and so does a gap.
    points : about so many are left; all where there were fewer.

    Returns
    -------
    Times and values, with NaN where the line breaks.
    """
    known = np.flatnonzero(~np.isnan(values))
    if not len(known):
        return np.empty(0), np.empty(0)
    times, kept_values = time_s[known], values[known]
    piece = np.concatenate([[0], np.cumsum(_breaks(known, times))])
    if len(known) > points:
        kept = least_and_most(times, kept_values, points)
        times, kept_values, piece = times[kept], kept_values[kept], piece[kept]
    breaks = np.flatnonzero(np.diff(piece)) + 1
    return np.insert(times, breaks, times[breaks]), np.insert(kept_values, breaks, np.nan)


def least_and_most(times: FloatColumn, values: FloatColumn, points: int) -> NDArray[np.intp]:
    """Positions of the least and the most in each of `points` / 2 stretches, and both ends.

    Parameters
    ----------
    times, values : (n,) without NaN.
    """
    from tsdownsample import MinMaxDownsampler  # noqa: PLC0415 - only a page needs it

    sampler = MinMaxDownsampler()  # type: ignore[no-untyped-call] # it has no annotations
    kept = sampler.downsample(
        np.ascontiguousarray(times), np.ascontiguousarray(values), n_out=points - points % 2
    )
    return np.unique(np.concatenate([kept.astype(np.intp), [0, len(times) - 1]]))


def _breaks(known: NDArray[np.intp], times: FloatColumn) -> NDArray[np.bool_]:
    """(n-1,) whether the line breaks between one known sample and the next."""
    step_s = np.diff(times)
    usual_s = float(np.median(step_s)) if len(step_s) else 0.0
    broken: NDArray[np.bool_] = (np.diff(known) > 1) | (step_s > BREAK_PERIODS * usual_s)
    return broken
