"""Findings and what was driven, to a verdict: of each corner, and of the drive."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from canwheel.corners import CORNERS, Corner
from canwheel.outcome import Event, Finding, NotJudged, Outcome
from canwheel.track.coverage import CornerCoverage, Coverage
from canwheel.track.lamps import Lamp

CornerVerdict = Literal["sound", "faulty", "doubtful", "untested"]
DriveVerdict = Literal["all_sound", "fault_found", "not_enough_driving"]

SOUND_NEEDS_KM = 0.3
"""A corner is called sound only when it was read for this distance with the car above 15 km/h, the
speed by which UN Regulation 13-H wants a sensor fault told. 0.3 km is half a minute of town
driving and some 150 turns of the wheel (our choice, no source). [km]"""

ACT_ON_CONFIDENCE = 0.9
"""From this confidence on a finding is acted on; below it the corner is doubtful. A wrong part
costs the customer more than another drive, so one error in ten is the most that is borne (our
choice, no source)."""


@dataclass(frozen=True, slots=True, eq=False)
class CornerJudgement:
    """What the drive says of one corner.

    Attributes
    ----------
    corner, verdict : which, and what.
    findings : the surest first.
    not_judged : kinds that the drive could not show here, and why.
    typical_error_pct : usual difference to what the other three say, None when there is none. [%]
    coverage : what the drive asked of the corner.
    """

    corner: Corner
    verdict: CornerVerdict
    findings: tuple[Finding, ...]
    not_judged: tuple[NotJudged, ...]
    typical_error_pct: float | None
    coverage: CornerCoverage

    @property
    def faults(self) -> tuple[Finding, ...]:
        """The findings that are sure enough to act on."""
        return tuple(f for f in self.findings if f.confidence >= ACT_ON_CONFIDENCE)

    @property
    def may_have_dropped_out(self) -> bool:
        """Whether it read nothing where a locked wheel explains it, and a lost signal as well."""
        return any(entry.kind == "dropout" for entry in self.not_judged)


@dataclass(frozen=True, slots=True, eq=False)
class Judgement:
    """What the drive says of the car.

    Attributes
    ----------
    verdict : of the whole drive.
    corners : one a corner, in corner order.
    events : what looked like a fault and need not be one.
    coverage : what was driven.
    lamps : what the warning lamps did, where they have signals.
    """

    verdict: DriveVerdict
    corners: tuple[CornerJudgement, CornerJudgement, CornerJudgement, CornerJudgement]
    events: tuple[Event, ...]
    coverage: Coverage
    lamps: tuple[Lamp, ...]

    def corner(self, corner: Corner) -> CornerJudgement:
        """Return what is said of one corner."""
        return self.corners[corner.position]

    def with_verdict(self, *verdicts: CornerVerdict) -> tuple[CornerJudgement, ...]:
        """Return the corners of which one of these verdicts was given."""
        return tuple(judged for judged in self.corners if judged.verdict in verdicts)


def judge_drive(
    outcome: Outcome,
    coverage: Coverage,
    *,
    typical_error_pct: Sequence[float | None] = (None,) * len(CORNERS),
    lamps: tuple[Lamp, ...] = (),
) -> Judgement:
    """Turn what was found into a verdict.

    Parameters
    ----------
    outcome : of all checks together.
    coverage : what was driven.
    typical_error_pct : one a corner, None or NaN where there is none. [%]
    lamps : what the warning lamps did.
    """
    front_left, front_right, rear_left, rear_right = (
        _judge_corner(corner, outcome, coverage, typical_error_pct[corner.position])
        for corner in CORNERS
    )
    corners = (front_left, front_right, rear_left, rear_right)
    return Judgement(
        verdict=_drive_verdict({judged.verdict for judged in corners}),
        corners=corners,
        events=outcome.events,
        coverage=coverage,
        lamps=lamps,
    )


def _judge_corner(
    corner: Corner, outcome: Outcome, coverage: Coverage, typical_error_pct: float | None
) -> CornerJudgement:
    findings = sorted(
        (finding for finding in outcome.findings if finding.corner is corner),
        key=lambda finding: (-finding.confidence, finding.from_s),
    )
    covered = coverage.corners[corner.position]
    return CornerJudgement(
        corner=corner,
        verdict=_corner_verdict(findings, covered),
        findings=tuple(findings),
        not_judged=tuple(entry for entry in outcome.not_judged if entry.corner is corner),
        typical_error_pct=_number_or_none(typical_error_pct),
        coverage=covered,
    )


def _number_or_none(value: float | None) -> float | None:
    return None if value is None or math.isnan(value) else float(value)


def _corner_verdict(findings: Sequence[Finding], covered: CornerCoverage) -> CornerVerdict:
    if findings and findings[0].confidence >= ACT_ON_CONFIDENCE:
        return "faulty"
    if findings:
        return "doubtful"
    return "sound" if covered.read_km >= SOUND_NEEDS_KM else "untested"


def _drive_verdict(verdicts: set[CornerVerdict]) -> DriveVerdict:
    if "faulty" in verdicts:
        return "fault_found"
    return "all_sound" if verdicts == {"sound"} else "not_enough_driving"
