"""A ripple that repeats with every turn of the wheel."""

from typing import Any

import numpy as np
import pytest

from canwheel.corners import CORNERS, Corner
from canwheel.findings import examine
from canwheel.findings.ring_damage import find_ring_damage
from canwheel.track.motion import estimate_motion

at_each_corner = pytest.mark.parametrize("corner", CORNERS)
CIRCUMFERENCE_M = 1.94
FAST = [(0, 0), (3, 0), (15, 60), (60, 75), (100, 55), (140, 80), (150, 0)]


def turns_of(drive: Any, corner: Corner) -> Any:
    """How often the wheel has turned."""
    step_m = drive.kph[:, corner.position] / 3.6 * np.gradient(drive.time_s)
    return np.cumsum(step_m) / CIRCUMFERENCE_M


def rippled(drive: Any, corner: Corner, amplitude: float, order: int = 1) -> Any:
    wave = 1 + amplitude * np.sin(2 * np.pi * order * turns_of(drive, corner))
    return drive.spoilt(corner.position, drive.kph[:, corner.position] * wave)


def untested(track: Any) -> dict[str, str]:
    outcome = examine(track).outcome
    return {n.corner.value: n.why for n in outcome.not_judged if n.kind == "ring_damage"}


@at_each_corner
@pytest.mark.parametrize("amplitude", [0.01, 0.03])
def test_an_off_centre_ring(
    make_drive: Any, only_finding: Any, corner: Corner, amplitude: float
) -> None:
    drive = make_drive(FAST, (), period_s=0.01)
    finding = only_finding(drive.track(rippled(drive, corner, amplitude)))
    assert (finding.corner, finding.kind) == (corner, "ring_damage")
    assert finding.evidence["ripple_pct"] == pytest.approx(100 * amplitude, rel=1 / 3)
    assert finding.evidence["per_revolution"] == 1
    assert finding.evidence["circumference_m"] == pytest.approx(CIRCUMFERENCE_M, rel=0.01)
    assert finding.evidence["false_alarm_probability"] < 1e-6
    assert "off-centre" in finding.says


@pytest.mark.parametrize("over", [3, 6])
def test_its_size_is_told_as_if_the_unit_sent_no_means(
    make_drive: Any, only_finding: Any, over: int
) -> None:
    drive = make_drive(FAST, (), period_s=0.01)
    kph = rippled(drive, Corner.RL, 0.05)
    means = np.apply_along_axis(np.convolve, 0, kph, np.ones(over) / over, "same")
    finding = only_finding(drive.track(means))
    assert finding.evidence["ripple_pct"] == pytest.approx(5.0, rel=0.2)


@at_each_corner
def test_a_damaged_tooth_shows_in_many_orders(
    make_drive: Any, only_finding: Any, corner: Corner
) -> None:
    # Once a turn the reading is far too low for a twentieth of the turn.
    drive = make_drive([(0, 0), (3, 0), (10, 25), (100, 30), (160, 22)], (), period_s=0.01)
    hurt = turns_of(drive, corner) % 1 < 0.05
    kph = drive.spoilt(corner.position, drive.kph[:, corner.position] * np.where(hurt, 0.92, 1.0))
    finding = only_finding(drive.track(kph))
    assert (finding.corner, finding.kind) == (corner, "ring_damage")
    assert "jerks" in finding.says


@at_each_corner
def test_a_tooth_that_only_sometimes_shows_is_told_by_its_place(
    make_drive: Any, only_finding: Any, corner: Corner
) -> None:
    # A crack that opens for some seconds at a time: one wild sample at one place, in half of the
    # turns then; over the whole drive no ripple.
    drive = make_drive([(0, 0), (3, 0), (10, 28), (60, 32), (90, 26)], (), period_s=0.02)
    turns = turns_of(drive, corner)
    passes = np.flatnonzero(np.diff(np.floor(turns)) > 0)
    opens = passes[np.random.default_rng(3).random(len(passes)) < 0.5]
    opens = opens[(drive.at(20, 26) | drive.at(60, 66))[opens]]
    kph = drive.spoilt(corner.position, drive.kph[opens, corner.position] + 14, opens)
    finding = only_finding(drive.track(kph))
    assert (finding.corner, finding.kind) == (corner, "ring_damage")
    assert finding.evidence["circumference_m"] == pytest.approx(CIRCUMFERENCE_M, rel=0.03)
    assert finding.count == pytest.approx(len(opens), abs=4)
    assert "always at the same place" in finding.says


def test_a_quarter_of_a_per_cent_is_sound(make_drive: Any, said: Any) -> None:
    # As much is seen at sound corners of real cars.
    drive = make_drive(FAST, (), period_s=0.01)
    assert said(drive.track(rippled(drive, Corner.FR, 0.0025))) == {}


@pytest.mark.parametrize(("mate", "told"), [(0.0, {"RL": ["ring_damage"]}), (0.001, {})])
def test_small_teeth_are_told_where_no_other_ring_is_cut_so(
    make_drive: Any, said: Any, mate: float, told: dict[str, list[str]]
) -> None:
    drive = make_drive(FAST, (), period_s=0.01)
    kph = rippled(drive, Corner.RL, 0.002, order=5)
    kph[:, 3] = rippled(drive, Corner.RR, mate, order=5)[:, 3]
    assert said(drive.track(kph)) == told


@pytest.mark.parametrize(
    ("size", "told"), [(0.008, {"RL": ["ring_damage"]}), (0.005, {})], ids=["loud", "faint"]
)
def test_loud_teeth_are_told_beside_a_ring_cut_unevenly(
    make_drive: Any, said: Any, size: float, told: dict[str, list[str]]
) -> None:
    """Three and a half times as uneven as the next one: of small sizes sound rings differ by so."""
    drive = make_drive(FAST, (), period_s=0.01)
    kph = rippled(drive, Corner.RL, size, order=5)
    kph[:, 3] = rippled(drive, Corner.RR, size / 3.5, order=5)[:, 3]
    assert said(drive.track(kph)) == told


