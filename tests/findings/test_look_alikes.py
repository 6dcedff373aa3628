"""What looks like a fault and is none: told as an event, or not at all."""

import re
from typing import Any

import numpy as np
import pytest

from canwheel.corners import CORNERS, Corner
from canwheel.findings import examine
from canwheel.outcome import Span
from canwheel.track.wheel_track import HelperSamples

at_each_corner = pytest.mark.parametrize("corner", CORNERS)


# --- a wheel that locks under the brake ---

ICE = ((0, 0), (4, 0), (14, 50), (30, 50), (38, 15), (45, 40), (60, 45))
"""From 30 s on the car brakes at 1.2 m/s², as polished ice allows."""


def locked(drive: Any, corner: Corner, *, edge_s: float, lasts_s: float = 1.5) -> Any:
    """The wheel is stopped, slides and is spun up again."""
    at = [31.0, 31.0 + edge_s, 31.0 + edge_s + lasts_s, 31.0 + 2 * edge_s + lasts_s]
    share = np.interp(drive.time_s, at, [1, 0, 0, 1])
    return drive.spoilt(corner.position, drive.kph[:, corner.position] * share)


@at_each_corner
def test_a_locked_wheel_is_an_event(
    make_drive: Any, said: Any, events: Any, corner: Corner
) -> None:
    drive = make_drive(ICE, (), period_s=0.01)
    track = drive.track(locked(drive, corner, edge_s=0.12))
    assert said(track) == {}
    ((kind, at, says),) = [(e.kind, e.corner, e.says) for e in events(track)]
    assert (kind, at) == ("wheel_lock", corner)
    assert "the sensor is not at fault" in says


@at_each_corner
def test_where_readings_come_seldom_it_may_be_a_lost_signal(
    make_drive: Any, said: Any, corner: Corner
) -> None:
    """Ten a second: one sound wheel may have stopped, one bad contact may have opened."""
    drive = make_drive(ICE, (), period_s=0.1)
    track = drive.track(locked(drive, corner, edge_s=0.12))
    assert said(track) == {}
    outcome = examine(track).outcome
    (event,) = outcome.events
    assert (event.kind, event.corner) == ("wheel_lock", corner)
    assert "or its signal was lost" in event.says
    ((left_open, why),) = [(n.corner, n.why) for n in outcome.not_judged if n.kind == "dropout"]
    assert left_open is corner
    assert "once while the car braked" in why
    assert "a reading every 0.10 s" in why


def test_the_same_at_once_is_a_drop_out(make_drive: Any, said: Any) -> None:
    drive = make_drive(ICE, (), period_s=0.01)
    gone = drive.spoilt(2, 0.0, drive.at(31.0, 32.5))
    assert said(drive.track(gone)) == {"RL": ["dropout"]}


@pytest.mark.parametrize(("pressed", "expected"), [(1.0, {}), (0.0, {"FL": ["dropout"]})])
def test_a_brake_signal_settles_it(
    make_drive: Any, said: Any, pressed: float, expected: dict[str, list[str]]
) -> None:
    drive = make_drive(ICE, (), period_s=0.01)
    brake = HelperSamples(drive.time_s, np.full(len(drive.time_s), pressed))
    kph = locked(drive, Corner.FL, edge_s=0.12)
    assert said(drive.track(kph, helpers={"brake": brake})) == expected


def test_a_brake_signal_that_never_came_is_no_help(make_drive: Any, said: Any) -> None:
    drive = make_drive(ICE, (), period_s=0.01)
    brake = HelperSamples(np.empty(0), np.empty(0))
    kph = locked(drive, Corner.FL, edge_s=0.12)
    assert said(drive.track(kph, helpers={"brake": brake})) == {}


def test_nobody_holds_a_locked_wheel_for_long(make_drive: Any, said: Any) -> None:
    drive = make_drive(ICE, (), period_s=0.01)
    kph = locked(drive, Corner.FL, edge_s=0.12, lasts_s=5.0)
    assert said(drive.track(kph)) == {"FL": ["dropout"]}


