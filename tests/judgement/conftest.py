"""Drives made of legs, so that a test says in a line what was driven and what was found."""

from collections.abc import Callable, Iterable, Sequence

import numpy as np
import pytest

from canwheel.corners import CORNERS, Corner
from canwheel.judgement.verdict import Judgement, judge_drive
from canwheel.outcome import Figure, Finding, NotJudged, Outcome, Span
from canwheel.track.coverage import SPEED_BANDS_KPH, TURNS, CornerCoverage, Coverage, Driving

STEP_KM = 0.01
"""Each sample is ten metres and takes one second."""

Leg = tuple[float, float, str]
"""Distance [km], lower end of the speed band [km/h], turn."""

LOWEST_KPH = [low for low, _ in SPEED_BANDS_KPH]


def _driving(legs: Sequence[Leg]) -> Driving:
    samples = [round(km / STEP_KM) for km, _, _ in legs]
    count = sum(samples)
    return Driving(
        time_s=np.arange(1.0, count + 1),
        step_km=np.full(count, STEP_KM),
        band=np.repeat([LOWEST_KPH.index(low) for _, low, _ in legs], samples).astype(np.int8),
        turn=np.repeat([TURNS.index(turn) for _, _, turn in legs], samples).astype(np.int8),
    )


def make_coverage(legs: Sequence[Leg], unread: Iterable[Corner] = ()) -> Coverage:
    """What was driven; the corners in `unread` were not read at all."""
    driving = _driving(legs)
    km = driving.km_where(np.ones(len(driving.time_s), bool))

    def corner_coverage(corner: Corner) -> CornerCoverage:
        own = km * 0 if corner in set(unread) else km
        return CornerCoverage(corner, own, float(own[1:].sum()))

    fl, fr, rl, rr = (corner_coverage(corner) for corner in CORNERS)
    return Coverage(
        distance_km=float(km.sum()),
        moving_s=float(len(driving.time_s)),
        top_speed_kph=50.0,
        stops=0,
        straight_s=0.0,
        left_turn_s=0.0,
        right_turn_s=0.0,
        corners=(fl, fr, rl, rr),
        first_moving_s=0.0,
        driving=driving,
    )


def make_finding(
    corner: Corner,
    kind: str,
    *spans: tuple[float, float],
    confidence: float = 0.99,
    count: int | None = None,
    **evidence: Figure,
) -> Finding:
    """Spans are given in kilometres of the way, a hundred samples each."""
    seconds = [Span(from_km / STEP_KM + 1, to_km / STEP_KM) for from_km, to_km in spans]
    return Finding(
        corner=corner,
        kind=kind,
        confidence=confidence,
        spans=tuple(seconds),
        count=len(spans) if count is None else count,
        says="Says so.",
        evidence=evidence,
    )


@pytest.fixture
def coverage() -> Callable[..., Coverage]:
    return make_coverage


@pytest.fixture
def finding() -> Callable[..., Finding]:
    return make_finding


@pytest.fixture
def drive() -> Callable[..., Judgement]:
    """Build a judged drive from legs, findings, kinds not judged and corners not read."""

    def make(
        legs: Sequence[Leg],
        *findings: Finding,
        not_judged: Sequence[NotJudged] = (),
        unread: Iterable[Corner] = (),
    ) -> Judgement:
        outcome = Outcome(findings=findings, not_judged=tuple(not_judged))
        return judge_drive(outcome, make_coverage(legs, unread))

    return make
