"""The shipped pair of recordings, judged once, and the same with other things found."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from canwheel.judgement.advice import advise, advise_comparison
from canwheel.judgement.cautions import caution_check, caution_comparison
from canwheel.judgement.proof import prove_repair
from canwheel.judgement.verdict import judge_drive
from canwheel.outcome import Outcome
from canwheel.pipeline import Check, Comparison, compare
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


@pytest.fixture
def rejudge() -> Callable[..., Check]:
    """Judge a drive anew as if this had been found, and so much driven."""

    def make(check: Check, outcome: Outcome, coverage: Coverage | None = None) -> Check:
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

    return make


@pytest.fixture
def recompare() -> Callable[[Check, Check], Comparison]:
    """Compare two judged drives."""

    def make(before: Check, after: Check) -> Comparison:
        proof = prove_repair(before.judgement, after.judgement)
        return Comparison(
            before=before,
            after=after,
            proof=proof,
            next_steps=advise_comparison(proof, after.judgement, after.vehicle.drive_side),
            cautions=caution_comparison(proof, after.judgement, exchanged=False, same_file=False),
        )

    return make
