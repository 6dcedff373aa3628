"""The exact conditional test, and what a second drive must repeat."""

import math
from collections.abc import Callable
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binomtest

from canwheel.corners import Corner
from canwheel.judgement.conditions import (
    Task,
    ToDrive,
    clean_km_needed,
    lay_out_driving,
    measure_progress,
    set_task,
    share_seen,
)
from canwheel.judgement.proof import chance_unrepaired
from canwheel.judgement.verdict import Judgement
from canwheel.outcome import Figure, Finding, NotJudged, Span

Drive = Callable[..., Judgement]
MakeFinding = Callable[..., Finding]
Leg = tuple[float, float, str]

# Ratios of the second drive's distance to the first one's at which the test comes to 5 %, for so
# many times before and none after: the conditional test of two Poisson rates (Przyborowski and
# Wilenski 1940, from memory), computed with scipy's binomial distribution.
RATIOS = {1: 19.0, 2: 3.47, 3: 1.71, 4: 1.11, 5: 0.82, 6: 0.65, 10: 0.35}


@pytest.mark.parametrize(("count", "ratio"), RATIOS.items())
def test_clean_distance_agrees_with_the_computed_ratios(count: int, ratio: float) -> None:
    assert clean_km_needed(count, 1.0) == pytest.approx(ratio, abs=0.005)


@pytest.mark.parametrize(
    ("count", "chance"), [(1, 0.5), (2, 0.25), (3, 0.125), (4, 0.0625), (5, 0.03125), (6, 0.015625)]
)
def test_equal_distances_halve_the_chance_each_time(count: int, chance: float) -> None:
    assert chance_unrepaired(count, 7.0, 7.0) == pytest.approx(chance)


@given(
    count=st.integers(1, 60),
    before_km=st.floats(0.05, 500),
    after_km=st.floats(0.05, 500),
)
def test_chance_is_scipys_exact_binomial_test(
    count: int, before_km: float, after_km: float
) -> None:
    share = before_km / (before_km + after_km)
    exact = binomtest(count, count, share, alternative="greater").pvalue
    assert chance_unrepaired(count, before_km, after_km) == pytest.approx(exact, rel=1e-9)


@given(count=st.integers(1, 60), before_km=st.floats(0.05, 500))
def test_the_needed_distance_is_just_enough(count: int, before_km: float) -> None:
    needed = clean_km_needed(count, before_km)
    assert chance_unrepaired(count, before_km, needed) == pytest.approx(0.05)
    assert chance_unrepaired(count, before_km, needed * 0.99) > 0.05


def test_no_distance_proves_nothing() -> None:
    assert chance_unrepaired(3, 0.0, 0.0) == 1.0


def test_what_never_showed_cannot_be_proven_gone() -> None:
    with pytest.raises(ValueError, match="at least once"):
        clean_km_needed(0, 1.0)


MIXED = [(2.0, 30.0, "straight"), (1.0, 50.0, "left"), (1.0, 0.0, "straight")]


def task_of(drive: Drive, finding: Finding, *legs: Leg) -> Task:
    return set_task(finding, drive(list(legs) or MIXED, finding))


def test_a_fault_from_the_start_needs_its_speed_bands_but_not_walking_pace(
    drive: Drive, finding: MakeFinding
) -> None:
    task = task_of(drive, finding(Corner.RL, "no_signal", (0.0, 4.0)))
    assert task.pattern == "constant"
    assert task.bands == {2: 0.1, 3: 0.1}
    assert task.turns == {0: 0.1}
    assert task.needed_km == 0.3


def test_a_fault_seen_at_walking_pace_alone_needs_walking_pace(
    drive: Drive, finding: MakeFinding
) -> None:
    task = task_of(drive, finding(Corner.RL, "no_signal", (3.0, 4.0)))
    assert task.bands == {0: 0.1}


def test_a_late_pickup_is_constant_and_needs_the_lowest_band(
    drive: Drive, finding: MakeFinding
) -> None:
    starts = [(0.0, 0.05), (3.5, 3.55)]
    legs = [(0.5, 0.0, "straight"), (3.0, 30.0, "straight"), (0.5, 0.0, "straight")]
    task = task_of(drive, finding(Corner.RL, "late_pickup", *starts), *legs)
    assert (task.pattern, task.bands) == ("constant", {0: 0.1})


