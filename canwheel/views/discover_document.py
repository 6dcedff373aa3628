"""What was found without a DBC, as a JSON document; the page is made of it too.

``DiscoverDocument.candidates`` holds the proposals, the best first. A candidate's ``fields`` are
four, in the order front left, front right, rear left, rear right of ``place``; ``corner`` is null
where nothing tells, and ``place`` is then one of the possible answers. ``traces`` has one column of
times and one column a field: raw steps above rest; times ``scale.step_kph`` they are km/h, where
that is not null. `reasons` speak for a candidate, `warnings` say what is not known of it.
"""

from typing import Any, Literal

import msgspec
import numpy as np

from canwheel.capture.summary import CaptureSummary
from canwheel.corners import Corner
from canwheel.definitions.layout import ByteOrder
from canwheel.discovery.confirm import (
    Confirmation,
    ConfirmVerdict,
    PointName,
    PointOutcome,
)
from canwheel.discovery.proposal import (
    AxlesBy,
    Candidate,
    Discovery,
    FieldState,
    ScaleBy,
    SetKind,
    SidesBy,
    WheelField,
)
from canwheel.views.part import PROGRAM, Part, json_text, utf8


class SearchedPart(Part, frozen=True):
    """The recording, and what was looked through."""

    file: str
    sha256: str
    frames: int
    first_time: float
    duration_s: float
    unreadable_lines: int
    messages: int
    numbers: int


class FieldPart(Part, frozen=True):
    """One of the four fields. `start` and `byte_order` are as a DBC tells them."""

    corner: Corner | None
    place: Corner
    state: FieldState
    channel: str
    frame_id: int
    extended: bool
    payload_bytes: int
    period_ms: float
    start: int
    length: int
    byte_order: ByteOrder
    moving_bits: int
    ratio: float | None
    rest_raw: float


class ScalePart(Part, frozen=True):
    """What one raw step is worth, and by which evidence; null where nothing tells."""

    step_kph: float | None
    low_kph: float | None
    high_kph: float | None
    by: ScaleBy
    says: str


class FiguresPart(Part, frozen=True):
    """The figures behind the reasons."""

    straight_spread_pct: float
    turn_pct: float
    flag_residual_pct: float | None
    front_sure: float
    rest_s: float
    moving_s: float
    steps: int
    others_at_rest: int


class TracesPart(Part, frozen=True):
    """The four over time: raw steps above rest, in the order of the fields."""

    time_s: list[float]
    steps: list[list[float]]


class CandidatePart(Part, frozen=True):
    """One set of four fields."""

    rank: int
    kind: SetKind
    copy_of: int | None
    channel: str
    fields: list[FieldPart]
    rest_raw: float
    rest_seen: bool
    axles_by: AxlesBy
    sides_by: SidesBy
    scale: ScalePart
    figures: FiguresPart
    reasons: list[str]
    warnings: list[str]
    traces: TracesPart


DiscoverSchema = Literal["canwheel-discover/1"]


class DiscoverDocument(Part, frozen=True):
    """Where the wheel speeds stand, as far as one drive tells. A proposal, never a verdict."""

    schema: DiscoverSchema
    program: str
    capture: SearchedPart
    found: bool
    candidates: list[CandidatePart]
    next_steps: list[str]
    cautions: list[str]


class PointPart(Part, frozen=True):
    """One thing that a second drive can show of a proposal."""

    name: PointName
    outcome: PointOutcome
    says: str


ConfirmSchema = Literal["canwheel-confirm/1"]


class ConfirmDocument(Part, frozen=True):
    """What a second drive says of a proposal."""

    schema: ConfirmSchema
    program: str
    definitions: str
    capture: str
    sha256: str
    verdict: ConfirmVerdict
    points: list[PointPart]


CAUTION = (
    "This is a proposal. Confirm it against a known speed and a known turn before anybody buys a"
    " part on its word."
)


