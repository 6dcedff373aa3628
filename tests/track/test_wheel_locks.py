"""Silences that the brake explains."""

from typing import Any

import numpy as np
import pytest

from canwheel.corners import CORNERS, Corner
from canwheel.track.motion import estimate_motion
from canwheel.track.wheel_locks import brakings, open_locks, wheel_locks
from canwheel.track.wheel_track import WheelTrack
from canwheel.track.zero_spells import find_zero_spells


def spells_of(track: WheelTrack, corner: Corner) -> Any:
    return find_zero_spells(track, estimate_motion(track), corner)


def locking(drive: Any, corner: int, brakings: int, kph: Any = None, every_s: float = 20.0) -> Any:
    """The wheel stops within 0.12 s in each braking, and comes back as slowly."""
    table = drive.kph.copy() if kph is None else kph
    for k in range(brakings):
        start_s = every_s * k + 12
        at = [start_s, start_s + 0.12, start_s + 0.8, start_s + 0.92]
        table[:, corner] *= np.interp(drive.time_s, at, [1, 0, 0, 1])
    return table


def locks_of(track: WheelTrack) -> dict[str, int]:
    spells = {corner: spells_of(track, corner) for corner in CORNERS}
    return {c.value: len(found) for c, found in wheel_locks(spells).items() if found}


@pytest.mark.parametrize(("brakings", "locks"), [(1, {"RL": 1}), (4, {"RL": 4}), (5, {})])
def test_no_wheel_alone_locks_at_every_braking(
    braking_drive: Any, brakings: int, locks: dict[str, int]
) -> None:
    drive = braking_drive(brakings)
    assert locks_of(drive.track(locking(drive, 2, brakings))) == locks


def test_two_wheels_may_lock_as_often_as_they_like(braking_drive: Any) -> None:
    drive = braking_drive(7)
    kph = locking(drive, 2, 7)
    first = drive.at(0, 20)
    kph[first, 3], kph[first, 2] = kph[first, 2], drive.kph[first, 2]
    assert locks_of(drive.track(kph)) == {"RL": 6, "RR": 1}


def test_pumped_brakes_lock_again_and_again(make_drive: Any) -> None:
    # By the second and third time the car rolls at a steady speed again.
    drive = make_drive([(0, 60), (10, 60), (11.5, 52), (30, 52)], (), period_s=0.01)
    kph = drive.kph.copy()
    for start_s in (11.0, 11.55, 12.1):
        at = [start_s, start_s + 0.1, start_s + 0.2, start_s + 0.3]
        kph[:, 1] *= np.interp(drive.time_s, at, [1, 0, 0, 1])
    assert locks_of(drive.track(kph)) == {"FR": 3}


def test_a_contact_that_opens_at_other_times_opened_under_the_brake_too(braking_drive: Any) -> None:
    drive = braking_drive(3)
    kph = locking(drive, 0, 1)
    for start_s in (3.0, 5.0, 29.0):
        kph[drive.at(start_s, start_s + 0.5), 0] = 0.0
    assert locks_of(drive.track(kph)) == {}


def test_anti_lock_cycles_are_told_by_their_pace(make_drive: Any) -> None:
    """Five a second, and one sharp one more: at slow messages no edge tells anything."""
    drive = make_drive(
        [(0, 60), (20, 60), (24, 45), (40, 60), (44, 45), (60, 45)], (), period_s=0.05
    )
    kph = drive.kph.copy()
    for start_s in (21.0, 21.2, 21.4, 21.6, 42.0):
        kph[drive.at(start_s, start_s + 0.06), 3] = 0.0
    assert locks_of(drive.track(kph)) == {"RR": 5}
    kph = drive.kph.copy()
    for start_s in (5.0, 5.2, 5.4, 5.6):  # the same without the brake
        kph[drive.at(start_s, start_s + 0.06), 3] = 0.0
    assert locks_of(drive.track(kph)) == {}


def test_beside_anti_lock_cycles_a_wheel_locks_again_as_the_braking_ends(make_drive: Any) -> None:
    drive = make_drive(
        [(0, 60), (20, 60), (24, 45), (40, 60), (44, 45), (60, 45)], (), period_s=0.1
    )
    kph = drive.kph.copy()
    for start_s in (21.0, 21.2, 21.4, 43.9, 44.3):
        kph[drive.at(start_s - 0.01, start_s + 0.05), 3] = 0.0
    assert locks_of(drive.track(kph)) == {"RR": 5}


