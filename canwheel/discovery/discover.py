"""Frames to proposals: where the four wheel speeds stand, without a DBC."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from canwheel.capture import read_capture
from canwheel.capture.source import Progress
from canwheel.capture.summary import CaptureSummary
from canwheel.corners import CORNERS
from canwheel.discovery.completing import complete_groups
from canwheel.discovery.fields import Field, payload_bits
from canwheel.discovery.hints import Hints
from canwheel.discovery.length import full_length, still_value
from canwheel.discovery.motion import RigidBody, fit_rigid_body
from canwheel.discovery.placing import Placing, place_fields, tell_sides
from canwheel.discovery.proposal import (
    Bus,
    Candidate,
    Discovery,
    FieldState,
    Figures,
    Scale,
    SetKind,
    SidesBy,
    Traces,
    WheelField,
)
from canwheel.discovery.reasons import give_reasons, give_warnings, next_steps
from canwheel.discovery.rest import infer_rest
from canwheel.discovery.scale import (
    no_scale,
    scale_by_habit,
    scale_by_held_speeds,
    scale_by_track,
)
from canwheel.discovery.search import FourFields, find_fours
from canwheel.discovery.survey import Survey, survey_frames
from canwheel.discovery.three import ThreeFields, find_threes, three_of_four
from canwheel.errors import RequestError
from canwheel.frames import Frames

MOST_SHOWN = 6
"""Candidates beyond these are of no use to anybody."""

_SAME_SPEED = 0.99
"""Correlation of two sets of which one repeats the other."""

_COARSER = 0.7
"""A set with less than this share of another's steps is its coarse copy."""

_FINER = 0.04
"""Twice as many steps outweigh so much of the cost: of two sets that are both wheels, the finer one
comes first."""

_TRACE_POINTS = 1200

