"""A corner that jumps faster than a wheel can."""

from typing import Any

import numpy as np
import pytest

from canwheel.corners import CORNERS, Corner

at_each_corner = pytest.mark.parametrize("corner", CORNERS)
JUMPS_S = (15.2, 19.7, 23.3, 29.9, 64.1, 67.8, 74.4, 77.2)


def jumping(drive: Any, corner: Corner, by_kph: float, lasts_s: float, at_s: Any = JUMPS_S) -> Any:
    kph = drive.kph.copy()
    for k, start_s in enumerate(at_s):
        rows = drive.at(start_s, start_s + lasts_s - 1e-6)
        kph[rows, corner.position] += by_kph * (-1) ** k
    return kph


@at_each_corner
@pytest.mark.parametrize("lasts_s", [0.02, 0.1, 0.2])
def test_jumps_are_counted(town: Any, only_finding: Any, corner: Corner, lasts_s: float) -> None:
    finding = only_finding(town.track(jumping(town, corner, 15.0, lasts_s)))
    assert (finding.corner, finding.kind) == (corner, "erratic")
    assert finding.count == finding.evidence["count"] == len(JUMPS_S)
    assert finding.evidence["largest_jump_kph"] == pytest.approx(15, abs=1)
    assert [s.from_s for s in finding.spans] == pytest.approx(JUMPS_S, abs=0.03)


@pytest.mark.parametrize(("jumps", "told"), [(3, "erratic?"), (4, "erratic")])
def test_a_few_are_doubtful(town: Any, said: Any, jumps: int, told: str) -> None:
    kph = jumping(town, Corner.FR, 15.0, 0.06, JUMPS_S[:jumps])
    assert said(town.track(kph)) == {"FR": [told]}


def test_many_in_few_moments_are_doubtful(town: Any, said: Any) -> None:
    """A tyre that grips and slips jumps several times in one second."""
    bursts = [start_s + 0.3 * k for start_s in JUMPS_S[:3] for k in range(3)]
    kph = jumping(town, Corner.FR, 15.0, 0.04, bursts)
    assert said(town.track(kph)) == {"FR": ["erratic?"]}


def test_one_or_two_are_a_stone(town: Any, said: Any) -> None:
    assert said(town.track(jumping(town, Corner.FR, 15.0, 0.06, JUMPS_S[:2]))) == {}


def test_what_both_wheels_of_an_axle_do_is_the_road(town: Any, said: Any) -> None:
    kph = jumping(town, Corner.RL, 9.0, 0.06)
    kph[:, 3] = jumping(town, Corner.RR, 9.0, 0.06)[:, 3]
    assert said(town.track(kph)) == {}


def test_what_lasts_longer_is_a_tyre_that_slips(town: Any, said: Any) -> None:
    """Up and down as quickly as a tyre can."""
    kph = town.kph.copy()
    for start_s in JUMPS_S:
        at_s = [start_s, start_s + 0.15, start_s + 0.4, start_s + 0.55]
        kph[:, 1] += np.interp(town.time_s, at_s, [0, 15, 15, 0])
    assert said(town.track(kph)) == {}


@at_each_corner
@pytest.mark.parametrize("share", [0.3, 0.6, 1.4])
@pytest.mark.parametrize("lasts_s", [0.4, 1.2])
def test_what_lasts_longer_and_comes_and_goes_at_once_is_none(
    town: Any, only_finding: Any, corner: Corner, share: float, lasts_s: float
) -> None:
    kph = town.kph.copy()
    for start_s in JUMPS_S:
        kph[town.at(start_s, start_s + lasts_s - 1e-6), corner.position] *= share
    finding = only_finding(town.track(kph))
    assert (finding.corner, finding.kind) == (corner, "erratic")
    assert finding.count == pytest.approx(len(JUMPS_S), abs=2)
    assert f"and back within {lasts_s:.1f} s" in finding.says


@pytest.mark.parametrize(("holes", "told"), [(7, {}), (8, {"RL": ["erratic?"]})])
def test_pot_holes(town: Any, said: Any, holes: int, told: dict[str, list[str]]) -> None:
    """They throw a sound wheel by up to 8 % (real drive); one wheel alone not again and again."""
    kph = town.kph.copy()
    for start_s in JUMPS_S[:holes]:
        rows = town.at(start_s, start_s + 0.06)
        kph[rows, 2] *= 0.92
    assert said(town.track(kph)) == told


@at_each_corner
@pytest.mark.parametrize("noise_kph", [0.8, 2.0, 5.0, 12.0])
def test_a_noisy_signal(
    town: Any, only_finding: Any, events: Any, corner: Corner, noise_kph: float
) -> None:
    """Whether it trembles or is all over the place; it is not taken for a wheel that locks."""
    noise = np.random.default_rng(9).normal(0, noise_kph, len(town.time_s))
    kph = np.maximum(town.kph[:, corner.position] + noise * (town.kph[:, 0] > 5), 0.0)
    track = town.track(town.spoilt(corner.position, kph))
    finding = only_finding(track)
    assert (finding.corner, finding.kind) == (corner, "erratic")
    assert finding.confidence > 0.9
    assert events(track) == ()
    assert finding.count > 50
    assert ("noisy" in finding.says) == (noise_kph < 1)


