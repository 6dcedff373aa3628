"""Two corners' signals on each other's places."""

from itertools import combinations
from typing import Any

import numpy as np
import pytest

from canwheel.corners import CORNERS, Corner
from canwheel.findings import examine
from canwheel.track.wheel_track import HelperSamples

ACROSS = [("FL", "FR"), ("RL", "RR")]
SEEN_WITHOUT_HELP = [pair for pair in combinations(map(str, CORNERS), 2) if pair not in ACROSS]


def exchanged(drive: Any, one: str, other: str) -> Any:
    kph = drive.kph.copy()
    places = [Corner(one).position, Corner(other).position]
    kph[:, places] = kph[:, places[::-1]]
    return kph


def steering(drive: Any, *, offset: float = 3.0, gain: float = 400.0) -> HelperSamples:
    """Steering-wheel angle, left positive, with its zero a little off."""
    return HelperSamples(drive.time_s, drive.curvature * gain * 2.65 + offset)


@pytest.mark.parametrize(("one", "other"), SEEN_WITHOUT_HELP)
@pytest.mark.parametrize("rear_later_s", [0.0, 0.007])
def test_the_pair_is_named(town: Any, one: str, other: str, rear_later_s: float) -> None:
    track = town.track(exchanged(town, one, other), rear_later_s=rear_later_s)
    findings = examine(track).outcome.findings
    assert {(f.corner, f.kind, f.evidence["with"]) for f in findings} == {
        (one, "crossed", other),
        (other, "crossed", one),
    }
    assert all(f.confidence >= 0.9 for f in findings)


@pytest.mark.parametrize(("one", "other"), ACROSS)
def test_across_an_axle_all_four_are_doubtful(town: Any, said: Any, one: str, other: str) -> None:
    # Front crossed and rear crossed are mirror images: both axles turn opposite ways.
    assert said(town.track(exchanged(town, one, other))) == {c: ["crossed?"] for c in CORNERS}


@pytest.mark.parametrize(("one", "other"), ACROSS)
@pytest.mark.parametrize("helper", ["steering", "yaw_rate"])
def test_across_an_axle_the_steering_names_it(
    town: Any, said: Any, one: str, other: str, helper: str
) -> None:
    track = town.track(exchanged(town, one, other), helpers={helper: steering(town)})
    assert said(track) == {one: ["crossed"], other: ["crossed"]}


def test_a_steering_signal_that_says_nothing_is_no_help(town: Any, said: Any) -> None:
    noise = np.random.default_rng(3).normal(size=len(town.time_s))
    helpers = {"steering": HelperSamples(town.time_s, noise)}
    kph = exchanged(town, "FL", "FR")
    assert said(town.track(kph, helpers=helpers)) == {c: ["crossed?"] for c in CORNERS}
    empty = {"steering": HelperSamples(np.empty(0), np.empty(0))}
    assert said(town.track(kph, helpers=empty)) == {c: ["crossed?"] for c in CORNERS}


def test_both_axles_crossed_are_seen_by_the_steering_alone(town: Any, said: Any) -> None:
    mirrored = town.kph[:, [1, 0, 3, 2]]
    assert said(town.track(mirrored)) == {}
    told = said(town.track(mirrored, helpers={"steering": steering(town)}))
    assert set(told) == set(CORNERS)
    assert all(kinds[0].startswith("crossed") for kinds in told.values())
    assert said(town.track(helpers={"steering": steering(town)})) == {}


@pytest.mark.parametrize(("one", "other"), SEEN_WITHOUT_HELP)
def test_on_a_straight_road_it_is_not_judged(
    make_drive: Any, said: Any, one: str, other: str
) -> None:
    drive = make_drive([(0, 0), (10, 60), (90, 50)], ())
    track = drive.track(exchanged(drive, one, other))
    assert said(track) == {}
    untested = [n.corner for n in examine(track).outcome.not_judged if n.kind == "crossed"]
    assert untested == list(CORNERS)


def test_wide_turns_test_only_left_with_right(make_drive: Any) -> None:
    drive = make_drive([(0, 0), (10, 50), (90, 50)], [(20, 40, 50.0), (50, 70, -60.0)])
    why = {n.why for n in examine(drive.track()).outcome.not_judged if n.kind == "crossed"}
    (reason,) = why
    assert "front with rear on one side" in reason


