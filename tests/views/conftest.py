"""The shipped pair of recordings, judged once, and the same with other things found."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from canwheel.judgement.advice import advise
from canwheel.judgement.cautions import caution_check
from canwheel.judgement.verdict import judge_drive
from canwheel.outcome import Outcome
from canwheel.pipeline import Check, Comparison, compare, compare_checks
from canwheel.track.coverage import Coverage

PROJECT = Path(__file__).parents[2]


@pytest.fixture(scope="session")
def shipped() -> Comparison:
    captures, examples = PROJECT / "captures", PROJECT / "dbc_examples"
    return compare(
        captures / "before.log.gz",
        captures / "after.log.gz",
        examples / "bakery_van.dbc",
        examples / "bakery_van.toml",
    )


@pytest.fixture(scope="session")
def rejudge() -> Callable[..., Check]:
    """Judge a drive anew as if this had been found, and so much driven."""
    return judge_anew


def judge_anew(check: Check, outcome: Outcome, coverage: Coverage | None = None) -> Check:
    judgement = judge_drive(
        outcome,
        coverage or check.judgement.coverage,
        typical_error_pct=[judged.typical_error_pct for judged in check.judgement.corners],
        lamps=check.judgement.lamps,
    )
    side = check.vehicle.drive_side
    return replace(
        check,
        judgement=judgement,
        next_steps=advise(judgement, side),
        cautions=caution_check(judgement),
    )


@pytest.fixture
def recompare() -> Callable[[Check, Check], Comparison]:
    """Compare two judged drives."""

    def make(before: Check, after: Check) -> Comparison:
        return compare_checks([before], [after])

    return make
