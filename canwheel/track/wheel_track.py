"""`WheelTrack`: the four corners' readings over the drive, ready to be judged."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from canwheel.corners import Corner, Side
from canwheel.definitions.layout import HelperName, SpeedUnit
from canwheel.outcome import Span

FloatColumn = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class WheelSamples:
    """One corner's own samples, at its own times, before anything is put on a common time base.

    Attributes
    ----------
    time_s : (n,) strictly rising, from the capture's first frame. [s]
    speed_kph : (n,) NaN where the unit itself says that it has no value. [km/h]
    raw : (n,) int64, the number as it stood on the bus.
    flagged : (n,) the raw value is one of the signal's "invalid" or "not available" values.
    index : (n,) position of the frame among all frames of the capture.
    resolution_kph : one step of the raw number. [km/h]
    period_s : usual time between samples. [s]
    """

    time_s: FloatColumn
    speed_kph: FloatColumn
    raw: NDArray[np.int64]
    flagged: NDArray[np.bool_]
    index: NDArray[np.int64]
    resolution_kph: float
    period_s: float


@dataclass(frozen=True, slots=True, eq=False)
class HelperSamples:
    """A helper signal at its own times; value NaN where the unit says that it has none."""

    time_s: FloatColumn
    value: FloatColumn


@dataclass(frozen=True, slots=True, eq=False)
class WheelTrack:
    """The drive as the four corners tell it.

    Attributes
    ----------
    wheels : each corner's own samples, in corner order.
    time_s : (n,) the common time base: the slowest wheel message's own times. [s]
    speed_kph : (n, 4) the corners on that base, interpolated, never across a gap of more than
        three periods; NaN where there is no sample. [km/h]
    helpers : optional signals by name.
    gaps : when the recorder heard nothing at all.
    clock_steps : when the recorder's clock jumped back or far ahead.
    duration_s : length of the capture. [s]
    unit : what the signals count in.
    circumference_m : rolling circumference used, by the vehicle file or assumed. [m]
    driven : the driven axle, where it is known.
    wheelbase_over_track : wheelbase divided by track, where the vehicle file gives both.
    drive_side : side the steering wheel is on, where it is known.
    """

    wheels: tuple[WheelSamples, WheelSamples, WheelSamples, WheelSamples]
    time_s: FloatColumn
    speed_kph: FloatColumn
    duration_s: float
    unit: SpeedUnit = "km/h"
    circumference_m: float = 1.94
    driven: str | None = None
    wheelbase_over_track: float | None = None
    drive_side: Side | None = None
    helpers: Mapping[HelperName, HelperSamples] = field(default_factory=dict)
    gaps: tuple[Span, ...] = ()
    clock_steps: tuple[Span, ...] = ()

    def wheel(self, corner: Corner) -> WheelSamples:
        """One corner's own samples."""
        return self.wheels[corner.position]
