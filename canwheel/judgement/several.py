"""Several drives of one car in one state, before a repair or after it, judged as one long drive.

Distances add up, and so does what was found. Every drive is given its own stretch of one common
time axis, so that a finding's spans still tell where on the way it showed.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from canwheel.corners import CORNERS, Corner
from canwheel.judgement.verdict import Judgement, judge_drive
from canwheel.outcome import (
    GOES_WITH_BAND,
    GOES_WITH_TURN,
    Event,
    FaultKind,
    Finding,
    NotJudged,
    Outcome,
    Span,
)
from canwheel.track.coverage import CornerCoverage, Coverage, Driving

_PAUSE_S = 1.0
"""Between two drives on the common time axis, so that no span reaches into the next one. [s]"""


def merge_drives(drives: Sequence[Judgement]) -> Judgement:
    """Put several drives together.

    Parameters
    ----------
    drives : in the order in which they were given, at least one.

    Returns
    -------
    One judgement: distances, findings and events of all. One kind of fault at one corner is one
    finding, however many drives show it. A kind counts as not judged only where no drive could
    show it. Lamps are those of the last drive: each start of the car has its own.
    """
    if len(drives) == 1:
        return drives[0]
    starts_s = _starts_s(drives)
    return judge_drive(
        Outcome(
            findings=_merge_findings(drives, starts_s),
            events=tuple(
                _later_event(event, start_s)
                for drive, start_s in zip(drives, starts_s, strict=True)
                for event in drive.events
            ),
            not_judged=tuple(entry for corner in CORNERS for entry in _unseen(drives, corner)),
        ),
        _merge_coverage([drive.coverage for drive in drives], starts_s),
        typical_error_pct=[_typical_error_pct(drives, corner) for corner in CORNERS],
        lamps=drives[-1].lamps,
    )


def _starts_s(drives: Sequence[Judgement]) -> list[float]:
    """When each drive begins on the common axis. [s]"""
    lengths_s = [_last_s(drive) + _PAUSE_S for drive in drives]
    return [0.0, *np.cumsum(lengths_s[:-1]).tolist()]


def _last_s(drive: Judgement) -> float:
    ends_s = [finding.to_s for judged in drive.corners for finding in judged.findings]
    ends_s += [event.to_s for event in drive.events]
    return max([*ends_s, float(np.max(drive.coverage.driving.time_s, initial=0.0))])


def _merge_findings(drives: Sequence[Judgement], starts_s: Sequence[float]) -> tuple[Finding, ...]:
    alike: defaultdict[tuple[Corner, FaultKind], list[Finding]] = defaultdict(list)
    for drive, start_s in zip(drives, starts_s, strict=True):
        for judged in drive.corners:
            for finding in judged.findings:
                alike[finding.corner, finding.kind].append(_later_finding(finding, start_s))
    return tuple(_as_one(findings) for findings in alike.values())


def _as_one(findings: Sequence[Finding]) -> Finding:
    """One finding of several of a kind: what the surest says, and when all of them showed."""
    surest = max(findings, key=lambda finding: finding.confidence)
    evidence = dict(surest.evidence)
    for key in (GOES_WITH_TURN, GOES_WITH_BAND):
        # It goes with a condition only as long as no drive says otherwise.
        if any(finding.evidence.get(key) != evidence.get(key) for finding in findings):
            evidence.pop(key, None)
    return replace(
        surest,
        spans=tuple(span for finding in findings for span in finding.spans),
        count=sum(finding.count for finding in findings),
        evidence=evidence,
    )


def _later_finding(finding: Finding, start_s: float) -> Finding:
    spans = tuple(Span(span.from_s + start_s, span.to_s + start_s) for span in finding.spans)
    return replace(finding, spans=spans)


def _later_event(event: Event, start_s: float) -> Event:
    return replace(event, from_s=event.from_s + start_s, to_s=event.to_s + start_s)


def _unseen(drives: Sequence[Judgement], corner: Corner) -> list[NotJudged]:
    """Kinds that no drive could show at a corner; the last drive says why."""
    kinds = [{entry.kind for entry in drive.corner(corner).not_judged} for drive in drives]
    never = set.intersection(*kinds)
    return [entry for entry in drives[-1].corner(corner).not_judged if entry.kind in never]


def _typical_error_pct(drives: Sequence[Judgement], corner: Corner) -> float | None:
    """Root of the mean square, each drive by the distance on which the corner was read. [%]"""
    known = [
        (judged.typical_error_pct, judged.coverage.read_km)
        for judged in (drive.corner(corner) for drive in drives)
        if judged.typical_error_pct is not None and judged.coverage.read_km > 0
    ]
    if not known:
        return None
    error_pct, km = np.array(known).T
    return float(np.sqrt(np.average(error_pct**2, weights=km)))


def _merge_coverage(drives: Sequence[Coverage], starts_s: Sequence[float]) -> Coverage:
    moving = [
        drive.first_moving_s + start_s
        for drive, start_s in zip(drives, starts_s, strict=True)
        if drive.first_moving_s is not None
    ]
    ways = [drive.driving for drive in drives]
    times_s = [way.time_s + start_s for way, start_s in zip(ways, starts_s, strict=True)]
    fl, fr, rl, rr = (
        _merge_corner([drive.corners[corner.position] for drive in drives]) for corner in CORNERS
    )
    return Coverage(
        distance_km=sum(drive.distance_km for drive in drives),
        moving_s=sum(drive.moving_s for drive in drives),
        top_speed_kph=max(drive.top_speed_kph for drive in drives),
        stops=sum(drive.stops for drive in drives),
        straight_s=sum(drive.straight_s for drive in drives),
        left_turn_s=sum(drive.left_turn_s for drive in drives),
        right_turn_s=sum(drive.right_turn_s for drive in drives),
        corners=(fl, fr, rl, rr),
        first_moving_s=min(moving, default=None),
        driving=Driving(
            time_s=np.concatenate(times_s),
            step_km=np.concatenate([way.step_km for way in ways]),
            band=np.concatenate([way.band for way in ways]),
            turn=np.concatenate([way.turn for way in ways]),
            starts_s=tuple(starts_s),
        ),
    )


def _merge_corner(drives: Sequence[CornerCoverage]) -> CornerCoverage:
    return CornerCoverage(
        corner=drives[0].corner,
        km=np.sum([drive.km for drive in drives], axis=0),
        read_km=sum(drive.read_km for drive in drives),
        drives_km=tuple(float(drive.km.sum()) for drive in drives),
    )
