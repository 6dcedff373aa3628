"""How often an unrepaired fault that comes and goes is called repaired: simulated, and worked out.

The outside reference is scipy: its Poisson distribution gives the share that the simulation, which
goes through the whole judgement, has to meet.
"""

from collections.abc import Callable

import numpy as np
import pytest
from scipy import stats

from canwheel.corners import Corner
from canwheel.judgement.cautions import caution_comparison
from canwheel.judgement.conditions import clean_km_needed
from canwheel.judgement.proof import Proof, prove_repair
from canwheel.judgement.verdict import Judgement
from canwheel.outcome import Finding

Drive = Callable[..., Judgement]
MakeFinding = Callable[..., Finding]

FAULTS = 2000
BEFORE_KM = 1.0
RATES = (0.1, 20.0)
"""Times that a fault shows in the first drive, on average: from once in ten such drives on."""


def leg(km: float) -> list[tuple[float, float, str]]:
    return [(km, 30.0, "straight")]


def dropouts(finding: MakeFinding, at_km: np.ndarray) -> tuple[Finding, ...]:
    if not len(at_km):
        return ()
    spells = [(float(km), float(km) + 0.005) for km in np.sort(at_km)]
    return (finding(Corner.RL, "dropout", *spells, count=len(spells)),)


def compare(
    rng: np.random.Generator, drive: Drive, finding: MakeFinding, *, rate: float, later: float
) -> Proof | None:
    """One fault, driven before and for as long as is needed after; None if it never showed."""
    count = int(rng.poisson(rate))
    if not count:
        return None
    before = drive(leg(BEFORE_KM), *dropouts(finding, rng.uniform(0, BEFORE_KM - 0.01, count)))
    after_km = max(0.5, float(np.ceil(100 * clean_km_needed(count, BEFORE_KM)) / 100 + 0.01))
    again = int(rng.poisson(later * after_km / BEFORE_KM))
    after = drive(leg(after_km), *dropouts(finding, rng.uniform(0, after_km - 0.01, again)))
    return prove_repair(before, after)


def share_proven(rate: float) -> float:
    """Chance that an unrepaired fault of this rate shows, and then stays away long enough."""
    counts = np.arange(1, 200)
    needed = np.maximum([clean_km_needed(int(n), BEFORE_KM) for n in counts], 0.5)
    return float((stats.poisson.pmf(counts, rate) * np.exp(-rate * needed / BEFORE_KM)).sum())


def test_of_2000_unrepaired_faults_at_most_one_in_twenty_is_called_proven(
    drive: Drive, finding: MakeFinding
) -> None:
    rng = np.random.default_rng(20)
    rates = np.exp(rng.uniform(*np.log(RATES), FAULTS))
    proofs = [compare(rng, drive, finding, rate=rate, later=rate) for rate in rates]
    proven = sum(proof is not None and proof.verdict == "repair_proven" for proof in proofs)
    shown = sum(proof is not None for proof in proofs)
    assert proven <= 0.05 * FAULTS
    assert proven <= 0.05 * shown
    expected = float(np.mean([share_proven(rate) for rate in rates]))
    # Outside reference: scipy's Poisson distribution, within four standard errors.
    assert proven / FAULTS == pytest.approx(expected, abs=4 * np.sqrt(expected / FAULTS))


def test_2000_repaired_faults_are_proven_once_driven_enough_and_not_before(
    drive: Drive, finding: MakeFinding
) -> None:
    rng = np.random.default_rng(21)
    rates = np.exp(rng.uniform(*np.log(RATES), FAULTS))
    proofs = [compare(rng, drive, finding, rate=rate, later=0.0) for rate in rates]
    assert {proof.verdict for proof in proofs if proof} == {"repair_proven"}
    for count in (1, 2, 5, 30):
        before = drive(leg(BEFORE_KM), *dropouts(finding, rng.uniform(0, 0.99, count)))
        short_km = max(0.02, clean_km_needed(count, BEFORE_KM) - 0.02)
        assert prove_repair(before, drive(leg(short_km))).verdict == "repair_not_proven"


@pytest.mark.parametrize("rate", [0.01, 0.05, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0])
def test_the_bound_holds_whatever_the_rate(rate: float) -> None:
    assert share_proven(rate) <= 0.05


def test_a_fault_looked_at_only_because_it_showed_is_why_there_is_a_caution(
    drive: Drive, finding: MakeFinding
) -> None:
    # A fault of once in twenty drives that shows all the same stays away in two of five proofs.
    rate = 0.05
    among_shown = share_proven(rate) / (1 - np.exp(-rate))
    assert among_shown == pytest.approx(0.40, abs=0.01)
    for count, told in ((1, "only once"), (2, "only twice"), (3, "")):
        at_km = np.arange(1, count + 1) / 5
        before = drive(leg(BEFORE_KM), *dropouts(finding, at_km))
        after = drive(leg(25.0))
        proof = prove_repair(before, after)
        assert proof.verdict == "repair_proven"
        cautions = " ".join(caution_comparison(proof, after, exchanged=False, same_file=False))
        assert (told in cautions) if told else ("only" not in cautions.partition("canwheel")[0])
