"""All four corners named as if the car were turned round."""

from typing import Any

import numpy as np
import pytest

from canwheel.corners import CORNERS
from canwheel.findings import examine
from canwheel.track.wheel_track import HelperSamples

BACK_TO_FRONT, MIRRORED, BOTH = [2, 3, 0, 1], [1, 0, 3, 2], [3, 2, 1, 0]
KNOTS = [(0, 0), (10, 50), (90, 50)]


def steering(drive: Any) -> HelperSamples:
    return HelperSamples(drive.time_s, drive.curvature * 1000)


def partners(track: Any) -> dict[str, str]:
    found = examine(track).outcome.findings
    assert {finding.kind for finding in found} <= {"crossed"}
    return {finding.corner.value: str(finding.evidence["with"]) for finding in found}


def named(order: list[int]) -> dict[str, str]:
    return {corner.value: CORNERS[k].value for corner, k in zip(CORNERS, order, strict=True)}


@pytest.mark.parametrize("resolution_kph", [0.01, 0.1, 0.25])
@pytest.mark.parametrize("rear_later_s", [0.0, 0.007])
@pytest.mark.parametrize("helper", [True, False])
def test_front_and_rear_on_both_sides(
    town: Any, resolution_kph: float, rear_later_s: float, *, helper: bool
) -> None:
    helpers = {"steering": steering(town)} if helper else {}
    how = {
        "resolution_kph": resolution_kph,
        "rear_later_s": rear_later_s,
        "helpers": helpers,
    }
    track = town.track(town.kph[:, BACK_TO_FRONT], **how)
    assert partners(track) == named(BACK_TO_FRONT)
    examination = examine(track)
    assert all(finding.confidence >= 0.9 for finding in examination.outcome.findings)
    assert all("check that first" in finding.says for finding in examination.outcome.findings)
    assert [n for n in examination.outcome.not_judged if n.kind == "crossed"] == []
    sound = examine(town.track(**how))
    assert sound.outcome.findings == ()
    assert examination.coverage.distance_km == pytest.approx(sound.coverage.distance_km, rel=0.01)


@pytest.mark.parametrize("front", [0.97, 1.03])
@pytest.mark.parametrize("order", [None, BACK_TO_FRONT])
def test_tyres_of_another_size_on_one_axle(make_drive: Any, front: float, order: Any) -> None:
    drive = make_drive(tyres=(front, front, 1.0, 1.0))
    found = examine(drive.track(drive.kph if order is None else drive.kph[:, order])).outcome
    crossed = {f.corner.value: f.evidence["with"] for f in found.findings if f.kind == "crossed"}
    assert crossed == ({} if order is None else named(order))


def test_without_a_straight(make_drive: Any) -> None:
    turns = [(5, 25, 5.0), (27, 50, -6.0), (52, 80, 5.5), (82, 115, -5.0)]
    drive = make_drive([(0, 0), (4, 10), (118, 10)], turns)
    assert partners(drive.track(drive.kph[:, BACK_TO_FRONT])) == named(BACK_TO_FRONT)
    assert partners(drive.track()) == {}


@pytest.mark.parametrize("corner", CORNERS)
def test_one_that_counts_twice_for_a_time_turns_nobody_round(make_drive: Any, corner: Any) -> None:
    """On its own side it runs ahead, or behind; on the other one the front is the front."""
    bends = tuple((12.0 * k + 4, 12.0 * k + 11, 6.0 * (-1) ** k) for k in range(12))
    speeds = [(0, 0), (4, 8), (60, 6), (62, 12), (80, 12), (82, 6), (140, 6)]
    drive = make_drive(speeds, bends, noise=0.001)
    rows = drive.at(60, 100)
    kph = drive.spoilt(corner.position, 2 * drive.kph[rows, corner.position], rows)
    found = examine(drive.track(kph)).outcome.findings
    assert [(finding.corner, finding.kind) for finding in found] == [(corner, "wrong_ratio")]


@pytest.mark.parametrize("turns", [(), [(20, 40, 50.0), (50, 70, -60.0)]])
def test_without_sharp_turns_nothing_is_told(make_drive: Any, turns: Any) -> None:
    drive = make_drive(KNOTS, turns)
    outcome = examine(drive.track(drive.kph[:, BACK_TO_FRONT])).outcome
    assert outcome.findings == ()
    assert {n.corner for n in outcome.not_judged if n.kind == "crossed"} == set(CORNERS)


def test_a_tail_that_drifts_is_not_the_front(make_drive: Any) -> None:
    """Round 12 m at 28 km/h, 5 m/s²: the rear wheels run 3 % ahead of the front ones."""
    turns = [(20.0 * k + 12, 20.0 * k + 22, 12.0 * (-1) ** k) for k in range(4)]
    drive = make_drive([(0, 0), (8, 28), (95, 28)], turns)
    kph = drive.kph.copy()
    front, rear = kph[:, :2].mean(axis=1), kph[:, 2:].mean(axis=1)
    drifts = np.abs(drive.curvature) > 0.02
    kph[:, 2:] *= np.where(drifts, 1.03 * front / np.maximum(rear, 0.1), 1.0)[:, None]
    outcome = examine(drive.track(kph)).outcome
    assert [finding for finding in outcome.findings if finding.kind == "crossed"] == []
    assert {n.corner for n in outcome.not_judged if n.kind == "crossed"} == set(CORNERS)


def test_the_steering_tells_left_from_right(town: Any) -> None:
    helpers = {"steering": steering(town)}
    track = town.track(town.kph[:, MIRRORED], helpers=helpers)
    assert partners(track) == named(MIRRORED)
    assert all(finding.confidence < 0.9 for finding in examine(track).outcome.findings)
    assert partners(town.track(town.kph[:, MIRRORED])) == {}
    assert partners(town.track(town.kph[:, BOTH], helpers=helpers)) == named(BOTH)
    assert partners(town.track(town.kph[:, BOTH])) == named(BACK_TO_FRONT)