def test_a_fault_that_came_on_the_way_needs_that_way_again(
    drive: Drive, finding: MakeFinding
) -> None:
    task = task_of(drive, finding(Corner.RL, "no_signal", (2.5, 4.0)))
    assert task.pattern == "constant"
    assert task.needed_km == pytest.approx(2.5)
    assert task.bands == {3: 0.1}


def test_a_moment_in_the_next_band_need_not_be_repeated(drive: Drive, finding: MakeFinding) -> None:
    legs = [(3.0, 30.0, "straight"), (0.05, 50.0, "straight")]
    task = task_of(drive, finding(Corner.RL, "wrong_ratio", (0.0, 3.05)), *legs)
    assert list(task.bands) == [2]


def test_a_short_drive_in_a_band_needs_nearly_as_much_again(
    drive: Drive, finding: MakeFinding
) -> None:
    legs = [(0.4, 30.0, "straight"), (0.05, 50.0, "straight")]
    task = task_of(drive, finding(Corner.RL, "wrong_ratio", (0.0, 0.45)), *legs)
    # The same round again, give or take a fifth.
    assert task.bands == {2: 0.1, 3: pytest.approx(0.8 * 0.05)}


def test_drop_outs_are_always_intermittent(drive: Drive, finding: MakeFinding) -> None:
    spells = [(0.5, 0.52), (1.0, 1.01), (2.5, 2.51)]
    task = task_of(drive, finding(Corner.RL, "dropout", *spells))
    assert task.pattern == "intermittent"
    assert task.before_km == pytest.approx(4.0)
    assert task.needed_km == pytest.approx(clean_km_needed(3, task.before_km))
    assert list(task.bands) == [2, 3]
    assert task.where == ""


def test_a_message_that_goes_for_a_moment_is_intermittent(
    drive: Drive, finding: MakeFinding
) -> None:
    task = task_of(drive, finding(Corner.RL, "message_missing", (0.5, 0.6)))
    assert task.pattern == "intermittent"


def test_a_fault_at_a_stand_at_the_end_is_taken_as_constant(
    drive: Drive, finding: MakeFinding
) -> None:
    end = finding(Corner.RL, "flagged_invalid", (4.1, 4.2))
    task = task_of(drive, end)
    assert (task.pattern, task.bands, task.turns) == ("constant", {}, {})
    assert task.needed_km == pytest.approx(4.0)


@pytest.mark.parametrize(
    ("evidence", "before_km", "where"),
    [
        ({"goes_with_turn": "left"}, 1.0, " turning left"),
        ({"goes_with_band_from_kph": 30.0}, 2.0, " between 30 and 50 km/h"),
        ({"goes_with_band_from_kph": 30}, 2.0, " between 30 and 50 km/h"),
        (
            {"goes_with_turn": "left", "goes_with_band_from_kph": 50.0},
            1.0,
            " turning left between 50 and 80 km/h",
        ),
        ({"goes_with_turn": "sideways", "goes_with_band_from_kph": 33.0}, 4.0, ""),
    ],
)
def test_only_distance_in_the_condition_counts(
    drive: Drive, finding: MakeFinding, evidence: dict[str, Figure], before_km: float, where: str
) -> None:
    spells = [(0.5, 0.51), (2.5, 2.51)]
    task = task_of(drive, finding(Corner.RL, "dropout", *spells, **evidence))
    assert task.before_km == pytest.approx(before_km)
    assert task.needed_km == pytest.approx(clean_km_needed(2, task.before_km))
    assert task.where == where


def test_what_a_longer_piece_holds_is_not_said_again(drive: Drive, finding: MakeFinding) -> None:
    left = finding(Corner.RL, "dropout", (2.5, 2.51), (2.6, 2.61), goes_with_turn="left")
    task = set_task(left, drive(MIXED, left))
    progress = measure_progress(task, drive([(2.0, 50.0, "straight")]).corner(Corner.RL))
    assert task.turns == {1: 0.1}
    assert progress.missing_turns == {1: 0.1}
    needed = math.ceil(progress.missing_km * 10) / 10
    assert lay_out_driving(task, progress).phrases == (f"another {needed:.1f} km turning left",)