# --- a wheel that spins under power ---

SLIPPERY = ((0, 0), (5, 0), (30, 35), (50, 45), (60, 0), (64, 0))


def spinning(drive: Any, columns: Any, *, top_kph: float, from_s: float, lasts_s: float) -> Any:
    at = from_s + np.array([0, 0.35, 0.65, 1.0]) * lasts_s
    extra = np.interp(drive.time_s, at, [0, top_kph, top_kph, 0])
    kph = drive.kph.copy()
    kph[:, columns] += extra[:, None]
    return kph


@at_each_corner
@pytest.mark.parametrize("lasts_s", [1.2, 5.0])
def test_a_spinning_wheel_is_an_event(
    make_drive: Any, said: Any, events: Any, corner: Corner, lasts_s: float
) -> None:
    drive = make_drive(SLIPPERY, ())
    kph = spinning(drive, [corner.position], top_kph=25, from_s=16, lasts_s=lasts_s)
    track = drive.track(kph, driven=corner.axle)
    assert said(track) == {}
    kinds = {(e.kind, e.corner) for e in events(track)}
    assert kinds == {("wheel_spin", corner)}


@pytest.mark.parametrize("columns", [[0, 1], [2, 3]])
def test_a_whole_axle_that_spins(
    make_drive: Any, said: Any, events: Any, columns: list[int]
) -> None:
    drive = make_drive(SLIPPERY, ())
    track = drive.track(spinning(drive, columns, top_kph=30, from_s=14, lasts_s=3))
    assert said(track) == {}
    assert {e.corner for e in events(track)} == {CORNERS[k] for k in columns}


def caught(drive: Any, starts_s: Any, top_kph: float) -> Any:
    """What a wheel gains that spins up at 17 m/s² and is caught at 30 m/s², 2.5 times a second."""
    rise_s, fall_s = top_kph / 3.6 / 17, top_kph / 3.6 / 30
    gained = np.zeros(len(drive.time_s))
    for start_s in starts_s:
        at = [start_s, start_s + rise_s, start_s + rise_s + fall_s]
        gained += np.interp(drive.time_s, at, [0, top_kph, 0])
    return gained


@at_each_corner
def test_a_wheel_that_traction_control_catches_does_not_jump(
    make_drive: Any, said: Any, corner: Corner
) -> None:
    """On snow, at a steady pull: forty times in all. (rates computed, no source)"""
    drive = make_drive([(0, 0), (10, 25), (40, 35), (100, 30)], ())
    starts_s = [start_s + 0.4 * k for start_s in (14, 24, 40, 60, 80) for k in range(8)]
    kph = drive.kph.copy()
    kph[:, corner.position] += caught(drive, starts_s, 12.0)
    assert said(drive.track(kph)) == {}


@pytest.mark.parametrize("spinning", [[0, 1], [2, 3], [0, 1, 3]])
@pytest.mark.parametrize("resolution_kph", [0.01, 0.5])
def test_who_grips_among_wheels_that_spin_in_starting_is_not_silent(
    make_drive: Any, said: Any, spinning: list[int], resolution_kph: float
) -> None:
    """They spin out of step, up to 20 km/h, while the car creeps off on snow."""
    drive = make_drive([(0, 0), (10, 0), (14, 8), (24, 30), (90, 30)], ())
    kph = drive.kph.copy()
    for k, corner in enumerate(spinning):
        kph[:, corner] += caught(drive, 10.1 + 0.2 * (k % 2) + 0.4 * np.arange(6), 20.0)
    assert said(drive.track(kph, resolution_kph=resolution_kph)) == {}


def test_a_wheel_that_comes_back_from_a_lock_does_not_spin(make_drive: Any, events: Any) -> None:
    """The other three are still held by the anti-lock control as it turns again."""
    drive = make_drive([(0, 0), (8, 60), (20, 60), (25, 15), (60, 15)], (), period_s=0.01)
    kph = drive.kph.copy()
    for corner, back_s in enumerate((22.0, 22.9, 22.9, 22.9)):
        at = [21.0, 21.2, back_s - 0.2, back_s]
        kph[:, corner] *= np.interp(drive.time_s, at, [1, 0.3, 0.3, 1])
    assert [e.kind for e in events(drive.track(kph))] == []


