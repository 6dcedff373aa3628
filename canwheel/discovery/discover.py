"""Frames to proposals: where the four wheel speeds stand, without a DBC."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from canwheel.capture import read_capture
from canwheel.capture.source import Progress
from canwheel.capture.summary import CaptureSummary
from canwheel.corners import CORNERS
from canwheel.discovery.found_set import FoundSet, find_sets, is_coarser, is_same_speed
from canwheel.discovery.hints import Hints
from canwheel.discovery.placing import Placing, place_fields, tell_sides
from canwheel.discovery.proposal import (
    Bus,
    Candidate,
    Discovery,
    Figures,
    Scale,
    SetKind,
    SidesBy,
    Traces,
    WheelField,
)
from canwheel.discovery.reasons import give_reasons, give_warnings, next_steps
from canwheel.discovery.scale import (
    no_scale,
    scale_by_habit,
    scale_by_held_speeds,
    scale_by_track,
)
from canwheel.discovery.survey import Survey, survey_frames
from canwheel.errors import RequestError
from canwheel.frames import Frames
from canwheel.track.clock import require_running_clock

MOST_SHOWN = 6
"""Candidates beyond these are of no use to anybody."""

_AT_LOWEST = 0.02
"""Another number is at its lowest within this share of its range."""

_GOES_ALONG = 0.9
"""Correlation with the speed from which another number goes along with it."""

_TRACE_POINTS = 1200

Left = tuple[bool, SidesBy] | None
"""Whether the first half is the left one, and what tells it; None where nothing does."""


@dataclass(frozen=True, slots=True, eq=False)
class _Told:
    """A set, and what the hints tell of its sides."""

    found: FoundSet
    left: Left


def discover_capture(
    path: Path,
    hints: Hints | None = None,
    *,
    channel: str | None = None,
    progress: Progress | None = None,
) -> tuple[CaptureSummary, Discovery]:
    """Look for the wheel speeds in a recording.

    Parameters
    ----------
    path : the recording.
    hints : what the driver knows.
    channel : to look at; None for all.
    progress : called with bytes of the capture read and bytes in all.

    Raises
    ------
    CaptureError : the recording cannot be read, or its time stamps do not tell when they came.
    RequestError : it has no such channel, or a hint does not fit it.
    """
    capture = read_capture(path, progress=progress)
    frames = capture.frames
    if channel is not None:
        if channel not in frames.channels:
            raise RequestError(
                f"has no channel {channel}",
                where=str(path),
                remedy=f"it has {', '.join(frames.channels)}",
            )
        frames = frames.select(frames.channel == frames.channels.index(channel))
    require_running_clock(frames, capture.summary.file)
    return capture.summary, discover_wheels(frames, capture.summary.first_time_ns, hints)


def discover_wheels(frames: Frames, first_time_ns: int, hints: Hints | None = None) -> Discovery:
    """Look for the wheel speeds in frames.

    Parameters
    ----------
    frames : n, in the capture's order.
    first_time_ns : the capture's first stamp. [ns]
    hints : what the driver knows.

    Raises
    ------
    RequestError : a hint does not fit any candidate.
    """
    hints = hints or Hints()
    survey = survey_frames(frames, first_time_ns)
    bus = Bus(len(survey.streams), len(survey.fields))
    if not survey.fields:
        return Discovery((), bus, next_steps(None))
    told = _with_sides(survey, find_sets(survey)[:MOST_SHOWN], hints)
    candidates: list[Candidate] = []
    for rank, each in enumerate(told):
        scale = _scale(survey, each.found, hints if rank == 0 else Hints(), first_time_ns / 1e9)
        copied = _copied(each.found, told[:rank], candidates)
        candidates.append(_candidate(survey, each, scale, copied))
    return Discovery(tuple(candidates), bus, next_steps(candidates[0] if candidates else None))


def _with_sides(survey: Survey, sets: Sequence[FoundSet], hints: Hints) -> list[_Told]:
    """Return the sets with what tells their sides; those that the hints contradict come last.

    Raises
    ------
    RequestError : the hints contradict them all.
    """
    fitting: list[_Told] = []
    contradicted: list[_Told] = []
    first_error: RequestError | None = None
    for found in sets:
        try:
            left = None if found.halves is None else tell_sides(survey, found.sides, hints)
        except RequestError as error:
            first_error = first_error or error
            contradicted.append(_Told(found, None))
        else:
            fitting.append(_Told(found, left))
    if first_error is not None and all(each.left is None for each in fitting):
        raise first_error
    return fitting + contradicted


def _copied(
    found: FoundSet, better: Sequence[_Told], candidates: Sequence[Candidate]
) -> tuple[SetKind, int | None]:
    """What a set is, and of which better one it is a copy."""
    if found.is_pulses:
        return "pulse counters", None
    for position, (each, candidate) in enumerate(zip(better, candidates, strict=True)):
        if candidate.kind == "wheel speeds" and is_same_speed(found, each.found):
            return ("coarse copy" if is_coarser(found, each.found) else "copy"), position
    return "wheel speeds", None


def _candidate(
    survey: Survey, told: _Told, scale: Scale, copied: tuple[SetKind, int | None]
) -> Candidate:
    found = told.found
    placing = place_fields(
        found.halves,
        found.front,
        "tight turns" if found.axles_by_turns else "place in the message",
        told.left,
        [place.reading_order for place in found.places],
    )
    kind, copy_of = copied
    candidate = Candidate(
        kind=kind,
        fields=_wheel_fields(survey, found, placing),
        rest_raw=float(np.median(found.rest_raw)),
        rest_seen=found.rest_s > 0,
        axles_by=placing.axles_by,
        sides_by=placing.sides_by,
        scale=scale,
        figures=_figures(survey, found),
        reasons=(),
        warnings=(),
        traces=_traces(survey, found, placing),
        copy_of=copy_of,
    )
    return replace(candidate, reasons=give_reasons(candidate), warnings=give_warnings(candidate))


def _wheel_fields(
    survey: Survey, found: FoundSet, placing: Placing
) -> tuple[WheelField, WheelField, WheelField, WheelField]:
    fields = []
    for corner, at in zip(CORNERS, placing.order, strict=True):
        place = found.places[at]
        stream = survey.streams[place.stream]
        fields.append(
            WheelField(
                channel=stream.channel,
                can_id=stream.can_id,
                extended=stream.extended,
                payload_bytes=stream.data.shape[1],
                period_s=stream.period_s,
                bits=survey.bits(place, found.length, is_signed=found.is_signed),
                moving_bits=found.moving_bits,
                corner=corner if placing.is_known else None,
                place=corner,
                state=found.states[at],
                ratio=found.ratios[at],
                rest_raw=float(found.rest_raw[at]),
            )
        )
    fl, fr, rl, rr = fields
    return fl, fr, rl, rr


def _scale(survey: Survey, found: FoundSet, hints: Hints, first_time_s: float) -> Scale:
    time_s, steps = survey.moments.time_s, found.steps()
    if found.is_pulses:
        return no_scale()
    if hints.track is not None:
        return scale_by_track(time_s, steps, first_time_s, hints.track)
    if hints.speeds:
        return scale_by_held_speeds(time_s, steps, hints.speeds)
    return scale_by_habit(steps)


def _figures(survey: Survey, found: FoundSet) -> Figures:
    step_s = float(np.median(np.diff(survey.moments.time_s)))
    return Figures(
        straight_spread_pct=100 * found.spread,
        turn_pct=100 * 2 * found.turn,
        flag_residual_pct=None if np.isnan(found.across) else 100 * found.across,
        front_sure=found.front_sure if found.front is not None else 0.0,
        rest_s=found.rest_s,
        moving_s=float(found.moving.sum()) * step_s,
        steps=round(float(np.percentile(found.steps(), 99.5))),
        others_at_rest=_others_at_rest(survey, found),
    )


def _others_at_rest(survey: Survey, found: FoundSet) -> int:
    """How many other numbers stand at their lowest while these rest, and go along with them."""
    steps = found.steps()
    resting = steps == 0
    if not resting.any() or resting.all():
        return 0
    count = 0
    for field, value in zip(survey.fields, survey.moments.value, strict=True):
        if field.place in found.places or np.ptp(value) == 0:
            continue
        low, high = np.percentile(value, (1, 99))
        at_rest = float(np.percentile(value[resting], 90))
        if high > low and at_rest - low <= _AT_LOWEST * (high - low):
            count += bool(np.corrcoef(value, steps)[0, 1] > _GOES_ALONG)
    return count


def _traces(survey: Survey, found: FoundSet, placing: Placing) -> Traces:
    at = np.linspace(0, len(survey.moments.time_s) - 1, _TRACE_POINTS)
    rows = np.unique(at.astype(np.intp))
    order = list(placing.order)
    return Traces(survey.moments.time_s[rows], found.raw[rows][:, order] - found.rest_raw[order])