FloatColumn = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class _Set:
    """Four places, one of them perhaps dead, before anybody asks which corner is which.

    Attributes
    ----------
    kind : numbers or pulse counters.
    places : message, byte order and lowest bit of each.
    states : of each.
    ratios : of each, None for a dead one.
    length, moving_bits : bits of each, and those of them that moved.
    raw : (t, 4), of a dead one what it says.
    rest_raw, rest_s : (4,) where the car stands, and how long that was seen.
    moving : (t,) when the car moved.
    sides : (t,) positive while the first half runs faster.
    halves, front : as for ``place_fields``.
    axles_by_turns : whether turns told `front`.
    front_sure, turn, across, spread : as in ``RigidBody``.
    cost : for ranking.
    """

    fields: tuple[Field, ...]
    places: tuple[tuple[int, str, int], ...]
    states: tuple[FieldState, ...]
    ratios: tuple[float | None, ...]
    length: int
    moving_bits: int
    raw: NDArray[np.float64]
    rest_raw: NDArray[np.float64]
    rest_s: float
    moving: NDArray[np.bool_]
    sides: FloatColumn
    halves: tuple[tuple[int, int], tuple[int, int]] | None
    front: tuple[int, int] | None
    axles_by_turns: bool
    front_sure: float
    turn: float
    across: float
    spread: float
    cost: float

    @property
    def is_pulses(self) -> bool:
        """Whether it counts pulses."""
        return self.fields[0].kind == "pulse counter"

    @property
    def live(self) -> list[int]:
        """Positions of the live fields."""
        return [k for k, state in enumerate(self.states) if state == "live"]

    def steps(self) -> FloatColumn:
        """Mean raw steps of the live ones above rest. (t,)"""
        live = self.live
        mean: FloatColumn = np.abs(self.raw[:, live] - self.rest_raw[live]).mean(axis=1)
        return mean


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
    CaptureError : the recording cannot be read.
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
    RequestError : a hint does not fit the best candidate.
    """
    hints = hints or Hints()
    survey = survey_frames(frames, first_time_ns)
    bus = Bus(len(survey.streams), len(survey.fields))
    if not survey.fields:
        return Discovery((), bus, next_steps(None))
    told = _told_apart(survey, _ranked(survey)[:MOST_SHOWN], hints)
    candidates: list[Candidate] = []
    sets = [found for found, _ in told]
    for found, left in told:
        own = hints if not candidates else replace(hints, speeds=(), track=None)
        candidates.append(
            _candidate(survey, found, left, own, first_time_ns / 1e9, candidates, sets)
        )
    return Discovery(tuple(candidates), bus, next_steps(candidates[0] if candidates else None))


def _told_apart(
    survey: Survey, sets: Sequence[_Set], hints: Hints
) -> list[tuple[_Set, tuple[bool, SidesBy] | None]]:
    """Return the sets with what tells their sides; those that the hints contradict come last.

    Raises
    ------
    RequestError : the hints contradict them all.
    """
    fitting: list[tuple[_Set, tuple[bool, SidesBy] | None]] = []
    contradicted: list[tuple[_Set, tuple[bool, SidesBy] | None]] = []
    first_error: RequestError | None = None
    for found in sets:
        if found.halves is None:
            fitting.append((found, None))
            continue
        try:
            fitting.append((found, tell_sides(survey, found.sides, hints)))
        except RequestError as error:
            first_error = first_error or error
            contradicted.append((found, None))
    if first_error is not None and not any(left for _, left in fitting):
        raise first_error
    return fitting + contradicted


def _ranked(survey: Survey) -> list[_Set]:
    """All sets, the best first; none has a bit in common with a better one."""
    survey, groups = complete_groups(survey)
    fours, without = find_fours(survey, groups)
    sets = []
    for four in fours:
        three = None if four.body.halves is not None else three_of_four(survey, four)
        sets.append(_set_of_four(survey, four) if three is None else _set_of_three(survey, three))
    sets += [_set_of_three(survey, three) for three in find_threes(survey, without)]
    sets.sort(key=_rank)
    taken: dict[int, set[int]] = {}
    kept = []
    for each in sets:
        bits = [
            (stream, payload_bits(survey.place(stream, order, lsb, each.moving_bits)))
            for stream, order, lsb in each.places
        ]
        if all(taken.get(stream, set()).isdisjoint(mine) for stream, mine in bits):
            kept.append(each)
            for stream, mine in bits:
                taken.setdefault(stream, set()).update(mine)
    return kept


def _rank(found: _Set) -> tuple[bool, float]:
    """What sets are ordered by: speeds before pulses, cost, and how finely it counts."""
    steps = max(1.0, float(np.percentile(found.steps(), 99)))
    return found.is_pulses, found.cost - _FINER * float(np.log2(steps))


def _set_of_four(survey: Survey, four: FourFields) -> _Set:
    body: RigidBody = four.body
    places = tuple((f.stream, f.byte_order, f.lsb) for f in four.fields)
    raw, rest_raw, length = four.raw, four.rest_raw, four.length
    if four.fields[0].kind == "number":
        length, above = _with_still_bits(survey, places, length, raw, rest_raw)
        raw = raw + above
        rest_raw = rest_raw + above
        if four.rest is None:
            inferred = infer_rest(survey, raw.mean(axis=1), four.fields)
            rest_raw = np.full(4, 0.0 if inferred is None else inferred)
            body = fit_rigid_body(survey.moments.time_s, np.maximum(raw - rest_raw, 0.0))
    return _Set(
        fields=four.fields,
        places=places,
        states=("live",) * 4,
        ratios=body.ratio,
        length=length,
        moving_bits=four.length,
        raw=raw,
        rest_raw=rest_raw,
        rest_s=0.0 if four.rest is None else four.rest.seen_s,
        moving=body.moving,
        sides=body.sides,
        halves=body.halves,
        front=body.front,
        axles_by_turns=True,
        front_sure=body.front_sure,
        turn=body.turn,
        across=body.across,
        spread=body.spread,
        cost=four.cost,
    )


def _with_still_bits(
    survey: Survey,
    places: tuple[tuple[int, str, int], ...],
    length: int,
    raw: NDArray[np.float64],
    rest_raw: NDArray[np.float64],
) -> tuple[int, int]:
    """Return the full length, and what the still bits in it add to the values."""
    steps = np.abs(raw - rest_raw).mean(axis=1)
    whole = full_length(survey, places, length, steps, float(np.median(rest_raw)))
    return whole, still_value(survey, places[0], length, whole)


def _set_of_three(survey: Survey, three: ThreeFields) -> _Set:
    fourth, geometry = three.fourth, three.geometry
    order = three.fields[0].byte_order
    places = [(f.stream, f.byte_order, f.lsb) for f in three.fields]
    places.append((fourth.stream, order, fourth.lsb))
    length, above = _with_still_bits(survey, tuple(places), three.length, three.raw, three.rest_raw)
    bits = survey.place(fourth.stream, order, fourth.lsb, length)
    rest_raw = three.rest_raw + above
    if three.rest is None:
        inferred = infer_rest(survey, three.raw.mean(axis=1) + above, three.fields)
        rest_raw = np.full(3, 0.0 if inferred is None else inferred)
    halves = front = None
    by_turns = False
    if geometry.pair is not None and geometry.alone is not None:
        halves = ((geometry.alone, 3), geometry.pair)
        pair_front = geometry.pair[0]
        is_front, by_turns = geometry.alone_is_front, geometry.alone_is_front is not None
        if is_front is None:  # its place in the message is all there is to go by
            is_front = _is_mate(places, geometry.alone, pair_front, geometry.pair[1])
        front = (geometry.alone if is_front else 3, pair_front)
    return _Set(
        fields=three.fields,
        places=tuple(places),
        states=("live", "live", "live", fourth.state),
        ratios=(*geometry.ratio, None),
        length=length,
        moving_bits=three.length,
        raw=np.column_stack([three.raw + above, survey.held(fourth.stream, bits)]),
        rest_raw=np.append(rest_raw, np.median(rest_raw)),
        rest_s=0.0 if three.rest is None else three.rest.seen_s,
        moving=geometry.moving,
        sides=geometry.sides,
        halves=halves,
        front=front,
        axles_by_turns=by_turns,
        front_sure=geometry.front_sure,
        turn=geometry.turn,
        across=float("nan"),
        spread=three.spread,
        cost=three.cost,
    )


def _is_mate(places: Sequence[tuple[int, str, int]], alone: int, front: int, rear: int) -> bool:
    """Whether, by where they stand, a field belongs to the front one's axle and not the rear's."""

    def apart(one: int, other: int) -> tuple[bool, int]:
        (a, _, at), (b, _, bt) = places[one], places[other]
        return a != b, abs(at - bt)

    in_order = sorted(range(4), key=lambda k: (places[k][0], _reading_order(places[k])))
    axle = {k: n // 2 for n, k in enumerate(in_order)}
    if axle[alone] == axle[front] and axle[alone] != axle[rear]:
        return True
    if axle[alone] == axle[rear] and axle[alone] != axle[front]:
        return False
    return apart(alone, front) <= apart(alone, rear)


def _reading_order(place: tuple[int, str, int]) -> int:
    """Place in the payload, first byte first."""
    _, byte_order, lsb = place
    return -lsb if byte_order == "little_endian" else lsb


def _candidate(
    survey: Survey,
    found: _Set,
    left: tuple[bool, SidesBy] | None,
    hints: Hints,
    first_time_s: float,
    better: Sequence[Candidate],
    sets: Sequence[_Set],
) -> Candidate:
    placing = place_fields(
        found.halves,
        found.front,
        "tight turns" if found.axles_by_turns else "place in the message",
        left,
        [(place[0], _reading_order(place)) for place in found.places],
    )
    copy_of, kind = _kind(found, better, sets)
    figures = _figures(survey, found)
    scale = no_scale() if found.is_pulses else _scale(survey, found, hints, first_time_s)
    candidate = Candidate(
        kind=kind,
        fields=_wheel_fields(survey, found, placing),
        rest_raw=float(np.median(found.rest_raw)),
        rest_seen=found.rest_s > 0,
        axles_by=placing.axles_by,
        sides_by=placing.sides_by,
        scale=scale,
        figures=figures,
        reasons=(),
        warnings=(),
        traces=_traces(survey, found, placing),
        copy_of=copy_of,
    )
    return replace(candidate, reasons=give_reasons(candidate), warnings=give_warnings(candidate))


def _wheel_fields(
    survey: Survey, found: _Set, placing: Placing
) -> tuple[WheelField, WheelField, WheelField, WheelField]:
    fields = []
    for corner, at in zip(CORNERS, placing.order, strict=True):
        number, order, lsb = found.places[at]
        stream = survey.streams[number]
        fields.append(
            WheelField(
                channel=stream.channel,
                can_id=stream.can_id,
                extended=stream.extended,
                payload_bytes=stream.data.shape[1],
                period_s=stream.period_s,
                bits=survey.place(number, order, lsb, found.length),
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


def _kind(
    found: _Set, better: Sequence[Candidate], sets: Sequence[_Set]
) -> tuple[int | None, SetKind]:
    """What a set is, and of which better one it is a copy."""
    if found.is_pulses:
        return None, "pulse counters"
    mine = found.steps()
    for position, candidate in enumerate(better):
        if candidate.kind != "wheel speeds":
            continue
        theirs = sets[position].steps()
        if float(np.corrcoef(mine, theirs)[0, 1]) < _SAME_SPEED:
            continue
        coarser = np.percentile(mine, 99) < _COARSER * np.percentile(theirs, 99)
        return position, "coarse copy" if coarser else "copy"
    return None, "wheel speeds"


def _scale(survey: Survey, found: _Set, hints: Hints, first_time_s: float) -> Scale:
    time_s, steps = survey.moments.time_s, found.steps()
    if hints.track is not None:
        return scale_by_track(time_s, steps, first_time_s, hints.track)
    if hints.speeds:
        return scale_by_held_speeds(time_s, steps, hints.speeds)
    return scale_by_habit(steps)


def _figures(survey: Survey, found: _Set) -> Figures:
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


def _others_at_rest(survey: Survey, found: _Set) -> int:
    """How many other numbers stand at their lowest while these rest, and go along with them."""
    steps = found.steps()
    resting = steps == 0
    if not resting.any() or resting.all():
        return 0
    own = {(stream, order, lsb) for stream, order, lsb in found.places}
    count = 0
    for field, value in zip(survey.fields, survey.moments.value, strict=True):
        if (field.stream, field.byte_order, field.lsb) in own or np.ptp(value) == 0:
            continue
        low, high = np.percentile(value, (1, 99))
        at_rest = float(np.percentile(value[resting], 90))
        if high > low and at_rest - low <= 0.02 * (high - low):
            count += float(np.corrcoef(value, steps)[0, 1]) > 0.9  # noqa: PLR2004
    return count


def _traces(survey: Survey, found: _Set, placing: Placing) -> Traces:
    at = np.linspace(0, len(survey.moments.time_s) - 1, _TRACE_POINTS)
    rows = np.unique(at.astype(np.intp))
    order = list(placing.order)
    steps = found.raw[rows][:, order] - found.rest_raw[order]
    return Traces(survey.moments.time_s[rows], steps)
