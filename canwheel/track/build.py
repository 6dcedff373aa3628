"""`Frames` and a `WheelLayout` to a `WheelTrack`."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from canwheel.capture.summary import CaptureSummary
from canwheel.corners import CORNERS
from canwheel.definitions.columns import decode_signal
from canwheel.definitions.layout import SignalPlace, WheelLayout
from canwheel.frames import Frames
from canwheel.outcome import Span
from canwheel.track.clock import correct_clock, spread_batches, usual_period_s
from canwheel.track.no_speed import find_no_speed
from canwheel.track.silence import was_listening
from canwheel.track.units import counter_rate, kph_per_unit
from canwheel.track.wheel_track import HelperSamples, WheelSamples, WheelTrack, at_times
from canwheel.vehicle import Vehicle

GAP_PERIODS = 5
"""A silence of fewer periods than this is a lost frame or two, not a gap."""

SHORTEST_GAP_S = 0.3
"""Nor is one shorter than this, however fast the message. [s]"""

CATCH_UP = 4
"""What a logger kept back comes at once when the silence ends, at the latest within so many times
its length."""

STEP_SAMPLES, FEWEST_STEPS, STEP_QUANTILE = 20_000, 20, 0.1
"""So many samples of a drive tell the unit's own step, where they have more values than this; all
but a tenth of the distances between neighbouring values are no smaller."""


def build_track(
    frames: Frames, layout: WheelLayout, vehicle: Vehicle, summary: CaptureSummary
) -> WheelTrack:
    """Decode the wheel and helper signals and put them on one clock and one time base.

    Parameters
    ----------
    frames : those that `layout.wanted` asks for, of one channel, in the order of the capture.
    layout, vehicle : which signals, and what is known of the car.
    summary : of the whole capture; tells a recorder that heard nothing from a silent message.
    """
    clock = correct_clock(frames.time_ns, summary.first_time_ns)
    factor = kph_per_unit(layout.unit, vehicle)
    fl, fr, rl, rr = (
        _wheel_samples(frames, clock.time_s, layout, layout.wheel(corner), factor)
        for corner in CORNERS
    )
    wheels = _with_shared_times(fl, fr, rl, rr)
    base = max(wheels, key=lambda wheel: wheel.period_s if len(wheel.time_s) > 1 else 0.0)
    duration_s = summary.duration_s
    if clock.steps or not duration_s:
        duration_s = float(np.max(clock.time_s, initial=0.0))
    facts = vehicle.vehicle
    return WheelTrack(
        wheels=wheels,
        time_s=base.time_s,
        speed_kph=np.column_stack([at_times(wheel, base.time_s) for wheel in wheels]),
        duration_s=duration_s,
        unit=layout.unit,
        circumference_m=vehicle.circumference_m,
        driven=facts.driven,
        wheelbase_over_track=(
            facts.wheelbase_m / facts.track_m if facts.wheelbase_m and facts.track_m else None
        ),
        drive_side=vehicle.drive_side,
        helpers={
            name: _helper_samples(frames, clock.time_s, place)
            for name, place in layout.helpers.items()
        },
        gaps=_recording_gaps(wheels),
        clock_steps=clock.steps,
        last_index=summary.frames - 1,
    )


def _in_time_order(time_s: NDArray[np.float64]) -> tuple[NDArray[np.intp], NDArray[np.float64]]:
    """Sorting order and strictly rising times of samples that may be a little out of order."""
    order = np.argsort(time_s, kind="stable")
    in_order = time_s[order]
    return order, spread_batches(in_order, usual_period_s(in_order))


def _wheel_samples(
    frames: Frames,
    time_s: NDArray[np.float64],
    layout: WheelLayout,
    place: SignalPlace,
    factor: float,
) -> WheelSamples:
    column = decode_signal(frames, place)
    order, own_time_s = _in_time_order(time_s[column.rows])
    period_s = usual_period_s(own_time_s)
    raw, flagged = column.raw[order], column.flagged[order]
    if layout.unit == "pulse count":
        # A mark such as "invalid" is no count: a difference from or to it would be a jump.
        counted = ~flagged
        rate, step, mean_over_s = counter_rate(
            raw[counted], own_time_s[counted], modulus=place.counter_modulus, period_s=period_s
        )
        kph_per_count_a_second = abs(place.scale) * factor
        speed = np.full(len(raw), np.nan)
        speed[counted] = rate * kph_per_count_a_second
        resolution = step * kph_per_count_a_second
    else:
        mean_over_s = 0.0
        # Some units sign the speed when the car reverses; a wheel's pace is what is compared.
        speed = np.abs(column.value[order]) * factor
        resolution = abs(place.scale) * factor
    no_speed = find_no_speed(speed, raw, flagged, layout.unit)
    if no_speed is not None:
        flagged = flagged | no_speed.marked
        speed[flagged | no_speed.at | no_speed.is_misplaced] = np.nan
    if not mean_over_s:
        resolution = max(resolution, _step_seen(speed))
    return WheelSamples(
        time_s=own_time_s,
        speed_kph=speed,
        raw=raw,
        flagged=flagged,
        index=frames.index[column.rows][order],
        resolution_kph=resolution,
        period_s=period_s,
        mean_over_s=mean_over_s,
        no_speed=no_speed,
        too_short=column.too_short,
    )


def _step_seen(speed: NDArray[np.float64]) -> float:
    """Step in which a unit gives its speeds, though the bus carry finer ones; 0: too few. [km/h]

    Parameters
    ----------
    speed : (n,) [km/h]
    """
    some = speed[:: max(1, len(speed) // STEP_SAMPLES)]
    values = np.unique(some[np.isfinite(some)])
    if len(values) <= FEWEST_STEPS:
        return 0.0
    return float(np.quantile(np.diff(values), STEP_QUANTILE))


def _with_shared_times(
    fl: WheelSamples, fr: WheelSamples, rl: WheelSamples, rr: WheelSamples
) -> tuple[WheelSamples, WheelSamples, WheelSamples, WheelSamples]:
    """Let corners of one message have one and the same array of times.

    That they need no interpolation between them is then seen at a glance (`at_times`).
    """

    def shared(wheel: WheelSamples, *earlier: WheelSamples) -> WheelSamples:
        for other in earlier:
            if np.array_equal(wheel.index, other.index):
                return replace(wheel, time_s=other.time_s)
        return wheel

    return fl, shared(fr, fl), shared(rl, fl, fr), shared(rr, fl, fr, rl)


def _helper_samples(
    frames: Frames, time_s: NDArray[np.float64], place: SignalPlace
) -> HelperSamples:
    column = decode_signal(frames, place)
    order, own_time_s = _in_time_order(time_s[column.rows])
    return HelperSamples(own_time_s, column.value[order])


def _recording_gaps(wheels: tuple[WheelSamples, ...]) -> tuple[Span, ...]:
    """Find silences in the wheel messages in which the recorder was not listening.

    What a logger only hands over late is no gap: soon after, no frame is missing.
    """
    found: dict[int, Span] = {}
    for wheel in wheels:
        silence_s = np.diff(wheel.time_s)
        heard = np.diff(wheel.index) - 1
        longest_s = max(SHORTEST_GAP_S, GAP_PERIODS * wheel.period_s)
        is_gap = silence_s > longest_s
        is_gap &= ~was_listening(wheel, silence_s, heard)
        behind_s = wheel.time_s - wheel.period_s * np.arange(len(wheel.time_s))
        for i in np.flatnonzero(is_gap):
            span = Span(float(wheel.time_s[i]), float(wheel.time_s[i + 1]))
            until = np.searchsorted(wheel.time_s, span.to_s + CATCH_UP * silence_s[i])
            if np.min(behind_s[i + 1 : until + 1]) - behind_s[i] > longest_s:
                found.setdefault(round(span.from_s), span)
    return tuple(found[key] for key in sorted(found))