@pytest.mark.parametrize(("step_kph", "told"), [(0.01, {"RL": ["ring_damage"]}), (2.0, {})])
def test_what_hides_in_steps_must_be_sure(
    make_drive: Any, said: Any, step_kph: float, told: dict[str, list[str]]
) -> None:
    """Half a per cent at 30 km/h is a thirteenth of the coarser step."""
    drive = make_drive([(0, 20), (30, 38), (60, 22)], (), period_s=0.01)
    kph = np.round(rippled(drive, Corner.RL, 0.005) / step_kph) * step_kph
    assert said(drive.track(kph, resolution_kph=step_kph)) == told


def test_what_an_axle_shares_lies_elsewhere_on_a_wrong_ring(make_drive: Any, said: Any) -> None:
    """Five humps in each turn of the shafts: no teeth, though one wheel counts longer turns."""
    drive = make_drive(FAST, (), period_s=0.01)
    kph = drive.kph.copy()
    kph[:, :2] *= 1 + 0.003 * np.sin(2 * np.pi * 5 * turns_of(drive, Corner.FL))[:, None]
    kph[:, 0] *= 1.06
    assert said(drive.track(kph)) == {"FL": ["wrong_ratio"]}


@pytest.mark.parametrize("order", [2, 6])
def test_what_all_corners_share_is_no_ring(make_drive: Any, said: Any, order: int) -> None:
    drive = make_drive(FAST, (), period_s=0.01)
    wave = 1 + 0.012 * np.sin(2 * np.pi * order * turns_of(drive, Corner.FL))
    assert said(drive.track(drive.kph * wave[:, None])) == {}


def test_a_slow_message_hides_it_and_says_so(make_drive: Any, said: Any) -> None:
    # Once a turn meets half the message rate at 34.7 km/h for 100 ms and 1.927 m (Nyquist), so at
    # 60 km/h nothing is certain; and a unit that sends the mean since its last message has none of
    # what is quicker left in it.
    drive = make_drive([(0, 50), (60, 70), (120, 55)], (), period_s=0.01)
    fine = rippled(drive, Corner.FL, 0.02)
    means = fine[: len(fine) // 10 * 10].reshape(-1, 10, 4).mean(axis=1)
    slow = make_drive([(0, 50), (60, 70), (120, 55)], (), period_s=0.1)
    track = slow.track(means[: len(slow.kph)])
    assert "ring_damage" not in said(track).get("FL", [])
    why = untested(track)
    assert set(why) == set(CORNERS)
    assert "not visible at these speeds: a message every 100 ms" in why["FL"]
    limit_kph = float(why["FL"].partition("below ")[2].split()[0])
    assert limit_kph < 34.7


def test_a_slow_message_of_a_quick_unit_shows_it_over_many_speeds(
    make_drive: Any, only_finding: Any
) -> None:
    drive = make_drive([(0, 50), (60, 70), (120, 55)], (), period_s=0.1)
    finding = only_finding(drive.track(rippled(drive, Corner.FL, 0.02)))
    assert (finding.corner, finding.kind) == (Corner.FL, "ring_damage")
    assert finding.evidence["ripple_pct"] == pytest.approx(2.0, rel=1 / 3)
    sound = untested(drive.track())
    assert "not visible at these speeds: a message every 100 ms" in sound["FL"]


@at_each_corner
def test_a_bent_tooth_in_slow_messages_is_told_by_its_place(
    make_drive: Any, only_finding: Any, corner: Corner
) -> None:
    """Where its orders are too quick to be seen, every jump of 6 % is whole turns from the last."""
    drive = make_drive([(0, 70), (60, 85), (120, 75), (180, 80)], (), period_s=0.04)
    turns = turns_of(drive, corner)
    dips = np.where(turns % 1 < 0.03, 0.94, 1.0)
    finding = only_finding(
        drive.track(drive.spoilt(corner.position, drive.kph[:, corner.position] * dips))
    )
    assert (finding.corner, finding.kind) == (corner, "ring_damage")
    assert finding.evidence["circumference_m"] == pytest.approx(CIRCUMFERENCE_M, rel=0.01)


def test_a_dead_corner_is_not_judged(make_drive: Any) -> None:
    drive = make_drive(FAST, (), period_s=0.01)
    why = untested(drive.track(drive.spoilt(0, 0.0)))
    assert why == {"FL": "too little of the drive with this corner read"}


def test_a_short_drive_is_not_judged(make_drive: Any) -> None:
    why = untested(make_drive([(0, 0), (8, 30), (12, 30)], ()).track())
    assert set(why) == set(CORNERS)


def test_beside_three_dead_corners(make_drive: Any, said: Any) -> None:
    drive = make_drive(FAST, (), period_s=0.01)
    kph = rippled(drive, Corner.FL, 0.02)
    flagged = np.zeros(kph.shape, bool)
    flagged[:, 1:] = True
    assert said(drive.track(kph, flagged=flagged))["FL"] == ["ring_damage"]


def test_noise_alone_is_no_ring(make_drive: Any) -> None:
    # Loud enough to pass for a ripple by its size: only the false-alarm probability holds it back.
    for seed in range(12):
        drive = make_drive([(0, 40), (90, 45)], (), noise=0.02, seed=seed)
        found = find_ring_damage(drive.track(), estimate_motion(drive.track()))
        assert found.findings == ()
        assert found.not_judged == ()