@pytest.mark.parametrize(
    ("km", "where", "said"),
    [
        (0.1, " turning left", " (about 7 turns at junctions)"),
        (0.015, " turning right between 15 and 30 km/h", " (about 1 turn at junctions)"),
        (0.2, " turning right between 50 and 80 km/h", ""),
        (1.1, " turning left", ""),
        (0.1, " straight ahead", ""),
        (0.1, "", ""),
    ],
)
def test_turns_are_counted_where_they_are_junctions(km: float, where: str, said: str) -> None:
    # By hand: a quarter of a circle of 9.5 m is 15 m long.
    (phrase,) = ToDrive({where: km}).phrases
    assert phrase == f"another {max(0.1, math.ceil(km * 10) / 10):.1f} km{where}{said}"


def test_the_lowest_band_says_how_one_comes_to_drive_in_it(
    drive: Drive, finding: MakeFinding
) -> None:
    legs = [(0.5, 0.0, "straight"), (3.0, 30.0, "straight")]
    late = finding(Corner.RL, "late_pickup", (0.0, 0.05))
    task = set_task(late, drive(legs, late))
    progress = measure_progress(task, drive([(3.0, 30.0, "straight")]).corner(Corner.RL))
    assert lay_out_driving(task, progress).phrases == (
        "another 0.1 km below 15 km/h (set off gently, roll to a stop)",
    )


@pytest.mark.parametrize(
    ("before_s", "after_s", "share"),
    [
        (0.02, 0.02, 1.0),
        (0.02, 0.021, 1.0),
        (0.1, 0.02, 1.0),
        (0.02, 0.1, 0.5),
        (0.02, 0.05, 1.0),
        (0.08, 0.1, 0.8),
        (float("nan"), 0.1, 1.0),
    ],
)
def test_how_many_of_a_short_faults_times_slower_values_hold(
    finding: MakeFinding, before_s: float, after_s: float, share: float
) -> None:
    # By hand: something that lasts 50 ms falls onto a value every 100 ms in half of all cases.
    short = replace(
        finding(Corner.RL, "dropout", (0.5, 0.51)), spans=(Span(10.0, 10.05), Span(20.0, 20.05))
    )
    assert share_seen(short, before_s, after_s) == pytest.approx(share)


def test_progress_and_the_driving_still_to_do(drive: Drive, finding: MakeFinding) -> None:
    dropouts = finding(Corner.RL, "dropout", (0.5, 0.51), (2.5, 2.51))
    task = set_task(dropouts, drive(MIXED, dropouts))
    after = drive([(0.1, 30.0, "straight"), (0.04, 50.0, "straight")])
    progress = measure_progress(task, after.corner(Corner.RL))
    assert not progress.done
    assert progress.clean_km == pytest.approx(0.14)
    assert progress.missing_km == pytest.approx(task.needed_km - 0.14)
    assert progress.missing_bands == {3: pytest.approx(0.06)}
    assert progress.missing_turns == {1: pytest.approx(0.1)}
    rounded_up = math.ceil(progress.missing_km * 10) / 10
    assert lay_out_driving(task, progress).phrases == (
        f"another {rounded_up:.1f} km",
        "another 0.1 km between 50 and 80 km/h",
        "another 0.1 km turning left (about 7 turns at junctions)",
    )


def test_a_drive_that_cannot_show_the_kind_says_why(drive: Drive, finding: MakeFinding) -> None:
    crossed = finding(Corner.FL, "crossed", (0.0, 2.0))
    legs = [(2.0, 15.0, "left")]
    why = NotJudged(Corner.FL, "crossed", "no turn sharp enough")
    after = drive(legs, not_judged=[why]).corner(Corner.FL)
    task = set_task(crossed, drive(legs, crossed))
    progress = measure_progress(task, after)
    assert not progress.done
    assert lay_out_driving(task, progress).phrases == (
        "a drive that can show crossed signals (this one could not: no turn sharp enough)",
    )


def test_too_little_above_15_kph_is_told_where_distance_is_not_the_matter(
    drive: Drive, finding: MakeFinding
) -> None:
    often = finding(Corner.RL, "dropout", *((k / 50, k / 50 + 0.01) for k in range(40)))
    legs = [(0.8, 30.0, "straight")]
    task = set_task(often, drive(legs, often))
    progress = measure_progress(task, drive([(0.2, 30.0, "straight")]).corner(Corner.RL))
    assert progress.missing_km == 0.0
    assert lay_out_driving(task, progress).phrases == ("another 0.1 km above 15 km/h",)
