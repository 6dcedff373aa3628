"""Two drives, before and after a repair, to a proof that it holds: or to the driving still to do.

A fault that shows all the time is gone when the second drive repeats, clean, the speeds and turns
at which the first one showed it. A fault that comes and goes needs distance: with n times in d_b
km before and none in d_a km after, the exact conditional test of two Poisson rates (Przyborowski
and Wilenski 1940, from memory) gives the chance that nothing was repaired,

    p = (d_b / (d_a + d_b))^n

since each of the n times fell into the first drive with the chance that its share of the distance
gives. The repair is proven when p is 5 % or less, so the clean distance needed is

    d_b · (0.05^(−1/n) − 1)

Where the second drive's values come too seldom to hold every one of so short a fault, its distance
counts only by the share that they would hold.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from canwheel.corners import CORNERS, Corner
from canwheel.judgement.conditions import (
    PROOF_CONFIDENCE,
    Pattern,
    Progress,
    Task,
    ToDrive,
    lay_out_driving,
    measure_progress,
    set_task,
    share_seen,
)
from canwheel.judgement.verdict import CornerJudgement, Judgement
from canwheel.outcome import FaultKind, Finding
from canwheel.track.coverage import SPEED_BANDS_KPH

ComparisonVerdict = Literal[
    "repair_proven", "fault_still_there", "new_fault", "repair_not_proven", "nothing_to_prove"
]
RepairVerdict = Literal["repaired", "still_faulty", "newly_faulty", "sound", "not_proven"]
Band = tuple[float, float]

_RELATED: tuple[frozenset[FaultKind], ...] = (
    frozenset(
        {
            "no_signal",
            "late_pickup",
            "dropout",
            "frozen",
            "erratic",
            "flagged_invalid",
            "message_missing",
        }
    ),
    frozenset({"ring_damage", "wrong_ratio", "erratic"}),
    frozenset({"crossed", "copied"}),
)
"""Kinds that one and the same defect can show: its signal is lost, its ring is wrong, its place is
wrong. A fault that changed its face within one of these is still there; another one is new."""

SELDOM_COUNT = 2
"""So few times, and the first drive says little of how often a fault comes. In a simulation of
unrepaired faults that were looked at only after they had shown, those that came less than once in
two drives were called proven far oftener than one time in twenty, nearly all of them after one or
two times; those that came oftener were not (our simulation)."""


@dataclass(frozen=True, slots=True)
class Sampling:
    """Time between two values of each corner, in corner order, of the slowest drive. [s]"""

    before_s: Sequence[float]
    after_s: Sequence[float]


@dataclass(frozen=True, slots=True)
class Claim:
    """That one fault of the first drive is gone, and how far the second drive shows it.

    Attributes
    ----------
    corner, kind, pattern : the fault, and whether it was there all the time or came and went.
    proven : whether it is shown to be gone.
    still_there : whether the second drive shows it again.
    count, before_km : how often it showed, in what distance of the first drive.
    bunches : in how many bunches; `count` where chance may have spread them.
    seen_share : of the times that it shows, how many the second drive's values can hold.
    confidence : that it is gone, 0 to 1; for a constant fault 0 until its conditions are repeated.
    clean_km : driven without it in the second drive, counted only where it would have shown. [km]
    clean_km_needed : to be proven. [km]
    speed_bands_missing_kph : bands in which it showed and that were not driven again. [km/h]
    to_drive : the driving still to do.
    """

    corner: Corner
    kind: FaultKind
    pattern: Pattern
    proven: bool
    still_there: bool
    count: int
    bunches: int
    before_km: float
    seen_share: float
    confidence: float
    clean_km: float
    clean_km_needed: float
    speed_bands_missing_kph: tuple[Band, ...]
    to_drive: ToDrive


@dataclass(frozen=True, slots=True)
class CornerRepair:
    """One corner in both drives: the kinds found, and what became of them."""

    corner: Corner
    before: tuple[FaultKind, ...]
    after: tuple[FaultKind, ...]
    verdict: RepairVerdict


@dataclass(frozen=True, slots=True)
class Proof:
    """What the second drive says of the repair.

    Attributes
    ----------
    verdict : of the repair.
    corners : one a corner, in corner order.
    claims : one for each fault of the first drive.
    confidence, clean_km, clean_km_needed : of the claim that is farthest from being proven; without
        a claim 0, the distance of the second drive, 0.
    speed_bands_missing_kph, to_drive : of all claims together.
    """

    verdict: ComparisonVerdict
    corners: tuple[CornerRepair, ...]
    claims: tuple[Claim, ...]
    confidence: float
    clean_km: float
    clean_km_needed: float
    speed_bands_missing_kph: tuple[Band, ...]
    to_drive: ToDrive


def chance_unrepaired(count: int, before_km: float, after_km: float) -> float:
    """Chance of a clean `after_km` with nothing repaired, after `count` times in `before_km`.

    The exact conditional test of two Poisson rates, with none in the second drive.
    """
    total_km = before_km + after_km
    return float((before_km / total_km) ** count) if total_km > 0 else 1.0


def prove_repair(before: Judgement, after: Judgement, *, sampling: Sampling | None = None) -> Proof:
    """Compare two drives.

    Parameters
    ----------
    before : the drive that showed the fault.
    after : the drive after the repair.
    sampling : how often the corners' values came; None where both drives have the same rate.
    """
    claims = tuple(
        _prove(finding, before, after, _share_seen(finding, sampling))
        for judged in before.corners
        for finding in _one_a_kind(judged.faults)
    )
    corners = tuple(_compare(corner, before, after, claims) for corner in CORNERS)
    weakest = max(claims, key=_shortfall, default=None)
    return Proof(
        verdict=_verdict(before, after, corners),
        corners=corners,
        claims=claims,
        confidence=weakest.confidence if weakest else 0.0,
        clean_km=weakest.clean_km if weakest else after.coverage.distance_km,
        clean_km_needed=weakest.clean_km_needed if weakest else 0.0,
        speed_bands_missing_kph=tuple(
            sorted({band for claim in claims for band in claim.speed_bands_missing_kph})
        ),
        to_drive=ToDrive.merge(claim.to_drive for claim in claims),
    )


def _one_a_kind(findings: tuple[Finding, ...]) -> tuple[Finding, ...]:
    """The surest finding of each kind; they come the surest first."""
    kinds = dict.fromkeys(finding.kind for finding in findings)
    return tuple(next(f for f in findings if f.kind == kind) for kind in kinds)


def _shortfall(claim: Claim) -> tuple[bool, bool, float]:
    return claim.still_there, not claim.proven, claim.clean_km_needed - claim.clean_km


def _share_seen(finding: Finding, sampling: Sampling | None) -> float:
    if sampling is None:
        return 1.0
    at = finding.corner.position
    return share_seen(finding, sampling.before_s[at], sampling.after_s[at])


def _prove(finding: Finding, before: Judgement, after: Judgement, seen_share: float) -> Claim:
    """Say how far the second drive shows that one finding of the first is gone."""
    task = set_task(finding, before, seen_share)
    now = after.corner(finding.corner)
    still_there = any(_may_be(later, finding) for later in now.findings)
    progress = measure_progress(task, now)
    proven = progress.done and now.verdict == "sound"
    missing = {*progress.missing_bands}
    if progress.missing_km and task.only_band is not None:
        missing.add(task.only_band)
    return Claim(
        corner=finding.corner,
        kind=finding.kind,
        pattern=task.pattern,
        proven=proven,
        still_there=still_there,
        count=task.count,
        bunches=task.bunches,
        before_km=task.before_km,
        seen_share=task.seen_share,
        confidence=0.0 if still_there else _confidence(finding, task, progress, proven=proven),
        clean_km=0.0 if still_there else progress.clean_km,
        clean_km_needed=task.needed_km,
        speed_bands_missing_kph=tuple(SPEED_BANDS_KPH[band] for band in sorted(missing)),
        to_drive=ToDrive() if still_there else lay_out_driving(task, progress),
    )


def _may_be(later: Finding, earlier: Finding) -> bool:
    """Whether a later finding, however sure, can be the earlier defect."""
    kinds = {later.kind, earlier.kind}
    return len(kinds) == 1 or any(kinds <= related for related in _RELATED)


def _confidence(finding: Finding, task: Task, progress: Progress, *, proven: bool) -> float:
    if task.pattern == "intermittent":
        shown_km = progress.clean_km * task.seen_share
        return 1.0 - chance_unrepaired(max(1, task.count), task.before_km, shown_km)
    # In its own conditions a constant fault would have shown as surely as it did before.
    return max(PROOF_CONFIDENCE, finding.confidence) if proven else 0.0


def _compare(
    corner: Corner, before: Judgement, after: Judgement, claims: tuple[Claim, ...]
) -> CornerRepair:
    was, now = before.corner(corner), after.corner(corner)
    return CornerRepair(
        corner=corner,
        before=tuple(dict.fromkeys(finding.kind for finding in was.findings)),
        after=tuple(dict.fromkeys(finding.kind for finding in now.findings)),
        verdict=_corner_verdict(was, now, [c.proven for c in claims if c.corner is corner]),
    )


def _corner_verdict(
    was: CornerJudgement, now: CornerJudgement, proven: list[bool]
) -> RepairVerdict:
    if now.verdict == "faulty":
        same = any(_may_be(later, earlier) for later in now.faults for earlier in was.faults)
        return "still_faulty" if same else "newly_faulty"
    if now.verdict != "sound":
        return "not_proven"
    if was.verdict == "faulty":
        return "repaired" if all(proven) else "not_proven"
    return "sound"


def _verdict(
    before: Judgement, after: Judgement, corners: tuple[CornerRepair, ...]
) -> ComparisonVerdict:
    verdicts = {repair.verdict for repair in corners}
    if "still_faulty" in verdicts:
        return "fault_still_there"
    if "newly_faulty" in verdicts:
        return "new_fault"
    if before.verdict == "all_sound" and after.verdict == "all_sound":
        return "nothing_to_prove"
    if "repaired" in verdicts and "not_proven" not in verdicts:
        return "repair_proven"
    return "repair_not_proven"
