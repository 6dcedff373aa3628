"""A corner that reads a constant fraction too much or too little."""

from typing import Any

import numpy as np
import pytest

from canwheel.corners import CORNERS, Corner
from canwheel.findings import examine
from canwheel.vehicle import rolling_circumference_m

at_each_corner = pytest.mark.parametrize("corner", CORNERS)


def scaled(drive: Any, corner: Corner, ratio: float) -> Any:
    return drive.spoilt(corner.position, drive.kph[:, corner.position] * ratio)


@at_each_corner
@pytest.mark.parametrize("ratio", [0.75, 0.92, 0.96, 1.03, 1.06, 1.2])
def test_the_ratio_is_found_to_half_a_per_cent(
    town: Any, only_finding: Any, corner: Corner, ratio: float
) -> None:
    finding = only_finding(town.track(scaled(town, corner, ratio)))
    assert (finding.corner, finding.kind) == (corner, "wrong_ratio")
    assert finding.evidence["ratio"] == pytest.approx(ratio, abs=0.005)
    assert ("too much" if ratio > 1 else "too little") in finding.says


@pytest.mark.parametrize(
    ("has", "should", "ratio"),
    [
        # The brake unit counts on the second, the ring has the first: two published counts for
        # cars, 44 and 48 (a sensor's data and a frequency range), others from memory.
        (48, 44, 1.0909),
        (44, 48, 0.9167),
        (52, 48, 1.0833),
        (48, 52, 0.9231),
    ],
)
def test_rings_of_another_count_are_named(
    town: Any, only_finding: Any, has: int, should: int, ratio: float
) -> None:
    assert has / should == pytest.approx(ratio, abs=5e-5)  # as tables of such mix-ups have it
    finding = only_finding(town.track(scaled(town, Corner.RL, has / should)))
    assert finding.evidence["ratio"] == pytest.approx(ratio, abs=0.005)
    named_has, named_should = map(int, str(finding.evidence["nearest_tooth_ratio"]).split("/"))
    assert named_has / named_should == pytest.approx(ratio, rel=0.01)
    assert "tooth count" in finding.says


def test_a_ratio_that_no_ring_has(town: Any, only_finding: Any) -> None:
    finding = only_finding(town.track(scaled(town, Corner.RL, 0.30)))
    assert finding.evidence["nearest_tooth_ratio"] == "none"
    assert "a ring of another tooth count, or a tyre" in finding.says


@pytest.mark.parametrize(
    ("tyre", "reads_pct", "expected"),
    [
        # One such tyre on a car with 205/55 R16: by the ETRTO rule, rolling circumference = 3.05
        # times the free diameter of the size marking (the rule seen second-hand).
        ("195/65 R15", -0.410, {}),
        ("225/45 R17", -0.378, {}),
        ("205/60 R16", -3.142, {"FR": ["wrong_ratio"]}),
        ("175/65 R14", +8.369, {"FR": ["wrong_ratio"]}),
    ],
)
def test_tyres_of_another_size(
    town: Any, said: Any, tyre: str, reads_pct: float, expected: Any
) -> None:
    ratio = rolling_circumference_m("205/55 R16") / rolling_circumference_m(tyre)
    assert 100 * (ratio - 1) == pytest.approx(reads_pct, abs=0.001)
    track = town.track(scaled(town, Corner.FR, ratio))
    assert said(track) == expected
    for finding in examine(track).outcome.findings:
        assert finding.evidence["ratio"] == pytest.approx(ratio, abs=0.005)
        assert "tyre of another size" in finding.says


@at_each_corner
def test_a_worn_tyre_is_no_fault(town: Any, said: Any, corner: Corner) -> None:
    assert said(town.track(scaled(town, corner, 1.008))) == {}


def test_a_worn_tyre_on_a_driven_axle_beside_the_largest_one(town: Any, said: Any) -> None:
    """Our own scenario: one 0.8 % worn, all within 0.8 % when new, the front slips a little."""
    kph = town.kph * np.array([0.9976, 1.0112, 1.0016, 0.9968])
    kph[:, :2] *= 1.001
    assert said(town.track(kph)) == {}


