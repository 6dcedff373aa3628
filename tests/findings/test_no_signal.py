"""A corner that reads nothing to the end of the drive, and what only looks like it."""

from typing import Any

import numpy as np
import pytest

from canwheel.corners import CORNERS, Corner
from canwheel.findings import examine
from canwheel.findings.no_signal import find_no_signal
from canwheel.track.motion import estimate_motion

at_each_corner = pytest.mark.parametrize("corner", CORNERS)


@at_each_corner
def test_dead_all_the_way(town: Any, only_finding: Any, corner: Corner) -> None:
    track = town.track(town.spoilt(corner.position, 0.0))
    finding = only_finding(track)
    assert (finding.corner, finding.kind, finding.count) == (corner, "no_signal", 1)
    assert (finding.from_s, finding.to_s) == (0.0, track.duration_s)
    assert finding.evidence["others_top_kph"] == pytest.approx(63, abs=1.5)
    assert "for the whole drive" in finding.says
    assert finding.confidence >= 0.95


@at_each_corner
@pytest.mark.parametrize("rear_later_s", [0.0, 0.007])
def test_dead_from_some_moment_on(
    town: Any, only_finding: Any, corner: Corner, rear_later_s: float
) -> None:
    kph = town.spoilt(corner.position, 0.0, town.at(70, 999))
    finding = only_finding(town.track(kph, rear_later_s=rear_later_s))
    assert (finding.corner, finding.kind) == (corner, "no_signal")
    assert finding.from_s == pytest.approx(70, abs=0.05)
    assert "from 70.0 s on" in finding.says


@at_each_corner
@pytest.mark.parametrize("period_s", [0.01, 0.1])
@pytest.mark.parametrize("resolution_kph", [0.005, 1.0])
def test_told_by_15_kph(
    make_drive: Any, said: Any, corner: Corner, period_s: float, resolution_kph: float
) -> None:
    # UN Regulation 13-H wants a sensor that gives no speed told above 15 km/h at the latest.
    drive = make_drive([(0, 0), (3, 0), (11, 15.6)], (), period_s=period_s)
    kph = drive.spoilt(corner.position, 0.0)
    assert said(drive.track(kph, resolution_kph=resolution_kph)) == {corner.value: ["no_signal"]}


def test_at_low_speed_nothing_is_claimed(make_drive: Any, said: Any) -> None:
    drive = make_drive([(0, 0), (3, 0), (10, 9), (20, 9)], ())
    track = drive.track(drive.spoilt(2, 0.0))
    assert said(track) == {}
    untested = {n.corner for n in examine(track).outcome.not_judged if n.kind == "no_signal"}
    assert untested == set(CORNERS)


def test_a_car_that_never_moved(make_drive: Any, said: Any) -> None:
    track = make_drive([(0, 0), (30, 0)], ()).track()
    assert said(track) == {}
    reasons = {n.why for n in examine(track).outcome.not_judged if n.kind == "no_signal"}
    assert reasons == {"the car never passed 15 km/h, by which every sensor must read"}


def test_a_sensor_that_reads_at_speed_is_not_dead_at_the_end_of_a_drive(
    make_drive: Any, said: Any
) -> None:
    # Passive sensors of the whole car go silent below 6 km/h (textbook, from memory).
    drive = make_drive([(0, 0), (4, 0), (12, 40), (30, 40), (40, 5), (60, 5)], ())
    kph = np.where(drive.kph < 6, 0.0, drive.kph)
    assert said(drive.track(kph)) == {}


def test_a_capture_that_starts_at_speed(make_drive: Any, said: Any) -> None:
    drive = make_drive([(0, 50), (20, 60)], ())
    assert said(drive.track()) == {}
    assert said(drive.track(drive.spoilt(1, 0.0))) == {"FR": ["no_signal"]}


def test_two_dead_corners(town: Any, said: Any) -> None:
    kph = town.kph.copy()
    kph[:, 0] = 0.0
    kph[town.at(60, 999), 3] = 0.0
    assert said(town.track(kph)) == {"FL": ["no_signal"], "RR": ["no_signal"]}


def test_nothing_is_said_of_too_few_samples(make_drive: Any) -> None:
    drive = make_drive([(0, 50), (1, 50)], ())
    sent = np.ones((len(drive.time_s), 4), bool)
    sent[1:, 0] = False
    track = drive.track(drive.spoilt(0, 0.0), present=sent)
    assert find_no_signal(track, estimate_motion(track)).findings == ()


def test_one_that_read_at_walking_pace_and_died_is_told_there(
    make_drive: Any, only_finding: Any
) -> None:
    drive = make_drive([(0, 0), (3, 0), (8, 6), (20, 6), (24, 13), (60, 13), (64, 0)], ())
    finding = only_finding(drive.track(drive.spoilt(1, 0.0, drive.at(30, 999))))
    assert (finding.corner, finding.kind) == (Corner.FR, "no_signal")


@at_each_corner
@pytest.mark.parametrize(("slow_s", "told"), [(60, ["no_signal"]), (15, [])])
def test_one_that_died_at_speed_is_told_on_the_slow_way_home(
    make_drive: Any, said: Any, corner: Corner, slow_s: float, told: list[str]
) -> None:
    """It never read at walking pace, but 100 m at 12 km/h without a pulse is no sound sensor."""
    drive = make_drive([(0, 45), (30, 45), (33, 12), (33 + slow_s, 12)], ())
    kph = drive.spoilt(corner.position, 0.0, drive.at(32.9, 999))
    assert said(drive.track(kph)).get(corner.value, []) == told
