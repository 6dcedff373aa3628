"""The judgement as a JSON document, for other programs: one typed struct a part.

The structs give the JSON, its schema, and a strict reader of it (`msgspec.json.decode`). Speeds are
km/h, distances km, times seconds from the capture's first frame, fractions of speed per cent.
"""

import math
from typing import Any, Literal

import msgspec
import numpy as np

from canwheel.corners import CORNERS, Corner
from canwheel.definitions.layout import SignalPlace, SpeedUnit
from canwheel.fault_memory.against_drive import ReadingChange, Relation
from canwheel.fault_memory.status import CodeState
from canwheel.judgement.proof import Claim, ComparisonVerdict, RepairVerdict
from canwheel.judgement.verdict import CornerJudgement, CornerVerdict, DriveVerdict, Judgement
from canwheel.outcome import EventKind, FaultKind, Figure, Finding
from canwheel.pipeline import Check, CodesBeside, CodesCompared, Comparison
from canwheel.track.coverage import SPEED_BANDS_KPH
from canwheel.track.lamps import LampName
from canwheel.track.units import assumed_scale
from canwheel.views.part import PROGRAM, Part, json_text, utf8


class CapturePart(Part, frozen=True):
    """The recording."""

    file: str
    sha256: str
    frames: int
    first_time: float
    duration_s: float
    unreadable_lines: int
    damage: str
    channel: str


class WheelPart(Part, frozen=True):
    """Where one corner's signal stands."""

    message: str
    frame_id: int
    signal: str
    unit: str


class DefinitionsPart(Part, frozen=True):
    """The DBC and what it gave.

    `speed_unit` is what the wheel signals count in; `assumed` holds what their speed in km/h rests
    on and nobody gave, by its name in the vehicle file.
    """

    file: str
    sha256: str
    wheels: dict[Corner, WheelPart]
    speed_unit: SpeedUnit
    assumed: dict[str, float]


class BandPart(Part, frozen=True):
    """Distance in one speed band; the fastest has no upper end."""

    from_kph: float
    to_kph: float | None
    km: float


class DrivePart(Part, frozen=True):
    """What was driven."""

    distance_km: float
    moving_s: float
    top_speed_kph: float
    stops: int
    straight_s: float
    left_turn_s: float
    right_turn_s: float
    bands: list[BandPart]


class FindingPart(Part, frozen=True):
    """One kind of fault at one corner."""

    kind: FaultKind
    confidence: float
    from_s: float
    to_s: float
    count: int
    says: str
    evidence: dict[str, Figure]


class NotJudgedPart(Part, frozen=True):
    """A kind that the drive could not show, and why."""

    kind: FaultKind
    why: str


class CornerPart(Part, frozen=True):
    """One corner."""

    verdict: CornerVerdict
    typical_error_pct: float | None
    read_km: float
    findings: list[FindingPart]
    not_judged: list[NotJudgedPart]


class EventPart(Part, frozen=True):
    """What looks like a fault and need not be one."""

    kind: EventKind
    corner: Corner | None
    from_s: float
    to_s: float
    says: str


class LampPart(Part, frozen=True):
    """What one warning lamp did."""

    lit_at_start: bool
    went_out_s: float | None
    after_moving_s: float | None
    lit_again_s: float | None
    lit_again_kph: float | None
    out_as_usual: bool | None


class CodePart(Part, frozen=True):
    """One stored code, as the unit reported it and as the open lists explain it."""

    code: str
    meaning: str | None
    failure: str
    corner: Corner | None
    status: int
    status_words: list[str]
    state: CodeState
    note: str


class CodeBesidePart(Part, frozen=True):
    """One code, or one corner's findings, beside the other side."""

    relation: Relation
    corner: Corner | None
    codes: list[str]
    findings: list[FaultKind]
    type_fits: bool | None
    says: str


class CodesPart(Part, frozen=True):
    """A saved reading of stored codes beside a drive. It changes no verdict."""

    file: str
    read_at: str
    vehicle: str | None
    codes: list[CodePart]
    beside_drive: list[CodeBesidePart]


class CodeChangePart(Part, frozen=True):
    """What became of one code between two readings; never a repair by itself."""

    code: str
    corner: Corner | None
    change: ReadingChange
    says: str


class CodesComparedPart(Part, frozen=True):
    """Readings before and after. They change no verdict."""

    before: CodesPart | None
    after: CodesPart | None
    changes: list[CodeChangePart]


CheckSchema = Literal["canwheel-check/1"]
CompareSchema = Literal["canwheel-compare/1"]


