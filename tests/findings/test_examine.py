"""All checks together: double faults, and what must not change what is found."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from canwheel.corners import CORNERS, Corner
from canwheel.findings import examine
from canwheel.outcome import Finding

MIRRORED = [1, 0, 3, 2]

# --- one fault each, put into the true speeds of any drive ---


def dead(drive: Any, k: int, _: np.random.Generator) -> Any:
    return drive.spoilt(k, 0.0)


def dead_from_the_middle_on(drive: Any, k: int, rng: np.random.Generator) -> Any:
    return drive.spoilt(k, 0.0, drive.at(rng.uniform(50, 80), 999))


def dropping_out(drive: Any, k: int, rng: np.random.Generator) -> Any:
    kph = drive.kph.copy()
    for start_s in rng.uniform(13, 85, 8):
        kph[drive.at(start_s, start_s + 0.3), k] = 0.0
    return kph


def frozen(drive: Any, k: int, rng: np.random.Generator) -> Any:
    return drive.spoilt(k, rng.uniform(40, 60), drive.at(rng.uniform(20, 80), 999))


def another_ring(drive: Any, k: int, rng: np.random.Generator) -> Any:
    return drive.spoilt(k, drive.kph[:, k] * rng.choice([44 / 48, 52 / 48, 0.96]))


def late(drive: Any, k: int, _: np.random.Generator) -> Any:
    return np.where(drive.kph < np.where(np.arange(4) == k, 18.0, 1.0), 0.0, drive.kph)


def jumping(drive: Any, k: int, rng: np.random.Generator) -> Any:
    kph = drive.kph.copy()
    for start_s in np.linspace(14, 33, 7) + rng.uniform(0, 2):
        kph[drive.at(start_s, start_s + 0.06), k] += 16
    return kph


FAULTS: dict[str, Callable[..., Any]] = {
    "no_signal": dead,
    "no_signal ": dead_from_the_middle_on,
    "dropout": dropping_out,
    "frozen": frozen,
    "wrong_ratio": another_ring,
    "late_pickup": late,
    "erratic": jumping,
}

any_fault = st.sampled_from(sorted(FAULTS))
any_corner = st.integers(0, 3)
any_seed = st.integers(0, 1000)
few_examples = settings(
    max_examples=10, deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=True
)


def spoil(drive: Any, fault: str, k: int, seed: int) -> Any:
    return FAULTS[fault](drive, k, np.random.default_rng(seed))


def facts(findings: tuple[Finding, ...]) -> list[tuple[Any, ...]]:
    return sorted((f.corner, f.kind, f.count, round(f.confidence, 2)) for f in findings)


# --- two at once ---


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ("no_signal", "wrong_ratio"),
        ("no_signal", "late_pickup"),
        ("no_signal ", "dropout"),
        ("frozen", "wrong_ratio"),
        ("frozen", "no_signal"),
        ("dropout", "erratic"),
        ("dropout", "wrong_ratio"),
        ("late_pickup", "wrong_ratio"),
        ("wrong_ratio", "erratic"),
    ],
)
@pytest.mark.parametrize("corners", [(0, 1), (0, 2), (3, 0), (3, 1)])
def test_double_faults(
    town: Any, said: Any, first: str, second: str, corners: tuple[int, int]
) -> None:
    one, other = corners
    halfway = replace(town, kph=spoil(town, first, one, 1))
    kph = spoil(halfway, second, other, 2)
    if "late_pickup" in (first, second):  # it alone writes into all four: keep a dead one dead
        kph = np.where(halfway.kph == 0, 0.0, kph)
    expected = {CORNERS[one].value: [first.strip()], CORNERS[other].value: [second.strip()]}
    assert said(town.track(kph)) == expected


def test_a_dead_corner_beside_two_that_are_crossed(town: Any, said: Any) -> None:
    kph = town.kph[:, [0, 3, 2, 1]].copy()
    kph[town.at(106, 999), 0] = 0.0
    told = said(town.track(kph))
    assert told["FL"] == ["no_signal"]
    assert {"FR", "RR"} <= set(told)
    assert "RL" not in told


# --- properties ---


@given(fault=any_fault, corner=any_corner, seed=any_seed)
@few_examples
def test_the_mirrored_car_has_the_mirrored_fault(
    make_drive: Any, fault: str, corner: int, seed: int
) -> None:
    drive = make_drive(seed=seed)
    kph = spoil(drive, fault, corner, seed)
    here = examine(drive.track(kph)).outcome
    there = examine(drive.track(kph[:, MIRRORED])).outcome
    mirrored = tuple(replace(f, corner=f.corner.mirror) for f in there.findings)
    assert facts(mirrored) == facts(here.findings)
    assert facts(here.findings), "the fault must be found at all"
    by_corner = {(n.corner.mirror, n.kind) for n in there.not_judged}
    assert by_corner == {(n.corner, n.kind) for n in here.not_judged}


@given(fault=any_fault, corner=any_corner, seed=any_seed, shift_s=st.floats(0.0, 5000.0))
@few_examples
def test_a_later_drive_has_its_faults_later(
    make_drive: Any, fault: str, corner: int, seed: int, shift_s: float
) -> None:
    drive = make_drive(seed=seed)
    kph = spoil(drive, fault, corner, seed)
    now = examine(drive.track(kph)).outcome
    shifted = replace(drive, time_s=drive.time_s + shift_s)
    later = examine(shifted.track(kph)).outcome
    assert facts(later.findings) == facts(now.findings)
    whole_s = {0.0, float(drive.time_s[-1]), float(shifted.time_s[-1])}
    for before, after in zip(now.findings, later.findings, strict=True):
        for then, moved in zip(before.spans, after.spans, strict=True):
            for at, moved_at in ((then.from_s, moved.from_s), (then.to_s, moved.to_s)):
                assert moved_at in whole_s or moved_at - at == pytest.approx(shift_s, abs=1e-3)


@given(fault=any_fault, corner=any_corner, seed=any_seed, scale=st.floats(0.93, 1.07))
@few_examples
def test_another_circumference_changes_nothing(
    make_drive: Any, fault: str, corner: int, seed: int, scale: float
) -> None:
    drive = make_drive(seed=seed)
    kph = spoil(drive, fault, corner, seed)
    here = examine(drive.track(kph)).outcome.findings
    scaled = examine(drive.track(kph * scale)).outcome.findings
    assert [(f.corner, f.kind) for f in scaled] == [(f.corner, f.kind) for f in here]


@given(fault=any_fault, corner=any_corner, seed=any_seed)
@few_examples
def test_healthy_driving_afterwards_accuses_nobody_else(
    make_drive: Any, said: Any, fault: str, corner: int, seed: int
) -> None:
    drive, home = make_drive(seed=seed), make_drive(seed=seed + 1)
    kph = np.vstack((spoil(drive, fault, corner, seed), home.kph))
    both = replace(drive, time_s=np.arange(len(kph)) * 0.02, kph=kph)
    assert set(said(both.track())) <= {CORNERS[corner].value}


@given(seed=any_seed, more=any_seed)
@few_examples
def test_two_healthy_drives_make_a_healthy_one(
    make_drive: Any, said: Any, seed: int, more: int
) -> None:
    kph = np.vstack((make_drive(seed=seed).kph, make_drive(seed=more).kph))
    both = replace(make_drive(), time_s=np.arange(len(kph)) * 0.02, kph=kph)
    assert said(both.track()) == {}


@given(corner=any_corner, knots=st.lists(st.floats(0, 14.5), min_size=2, max_size=6))
@few_examples
def test_below_the_told_by_speed_no_corner_is_called_dead(
    make_drive: Any, said: Any, corner: int, knots: list[float]
) -> None:
    assume(max(knots) > 2)
    drive = make_drive([(8.0 * i, kph) for i, kph in enumerate(knots)], ())
    kinds = said(drive.track(drive.spoilt(corner, 0.0))).get(CORNERS[corner].value, [])
    assert "no_signal" not in kinds


# --- what goes with the findings ---


def test_the_typical_error_is_that_of_the_noise(make_drive: Any) -> None:
    # Twice the spread of what is each corner's own: four of them make up the difference.
    quiet, loud = (
        examine(make_drive(noise=noise).track()).typical_error_pct for noise in (0.002, 0.004)
    )
    for corner in CORNERS:
        assert loud[corner.position] == pytest.approx(0.4 * np.sqrt(2), rel=0.2)
        assert loud[corner.position] == pytest.approx(2 * quiet[corner.position], rel=0.2)


def test_one_wild_sample_makes_no_typical_error(make_drive: Any) -> None:
    # The recording begins within a drop-out: rear right is then held against a front right of 0,
    # and reads ten times what the other three say.
    drive = make_drive([(0, 40), (60, 50)], ())
    clean = examine(drive.track()).typical_error_pct
    kph = drive.spoilt(1, 0.0, slice(0, 1))
    kph[0, [0, 2]] = 40.0, 39.8
    wild = examine(drive.track(kph)).typical_error_pct
    assert wild == pytest.approx(clean, abs=0.02)


def test_a_coarse_signal_is_not_taken_for_an_exact_one(make_drive: Any) -> None:
    # Steps of 1 km/h on a straight road: most of the time all four read the same.
    drive = make_drive([(0, 50.2), (60, 50.3)], (), noise=0.004)
    for error_pct in examine(drive.track(resolution_kph=1.0)).typical_error_pct:
        assert error_pct is not None
        assert error_pct > 0


def test_a_dead_corner_has_no_typical_error_and_no_distance(town: Any) -> None:
    examination = examine(town.track(town.spoilt(2, 0.0)))
    assert examination.typical_error_pct[2] is None
    assert examination.coverage.corners[2].read_km == pytest.approx(0, abs=0.01)
    assert examination.coverage.corners[0].read_km == pytest.approx(1.45, abs=0.05)
    assert examination.coverage.distance_km == pytest.approx(1.48, abs=0.02)


def test_an_empty_track(make_drive: Any) -> None:
    drive = make_drive([(0, 0), (1, 0)], ())
    none = np.zeros((len(drive.time_s), 4), bool)
    with_one_sample = none.copy()
    with_one_sample[0] = True
    for present in (none, with_one_sample):
        examination = examine(drive.track(present=present, duration_s=1.0))
        assert examination.outcome.findings == ()
        assert examination.coverage.distance_km == 0


@pytest.mark.parametrize("corner", CORNERS)
@pytest.mark.parametrize("frames", [1, 3])
def test_one_corner_with_hardly_a_frame(town: Any, said: Any, corner: Corner, frames: int) -> None:
    present = np.ones(town.kph.shape, bool)
    present[frames:, corner.position] = False
    assert set(said(town.track(present=present))) <= {corner.value}


@pytest.mark.parametrize("corner", CORNERS[1:])
def test_one_corner_without_a_single_frame(town: Any, said: Any, corner: Corner) -> None:
    # As where its signal lies beyond the end of the frames that come.
    present = np.ones(town.kph.shape, bool)
    present[:, corner.position] = False
    assert said(town.track(present=present)) == {}