def test_a_wheel_that_is_not_driven_does_not_spin(make_drive: Any, events: Any) -> None:
    drive = make_drive(SLIPPERY, ())
    kph = spinning(drive, [0], top_kph=25, from_s=16, lasts_s=2)
    assert [e.kind for e in events(drive.track(kph, driven="rear"))] == []


# --- one axle alone ---

ROLLERS = ((0, 0), (5, 0), (15, 60), (40, 60), (50, 0), (55, 0))


@pytest.mark.parametrize(
    ("columns", "words"), [([0, 1], "Only the rear"), ([2, 3], "Only the front")]
)
def test_rollers_are_an_event(
    make_drive: Any, said: Any, events: Any, columns: list[int], words: str
) -> None:
    drive = make_drive(ROLLERS, ())
    kph = drive.kph.copy()
    kph[:, columns] = 0.0
    track = drive.track(kph)
    assert said(track) == {}
    (event,) = events(track)
    assert (event.kind, event.corner) == ("one_axle_turning", None)
    assert words in event.says
    assert re.search(r"up to 6[01] km/h", event.says)


@pytest.mark.parametrize("top_kph", [12.5, 25.0])
def test_wheels_that_spin_in_starting_leave_the_others_standing(
    make_drive: Any, said: Any, events: Any, top_kph: float
) -> None:
    """On ice the driven axle turns for a second; the car has not moved, and nothing is lost."""
    drive = make_drive([(0, 0), (9, 0), (20, 40), (80, 40)], ())
    kph = drive.kph.copy()
    spin = np.interp(drive.time_s, [5, 5.4, 6.2, 6.6], [0, top_kph, top_kph, 0])
    kph[:, 2:] += spin[:, None]
    track = drive.track(kph)
    assert said(track) == {}
    told = [(event.kind, event.corner) for event in events(track)]
    assert sorted(told) == [("wheel_spin", Corner.RL), ("wheel_spin", Corner.RR)]


def test_an_axle_that_spins_on_and_off_as_the_car_sets_off_is_on_no_rollers(
    make_drive: Any, said: Any, events: Any
) -> None:
    """The car is on its way before the driven wheels have stood again."""
    drive = make_drive([(0, 0), (9, 0), (20, 40), (80, 40)], ())
    kph = drive.kph.copy()
    kph[:, 2:] += np.interp(drive.time_s, [8.2, 8.6, 9.6, 14], [0, 18, 18, 0])[:, None]
    track = drive.track(kph)
    assert said(track) == {}
    told = {(event.kind, event.corner) for event in events(track)}
    assert told == {("wheel_spin", Corner.RL), ("wheel_spin", Corner.RR)}


def test_passive_sensors_of_one_axle_that_wake_up_later(make_drive: Any, events: Any) -> None:
    # 3 to 6 km/h are all usual pick-up speeds of passive sensors (textbook, from memory).
    drive = make_drive([(0, 0), (5, 0), (8, 5.6), (20, 5.6), (30, 30), (60, 30), (66, 0)], ())
    asleep = drive.kph < np.array([3.0, 3.2, 6.0, 6.0])
    assert events(drive.track(np.where(asleep, 0.0, drive.kph))) == ()


def test_one_wheel_on_a_jack(make_drive: Any, said: Any) -> None:
    # A hand, or the engine through the differential, turns a lifted wheel; the others stand.
    drive = make_drive(ROLLERS, ())
    for k in range(4):
        kph = np.zeros_like(drive.kph)
        kph[:, k] = drive.kph[:, k] / 5
        assert said(drive.track(kph)) == {}


