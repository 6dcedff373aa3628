"""`WheelTrack`: the four corners' readings over the drive, ready to be judged."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from canwheel.corners import CORNERS, Corner, Side
from canwheel.definitions.layout import HelperName, SpeedUnit
from canwheel.outcome import Span
from canwheel.track.no_speed import NoSpeed

FloatColumn = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class WheelSamples:
    """One corner's own samples, at its own times, before anything is put on a common time base.

    Attributes
    ----------
    time_s : (n,) strictly rising, from the capture's first frame. [s]
    speed_kph : (n,) NaN where the unit itself says that it has no value, and where what it sends
        can be no speed. [km/h]
    raw : (n,) int64, the number as it stood on the bus.
    flagged : (n,) the raw value is one of the signal's "invalid" or "not available" values, or one
        that can be no speed and comes back.
    index : (n,) position of the frame among all frames of the capture.
    resolution_kph : one step of the raw number. [km/h]
    period_s : usual time between samples. [s]
    mean_over_s : each speed is the mean over the time before it, so long, as pulses were counted;
        0 where the unit itself sends a speed. [s]
    no_speed : what it sends that can be no speed, None where there is nothing such.
    too_short : frames of its message that end before the signal does; they are no samples.
    below_zero : (n,) the unit gave the speed with a minus; None where it never did.
    is_heard : whether any frame of its message came, be it one that carries the signal or not.
    """

    time_s: FloatColumn
    speed_kph: FloatColumn
    raw: NDArray[np.int64]
    flagged: NDArray[np.bool_]
    index: NDArray[np.int64]
    resolution_kph: float
    period_s: float
    mean_over_s: float = 0.0
    no_speed: NoSpeed | None = None
    too_short: int = 0
    below_zero: NDArray[np.bool_] | None = None
    is_heard: bool = True

    @property
    def is_unfit(self) -> bool:
        """Whether the DBC cannot be right here: what comes lacks the signal, or it is no speed."""
        if len(self.time_s) == 0:
            return self.is_heard
        return self.no_speed is not None and self.no_speed.is_misplaced

    def as_sent_kph(self, at: int) -> float:
        """Speed of one sample with the sign that the unit gave it. [km/h]"""
        minus = self.below_zero is not None and bool(self.below_zero[at])
        return -float(self.speed_kph[at]) if minus else float(self.speed_kph[at])


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
    last_index : position of the capture's last frame.
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
    last_index: int = -1

    def wheel(self, corner: Corner) -> WheelSamples:
        """One corner's own samples."""
        return self.wheels[corner.position]

    @property
    def unfit(self) -> tuple[Corner, ...]:
        """The corners for which the DBC does not fit what was heard."""
        return tuple(corner for corner in CORNERS if self.wheel(corner).is_unfit)

    @property
    def unheard(self) -> tuple[Corner, ...]:
        """The corners of whose message not one frame came."""
        return tuple(corner for corner in CORNERS if not self.wheel(corner).is_heard)

    @property
    def whole(self) -> Span:
        """The whole capture."""
        return Span(0.0, self.duration_s)

    def first_beside(self, corner: Corner) -> Corner:
        """Return the first of the corners that are sampled at the same times, in one message."""
        time_s = self.wheel(corner).time_s
        return next(first for first in CORNERS if self.wheel(first).time_s is time_s)

    def seen_from(self, corner: Corner) -> FloatColumn:
        """All four at one corner's own times: (n, 4), that corner's own column exact. [km/h]

        What lasts a single sample there would be blurred on the common base.
        """
        own = self.wheel(corner)
        if own.time_s is self.time_s:
            return self.speed_kph
        return np.column_stack([at_times(wheel, own.time_s) for wheel in self.wheels])

    def without(self, hidden: Mapping[Corner, Sequence[Span]]) -> "WheelTrack":
        """Return the same drive with some corners unread for some time.

        What one check has explained is taken out before the next one looks.

        Parameters
        ----------
        hidden : spans by corner; both ends are hidden too.
        """
        if not any(hidden.values()):
            return self
        wheels, speed_kph = list(self.wheels), self.speed_kph.copy()
        for corner, spans in hidden.items():
            own = self.wheel(corner)
            own_speed = own.speed_kph.copy()
            unread = within(own.time_s, spans)
            own_speed[unread] = np.nan
            no_speed = own.no_speed
            if no_speed is not None:
                no_speed = replace(no_speed, at=no_speed.at & ~unread)
            wheels[corner.position] = replace(own, speed_kph=own_speed, no_speed=no_speed)
            # A sample on the common base leans on its neighbours on both sides.
            wider = [Span(s.from_s - own.period_s, s.to_s + own.period_s) for s in spans]
            column = within(self.time_s, spans if own.time_s is self.time_s else wider)
            speed_kph[column, corner.position] = np.nan
        fl, fr, rl, rr = wheels
        return replace(self, wheels=(fl, fr, rl, rr), speed_kph=speed_kph)


LONGEST_BRIDGE = 3
"""Interpolation bridges at most this many periods of a corner's own message."""


def at_times(wheel: WheelSamples, time_s: FloatColumn) -> FloatColumn:
    """(n,) one corner's speed at other times: linear between samples, NaN across a gap. [km/h]"""
    if wheel.time_s is time_s:
        return wheel.speed_kph
    good = ~np.isnan(wheel.speed_kph)
    known_s, known_kph = wheel.time_s[good], wheel.speed_kph[good]
    if len(known_s) < 2:  # noqa: PLR2004 - a line needs two points
        return np.full(len(time_s), np.nan)
    after = np.clip(np.searchsorted(known_s, time_s), 1, len(known_s) - 1)
    bridge_s = known_s[after] - known_s[after - 1]
    longest_s = LONGEST_BRIDGE * wheel.period_s
    outside = (time_s < known_s[0] - wheel.period_s) | (time_s > known_s[-1] + wheel.period_s)
    speed: FloatColumn = np.interp(time_s, known_s, known_kph)
    speed[outside | (bridge_s > longest_s)] = np.nan
    return speed


def within(time_s: FloatColumn, spans: Iterable[Span]) -> NDArray[np.bool_]:
    """(n,) which of these rising times lie inside any of the spans, ends included."""
    inside = np.zeros(len(time_s) + 1, np.int64)
    for span in spans:
        inside[np.searchsorted(time_s, span.from_s, "left")] += 1
        inside[np.searchsorted(time_s, span.to_s, "right")] -= 1
    covered: NDArray[np.bool_] = np.cumsum(inside[:-1]) > 0
    return covered