class CheckDocument(Part, frozen=True):
    """One drive, judged."""

    schema: CheckSchema
    program: str
    capture: CapturePart
    definitions: DefinitionsPart
    drive: DrivePart
    verdict: DriveVerdict
    corners: dict[Corner, CornerPart]
    events: list[EventPart]
    lamps: dict[LampName, LampPart]
    codes: CodesPart | None
    next_steps: list[str]
    cautions: list[str]


class RepairPart(Part, frozen=True):
    """One corner in both drives."""

    before: list[FaultKind]
    after: list[FaultKind]
    verdict: RepairVerdict


class ClaimPart(Part, frozen=True):
    """That one fault of the first drive is gone."""

    corner: Corner
    kind: FaultKind
    pattern: Literal["constant", "intermittent"]
    proven: bool
    still_there: bool
    count: int
    bunches: int
    before_km: float
    seen_share: float
    confidence: float
    clean_km: float
    clean_km_needed: float
    speed_bands_missing_kph: list[tuple[float, float | None]]
    to_drive: list[str]


class ProofPart(Part, frozen=True):
    """The proof, by the claim that is farthest from it. A band without an upper end has null."""

    confidence: float
    clean_km: float
    clean_km_needed: float
    speed_bands_missing_kph: list[tuple[float, float | None]]
    to_drive: list[str]
    claims: list[ClaimPart]


class CompareDocument(Part, frozen=True):
    """Drives before and after a repair, judged.

    `before` and `after` are the first drive given of each side, `further_before` and
    `further_after` the others; the proof counts all of them.
    """

    schema: CompareSchema
    program: str
    verdict: ComparisonVerdict
    corners: dict[Corner, RepairPart]
    proof: ProofPart
    before: CheckDocument
    after: CheckDocument
    further_before: list[CheckDocument]
    further_after: list[CheckDocument]
    codes: CodesComparedPart | None
    next_steps: list[str]
    cautions: list[str]


def render_json(document: CheckDocument | CompareDocument) -> str:
    """Return the document as JSON text, indented, with a line end."""
    return json_text(document)


def json_schema(document_type: type[CheckDocument | CompareDocument]) -> dict[str, Any]:
    """Return the JSON Schema (2020-12) of a document."""
    return msgspec.json.schema(document_type)


def document_check(check: Check) -> CheckDocument:
    """Put one drive's judgement into its document."""
    summary, judgement = check.summary, check.judgement
    return CheckDocument(
        schema="canwheel-check/1",
        program=PROGRAM,
        capture=CapturePart(
            file=utf8(summary.file),
            sha256=summary.sha256,
            frames=summary.frames,
            first_time=summary.first_time_ns / 1e9,
            duration_s=round(summary.duration_s, 3),
            unreadable_lines=summary.unreadable_lines,
            damage=summary.damage,
            channel=check.channel,
        ),
        definitions=DefinitionsPart(
            file=utf8(check.layout.file),
            sha256=check.definitions_sha256,
            wheels={corner: _wheel(check.layout.wheel(corner)) for corner in CORNERS},
            speed_unit=check.layout.unit,
            assumed=assumed_scale(check.layout.unit, check.vehicle),
        ),
        drive=_drive(judgement),
        verdict=judgement.verdict,
        corners={judged.corner: _corner(judged) for judged in judgement.corners},
        events=[
            EventPart(event.kind, event.corner, _ms(event.from_s), _ms(event.to_s), event.says)
            for event in judgement.events
        ],
        lamps={
            lamp.name: LampPart(
                lamp.lit_at_start,
                _ms_or_none(lamp.went_out_s),
                _ms_or_none(lamp.after_moving_s),
                _ms_or_none(lamp.lit_again_s),
                None if lamp.lit_again_kph is None else round(lamp.lit_again_kph, 1),
                lamp.out_as_usual,
            )
            for lamp in judgement.lamps
        },
        codes=None if check.codes is None else _codes(check.codes),
        next_steps=list(check.next_steps),
        cautions=[utf8(caution) for caution in check.cautions],
    )


