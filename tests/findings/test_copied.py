"""A corner that repeats another's value to the last bit."""

from dataclasses import replace
from itertools import permutations
from typing import Any

import numpy as np
import pytest

from canwheel.corners import CORNERS
from canwheel.findings import examine
from canwheel.track.wheel_track import HelperSamples, at_times

PAIRS = list(permutations(range(4), 2))


@pytest.mark.parametrize(("copy", "of"), PAIRS)
def test_the_copy_is_named(town: Any, only_finding: Any, copy: int, of: int) -> None:
    finding = only_finding(town.track(town.spoilt(copy, town.kph[:, of])))
    assert (finding.corner, finding.kind) == (CORNERS[copy], "copied")
    assert finding.evidence["of"] == CORNERS[of].value
    assert finding.confidence >= 0.9


@pytest.mark.parametrize(("copy", "of"), PAIRS)
def test_in_two_messages_and_coarse_nobody_else_is_accused(
    make_drive: Any, said: Any, copy: int, of: int
) -> None:
    drive = make_drive()
    kph = drive.spoilt(copy, drive.kph[:, of])
    told = said(drive.track(kph, resolution_kph=0.25))
    assert CORNERS[copy].value in told
    assert set(told) <= {CORNERS[copy].value, CORNERS[of].value}
    assert {kind.rstrip("?") for kinds in told.values() for kind in kinds} == {"copied"}


@pytest.mark.parametrize(("copy", "of"), [(0, 1), (2, 3), (1, 0), (3, 2)])
def test_on_a_straight_road_a_mirror_pair_cannot_be_told_apart(
    make_drive: Any, said: Any, copy: int, of: int
) -> None:
    drive = make_drive([(0, 30), (10, 60), (90, 50)], ())
    told = said(drive.track(drive.spoilt(copy, drive.kph[:, of])))
    assert told == {CORNERS[k].value: ["copied?"] for k in (copy, of)}


@pytest.mark.parametrize("copy", [2, 3])
def test_between_messages_the_repeat_is_a_little_later(town: Any, said: Any, copy: int) -> None:
    # The unit fills both messages from one reading: the rear's frame repeats the front's value.
    track = town.track(rear_later_s=0.007)
    front = track.wheels[copy - 2]
    wheels = list(track.wheels)
    wheels[copy] = replace(wheels[copy], speed_kph=front.speed_kph, raw=front.raw)
    speed = track.speed_kph.copy()
    speed[:, copy] = front.speed_kph
    told = said(replace(track, wheels=tuple(wheels), speed_kph=speed))
    assert CORNERS[copy].value in told
    assert {kind.rstrip("?") for kinds in told.values() for kind in kinds} == {"copied"}


@pytest.mark.parametrize(("copy", "of"), [(2, 0), (3, 0), (0, 2), (1, 3)])
def test_a_message_that_comes_half_as_often(town: Any, said: Any, copy: int, of: int) -> None:
    present = np.ones(town.kph.shape, bool)
    present[1::2, 2:] = False
    track = town.track(present=present, rear_later_s=0.004)
    # The rear repeats every other front value, or the front each rear value twice.
    had = track.wheels[of].speed_kph
    had = had[::2] if of < copy else np.append(0.0, np.repeat(had, 2))[: len(town.time_s)]
    wheels = list(track.wheels)
    wheels[copy] = replace(wheels[copy], speed_kph=had, raw=np.round(had * 100).astype(np.int64))
    speed = track.speed_kph.copy()
    speed[:, copy] = at_times(wheels[copy], track.time_s)
    told = said(replace(track, wheels=tuple(wheels), speed_kph=speed))
    assert CORNERS[copy].value in told
    assert {kind.rstrip("?") for kinds in told.values() for kind in kinds} == {"copied"}


def test_a_drive_that_hardly_changes_cannot_tell(make_drive: Any) -> None:
    drive = make_drive([(0, 30), (20, 32)], (), noise=0.0, tyres=(1, 1, 1, 1))
    outcome = examine(drive.track(resolution_kph=1.0)).outcome
    assert not outcome.findings
    why = {n.why for n in outcome.not_judged if n.kind == "copied"}
    assert why == {"too little driving, or too coarse a signal, to tell a copy from a twin"}