@at_each_corner
def test_the_engine_turns_one_wheel_on_a_jack(
    make_drive: Any, said: Any, events: Any, corner: Corner
) -> None:
    drive = make_drive([(0, 0), (5, 0), (10, 30), (30, 30), (36, 0), (40, 0)], ())
    kph = np.zeros_like(drive.kph)
    kph[:, corner.position] = drive.kph[:, corner.position]
    track = drive.track(kph)
    assert said(track) == {}
    (event,) = events(track)
    assert (event.kind, event.corner) == ("one_axle_turning", None)
    assert f"Only the {corner.words} wheel turns, at up to 30 km/h" in event.says
    assert "three signals are missing" in event.says
    assert (event.from_s, event.to_s) == (pytest.approx(5.3, abs=0.3), pytest.approx(35.7, abs=0.3))


def test_rollers_that_are_hardly_quick_enough(make_drive: Any, said: Any, events: Any) -> None:
    """At 10 km/h for a moment of a minute only, by which every sensor reads."""
    drive = make_drive(
        [(0, 0), (5, 0), (7, 5), (30, 5), (32, 9.5), (44, 9.6), (45, 11), (46, 0)], ()
    )
    track = drive.track(np.where([True, True, False, False], 0.0, drive.kph))
    assert said(track) == {}
    (event,) = events(track)
    assert event.kind == "one_axle_turning"
    assert event.to_s - event.from_s > 35


def test_a_noisy_corner_of_a_car_that_crawls_is_on_no_jack(
    make_drive: Any, said: Any, events: Any
) -> None:
    drive = make_drive([(0, 0), (5, 3), (60, 3), (70, 40), (120, 45)], ())
    noise = np.random.default_rng(2).normal(0, 9, len(drive.time_s)) * (drive.kph[:, 0] > 2)
    track = drive.track(drive.spoilt(0, np.maximum(drive.kph[:, 0] + noise, 0.0)))
    assert said(track) == {"FL": ["erratic"]}
    assert events(track) == ()


BENCH = ((0, 0), (5, 0), (7, 5.2), (40, 5.2), (42, 0), (50, 0))
"""Brakes are tested at about 5 km/h (common practice, no source)."""


@pytest.mark.parametrize("columns", [[0, 1], [2, 3]])
@pytest.mark.parametrize(("wake_kph", "told"), [(0.0, 1), (4.5, 0), (8.0, 0)])
def test_a_slow_bench_is_told_where_the_standing_sensors_read_as_slowly(  # noqa: PLR0917
    make_drive: Any, said: Any, events: Any, columns: list[int], wake_kph: float, told: int
) -> None:
    """Of sensors that wake at that speed nobody can tell whether their axle stood."""
    drive = make_drive((*BENCH, (58, 10), (64, 40), (100, 45), (112, 0), (115, 0)), ())
    kph = np.where(drive.kph < wake_kph, 0.0, drive.kph)
    kph[np.ix_(drive.at(0, 45), columns)] = 0.0
    track = drive.track(kph)
    assert said(track) == {}
    assert [event.kind for event in events(track)] == ["one_axle_turning"] * told


def test_creeping_with_passive_sensors_is_no_bench(make_drive: Any, said: Any, events: Any) -> None:
    drive = make_drive((*BENCH, (58, 10), (64, 40), (100, 45), (112, 0), (115, 0)), ())
    asleep = drive.kph < np.array([3.0, 3.2, 6.0, 6.0])
    track = drive.track(np.where(asleep, 0.0, drive.kph))
    assert said(track) == {}
    assert events(track) == ()


def test_an_axle_that_falls_silent_at_speed_has_lost_its_signals(
    make_drive: Any, said: Any, events: Any
) -> None:
    drive = make_drive(((0, 0), (5, 0), (15, 60), (60, 60), (70, 0), (75, 0)), ())
    kph = drive.kph.copy()
    kph[np.ix_(drive.at(30, 999), [2, 3])] = 0.0
    track = drive.track(kph)
    assert said(track) == {"RL": ["no_signal"], "RR": ["no_signal"]}
    assert events(track) == ()