@pytest.mark.parametrize("period_s", [0.01, 0.05, 0.1])
def test_noise_on_all_corners_is_the_road(make_drive: Any, said: Any, period_s: float) -> None:
    drive = make_drive([(0, 0), (10, 45), (120, 55), (130, 0)], (), period_s=period_s, noise=0.03)
    assert said(drive.track()) == {}


@pytest.mark.parametrize(("front", "rear"), [("FL", "RL"), ("FR", "RR")])
def test_holes_under_one_side(make_drive: Any, said: Any, front: str, rear: str) -> None:
    """Deeper than a real drive shows: by a fifth, and a wheelbase later under the wheel behind."""
    drive = make_drive([(0, 30), (60, 50), (120, 40)], (), period_s=0.02)
    kph, rng = drive.kph.copy(), np.random.default_rng(4)
    later_s = 2.7 / (np.interp(JUMPS_S, drive.time_s, drive.kph[:, 0]) / 3.6)
    for corner, start_s in ((front, np.array(JUMPS_S)), (rear, JUMPS_S + later_s)):
        for at_s, size in zip(start_s, rng.uniform(0.16, 0.24, len(JUMPS_S)), strict=True):
            kph[drive.at(at_s, at_s + 0.06), Corner(corner).position] *= 1 + size
    assert said(drive.track(kph)) == {}


@pytest.mark.parametrize(
    ("noise_kph", "told"), [(0.0, {"RR": ["copied"]}), (1.2, {"RR": ["copied"], "FR": ["erratic"]})]
)
def test_holes_under_one_side_whose_other_wheel_is_not_read(
    make_drive: Any, said: Any, noise_kph: float, told: dict[str, list[str]]
) -> None:
    """A score of small ones, which no rear wheel repeats; a noisy signal has hundreds."""
    bends = tuple((12.0 * k + 3, 12.0 * k + 9, 30.0 * (-1) ** k) for k in range(10))
    drive = make_drive([(0, 30), (60, 40), (120, 35)], bends, period_s=0.02, noise=0.001)
    kph, rng = drive.kph.copy(), np.random.default_rng(5)
    kph[:, 1] += rng.normal(0, noise_kph, len(kph))
    for at_s in np.arange(5.0, 115, 5.5):
        kph[drive.at(at_s, at_s + 0.06), 1] *= 0.93
    kph[:, 3] = kph[:, 2]
    assert said(drive.track(kph)) == told


def test_a_wheel_that_spins_and_is_caught_in_slow_messages(make_drive: Any, said: Any) -> None:
    """Every second while the car gains 0.6 m/s², for a quarter of one: traction control on snow."""
    drive = make_drive([(0, 10), (20, 54), (40, 10), (60, 54), (80, 10)], (), period_s=0.1)
    kph = drive.kph.copy()
    for start_s in (*np.arange(2.0, 19), *np.arange(42.0, 59)):
        rows = drive.at(start_s, start_s + 0.25)
        kph[rows, 1] += 16 * np.sin(np.pi * (drive.time_s[rows] - start_s) / 0.25)
    assert said(drive.track(kph)) == {}


def test_beside_a_dead_corner(town: Any, said: Any) -> None:
    kph = jumping(town, Corner.FL, 15.0, 0.06)
    kph[:, 3] = 0.0
    assert said(town.track(kph)) == {"FL": ["erratic"], "RR": ["no_signal"]}


def test_steps_of_a_coarse_signal_are_no_jumps(town: Any, said: Any) -> None:
    assert said(town.track(resolution_kph=1.0)) == {}
    assert said(town.track(np.round(town.kph / 3) * 3, resolution_kph=3.0)) == {}


def test_a_rough_road_shakes_all_four(town: Any, said: Any) -> None:
    # Cobbles: every corner by 5 % of one standard deviation; one of them is thrown by more.
    rng = np.random.default_rng(3)
    rows = town.at(60, 85)
    kph = town.kph.copy()
    kph[rows] *= 1 + rng.normal(0, 0.05, (int(rows.sum()), 4))
    for start_s in (62.0, 68.0, 74.0, 79.0):
        kph[town.at(start_s, start_s + 0.04), 2] *= 1.06
    assert "RL" not in said(town.track(kph))


def test_a_handful_within_a_second_is_one_moment(town: Any, said: Any) -> None:
    kph = jumping(town, Corner.FR, 15.0, 0.06, (64.0, 64.3, 64.6, 64.9, 65.2))
    assert said(town.track(kph)) == {}


@at_each_corner
def test_jumps_that_end_at_nothing_are_jumps_all_the_same(
    make_drive: Any, only_finding: Any, corner: Corner
) -> None:
    """By 10 to 30 km/h up and down at 25: some reach zero, and are no second fault."""
    drive = make_drive([(0, 0), (6, 25), (60, 28), (120, 22)], (), period_s=0.02)
    rng, kph = np.random.default_rng(5), drive.kph.copy()
    for k, start_s in enumerate(np.linspace(12, 115, 24)):
        size_kph = rng.uniform(10, 30) * (-1 if k % 2 else 1)
        kph[drive.at(start_s, start_s + 0.05), corner.position] += size_kph
    finding = only_finding(drive.track(np.maximum(kph, 0.0)))
    assert (finding.corner, finding.kind) == (corner, "erratic")
    assert finding.count == pytest.approx(24, abs=2)