def test_a_coarse_signal_on_a_straight_road_is_no_copy(make_drive: Any, said: Any) -> None:
    drive = make_drive([(0, 0), (10, 60), (90, 50), (120, 0)], ())
    assert said(drive.track(resolution_kph=1.0)) == {}


@pytest.mark.parametrize(("copy", "of"), [(0, 1), (3, 2), (0, 3), (1, 2)])
def test_in_gentle_bends_the_steering_tells_which_is_the_copy(
    make_drive: Any, said: Any, copy: int, of: int
) -> None:
    bends = tuple((10.0 * k + 2, 10.0 * k + 8, 300.0 if k % 2 else -220.0) for k in range(12))
    drive = make_drive([(0, 50), (60, 70), (120, 50)], bends)
    yaw_rate = HelperSamples(drive.time_s, drive.curvature * drive.kph.mean(axis=1))
    track = drive.track(drive.spoilt(copy, drive.kph[:, of]), helpers={"yaw_rate": yaw_rate})
    assert said(track) == {CORNERS[copy].value: ["copied"]}


@pytest.mark.parametrize(("copy", "of"), PAIRS)
def test_for_a_part_of_the_drive(town: Any, only_finding: Any, copy: int, of: int) -> None:
    """As while the unit misses a reading and fills it in."""
    rows = town.at(40, 100)
    finding = only_finding(town.track(town.spoilt(copy, town.kph[rows, of], rows)))
    assert (finding.corner, finding.kind) == (CORNERS[copy], "copied")
    assert finding.evidence["of"] == CORNERS[of].value
    assert finding.confidence >= 0.9
    assert finding.from_s == pytest.approx(40, abs=1)
    assert finding.to_s == pytest.approx(100, abs=1)
    assert finding.evidence["repeated_s"] == pytest.approx(60, abs=1)
    assert "and reads a value of its own otherwise" in finding.says


def test_several_times(town: Any, only_finding: Any) -> None:
    rows = town.at(12, 30) | town.at(58, 80) | town.at(90, 112)
    finding = only_finding(town.track(town.spoilt(2, town.kph[rows, 1], rows)))
    assert (finding.corner, finding.kind, finding.count) == (CORNERS[2], "copied", 3)
    assert "in all, in 3 stretches" in finding.says


def test_some_seconds_on_a_straight_road_leave_both_in_doubt(make_drive: Any, said: Any) -> None:
    drive = make_drive([(0, 30), (10, 60), (90, 50)], (), tyres=(1, 1, 1, 1))
    rows = drive.at(30, 50)
    told = said(drive.track(drive.spoilt(0, drive.kph[rows, 1], rows)))
    assert told == {"FL": ["copied?"], "FR": ["copied?"]}


@pytest.mark.parametrize("resolution_kph", [0.25, 0.5, 1.0])
def test_coarse_signals_that_go_together_for_long_are_no_copy(
    make_drive: Any, said: Any, resolution_kph: float
) -> None:
    """Wheels of one size, on a straight road, through hundreds of steps."""
    speeds = [(6.0 * k, 40.0 + 40.0 * (k % 2)) for k in range(40)]
    drive = make_drive(speeds, (), noise=0.0003, tyres=(1, 1.0005, 1, 1.0005))
    assert said(drive.track(resolution_kph=resolution_kph)) == {}


@pytest.mark.parametrize("resolution_kph", [0.01, 0.0625, 0.25])
@pytest.mark.parametrize("rear_later_s", [0.0, 0.007])
@pytest.mark.parametrize("tyres", [(1.0, 1.0006, 0.9994, 1.0012), (1.0, 1.003, 0.998, 1.001)])
def test_wheels_alike_without_noise_are_no_copies(
    make_drive: Any, said: Any, resolution_kph: float, rear_later_s: float, tyres: Any
) -> None:
    """On the straight they read one value, until the car turns or goes faster."""
    speeds = [
        (0, 0),
        (12, 50),
        (40, 55),
        (44, 30),
        (60, 50),
        (90, 50),
        (94, 25),
        (110, 50),
        (140, 0),
    ]
    drive = make_drive(speeds, [(20, 30, 60.0), (70, 80, -60.0)], noise=0.0, tyres=tyres)
    track = drive.track(resolution_kph=resolution_kph, rear_later_s=rear_later_s)
    assert "copied" not in [kind.rstrip("?") for kinds in said(track).values() for kind in kinds]
