"""A corner that repeats one reading while the car's speed changes."""

from typing import Any

import numpy as np
import pytest

from canwheel.corners import CORNERS, Corner

at_each_corner = pytest.mark.parametrize("corner", CORNERS)


@at_each_corner
@pytest.mark.parametrize("resolution_kph", [0.01, 0.25, 1.0])
def test_from_some_moment_to_the_end(
    town: Any, only_finding: Any, corner: Corner, resolution_kph: float
) -> None:
    kph = town.spoilt(corner.position, 51.0, town.at(60, 999))
    finding = only_finding(town.track(kph, resolution_kph=resolution_kph))
    assert (finding.corner, finding.kind, finding.count) == (corner, "frozen", 1)
    assert finding.evidence["value_kph"] == pytest.approx(51.0, abs=0.01)
    assert finding.from_s == pytest.approx(60, abs=0.3)
    assert finding.to_s == pytest.approx(156, abs=0.1)
    assert finding.evidence["others_lowest_kph"] == pytest.approx(0, abs=0.5)


@at_each_corner
def test_for_some_seconds_and_again(town: Any, only_finding: Any, corner: Corner) -> None:
    kph = town.kph.copy()
    for from_s in (35.0, 88.0):
        rows = town.at(from_s, from_s + 4)
        kph[rows, corner.position] = kph[rows, corner.position][0]
    finding = only_finding(town.track(kph, rear_later_s=0.007))
    assert (finding.corner, finding.kind, finding.count) == (corner, "frozen", 2)
    assert finding.evidence["longest_s"] == pytest.approx(4, abs=0.1)
    assert "2 times in all" in finding.says


def test_all_the_way(town: Any, only_finding: Any) -> None:
    finding = only_finding(town.track(town.spoilt(1, 30.0)))
    assert (finding.corner, finding.kind) == (Corner.FR, "frozen")


def test_at_steady_speed_the_others_flicker_tells(make_drive: Any, only_finding: Any) -> None:
    drive = make_drive([(0, 0), (4, 0), (14, 60), (60, 60)], ())
    finding = only_finding(drive.track(drive.spoilt(3, 60.0, drive.at(40, 999))))
    assert (finding.corner, finding.kind) == (Corner.RR, "frozen")


def test_at_steady_speed_a_coarse_signal_may_stand_still(make_drive: Any, said: Any) -> None:
    drive = make_drive([(0, 0), (4, 0), (14, 60), (90, 60)], (), noise=0.002)
    assert said(drive.track(resolution_kph=1.0)) == {}


@at_each_corner
def test_a_change_of_few_coarse_steps_is_told_at_speed(
    make_drive: Any, said: Any, corner: Corner
) -> None:
    """From 79.2 to 81.8 km/h: the others go through three steps of 1 km/h."""
    drive = make_drive([(0, 0), (14, 79.2), (20, 79.2), (35, 81.8), (60, 81.8)], ())
    assert said(drive.track(resolution_kph=1.0)) == {}
    kph = drive.spoilt(corner.position, 79.2, drive.at(18, 40))
    assert said(drive.track(kph, resolution_kph=1.0)) == {corner: ["frozen"]}


def test_beside_one_that_counts_twice_the_inner_wheel_of_a_turn_is_not_frozen(
    make_drive: Any, said: Any
) -> None:
    """It keeps its speed while the car gains some, and nothing but the other's is far off."""
    drive = make_drive([(0, 0), (6, 13), (20, 13), (24, 15), (40, 15)], [(19, 34, 8.0)], noise=0)
    kph = drive.spoilt(0, 13.0, drive.at(15, 36))
    kph[:, 3] *= 2
    assert "FL" not in said(drive.track(kph, resolution_kph=1.0))


def test_standing_still_is_not_frozen(make_drive: Any, said: Any) -> None:
    drive = make_drive([(0, 0), (40, 0), (50, 50), (80, 45), (90, 0), (130, 0)], ())
    assert said(drive.track()) == {}


def test_one_side_may_keep_its_speed_while_the_other_turns_faster(
    make_drive: Any, said: Any
) -> None:
    # The outer wheels speed up in a bend that tightens, the inner ones hardly change.
    drive = make_drive([(0, 0), (5, 20), (40, 20)], [(10, 35, 12.0)], noise=0.0005)
    assert said(drive.track(resolution_kph=1.0)) == {}


@pytest.mark.parametrize("side", [0, 1])
def test_a_noisy_side_mate_does_not_change_for_that(make_drive: Any, said: Any, side: int) -> None:
    """One side keeps its speed, but for the noise, while the other slows down in a bend."""
    drive = make_drive([(0, 0), (10, 32), (60, 32)], (), noise=0.0005, period_s=0.04)
    kph = drive.kph.copy()
    rows = drive.at(20, 26)
    kph[np.ix_(rows, [1 - side, 3 - side])] *= np.linspace(1, 0.9, rows.sum())[:, None]
    kph[:, 2 + side] += np.random.default_rng(2).normal(0, 4, len(kph)) * (kph[:, 2 + side] > 20)
    told = said(drive.track(kph, resolution_kph=1.0))
    assert told == {str(CORNERS[2 + side]): ["erratic"]}


def test_the_inner_rear_wheel_of_a_turn_that_tightens_keeps_its_speed(
    make_drive: Any, said: Any
) -> None:
    """While the car gains a little, the front wheel before it runs ahead by a fifth and more."""
    drive = make_drive([(0, 0), (4, 12.5), (12, 12.5), (30, 12.5)], (), noise=0)
    kph = drive.kph.copy()
    rows = drive.at(12, 16)
    grows = np.linspace(1, 1.28, rows.sum())
    kph[rows, 0] *= grows * 1.25
    kph[rows, 1] *= grows
    kph[rows, 2] *= grows * 1.1
    assert said(drive.track(kph, resolution_kph=0.5)) == {}


