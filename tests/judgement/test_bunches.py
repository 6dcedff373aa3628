"""Times that come in bunches, against simulated places."""

from collections.abc import Callable

import numpy as np
import pytest

from canwheel.corners import Corner
from canwheel.judgement.bunches import BUNCH_KM, SIGNIFICANT, count_bunches
from canwheel.judgement.cautions import caution_comparison
from canwheel.judgement.conditions import clean_km_needed, set_task
from canwheel.judgement.proof import prove_repair
from canwheel.judgement.verdict import Judgement
from canwheel.outcome import Finding

Drive = Callable[..., Judgement]
MakeFinding = Callable[..., Finding]


@pytest.mark.parametrize(("count", "total_km"), [(2, 3.0), (6, 3.0), (12, 5.0), (40, 20.0)])
def test_places_spread_by_chance_seldom_look_bunched(count: int, total_km: float) -> None:
    rng = np.random.default_rng(count)
    tries = 2000
    bunched = sum(
        count_bunches(rng.uniform(0, total_km, count), total_km) < count for _ in range(tries)
    )
    # Within four standard errors of the level.
    assert bunched / tries <= SIGNIFICANT + 4 * np.sqrt(SIGNIFICANT / tries)


def test_what_one_rough_patch_shook_is_one_bunch() -> None:
    patches = np.repeat([0.6, 2.1, 3.3], 4) + np.tile(np.arange(4) * BUNCH_KM / 3, 3)
    assert count_bunches(patches, 5.0) == 3
    assert count_bunches(np.array([1.0]), 5.0) == 1
    assert count_bunches(np.empty(0), 5.0) == 0
    # On a short way everything is near everything: that says nothing.
    assert count_bunches(np.arange(8) * 0.03, 0.25) == 8


def test_a_proof_that_rests_on_bunches_is_told_as_one(drive: Drive, finding: MakeFinding) -> None:
    legs = [(5.0, 30.0, "straight")]
    places = [at + 0.02 * i for at in (1.0, 2.0, 4.0) for i in range(4)]
    spells = [(at, at + 0.005) for at in places]
    before = drive(legs, finding(Corner.FR, "dropout", *spells, count=12))
    after = drive([(3.0, 30.0, "straight")])
    proof = prove_repair(before, after)
    (claim,) = proof.claims
    assert (proof.verdict, claim.count, claim.bunches) == ("repair_proven", 12, 3)
    told = " ".join(caution_comparison(proof, after, exchanged=False, same_file=False))
    # By the formula of the test, with three in five kilometres.
    more_km = 5.0 * (0.05 ** (-1 / 3) - 1) - 3.0
    assert clean_km_needed(3, 5.0) - 3.0 == pytest.approx(more_km)
    assert "12 times in 3, as if" in told
    assert f"another {np.ceil(more_km * 10) / 10:.1f} km without it" in told
    longer = drive([(9.0, 30.0, "straight")])
    enough = caution_comparison(
        prove_repair(before, longer), longer, exchanged=False, same_file=False
    )
    assert "bunches" not in " ".join(enough)


def test_left_turns_that_are_near_one_another_are_no_bunch_of_left_turns(
    drive: Drive, finding: MakeFinding
) -> None:
    # Twelve bends of 20 m, one loose contact in each: along the bends they are spread evenly.
    legs = [leg for _ in range(12) for leg in ((0.02, 15.0, "left"), (0.4, 30.0, "straight"))]
    spells = [(0.42 * i + 0.005, 0.42 * i + 0.01) for i in range(12)]
    loose = finding(Corner.FL, "dropout", *spells, count=12, goes_with_turn="left")
    (claim,) = prove_repair(drive(legs, loose), drive(legs)).claims
    assert claim.bunches == 12


def test_a_drive_without_a_way_has_no_bunches(drive: Drive, finding: MakeFinding) -> None:
    twice = finding(Corner.FL, "dropout", (0.0, 0.1), (0.2, 0.3))
    assert set_task(twice, drive([])).bunches == 2