def document_comparison(comparison: Comparison) -> CompareDocument:
    """Put two drives' judgement into its document."""
    proof = comparison.proof
    return CompareDocument(
        schema="canwheel-compare/1",
        program=PROGRAM,
        verdict=proof.verdict,
        corners={
            repair.corner: RepairPart(list(repair.before), list(repair.after), repair.verdict)
            for repair in proof.corners
        },
        proof=ProofPart(
            confidence=round(proof.confidence, 4),
            clean_km=round(proof.clean_km, 3),
            clean_km_needed=round(proof.clean_km_needed, 3),
            speed_bands_missing_kph=_bands(proof.speed_bands_missing_kph),
            to_drive=list(proof.to_drive.phrases),
            claims=[_claim(claim) for claim in proof.claims],
        ),
        before=document_check(comparison.before),
        after=document_check(comparison.after),
        further_before=[document_check(drive) for drive in comparison.further_before],
        further_after=[document_check(drive) for drive in comparison.further_after],
        codes=None if comparison.codes is None else _codes_compared(comparison.codes),
        next_steps=list(comparison.next_steps),
        cautions=[utf8(caution) for caution in comparison.cautions],
    )


def _wheel(place: SignalPlace) -> WheelPart:
    return WheelPart(place.message, place.frame_id, place.signal, place.unit)


def _drive(judgement: Judgement) -> DrivePart:
    coverage = judgement.coverage
    whole = np.ones(len(coverage.driving.time_s), np.bool_)
    band_km = coverage.driving.km_where(whole).sum(axis=1)
    return DrivePart(
        distance_km=round(coverage.distance_km, 3),
        moving_s=round(coverage.moving_s, 1),
        top_speed_kph=round(coverage.top_speed_kph, 1),
        stops=coverage.stops,
        straight_s=round(coverage.straight_s, 1),
        left_turn_s=round(coverage.left_turn_s, 1),
        right_turn_s=round(coverage.right_turn_s, 1),
        bands=[
            BandPart(low, None if math.isinf(high) else high, round(float(km), 3))
            for (low, high), km in zip(SPEED_BANDS_KPH, band_km, strict=True)
        ],
    )


def _corner(judged: CornerJudgement) -> CornerPart:
    error_pct = judged.typical_error_pct
    return CornerPart(
        verdict=judged.verdict,
        typical_error_pct=None if error_pct is None else round(error_pct, 2),
        read_km=round(judged.coverage.read_km, 3),
        findings=[_finding(finding) for finding in judged.findings],
        not_judged=[NotJudgedPart(entry.kind, entry.why) for entry in judged.not_judged],
    )


def _finding(finding: Finding) -> FindingPart:
    return FindingPart(
        kind=finding.kind,
        confidence=finding.confidence,
        from_s=_ms(finding.from_s),
        to_s=_ms(finding.to_s),
        count=finding.count,
        says=finding.says,
        evidence=dict(finding.evidence),
    )


def _claim(claim: Claim) -> ClaimPart:
    return ClaimPart(
        corner=claim.corner,
        kind=claim.kind,
        pattern=claim.pattern,
        proven=claim.proven,
        still_there=claim.still_there,
        count=claim.count,
        bunches=claim.bunches,
        before_km=round(claim.before_km, 3),
        seen_share=round(claim.seen_share, 3),
        confidence=round(claim.confidence, 4),
        clean_km=round(claim.clean_km, 3),
        clean_km_needed=round(claim.clean_km_needed, 3),
        speed_bands_missing_kph=_bands(claim.speed_bands_missing_kph),
        to_drive=list(claim.to_drive.phrases),
    )


def _codes(codes: CodesBeside) -> CodesPart:
    reading = codes.reading
    return CodesPart(
        file=utf8(codes.file),
        read_at=reading.read_at,
        vehicle=reading.vehicle,
        codes=[
            CodePart(
                code=code.code,
                meaning=code.meaning,
                failure=code.failure,
                corner=code.corner,
                status=code.status,
                status_words=list(code.status_words),
                state=code.state,
                note=code.note,
            )
            for code in reading.codes
        ],
        beside_drive=[
            CodeBesidePart(
                relation=one.relation,
                corner=one.corner,
                codes=list(one.codes),
                findings=list(one.findings),
                type_fits=one.type_fits,
                says=one.says,
            )
            for one in codes.beside
        ],
    )


def _codes_compared(codes: CodesCompared) -> CodesComparedPart:
    return CodesComparedPart(
        before=None if codes.before is None else _codes(codes.before),
        after=None if codes.after is None else _codes(codes.after),
        changes=[
            CodeChangePart(change.code, change.corner, change.change, change.says)
            for change in codes.changes
        ],
    )


def _bands(bands: tuple[tuple[float, float], ...]) -> list[tuple[float, float | None]]:
    return [(low, None if math.isinf(high) else high) for low, high in bands]


def _ms(time_s: float) -> float:
    """To the millisecond."""
    return round(time_s, 3)


def _ms_or_none(time_s: float | None) -> float | None:
    return None if time_s is None else _ms(time_s)
