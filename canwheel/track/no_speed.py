"""Values that no wheel's speed can be: a mark that the DBC does not tell, glitches, a wrong field.

They come of a DBC whose byte order, length or scale is not the car's, of a unit that sends a mark
such as "invalid" without the DBC's saying so, and of bits that are lost on the way.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canwheel.definitions.layout import SpeedUnit

FASTEST_KPH = 1000.0
"""No wheel of a road car turns so fast; twice what the fastest of them reach. [km/h]"""

FASTEST_UNSCALED = 1e6
"""The same for a signal of which nobody says the unit: a thousandth of a km/h is the finest step
that is common, and then this is as fast. [the signal's own unit]"""

MISPLACED_SHARE = 0.1
"""A field of which so much, beside zeros and marks, can be no speed is another field's bits; a
sensor, or a poor connection, changes the few frames that it reaches."""

FEWEST_MISPLACED = 20
"""Of fewer readings than this no share is told."""

FEWEST_OF_A_MARK = 2
"""A raw value that comes back is a mark; a glitch leaves another one each time."""


@dataclass(frozen=True, slots=True, eq=False)
class NoSpeed:
    """What one corner sends that can be no speed.

    Attributes
    ----------
    at : (n,) single samples of it, the marks not among them; none where the field is misplaced.
    marked : (n,) samples that hold the one raw value that comes back.
    count : how many samples in all.
    usual_kph : the median of them, infinity where they have no number. [km/h]
    mark : that raw value, None where none comes back.
    is_misplaced : so many that this field of the DBC is no wheel's speed.
    """

    at: NDArray[np.bool_]
    marked: NDArray[np.bool_]
    count: int
    usual_kph: float
    mark: int | None
    is_misplaced: bool


def fastest_kph(unit: SpeedUnit) -> float:
    """Above this a value in that unit is no wheel's speed. [km/h]"""
    return FASTEST_UNSCALED if unit == "proportional" else FASTEST_KPH


def find_no_speed(
    speed_kph: NDArray[np.float64],
    raw: NDArray[np.int64],
    flagged: NDArray[np.bool_],
    unit: SpeedUnit,
) -> NoSpeed | None:
    """Find the values of one corner that can be no speed; None where there are none.

    Parameters
    ----------
    speed_kph : (n,) without its sign, NaN where there is none. [km/h]
    raw, flagged : (n,) as in `WheelSamples`.
    unit : what the signal counts in; the raw value of a pulse count can be no mark.
    """
    beyond = (speed_kph > fastest_kph(unit)) & ~flagged
    if not beyond.any():
        return None
    marked = np.zeros(len(raw), np.bool_)
    values, counts = np.unique(raw[beyond], return_counts=True)
    comes_back = int(counts.max()) >= FEWEST_OF_A_MARK and unit != "pulse count"
    mark = int(values[np.argmax(counts)]) if comes_back else None
    if mark is not None:
        marked = beyond & (raw == mark)
    single = beyond & ~marked
    told = int(np.sum((speed_kph != 0) & ~np.isnan(speed_kph) & ~marked))
    is_misplaced = told >= FEWEST_MISPLACED and int(single.sum()) > MISPLACED_SHARE * told
    return NoSpeed(
        at=np.zeros(len(raw), np.bool_) if is_misplaced else single,
        marked=np.zeros(len(raw), np.bool_) if is_misplaced else marked,
        count=int(beyond.sum()),
        usual_kph=float(np.sort(speed_kph[beyond])[int(beyond.sum()) // 2]),
        mark=None if is_misplaced else mark,
        is_misplaced=is_misplaced,
    )
