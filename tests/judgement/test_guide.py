"""What is still to drive, on drives made sample by sample."""

from dataclasses import replace

import numpy as np
import pytest

from canwheel.corners import CORNERS
from canwheel.judgement.guide import guide_drive
from canwheel.judgement.verdict import judge_drive
from canwheel.outcome import Finding, Outcome, Span
from canwheel.track.coverage import CornerCoverage, Coverage, Driving

STRAIGHT, LEFT, RIGHT = 0, 1, 2


def coverage(*stretches: tuple[int, float, int], read_km: float, stops: int = 0) -> Coverage:
    """Make a drive of stretches: which way, how long [s], in which speed band."""
    turn = np.concatenate([np.full(round(s * 10), t, np.int8) for t, s, _ in stretches])
    band = np.concatenate([np.full(round(s * 10), b, np.int8) for _, s, b in stretches])
    driving = Driving(np.arange(len(turn)) / 10, np.full(len(turn), 0.001), band, turn)
    fl, fr, rl, rr = (CornerCoverage(c, np.zeros((5, 3)), read_km) for c in CORNERS)
    return Coverage(
        distance_km=1.0,
        moving_s=10.0,
        top_speed_kph=50.0,
        stops=stops,
        straight_s=0.0,
        left_turn_s=0.0,
        right_turn_s=0.0,
        corners=(fl, fr, rl, rr),
        first_moving_s=0.0,
        driving=driving,
    )


ALL = (
    (STRAIGHT, 61.0, 2),
    (LEFT, 3.0, 1),
    (STRAIGHT, 2.0, 1),
    (LEFT, 3.0, 1),
    (RIGHT, 3.0, 1),
    (STRAIGHT, 2.0, 1),
    (RIGHT, 3.0, 1),
)


def says(drive: Coverage) -> list[str]:
    guide = guide_drive(judge_drive(Outcome(), drive))
    return [line.missing for line in guide.lines if not line.is_done]


def test_a_whole_drive_is_enough() -> None:
    guide = guide_drive(judge_drive(Outcome(), coverage(*ALL, read_km=1.0, stops=2)))
    assert guide.enough
    assert guide.says.startswith("Enough")
    assert all(line.is_done for line in guide.lines)


def test_what_is_missing_is_said_with_figures() -> None:
    drive = coverage((STRAIGHT, 20.0, 2), (LEFT, 3.0, 1), read_km=0.1, stops=1)
    assert says(drive) == [
        "another 0.2 km above 15 km/h",
        "straight at a steady 30 to 60 km/h for another 40 s",
        "one more left turn",
        "two more right turns",
        "one more gentle stop",
    ]
    guide = guide_drive(judge_drive(Outcome(), drive))
    assert not guide.enough
    assert guide.says == "Another 0.2 km above 15 km/h."


def test_a_swerve_is_no_turn_and_slow_straights_do_not_count() -> None:
    drive = coverage((LEFT, 1.0, 1), (STRAIGHT, 99.0, 1), (LEFT, 1.6, 1), read_km=1.0, stops=2)
    assert says(drive) == [
        "straight at a steady 30 to 60 km/h for another 60 s",
        "one more left turn",
        "two more right turns",
    ]


def test_a_fault_is_enough() -> None:
    finding = Finding(CORNERS[2], "no_signal", 0.99, (Span(0.0, 10.0),), 1, "Reads nothing.")
    judgement = judge_drive(Outcome(findings=(finding,)), coverage(*ALL[:1], read_km=0.4))
    guide = guide_drive(judgement)
    assert guide.enough
    assert "a fault is found" in guide.says


def test_the_faulty_corner_is_not_waited_for() -> None:
    finding = Finding(CORNERS[2], "no_signal", 0.99, (Span(0.0, 10.0),), 1, "Reads nothing.")
    drive = coverage(*ALL, read_km=1.0, stops=2)
    dead = replace(drive.corners[2], read_km=0.0)
    drive = replace(drive, corners=(*drive.corners[:2], dead, drive.corners[3]))
    guide = guide_drive(judge_drive(Outcome(findings=(finding,)), drive))
    assert guide.lines[0].is_done


@pytest.mark.parametrize("read_km", [0.0, 0.05, 0.299])
def test_nothing_is_ever_more_than_done(read_km: float) -> None:
    guide = guide_drive(judge_drive(Outcome(), coverage((STRAIGHT, 500.0, 4), read_km=read_km)))
    assert all(0.0 <= line.done <= 1.0 for line in guide.lines)
    assert not guide.enough


def test_a_car_that_stands() -> None:
    drive = coverage((STRAIGHT, 0.1, 0), read_km=0.0)
    assert len(says(drive)) == 5