@pytest.mark.parametrize("axle", ["front", "rear"])
def test_another_size_on_a_whole_axle_is_no_fault(town: Any, said: Any, axle: str) -> None:
    columns = slice(0, 2) if axle == "front" else slice(2, 4)
    kph = town.kph.copy()
    kph[:, columns] *= 1.01
    assert said(town.track(kph)) == {}


def test_two_wrong_rings(town: Any, said: Any) -> None:
    kph = town.kph.copy()
    kph[:, 0] *= 44 / 48
    kph[:, 3] *= 52 / 48
    assert said(town.track(kph)) == {"FL": ["wrong_ratio"], "RR": ["wrong_ratio"]}


def test_a_wrong_ring_beside_a_dead_corner(town: Any, said: Any) -> None:
    kph = scaled(town, Corner.FL, 44 / 48)
    kph[:, 2] = 0.0
    assert said(town.track(kph)) == {"FL": ["wrong_ratio"], "RL": ["no_signal"]}


def test_a_drive_of_one_turn_claims_nothing(make_drive: Any, said: Any) -> None:
    drive = make_drive([(0, 0), (5, 18), (60, 18)], [(1, 59, 9.0)])
    track = drive.track()
    assert said(track) == {}
    untested = [n for n in examine(track).outcome.not_judged if n.kind == "wrong_ratio"]
    assert [n.corner for n in untested] == list(CORNERS)
    assert "straight driving" in untested[0].why


def test_a_little_is_told_as_doubt_where_another_corner_explains_it(town: Any) -> None:
    # Front left and rear right off together look like front right and rear left the other way.
    kph = town.kph * np.array([1.02, 1.0, 1.0, 1.017])
    findings = examine(town.track(kph)).outcome.findings
    assert findings
    assert all(f.kind == "wrong_ratio" for f in findings)
    for finding in findings:
        assert (finding.confidence < 0.9) == ("nearly as well" in finding.says)


@pytest.mark.parametrize("kph", [40.5, 43.0, 46.4, 48.6])
@pytest.mark.parametrize("seed", range(4))
def test_whole_km_h_at_one_steady_speed_are_no_ratio(
    make_drive: Any, said: Any, kph: float, seed: int
) -> None:
    """With the cruise control on, one tyre a little smaller reads a whole step more throughout."""
    tyres = tuple(np.random.default_rng(seed).uniform(0.994, 1.006, 4))
    drive = make_drive([(0, kph), (60, kph + 1)], (), tyres=tyres, noise=0.0005, seed=seed)
    track = drive.track(resolution_kph=1.0)
    assert said(track) == {}
    why = {n.why for n in examine(track).outcome.not_judged if n.kind == "wrong_ratio"}
    assert len(why) == 1
    assert "so coarse" in why.pop()


def test_whole_km_h_over_many_speeds_show_it(town: Any, only_finding: Any) -> None:
    kph = town.spoilt(0, town.kph[:, 0] * 1.03)
    finding = only_finding(town.track(kph, resolution_kph=1.0))
    assert (finding.corner, finding.kind) == (Corner.FL, "wrong_ratio")
    assert finding.evidence["ratio"] == pytest.approx(1.03, abs=0.005)


@pytest.mark.parametrize("dead", CORNERS)
def test_beside_a_dead_corner_a_roundabout_is_no_ratio(
    make_drive: Any, said: Any, dead: Corner
) -> None:
    """The only heading kept for long is that of the bend: one axle alone would call it straight."""
    drive = make_drive([(0, 0), (6, 26), (22, 26), (28, 0)], [(8, 20, -17.0)])
    assert said(drive.track(drive.spoilt(dead.position, 0.0))) == {dead.value: ["no_signal"]}


@pytest.mark.parametrize("dead", CORNERS)
def test_beside_a_dead_corner_a_ratio_on_the_straight_is_one(
    make_drive: Any, said: Any, dead: Corner
) -> None:
    wrong = dead.same_side
    drive = make_drive([(0, 0), (6, 40), (60, 40), (66, 0)], [(20, 30, -60.0)])
    kph = drive.spoilt(dead.position, 0.0)
    kph[:, wrong.position] *= 1.06
    told = said(drive.track(kph))
    assert told == {dead.value: ["no_signal"], wrong.value: ["wrong_ratio"]}