def render_discover_json(document: DiscoverDocument | ConfirmDocument) -> str:
    """Return the document as JSON text, indented, with a line end."""
    return json_text(document)


def discover_json_schema(
    document_type: type[DiscoverDocument | ConfirmDocument] = DiscoverDocument,
) -> dict[str, Any]:
    """Return the JSON Schema (2020-12) of a document."""
    return msgspec.json.schema(document_type)


def document_confirmation(confirmation: Confirmation) -> ConfirmDocument:
    """Put what a second drive says into its document."""
    return ConfirmDocument(
        schema="canwheel-confirm/1",
        program=PROGRAM,
        definitions=utf8(confirmation.dbc),
        capture=utf8(confirmation.summary.file),
        sha256=confirmation.summary.sha256,
        verdict=confirmation.verdict,
        points=[PointPart(p.name, p.outcome, p.says) for p in confirmation.points],
    )


def document_discovery(summary: CaptureSummary, discovery: Discovery) -> DiscoverDocument:
    """Put a discovery into its document."""
    return DiscoverDocument(
        schema="canwheel-discover/1",
        program=PROGRAM,
        capture=SearchedPart(
            file=utf8(summary.file),
            sha256=summary.sha256,
            frames=summary.frames,
            first_time=summary.first_time_ns / 1e9,
            duration_s=round(summary.duration_s, 3),
            unreadable_lines=summary.unreadable_lines,
            messages=discovery.bus.messages,
            numbers=discovery.bus.numbers,
        ),
        found=bool(discovery.candidates),
        candidates=[
            _candidate(rank, candidate)
            for rank, candidate in enumerate(discovery.candidates, start=1)
        ],
        next_steps=list(discovery.next_steps),
        cautions=[CAUTION],
    )


def _candidate(rank: int, candidate: Candidate) -> CandidatePart:
    figures, scale = candidate.figures, candidate.scale
    return CandidatePart(
        rank=rank,
        kind=candidate.kind,
        copy_of=None if candidate.copy_of is None else candidate.copy_of + 1,
        channel=candidate.fields[0].channel,
        fields=[_field(field) for field in candidate.fields],
        rest_raw=candidate.rest_raw,
        rest_seen=candidate.rest_seen,
        axles_by=candidate.axles_by,
        sides_by=candidate.sides_by,
        scale=ScalePart(
            _figures(scale.kph, 6),
            _figures(scale.low_kph, 6),
            _figures(scale.high_kph, 6),
            scale.by,
            scale.says,
        ),
        figures=FiguresPart(
            straight_spread_pct=round(figures.straight_spread_pct, 2),
            turn_pct=round(figures.turn_pct, 1),
            flag_residual_pct=_figures(figures.flag_residual_pct, 3),
            front_sure=round(figures.front_sure, 1),
            rest_s=round(figures.rest_s, 1),
            moving_s=round(figures.moving_s, 1),
            steps=figures.steps,
            others_at_rest=figures.others_at_rest,
        ),
        reasons=list(candidate.reasons),
        warnings=list(candidate.warnings),
        traces=TracesPart(
            time_s=[round(time_s, 3) for time_s in candidate.traces.time_s.tolist()],
            steps=np.round(candidate.traces.steps.T, 1).tolist(),
        ),
    )


def _field(field: WheelField) -> FieldPart:
    return FieldPart(
        corner=field.corner,
        place=field.place,
        state=field.state,
        channel=field.channel,
        frame_id=field.can_id,
        extended=field.extended,
        payload_bytes=field.payload_bytes,
        period_ms=round(1000 * field.period_s, 2),
        start=field.bits.start,
        length=field.bits.length,
        byte_order=field.bits.byte_order,
        moving_bits=field.moving_bits,
        ratio=_figures(field.ratio, 5),
        rest_raw=field.rest_raw,
    )


def _figures(value: float | None, digits: int) -> float | None:
    return None if value is None else float(f"{value:.{digits}g}")
