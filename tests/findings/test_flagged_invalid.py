"""A corner that the brake unit itself marks as having no value."""

from typing import Any

import numpy as np
import pytest

from canwheel.corners import CORNERS, Corner

at_each_corner = pytest.mark.parametrize("corner", CORNERS)


def marked(drive: Any, corner: Corner, *stretches: tuple[float, float]) -> Any:
    flagged = np.zeros(drive.kph.shape, bool)
    for from_s, to_s in stretches:
        flagged[drive.at(from_s, to_s), corner.position] = True
    return drive.track(flagged=flagged)


@at_each_corner
def test_for_a_while_twice(town: Any, only_finding: Any, corner: Corner) -> None:
    finding = only_finding(marked(town, corner, (20, 25), (70, 71)))
    assert (finding.corner, finding.kind, finding.count) == (corner, "flagged_invalid", 2)
    assert finding.evidence["raw_value"] == 0xFFFF
    assert finding.evidence["flagged_s"] == pytest.approx(6, abs=0.05)
    assert "2 times" in finding.says


@at_each_corner
def test_all_the_way(town: Any, only_finding: Any, corner: Corner) -> None:
    finding = only_finding(marked(town, corner, (0, 999)))
    assert (finding.corner, finding.kind, finding.count) == (corner, "flagged_invalid", 1)
    assert "once" in finding.says


def test_a_single_frame_while_driving(town: Any, only_finding: Any) -> None:
    finding = only_finding(marked(town, Corner.RL, (65.0, 65.02)))
    assert (finding.corner, finding.kind) == (Corner.RL, "flagged_invalid")


def test_a_unit_that_tests_itself_before_the_start_is_excused(town: Any, said: Any) -> None:
    flagged = np.zeros(town.kph.shape, bool)
    flagged[town.at(0, 3)] = True
    assert said(town.track(flagged=flagged)) == {}


def test_a_long_one_at_a_standing_car_is_not(make_drive: Any, said: Any) -> None:
    drive = make_drive([(0, 0), (30, 0), (40, 40), (80, 40)], ())
    assert said(marked(drive, Corner.FL, (0, 20))) == {"FL": ["flagged_invalid"]}


def test_all_four_marked(town: Any, said: Any) -> None:
    track = town.track(flagged=np.ones(town.kph.shape, bool))
    assert said(track) == {c: ["flagged_invalid"] for c in CORNERS}


def test_marked_at_walking_pace_is_told(make_drive: Any, only_finding: Any) -> None:
    drive = make_drive([(0, 0), (3, 0), (8, 4.2), (60, 4.2)], ())
    flagged = np.zeros((len(drive.time_s), 4), bool)
    flagged[drive.at(20, 26), 2] = True
    finding = only_finding(drive.track(flagged=flagged))
    assert (finding.corner, finding.kind) == (Corner.RL, "flagged_invalid")


def test_what_is_read_between_the_marks_of_a_spell_is_not_counted(
    town: Any, only_finding: Any
) -> None:
    moments = [(62 - 0.005 + k / 2, 62 + 0.005 + k / 2) for k in range(20)]  # a sample each
    finding = only_finding(marked(town, Corner.RL, *moments))
    assert finding.count == 1
    assert finding.evidence["flagged_s"] == pytest.approx(20 * 0.02, abs=0.01)
