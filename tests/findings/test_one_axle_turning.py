"""One axle, or one wheel, that reads alone: raised, on rollers, towed, or the rest is lost."""

from typing import Any

import numpy as np
import pytest

from canwheel.corners import CORNERS
from canwheel.findings import examine
from canwheel.track.wheel_track import HelperSamples

PAIRS = pytest.mark.parametrize("dead", [[0, 1], [2, 3]])
BRISK = ((0, 0), (4, 0), (9, 50), (30, 50), (36, 20), (70, 20), (76, 45), (90, 45), (96, 0))
"""Sets off at 2.8 m/s²."""
BENDS = ((40, 47, 10.0), (52, 60, -10.0))


def silent(drive: Any, dead: list[int], from_s: float = 0.0) -> Any:
    kph = drive.kph.copy()
    kph[np.ix_(drive.at(from_s, 999), dead)] = 0.0
    return kph


def told(dead: list[int], kind: str) -> dict[str, list[str]]:
    return {CORNERS[k].value: [kind] for k in dead}


@PAIRS
def test_with_turns_both_ways_both_are_lost_or_the_car_was_towed(
    town: Any, said: Any, dead: list[int]
) -> None:
    track = town.track(silent(town, dead))
    assert said(track) == told(dead, "no_signal?")
    examination = examine(track)
    assert examination.outcome.events == ()
    assert all("unless the car was towed" in f.says for f in examination.outcome.findings)
    assert examination.coverage.distance_km == pytest.approx(1.5, abs=0.1)


@PAIRS
def test_what_is_towed_does_not_pull_off_like_that(
    make_drive: Any, said: Any, dead: list[int]
) -> None:
    drive = make_drive(BRISK, BENDS)
    track = drive.track(silent(drive, dead))
    assert said(track) == told(dead, "no_signal")
    assert "gain speed by up to 2.8 m/s²" in examine(track).outcome.findings[0].says


@PAIRS
@pytest.mark.parametrize(("helper", "doubt"), [("steering", ""), ("yaw_rate", "?")])
@pytest.mark.parametrize("ways", [2, 1])
def test_who_steers_drives(  # noqa: PLR0917
    make_drive: Any, said: Any, dead: list[int], helper: str, doubt: str, ways: int
) -> None:
    """A yaw rate that goes with the turns is that of a car on the road, towed or not."""
    drive = make_drive(((0, 0), (10, 45), (30, 45), (36, 20), (90, 20)), BENDS[:ways])
    wander = np.random.default_rng(1).normal(0, 1, len(drive.time_s))
    helpers = {helper: HelperSamples(drive.time_s, drive.curvature * 1000 + wander)}
    assert said(drive.track(silent(drive, dead), helpers=helpers)) == told(
        dead, "no_signal" + doubt
    )


@PAIRS
def test_from_a_stop_on(make_drive: Any, said: Any, dead: list[int]) -> None:
    later = tuple((knot_s + 60, kph) for knot_s, kph in BRISK)
    drive = make_drive(
        ((0, 0), (8, 45), (40, 45), (48, 0), *later), [(f + 60, t + 60, r) for f, t, r in BENDS]
    )
    track = drive.track(silent(drive, dead, from_s=55.0))
    assert said(track) == told(dead, "no_signal")
    finding = examine(track).outcome.findings[0]
    assert finding.from_s == pytest.approx(64, abs=0.5)
    assert "from 64." in finding.says


@PAIRS
@pytest.mark.parametrize("bends", [(), BENDS[:1]])
def test_without_turns_both_ways_it_may_be_rollers(
    make_drive: Any, said: Any, events: Any, dead: list[int], bends: Any
) -> None:
    drive = make_drive(BRISK, bends)
    track = drive.track(silent(drive, dead))
    assert said(track) == {}
    assert [event.kind for event in events(track)] == ["one_axle_turning"]


def apart(drive: Any, turning: list[int], share: Any) -> Any:
    """Only one axle turns, its wheels so far apart, over their mean."""
    kph = np.zeros_like(drive.kph)
    pace = drive.kph[:, turning].mean(axis=1)
    kph[:, turning[0]], kph[:, turning[1]] = pace * (1 - share / 2), pace * (1 + share / 2)
    return kph


@pytest.mark.parametrize("turning", [[0, 1], [2, 3]])
@pytest.mark.parametrize("unequal", ["drag", "weight", "lifted"])
def test_rollers_and_a_differential_make_no_turns(
    make_drive: Any, said: Any, events: Any, turning: list[int], unequal: str
) -> None:
    """Rollers whose drag differs; or whose weight does, so that the wheels part as they gain or
    lose speed; and wheels lifted from the ground, that part as the differential lets them.
    """  # noqa: D205 - one sentence, one fact
    knots = [(0, 0), *((10 + 15 * k, 70 if k % 2 else 20) for k in range(9)), (140, 0)]
    drive = make_drive(knots, ())
    pace_mps = drive.kph.mean(axis=1) / 3.6
    gain_mps2 = np.convolve(np.gradient(pace_mps, drive.time_s), np.ones(25) / 25, "same")
    share = {
        "drag": np.full(len(pace_mps), 0.08),
        "weight": 0.05 * gain_mps2,
        "lifted": 0.8 * np.sin(drive.time_s / 3),
    }[unequal]
    track = drive.track(apart(drive, turning, share))
    assert said(track) == {}
    assert "one_axle_turning" in {event.kind for event in events(track)}


@pytest.mark.parametrize("live", range(4))
@pytest.mark.parametrize("times_s", [(65.0, 65.0, 65.0), (20.0, 65.0, 65.0), (20.0, 40.0, 65.0)])
def test_three_lost_at_speed(
    town: Any, said: Any, events: Any, live: int, times_s: tuple[float, ...]
) -> None:
    kph, dead = town.kph, [k for k in range(4) if k != live]
    for k, from_s in zip(dead, times_s, strict=True):
        kph = np.where((np.arange(4) == k) & (town.time_s >= from_s)[:, None], 0.0, kph)
    track = town.track(kph)
    assert said(track) == told(dead, "no_signal")
    assert events(track) == ()
    since = [finding.from_s for finding in examine(track).outcome.findings]
    assert since == pytest.approx(times_s, abs=0.1)


def test_three_that_the_brake_stopped_are_not_lost(make_drive: Any, said: Any) -> None:
    """The car stands; the fourth picks up a hum of 20 km/h, from just after the stop on."""
    drive = make_drive([(0, 0), (8, 50), (60, 50), (62, 0), (90, 0)], ())
    hum = 20 + np.random.default_rng(2).normal(0, 1, len(drive.time_s))
    kph = np.where((np.arange(4) == 1) & drive.at(62.5, 999)[:, None], hum[:, None], drive.kph)
    assert "no_signal" not in str(said(drive.track(kph)))