@pytest.mark.parametrize(("period_s", "edge_s", "either"), [(0.1, 0.0, 1), (0.01, 0.12, 0)])
def test_seldom_readings_leave_open_what_it_was(
    braking_drive: Any, period_s: float, edge_s: float, either: int
) -> None:
    drive = braking_drive(1, period_s=period_s)
    at = [12, 12 + max(edge_s, 1e-3), 13, 13 + max(edge_s, 1e-3)]
    share = np.interp(drive.time_s, at, [1, 0, 0, 1])
    track = drive.track(drive.spoilt(0, drive.kph[:, 0] * share))
    spells = {corner: spells_of(track, corner) for corner in CORNERS}
    locks = wheel_locks(spells)[Corner.FL]
    assert len(locks) == 1
    assert len(open_locks(spells[Corner.FL], locks)) == either


@pytest.mark.parametrize(("mate", "locks"), [(0.3, {"RL": 2}), (0.7, {})])
def test_wheels_that_nearly_stop_together_excuse_one_that_goes_at_once(
    braking_drive: Any, mate: float, locks: dict[str, int]
) -> None:
    """Twice in one braking, between two samples; the wheel across falls to this share meanwhile."""
    drive = braking_drive(1)
    kph = drive.spoilt(2, 0.0, drive.at(12.0, 12.3) | drive.at(13.0, 13.3))
    kph[:, 1] *= np.interp(drive.time_s, [11.8, 12.0, 12.3, 12.6], [1, mate, mate, 1])
    assert locks_of(drive.track(kph)) == locks


def test_a_corner_dead_all_the_way_is_no_company(braking_drive: Any) -> None:
    drive = braking_drive(1)
    kph = drive.spoilt(2, 0.0, drive.at(12.0, 12.3))
    kph[:, 1] = 0.0
    assert Corner.RL not in locks_of(drive.track(kph))


def test_anti_lock_cycles_leave_nothing_open(make_drive: Any) -> None:
    drive = make_drive([(0, 60), (20, 60), (24, 45)], (), period_s=0.1)
    kph = drive.kph.copy()
    for start_s in (21.0, 21.3, 21.6):
        kph[drive.at(start_s - 0.01, start_s + 0.11), 3] = 0.0
    spells = spells_of(drive.track(kph), Corner.RR)
    assert len(spells) == 3
    assert open_locks(spells, frozenset(spells)) == ()


@pytest.mark.parametrize(("edge_s", "locks"), [(0.0, {}), (0.12, {"FL": 1})])
def test_one_contact_explains_what_looks_like_it_under_the_brake(
    make_drive: Any, edge_s: float, locks: dict[str, int]
) -> None:
    """At ten messages a second; with slower edges it may be a wheel that locks beside it."""
    drive = make_drive([(0, 60), (20, 60), (27, 30), (40, 30)], (), period_s=0.1)
    kph = drive.spoilt(0, 0.0, drive.at(5, 5.6))
    at = [22, 22 + 5 * edge_s, 23, 23 + 5 * edge_s]
    kph[:, 0] *= np.interp(drive.time_s, at, [1, 0, 0, 1]) if edge_s else 1.0
    if not edge_s:
        kph[drive.at(22, 23), 0] = 0.0
    assert locks_of(drive.track(kph)) == locks


def test_another_corner_that_goes_without_the_brake_too_does_not_excuse_it(
    braking_drive: Any,
) -> None:
    drive = braking_drive(6)
    kph = locking(drive, 0, 6)
    for start_s in (3.0, 5.0, 29.0):
        kph[drive.at(start_s, start_s + 0.5), 3] = 0.0
    kph[:, 3] *= np.interp(drive.time_s, [36, 36.06, 36.5, 36.56], [1, 0, 0, 1])  # braked
    assert locks_of(drive.track(kph)) == {}


@pytest.mark.parametrize(("starts_s", "count"), [((), 0), ((1.0,), 1), ((1.0, 3.0, 9.0), 2)])
def test_brakings_are_counted(town: Any, starts_s: tuple[float, ...], count: int) -> None:
    kph = town.kph.copy()
    for start_s in starts_s:
        kph[town.at(60 + start_s, 60.3 + start_s), 0] = 0.0
    assert brakings(spells_of(town.track(kph), Corner.FL)) == count