@pytest.mark.parametrize(("resolution_kph", "told"), [(0.1, 0), (1.0, 4)])
def test_a_coarse_signal_hides_what_tight_turns_would_show(
    make_drive: Any, resolution_kph: float, told: int
) -> None:
    """Where front and rear differ by less than a step, sound and exchanged look alike."""
    bends = tuple((10.0 * k + 6, 10.0 * k + 13, 14.0 * (-1) ** k) for k in range(7))
    drive = make_drive([(0, 0), (5, 14), (90, 14)], bends)
    sound = examine(drive.track(resolution_kph=resolution_kph)).outcome
    swapped = examine(drive.track(exchanged(drive, "FL", "RL"), resolution_kph=resolution_kph))
    assert not sound.findings
    assert bool(swapped.outcome.findings) is (told == 0)
    words = "front and rear of one side exchanged would not have shown"
    assert sum(n.kind == "crossed" and n.why.startswith(words) for n in sound.not_judged) == told


@pytest.mark.parametrize(("one", "other"), [("FL", "RL"), ("FR", "RR")])
def test_steps_come_out_even_where_speeds_change(
    make_drive: Any, said: Any, one: str, other: str
) -> None:
    """At 12 to 24 km/h one of 1 km/h is more than front and rear differ by; many are not."""
    bends = tuple((10.0 * k + 4, 10.0 * k + 11, 11.0 * (-1) ** k) for k in range(12))
    speeds = [(12.0 * k, 12.0 + 12.0 * (k % 2)) for k in range(11)]
    drive = make_drive(speeds, bends)
    sound = examine(drive.track(resolution_kph=1.0)).outcome
    assert not sound.findings
    assert not [n for n in sound.not_judged if n.kind == "crossed"]
    told = said(drive.track(exchanged(drive, one, other), resolution_kph=1.0))
    assert told == {one: ["crossed"], other: ["crossed"]}


def test_steps_of_the_signal_are_no_turn(make_drive: Any, said: Any) -> None:
    """In bends at 45 km/h one of 1 km/h is 2 % of the speed; front and rear differ by less."""
    for seed in range(4):
        bends = tuple((12.0 * k + 4, 12.0 * k + 10, 45.0 * (-1) ** k) for k in range(6))
        drive = make_drive([(0, 44), (80, 46)], bends, seed=seed, noise=0.001)
        assert said(drive.track(resolution_kph=1.0)) == {}


def test_a_dead_corner_cannot_be_placed(town: Any) -> None:
    outcome = examine(town.track(town.spoilt(0, 0.0))).outcome
    why = {n.why for n in outcome.not_judged if n.kind == "crossed"}
    assert why == {"one corner is not read, and the others alone do not show it"}


def test_a_corner_of_another_scale_does_not_hide_it(town: Any, said: Any) -> None:
    kph = exchanged(town, "FR", "RR")
    kph[:, 0] *= 44 / 48
    told = said(town.track(kph))
    assert "crossed" in told["FR"]
    assert "crossed" in told["RR"]
    assert "RL" not in told


@pytest.mark.parametrize("corner", CORNERS)
@pytest.mark.parametrize("ratio", [0.85, 0.9, 1.1])
def test_a_wrong_ring_in_a_car_park_crosses_nobody(
    make_drive: Any, corner: Corner, ratio: float
) -> None:
    """Turns alone, and no straight that would tell the scale of a corner."""
    turns = [(5, 25, 5.0), (27, 50, -6.0), (52, 80, 5.5), (82, 115, -5.0)]
    drive = make_drive([(0, 0), (4, 10), (118, 10)], turns)
    kph = drive.spoilt(corner.position, drive.kph[:, corner.position] * ratio)
    outcome = examine(drive.track(kph)).outcome
    assert outcome.findings == ()
    assert {n.corner for n in outcome.not_judged if n.kind == "wrong_ratio"} == set(CORNERS)


@pytest.mark.parametrize(("one", "other"), [("FL", "RL"), ("FR", "RR"), ("FL", "RR")])
def test_crossed_connectors_in_a_car_park_are_told(
    make_drive: Any, said: Any, one: str, other: str
) -> None:
    turns = [(5, 25, 5.0), (27, 50, -6.0), (52, 80, 5.5), (82, 115, -5.0)]
    drive = make_drive([(0, 0), (4, 10), (118, 10)], turns)
    assert said(drive.track(exchanged(drive, one, other))) == {one: ["crossed"], other: ["crossed"]}
