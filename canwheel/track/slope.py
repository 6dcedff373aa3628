"""How one thing goes with another over a drive, and how sure that is."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canwheel.track.motion import samples_in
from canwheel.track.wheel_track import FloatColumn, WheelTrack

BLOCK_S = 2.0
"""What goes on within this long is one observation; the spread between such tells the error. [s]"""

FEWEST_BLOCKS = 4
"""A slope that rests on fewer observations has no error to speak of."""


@dataclass(frozen=True, slots=True)
class Slope:
    """A slope, and one standard deviation of it."""

    value: float
    error: float


def fit_slope(  # noqa: PLR0917 - a regression's own columns
    track: WheelTrack,
    rows: NDArray[np.bool_],
    fewest_s: float,
    answer: FloatColumn,
    question: FloatColumn,
    instrument: FloatColumn,
) -> Slope | None:
    """Slope of the answer over the question, an intercept beside it, by an instrument.

    Its error is how it changes as one block of time after the other is left out (jackknife), for
    neighbouring samples are no two observations. None where too little was driven.

    Parameters
    ----------
    rows : (n,) samples to ask, at least `fewest_s` of them. [s]
    answer, question, instrument : (n,) each; NaN in the first two is left out.
    """
    rows = rows & np.isfinite(answer) & np.isfinite(question)
    if rows.sum() < max(2, samples_in(track, fewest_s)):
        return None
    answer, question, weight = (
        column[rows] - np.mean(column[rows]) for column in (answer, question, instrument)
    )
    _, block = np.unique((track.time_s[rows] // BLOCK_S).astype(np.int64), return_inverse=True)
    above, below = np.bincount(block, weight * answer), np.bincount(block, weight * question)
    rest = below.sum() - below
    if len(below) < FEWEST_BLOCKS or below.sum() == 0.0 or not rest.all():
        return None
    without = (above.sum() - above) / rest
    error = math.sqrt((len(below) - 1) * float(np.var(without)))
    return Slope(float(above.sum() / below.sum()), error)