@at_each_corner
@pytest.mark.parametrize("ratio", [0.5, 0.8, 0.92, 1.1, 1.25])
@pytest.mark.parametrize("when_s", [(12, 25), (50, 85), (30, 120)])
def test_off_for_a_time(
    town: Any, only_finding: Any, corner: Corner, ratio: float, when_s: tuple[float, float]
) -> None:
    """Through turns, starts and stops; and no other corner is, which then fits the others less."""
    from_s, to_s = when_s
    rows = town.at(from_s, to_s)
    kph = town.spoilt(corner.position, town.kph[rows, corner.position] * ratio, rows)
    finding = only_finding(town.track(kph))
    assert (finding.corner, finding.kind) == (corner, "wrong_ratio")
    assert finding.evidence["ratio"] == pytest.approx(ratio, rel=0.03)
    if "off_s" in finding.evidence:
        assert finding.spans[0].from_s >= from_s - 1
        assert finding.spans[-1].to_s <= to_s + 1
        assert "by rule" in finding.says


def test_what_wanders_is_told_in_its_bounds(town: Any, only_finding: Any) -> None:
    rows = town.at(58, 82)
    ratio = 0.75 + 0.15 * np.sin(town.time_s[rows] / 3)
    kph = town.spoilt(1, town.kph[rows, 1] * ratio, rows)
    finding = only_finding(town.track(kph))
    assert (finding.corner, finding.kind) == (Corner.FR, "wrong_ratio")
    low, high = (float(word) for word in finding.says.split(" % ")[0][6:].split(" to "))
    assert low == pytest.approx(61, abs=4)
    assert high == pytest.approx(89, abs=4)
    assert finding.evidence["off_s"] == pytest.approx(24, abs=4)


@pytest.mark.parametrize(
    ("lasts_s", "ratio", "told"),
    [
        (1.0, 0.85, {}),
        (3.5, 0.85, {"RR": ["wrong_ratio?"]}),
        (3.5, 0.5, {"RR": ["wrong_ratio"]}),
    ],
)
def test_off_for_a_moment(
    town: Any, said: Any, lasts_s: float, ratio: float, told: dict[str, list[str]]
) -> None:
    rows = town.at(65, 65 + lasts_s)
    assert said(town.track(town.spoilt(3, town.kph[rows, 3] * ratio, rows))) == told


@at_each_corner
@pytest.mark.parametrize("period_s", [0.01, 0.1])
def test_twice_as_much_at_once_is_no_wheel_that_spins(
    make_drive: Any, only_finding: Any, corner: Corner, period_s: float
) -> None:
    """No wheel gains 40 km/h between two readings; counted twice, it seems to."""
    drive = make_drive([(0, 0), (10, 40), (90, 45), (100, 0)], (), period_s=period_s)
    rows = drive.at(40, 52)
    kph = drive.spoilt(corner.position, drive.kph[rows, corner.position] * 2, rows)
    finding = only_finding(drive.track(kph))
    assert (finding.corner, finding.kind) == (corner, "wrong_ratio")
    assert finding.evidence["ratio"] == pytest.approx(2, rel=0.01)


@at_each_corner
@pytest.mark.parametrize("resolution_kph", [0.01, 1.0])
def test_twice_as_much_is_told_at_walking_pace(
    make_drive: Any, said: Any, corner: Corner, resolution_kph: float
) -> None:
    """Where a sensor may still come and go, it does not count twice."""
    bends = [(30, 45, 7.0), (60, 75, -7.0)]
    drive = make_drive([(0, 0), (5, 12), (40, 13), (90, 12), (94, 0)], bends)
    rows = drive.at(12, 82)
    kph = drive.spoilt(corner.position, drive.kph[rows, corner.position] * 2, rows)
    assert said(drive.track(kph, resolution_kph=resolution_kph)) == {corner: ["wrong_ratio"]}


def test_beside_a_silent_corner_the_inner_wheel_of_a_turn_is_not_off(
    make_drive: Any, said: Any
) -> None:
    """At a pace at which nobody can say yet that the other one is dead."""
    drive = make_drive([(0, 0), (5, 14), (60, 14.5), (65, 0)], [(12, 55, -6.5)])
    assert said(drive.track(drive.spoilt(1, 0.0))) == {}
