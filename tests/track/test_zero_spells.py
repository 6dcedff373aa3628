"""Stretches in which one corner reads nothing while the others move, and how they are described."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from canwheel.corners import CORNERS, Corner
from canwheel.track.motion import estimate_motion
from canwheel.track.wheel_locks import is_wheel_lock
from canwheel.track.wheel_track import HelperSamples, WheelTrack
from canwheel.track.zero_spells import find_zero_spells

at_each_corner = pytest.mark.parametrize("corner", CORNERS)


def spells_of(track: WheelTrack, corner: Corner) -> Any:
    return find_zero_spells(track, estimate_motion(track), corner)


@at_each_corner
def test_a_spell_in_the_middle(town: Any, corner: Corner) -> None:
    track = town.track(town.spoilt(corner.position, 0.0, town.at(64, 66)))
    (spell,) = spells_of(track, corner)
    assert (spell.corner, spell.span.from_s) == (corner, pytest.approx(64, abs=0.03))
    assert spell.silent_s == pytest.approx(2, abs=0.04)
    assert spell.judged_s == pytest.approx(2, abs=0.04)
    assert spell.judged_km == pytest.approx(2 * 59 / 3600, rel=0.03)
    assert spell.others_top_kph == pytest.approx(59, abs=2)
    assert spell.edge_s == pytest.approx(0, abs=0.001)
    assert spell.sample_s == pytest.approx(0.02)
    assert not spell.to_the_end
    assert not spell.from_the_start
    assert not spell.starts_slow
    assert not spell.ends_slow
    assert spell.braking is None
    for other in CORNERS:
        assert other is corner or spells_of(track, other) == ()


def test_at_a_start_and_at_a_stop(make_drive: Any) -> None:
    drive = make_drive([(0, 0), (5, 0), (15, 50), (30, 50), (40, 0), (45, 0)], ())
    kph = np.where(drive.kph < np.array([1, 1, 20, 1]), 0.0, drive.kph)
    start, stop = spells_of(drive.track(kph), Corner.RL)
    assert start.from_the_start
    assert not stop.from_the_start
    assert stop.to_the_end
    assert start.starts_slow
    assert not start.ends_slow
    assert stop.ends_slow
    assert start.others_top_kph == pytest.approx(20, abs=0.5)
    assert stop.others_top_kph == pytest.approx(20, abs=0.5)


def test_a_stop_in_between_does_not_end_it(town: Any) -> None:
    track = town.track(town.spoilt(1, 0.0, town.at(105, 118)))
    (spell,) = spells_of(track, Corner.FR)
    assert spell.from_s == pytest.approx(105, abs=0.05)
    assert spell.silent_s == pytest.approx(13, abs=0.1)
    assert spell.judged_s < 4


@pytest.mark.parametrize("edge_s", [0.0, 0.1, 0.3])
def test_fall_and_rise_are_timed(make_drive: Any, edge_s: float) -> None:
    drive = make_drive([(0, 60), (20, 60), (30, 30)], (), period_s=0.01)
    at = [22, 22 + edge_s, 23, 23 + edge_s]
    share = np.interp(drive.time_s, at, [1, 0, 0, 1])
    (spell,) = spells_of(drive.track(drive.spoilt(3, drive.kph[:, 3] * share)), Corner.RR)
    # From 85 % of the speed down to nothing and back: most of both ramps.
    assert spell.edge_s == pytest.approx(2 * 0.85 * edge_s, rel=0.35, abs=0.021)
    assert is_wheel_lock(spell) == (edge_s > 0)
    assert spell.slowing_mps2 == pytest.approx(0.83, abs=0.15)


def test_the_inner_wheel_of_a_turn_falls_from_its_own_speed(make_drive: Any) -> None:
    """Beside a dead corner, when nothing says how much slower it should run."""
    drive = make_drive([(0, 0), (4, 18), (40, 18)], [(10, 30, 5.0)], period_s=0.02)
    inner = drive.kph[drive.at(15, 25), 2]
    assert np.all(inner < 0.8 * np.median(drive.kph[drive.at(15, 25)], axis=1))
    kph = drive.spoilt(2, 0.0, drive.at(20, 21))
    kph[:, 0] = 0.0
    (spell,) = spells_of(drive.track(kph), Corner.RL)
    assert spell.edge_s == pytest.approx(0, abs=0.001)


def test_a_mean_over_time_takes_that_long_to_fall_and_rise(make_drive: Any) -> None:
    """Pulses counted over 0.15 s fall and rise by a ramp as long, whatever cut the wire."""
    drive = make_drive([(0, 60), (20, 60), (30, 30)], (), period_s=0.01)
    share = np.interp(drive.time_s, [22, 22.15, 23, 23.15], [1, 0, 0, 1])
    track = drive.track(drive.spoilt(3, drive.kph[:, 3] * share))
    counted = replace(track, wheels=tuple(replace(w, mean_over_s=0.15) for w in track.wheels))
    (spell,) = spells_of(counted, Corner.RR)
    assert spell.edge_s == pytest.approx(0, abs=0.001)
    assert spell.silent_s == pytest.approx(1, abs=0.08)
    assert is_wheel_lock(spell), "as with slow messages, nobody can tell"
    (spell,) = spells_of(track, Corner.RR)
    assert spell.edge_s > 0.15


def test_a_corner_that_drops_out_does_not_slow_the_car(make_drive: Any) -> None:
    """Beside one that reads too little, the mean of all four falls with it; the others do not."""
    drive = make_drive([(0, 80), (60, 80)], (), period_s=0.1)
    kph = drive.kph * np.array([1, 1, 1, 0.92])
    kph[drive.at(30, 31), 1] = 0.0
    (spell,) = spells_of(drive.track(kph), Corner.FR)
    assert abs(spell.slowing_mps2) < 0.3
    assert not is_wheel_lock(spell)


def test_a_wheel_that_locks_as_the_braking_ends_was_braked(make_drive: Any) -> None:
    drive = make_drive([(0, 60), (20, 60), (26, 30), (40, 32)], (), period_s=0.02)
    at = [25.8, 25.95, 26.8, 26.95]
    share = np.interp(drive.time_s, at, [1, 0, 0, 1])
    (spell,) = spells_of(drive.track(drive.spoilt(1, drive.kph[:, 1] * share)), Corner.FR)
    assert spell.slowing_mps2 > 0.8
    assert is_wheel_lock(spell)


@pytest.mark.parametrize(
    ("pressed", "braking"),
    [((10, 10.5), False), ((64.5, 65), True), ((60, 70), True), ((63, 63.6), None)],
)
def test_the_brake_signal_is_asked(
    town: Any, pressed: tuple[float, float], braking: object
) -> None:
    at_s = np.arange(0, 150, 0.1)
    brake = HelperSamples(at_s, ((at_s > pressed[0]) & (at_s < pressed[1])).astype(float))
    track = town.track(town.spoilt(0, 0.0, town.at(64, 66)), helpers={"brake": brake})
    (spell,) = spells_of(track, Corner.FL)
    assert spell.braking is braking


def test_slow_messages_time_no_edge(make_drive: Any) -> None:
    drive = make_drive([(0, 60), (20, 60), (30, 30)], (), period_s=0.1)
    (spell,) = spells_of(drive.track(drive.spoilt(3, 0.0, drive.at(22, 23))), Corner.RR)
    assert is_wheel_lock(spell), "nobody can tell, and a wheel is not accused on a guess"


def test_a_sound_drive_has_none(town: Any) -> None:
    for corner in CORNERS:
        assert spells_of(town.track(), corner) == ()
        assert spells_of(town.track(resolution_kph=1.0), corner) == ()


def test_where_the_car_slows_below_the_speed_that_is_judged_the_rise_is_timed(
    make_drive: Any,
) -> None:
    """A contact that comes back at 7 km/h comes back at once, whatever was judged last."""
    drive = make_drive([(0, 0), (8, 40), (20, 40), (28, 5), (40, 5)], ())
    track = drive.track(drive.spoilt(2, 0.0, drive.at(25.0, 27.5)))
    (spell,) = spells_of(track, Corner.RL)
    assert spell.ends_slow
    assert spell.edge_s == pytest.approx(0, abs=0.001)
    assert not spell.takes_its_time


@at_each_corner
def test_a_single_other_one_that_jumps_is_no_witness(make_drive: Any, corner: Corner) -> None:
    """The recorder lost what two corners say; the third jumps while the car creeps."""
    drive = make_drive([(0, 1.2), (40, 1.2)], ())
    jumper = corner.mirror
    kph = drive.spoilt(jumper.position, 16.0, np.arange(len(drive.time_s)) == 1000)
    present = np.ones(kph.shape, bool)
    lost = [c.position for c in CORNERS if c not in {corner, jumper}]
    present[np.ix_(np.arange(990, 1010), lost)] = False
    assert spells_of(drive.track(kph, present=present), corner) == ()


@at_each_corner
def test_a_single_other_one_that_goes_on_is_one(town: Any, corner: Corner) -> None:
    kph = town.spoilt(corner.position, 0.0, town.at(64, 66))
    for lost in CORNERS:
        if lost not in {corner, corner.mirror}:
            kph[town.at(60, 70), lost.position] = np.nan
    flagged = np.isnan(kph)
    (spell,) = spells_of(town.track(np.nan_to_num(kph), flagged=flagged), corner)
    assert spell.silent_s == pytest.approx(2, abs=0.1)