@pytest.mark.parametrize("axle", [[0, 1], [2, 3]])
def test_nor_where_an_axle_is_crossed(make_drive: Any, said: Any, axle: list[int]) -> None:
    """Then the two that keep their speed stand crosswise."""
    drive = make_drive([(0, 0), (5, 30), (60, 30)], (), noise=0.0)
    kph = drive.kph.copy()
    rows = drive.at(20, 28)
    kph[np.ix_(rows, [1, 3])] *= np.linspace(1, 1.2, rows.sum())[:, None]
    kph[:, axle] = kph[:, axle[::-1]]
    told = said(drive.track(kph, resolution_kph=1.0))
    assert "frozen" not in [kind for kinds in told.values() for kind in kinds]


@at_each_corner
@pytest.mark.parametrize("resolution_kph", [0.01, 1.0])
def test_what_it_read_before_the_car_stopped(
    make_drive: Any, only_finding: Any, corner: Corner, resolution_kph: float
) -> None:
    """Too slow for other signs: it keeps 9 km/h at a stand of ten seconds."""
    drive = make_drive([(0, 0), (6, 40), (40, 40), (50, 0), (60, 0), (66, 40), (90, 40)], ())
    kph = drive.spoilt(corner.position, 9.0, drive.at(47.75, 61.35))
    finding = only_finding(drive.track(kph, resolution_kph=resolution_kph))
    assert (finding.corner, finding.kind) == (corner, "frozen")
    assert finding.evidence["value_kph"] == pytest.approx(9.0)


def test_a_wheel_that_turns_on_a_jack_is_not_frozen(make_drive: Any, said: Any) -> None:
    drive = make_drive([(0, 0), (6, 40), (40, 40), (50, 0), (90, 0)], ())
    kph = drive.kph.copy()
    kph[:, 1] += np.interp(drive.time_s, [60, 63, 75, 78], [0, 12, 12, 0])
    assert "frozen" not in said(drive.track(kph, resolution_kph=1.0)).get("FR", [])


def test_frozen_with_its_side_mate_dead(town: Any, said: Any) -> None:
    kph = town.spoilt(0, 50.0, town.at(60, 999))
    kph[:, 2] = 0.0
    assert said(town.track(kph)) == {"FL": ["frozen"], "RL": ["no_signal"]}


def test_a_unit_that_holds_the_last_value_below_its_pick_up_speed(town: Any, said: Any) -> None:
    kph = town.kph.copy()
    low = kph < 3.0
    kph[low] = 3.0
    kph[np.all(low, axis=1) & ~town.at(0, 6) & ~town.at(153, 999)] = 0.0
    assert not any("frozen" in kinds for kinds in said(town.track(kph)).values())


def test_two_that_drop_out_together_freeze_nobody(make_drive: Any, said: Any) -> None:
    # At a steady speed a coarse signal stands still; the other two fall to nothing and come back.
    drive = make_drive([(0, 0), (4, 0), (14, 49), (60, 49)], (), noise=0.002, period_s=0.1)
    kph = drive.kph.copy()
    for start_s in (20.0, 30.0, 40.0):
        for corner in (1, 2):
            kph[drive.at(start_s, start_s + 0.1), corner] = 25.0
            kph[drive.at(start_s + 0.1, start_s + 1), corner] = 0.0
    told = said(drive.track(kph, resolution_kph=1.0))
    assert set(told) <= {"FR", "RL"}


def test_a_side_mate_that_jumps_does_not_change_for_that(make_drive: Any, said: Any) -> None:
    """In a bend the right side keeps its speed; that its rear corner jumps makes it no faster."""
    drive = make_drive([(0, 26), (70, 26)], (), noise=0.0)
    kph = drive.kph.copy()
    left = np.interp(drive.time_s, [20, 21, 29, 30], [0, 4, 4, 0])
    kph[:, 0::2] += left[:, None]
    for k, start_s in enumerate(np.arange(3.0, 68.0, 2.3)):
        kph[drive.at(start_s, start_s + 0.12), 3] += 25.0 * (-1) ** k
    told = said(drive.track(kph, resolution_kph=1.0))
    assert set(told) == {"RR"}


def test_an_axle_that_spins_does_not_freeze_the_other_one(make_drive: Any, said: Any) -> None:
    """At a steady speed a coarse signal stands still; both rear wheels run away for a second."""
    drive = make_drive([(0, 29.0), (60, 29.0)], (), noise=0.0)
    kph = drive.kph.copy()
    spin = np.interp(drive.time_s, [20, 20.4, 21.2, 21.6], [0, 28, 28, 0])
    kph[:, 2:] += spin[:, None] * np.array([0.8, 1.0])
    assert said(drive.track(kph, resolution_kph=1.0)) == {}


def test_sensors_that_wake_and_sleep_at_one_slow_speed_have_not_stopped(
    make_drive: Any, said: Any
) -> None:
    """At 6 km/h the rear ones flicker; the front one that reads on is right, the other is dead."""
    drive = make_drive([(0, 0), (10, 40), (60, 40), (70, 6), (100, 6), (110, 0)], (), period_s=0.1)
    kph = drive.kph.copy()
    rows = drive.at(71, 99)
    kph[rows, 2:] *= np.random.default_rng(4).random((int(rows.sum()), 2)) < 0.5
    kph[:, 0] = 0.0
    assert said(drive.track(kph, resolution_kph=1.0)) == {"FL": ["no_signal"]}