def test_the_driving_after_the_rollers_is_judged(make_drive: Any, said: Any, events: Any) -> None:
    drive = make_drive((*ROLLERS, (60, 0), (70, 50), (110, 50)), ())
    kph = drive.kph.copy()
    kph[np.ix_(drive.at(0, 57), [2, 3])] = 0.0
    assert said(drive.track(kph)) == {}
    kph[:, 0] *= 44 / 48
    track = drive.track(kph)
    assert said(track) == {"FL": ["wrong_ratio"]}
    assert [e.kind for e in events(track)] == ["one_axle_turning"]


# --- the recorder's own defects ---


def test_gaps_and_clock_steps_are_told_in_order(town: Any, said: Any, events: Any) -> None:
    track = town.track(gaps=(Span(60.0, 64.0),), clock_steps=(Span(20.0, 20.02),))
    told = [(e.kind, e.corner, e.from_s, e.to_s) for e in events(track)]
    assert told == [("clock_step", None, 20.0, 20.02), ("recording_gap", None, 60.0, 64.0)]
    assert said(track) == {}


# --- driving that is merely unusual ---


@pytest.mark.parametrize("radius_m", [4.5, -4.5, 6.0, -6.0])
@pytest.mark.parametrize("rear_later_s", [0.0, 0.01])
def test_the_tightest_turns_at_walking_pace(
    make_drive: Any, said: Any, radius_m: float, rear_later_s: float
) -> None:
    turns = [(12, 40, radius_m), (50, 70, -radius_m)]
    drive = make_drive([(0, 0), (4, 0), (8, 8), (72, 9), (80, 0), (84, 0)], turns)
    assert said(drive.track(rear_later_s=rear_later_s)) == {}


def test_tight_turns_with_passive_sensors(make_drive: Any, said: Any) -> None:
    # The inner rear wheel stays below its pick-up speed while the others read.
    turns = [(12, 40, 4.5), (50, 70, -4.5)]
    drive = make_drive([(0, 0), (4, 0), (8, 9), (72, 10), (80, 0), (84, 0)], turns)
    assert said(drive.track(np.where(drive.kph < 6.5, 0.0, drive.kph))) == {}


@pytest.mark.parametrize("kph", [22, 30])
@pytest.mark.parametrize("radius_m", [10.0, 15.0, 25.0])
@pytest.mark.parametrize("then", [1, -1])
def test_circles_and_figures_of_eight_in_a_yard(
    make_drive: Any, said: Any, kph: float, radius_m: float, then: int
) -> None:
    turns = [(12, 45, radius_m), (50, 85, then * radius_m)]
    drive = make_drive([(0, 0), (8, kph), (90, kph), (96, 0)], turns)
    assert said(drive.track()) == {}


def test_a_gravel_road(make_drive: Any, said: Any) -> None:
    assert said(make_drive(noise=0.009).track()) == {}


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("period_s", [0.01, 0.05, 0.1])
def test_a_sound_car(make_drive: Any, seed: int, period_s: float) -> None:
    drive = make_drive(period_s=period_s, seed=seed)
    for resolution_kph in (0.005, 0.06, 1.0):
        outcome = examine(drive.track(resolution_kph=resolution_kph)).outcome
        assert (outcome.findings, outcome.events) == ((), ())


def test_a_transporter_with_unequal_tracks(make_drive: Any, said: Any) -> None:
    box = {"wheelbase_m": 3.4, "front_m": 1.75, "rear_m": 1.62}
    assert said(make_drive(box=box).track()) == {}


def test_who_loses_both_wheels_of_an_axle_does_not_spin_the_other(
    town: Any, said: Any, events: Any
) -> None:
    # The rear left is dead; when the rear right drops out as well, the front seems to run away.
    kph = town.spoilt(2, 0.0)
    for start_s in (62.0, 71.0, 81.0):
        kph[town.at(start_s, start_s + 1.2), 3] = 0.0
    track = town.track(kph)
    assert said(track) == {"RL": ["no_signal"], "RR": ["dropout"]}
    assert [event for event in events(track) if event.kind == "wheel_spin"] == []
