"""How close a finding's figures come to the truth: random simulated drives with one fault each.

    python tests/benchmarks/figures.py --cases 60 --seed 5

Prints, for each figure that says how large a fault is, in how many drives it was told, how many of
these lie within the tolerance, and the middle and the largest error.

- ``ratio`` of a wrong ring or tyre, to 0.5 %;
- ``picks_up_at_kph`` of a late sensor, to 1.5 km/h;
- ``count`` of drop-outs that last 0.2 s or longer, exactly;
- ``ripple_pct`` of a ring off-centre, to a third. (A bent tooth's ripple is no one number: it
  depends on how fast the unit times the pulses.)
"""

import argparse
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from judgement import judge_case

from canwheel.corners import CORNERS, Corner
from canwheel.outcome import FaultKind
from canwheel.roadtest import faults
from canwheel.roadtest.cases import Case, random_case
from canwheel.roadtest.scene import inside

SHORTEST_S = 0.2
"""Drop-outs shorter than this need not be counted exactly. [s]"""

FAST_KPH = 20.0
"""A ratio is read where the unit steps and times the least. [km/h]"""


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure of a kind of finding.

    Attributes
    ----------
    truth : what it should be; None where the drive has no such thing.
    error : of what was told, given the truth, in the unit of `tolerance`.
    """

    kind: FaultKind
    name: str
    unit: str
    tolerance: float
    truth: Callable[[Case], float | None]
    error: Callable[[float, float], float]


def _share_pct(told: float, truth: float) -> float:
    return 100 * (told / truth - 1)


def _difference(told: float, truth: float) -> float:
    return told - truth


def true_ratio(case: Case) -> float:
    """How the corner reads against the middle of the others, tyres a little off counted in."""
    corner = case.faults[0].corner
    drive, twin = case.drive(), case.twin()
    sound = twin.reading_kph[:, corner.position]
    fast = (sound > FAST_KPH) & inside(drive.time_s, drive.windows[0])
    by_fault = np.median(drive.reading_kph[fast, corner.position] / sound[fast])
    reads = 1 / np.array(case.scenario.car.tyre_ratio)
    others = [reads[other.position] for other in CORNERS if other is not corner]
    return float(by_fault * reads[corner.position] / np.median(others))


def true_pick_up(case: Case) -> float | None:
    """Speed from which the weakened sensor reads. [km/h]"""
    (fault,) = case.faults
    return fault.lowest_kph if isinstance(fault, faults.LatePickup) else None


def true_count(case: Case) -> float | None:
    """How often the contact opens."""
    return float(len(case.drive().windows[0]))


def true_ripple(case: Case) -> float | None:
    """Ripple of the ring alone. [%]"""
    (fault,) = case.faults
    if not isinstance(fault, faults.RingDamage) or not fault.off_centre:
        return None
    return 100 * fault.off_centre


FIGURES = (
    Figure("wrong_ratio", "ratio", "%", 0.5, true_ratio, _share_pct),
    Figure("late_pickup", "picks_up_at_kph", "km/h", 1.5, true_pick_up, _difference),
    Figure("dropout", "count", "", 0.0, true_count, _difference),
    Figure("ring_damage", "ripple_pct", "%", 100 / 3, true_ripple, _share_pct),
)


def long_enough(case: Case) -> Case:
    """Let drop-outs last as long as a count must be exact for."""
    effects = tuple(
        replace(e, lasting_s=(max(SHORTEST_S, e.lasting_s[0]), e.lasting_s[1]))
        if isinstance(e, faults.Dropout)
        else e
        for e in case.scenario.effects
    )
    return replace(case, scenario=replace(case.scenario, effects=effects))


def told_figure(case: Case, figure: Figure, folder: Path) -> float | None:
    """The figure as the document gives it; None where the fault was not told there."""
    corner: Corner = case.faults[0].corner
    _, judgement = judge_case(case, folder)
    for finding in judgement.corner(corner).findings:
        if finding.kind == figure.kind and figure.name in finding.evidence:
            return float(finding.evidence[figure.name])
    return None


def errors_of(figure: Figure, cases: int, seed: int, folder: Path) -> list[float]:
    """Errors of a figure over random drives in which the fault was told."""
    errors = []
    for number in range(cases):
        case = long_enough(random_case(np.random.default_rng((seed, number)), figure.kind))
        truth = figure.truth(case)
        if truth is None:
            continue
        told = told_figure(case, figure, folder)
        if told is not None:
            errors.append(figure.error(told, truth))
    return errors


def main() -> None:
    """Run the benchmark."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--cases", type=int, default=60)
    parser.add_argument("--seed", type=int, default=1)
    arguments = parser.parse_args()
    print(f"{'figure':44}{'told':>6}{'within':>8}{'middle':>9}{'largest':>9}")  # noqa: T201
    with tempfile.TemporaryDirectory() as name:
        for figure in FIGURES:
            errors = np.abs(errors_of(figure, arguments.cases, arguments.seed, Path(name)))
            within = float(np.mean(errors <= figure.tolerance))
            label = f"{figure.kind} {figure.name} to {figure.tolerance:.3g} {figure.unit}".rstrip()
            print(  # noqa: T201
                f"{label:44}{len(errors):6}{within:8.0%}{np.median(errors):9.2f}{errors.max():9.2f}"
            )


if __name__ == "__main__":
    main()
