"""Repairs of simulated faults, from the frames to the verdict: every kind, at every corner.

The truth is what the simulation was told to do; nothing else of the project says what is right.
"""

from collections.abc import Callable, Iterable
from dataclasses import replace
from functools import cache

import pytest

from canwheel.capture.summary import CaptureSummary
from canwheel.corners import CORNERS, Corner
from canwheel.definitions.assign import find_wheels
from canwheel.definitions.dbc import read_definitions
from canwheel.outcome import FAULT_KINDS, FaultKind
from canwheel.pipeline import Check, Comparison, compare_checks, judge
from canwheel.roadtest import faults
from canwheel.roadtest.bus_layout import BusLayout, dbc_text
from canwheel.roadtest.demo import DEMO_FAULTS
from canwheel.roadtest.faults import Effect
from canwheel.roadtest.layouts import BAKERY_VAN
from canwheel.roadtest.recording import record_frames
from canwheel.roadtest.route import Leg, Route, roundabout, stand, stop, turn
from canwheel.roadtest.simulation import Scenario, simulate
from canwheel.vehicle import read_vehicle

BEFORE_SEED, AFTER_SEED, EARLIER_SEED = 31, 32, 33
HOUR_S = 3600.0

TOWN: Route = (
    stand(4.0),
    Leg(180, 42),
    turn(90, 9.0, 16),
    Leg(260, 50),
    stop(4.0),
    turn(-88, 11.0, 18),
    Leg(300, 52),
    *roundabout(22, quarters=3),
    Leg(620, 74),
    turn(28, 180, 60),
    Leg(260, 58),
    stop(5.0),
    turn(-92, 9.0, 16),
    turn(180, 6.5, 12),
    Leg(160, 40),
    stop(4.0),
)
"""A round of town that brings out every kind: both turns, tight ones, stops, up to 74 km/h."""

STRAIGHT: Route = (stand(4.0), Leg(700, 44), Leg(700, 60), Leg(250, 25), stop(4.0))

Drive = Callable[..., Check]


def layout_every(cycle_s: float) -> BusLayout:
    """The van's bus with its wheel speeds sent so often."""
    messages = tuple(
        replace(message, cycle_s=cycle_s) if message.corners else message
        for message in BAKERY_VAN.messages
    )
    return replace(BAKERY_VAN, messages=messages)


@pytest.fixture(scope="module")
def drive(tmp_path_factory: pytest.TempPathFactory) -> Drive:
    """Drive, record and judge."""
    folder = tmp_path_factory.mktemp("drives")

    @cache
    def make(
        route: Route = TOWN, *effects: Effect, seed: int = AFTER_SEED, cycle_s: float = 0.02
    ) -> Check:
        layout = layout_every(cycle_s)
        made = simulate(Scenario(route=route, effects=effects), seed=seed)
        frames = record_frames(made, layout, started_s=seed * HOUR_S)
        dbc, toml = folder / "van.dbc", folder / "van.toml"
        dbc.write_text(dbc_text(layout))
        toml.write_text(layout.vehicle_toml)
        car = read_vehicle(toml)
        summary = CaptureSummary(
            file=f"{seed}.log",
            sha256=str(hash((route, effects, seed, cycle_s))),
            frames=len(frames),
            first_time_ns=int(frames.time_ns[0]),
            last_time_ns=int(frames.time_ns[-1]),
        )
        places = find_wheels(read_definitions(dbc), car)
        return judge(frames, summary, places, car, channel="can0")

    return make


def touched(kind: FaultKind, corner: Corner) -> set[Corner]:
    """Corners at which a fault of one corner shows."""
    if kind == "crossed":
        return {corner, corner.mirror}
    return set(CORNERS) if kind == "message_missing" else {corner}  # the van has one message


def verdicts(comparison: Comparison, verdict: str) -> set[Corner]:
    return {repair.corner for repair in comparison.proof.corners if repair.verdict == verdict}


def kinds_after(comparison: Comparison, corners: Iterable[Corner]) -> set[FaultKind]:
    return {kind for corner in corners for kind in comparison.proof.corners[corner.position].after}


@pytest.mark.parametrize("corner", CORNERS)
@pytest.mark.parametrize("kind", FAULT_KINDS)
def test_every_kind_at_every_corner(kind: FaultKind, corner: Corner, drive: Drive) -> None:
    effect = DEMO_FAULTS[kind](corner)
    before = drive(TOWN, effect, seed=BEFORE_SEED)
    repaired = compare_checks([before], [drive()])
    assert repaired.proof.verdict == "repair_proven"
    assert verdicts(repaired, "repaired") == touched(kind, corner)
    assert kinds_after(repaired, CORNERS) == set()
    assert repaired.proof.confidence >= 0.95
    assert repaired.proof.clean_km >= repaired.proof.clean_km_needed
    assert repaired.proof.to_drive.phrases == ()

    if corner.side == "left":  # the other half would say the same
        still = compare_checks([before], [drive(TOWN, effect, seed=AFTER_SEED)])
        assert still.proof.verdict == "fault_still_there"
        assert verdicts(still, "still_faulty") == touched(kind, corner)


@pytest.mark.parametrize("kind", FAULT_KINDS)
def test_a_drive_too_short_for_it_proves_no_repair_and_says_what_is_missing(
    kind: FaultKind, drive: Drive
) -> None:
    before = drive(TOWN, DEMO_FAULTS[kind](Corner.RL), seed=BEFORE_SEED)
    short = drive((stand(4.0), Leg(90, 30), stop(2.0)))
    comparison = compare_checks([before], [short])
    assert comparison.proof.verdict == "repair_not_proven"
    assert comparison.proof.to_drive.phrases
    assert "Drive and record another" in comparison.next_steps[0]


@pytest.mark.parametrize(
    ("effect", "kind", "corners"),
    [
        (faults.Crossed(Corner.RL, Corner.RR), "crossed", {Corner.RL, Corner.RR}),
        (faults.Crossed(Corner.FL, Corner.FR), "crossed", {Corner.FL, Corner.FR}),
        (faults.RingDamage(Corner.RL, off_centre=0.06), "ring_damage", {Corner.RL}),
        (faults.RingDamage(Corner.FR, missing=(10, 11, 12)), "ring_damage", {Corner.FR}),
        (faults.WrongRatio(Corner.RL, teeth=44), "wrong_ratio", {Corner.RL}),
    ],
    ids=["crossed here", "crossed elsewhere", "ring bent", "teeth broken off", "wrong ring"],
)
def test_what_the_repair_has_broken_is_found_and_named(
    effect: Effect, kind: FaultKind, corners: set[Corner], drive: Drive
) -> None:
    before = drive(TOWN, faults.NoSignal(Corner.RL), seed=BEFORE_SEED)
    comparison = compare_checks([before], [drive(TOWN, effect, seed=AFTER_SEED)])
    assert comparison.proof.verdict == "new_fault"
    assert verdicts(comparison, "newly_faulty") == corners
    assert kinds_after(comparison, corners) == {kind}
    (claim,) = comparison.proof.claims
    assert not claim.still_there


@pytest.mark.parametrize(("before_s", "after_s"), [(0.01, 0.1), (0.1, 0.01), (0.05, 0.02)])
@pytest.mark.parametrize("kind", ["no_signal", "dropout", "late_pickup", "wrong_ratio"])
def test_the_two_drives_may_have_other_message_rates(
    kind: FaultKind, before_s: float, after_s: float, drive: Drive
) -> None:
    effect = DEMO_FAULTS[kind](Corner.FR)
    before = drive(TOWN, effect, seed=BEFORE_SEED, cycle_s=before_s)
    assert compare_checks([before], [drive(cycle_s=after_s)]).proof.verdict == "repair_proven"
    again = drive(TOWN, effect, seed=AFTER_SEED, cycle_s=after_s)
    assert compare_checks([before], [again]).proof.verdict == "fault_still_there"


def test_a_ripple_that_the_second_rate_cannot_show_is_not_proven_gone(drive: Drive) -> None:
    bent = faults.RingDamage(Corner.RR, off_centre=0.06)
    before = drive(TOWN, bent, seed=BEFORE_SEED, cycle_s=0.02)
    # At 100 ms a wheel of 1.94 m turns more than half a time between two messages from 35 km/h on.
    fast: Route = (stand(4.0), Leg(150, 70, accelerate_mps2=3.0), Leg(1500, 70))
    comparison = compare_checks([before], [drive(fast, cycle_s=0.1)])
    assert comparison.proof.verdict == "repair_not_proven"
    assert "ring damage" in " ".join(comparison.proof.to_drive.phrases)


def test_what_falls_between_two_values_is_not_proven_by_their_silence(drive: Drive) -> None:
    # Single values at 10 ms: of ten such, one falls onto a value that comes every 100 ms.
    loose = faults.Dropout(Corner.FR, per_km=4.0, lasting_s=(0.01, 0.015), in_unit=True, at_least=8)
    before = drive(TOWN, loose, seed=BEFORE_SEED, cycle_s=0.01)
    (fast,) = compare_checks([before], [drive(cycle_s=0.01)]).proof.claims
    assert fast.proven
    assert fast.seen_share == 1.0
    comparison = compare_checks([before], [drive(cycle_s=0.1)])
    (slow,) = comparison.proof.claims
    assert comparison.proof.verdict == "repair_not_proven"
    assert slow.seen_share == pytest.approx(0.01 / 0.1, rel=0.5)
    assert slow.clean_km_needed == pytest.approx(fast.clean_km_needed / slow.seen_share)
    assert slow.confidence < 0.95
    assert any("of every hundred times about" in caution for caution in comparison.cautions)
    # The same unrepaired fault really is seen so seldom at that rate.
    again = [drive(TOWN, loose, seed=seed, cycle_s=0.1) for seed in range(60, 66)]
    seen = sum(f.count for c in again for f in c.judgement.corner(Corner.FR).findings)
    whole = [drive(TOWN, loose, seed=seed, cycle_s=0.01) for seed in range(60, 66)]
    shown = sum(f.count for c in whole for f in c.judgement.corner(Corner.FR).findings)
    assert seen / shown < 0.4


def test_what_goes_with_left_turns_is_proven_by_left_turns_alone(drive: Drive) -> None:
    left = tuple(leg for _ in range(12) for leg in (Leg(60, 30), turn(90, 10.0, 17)))
    loose = faults.Dropout(
        Corner.FL, condition="left_turn", per_km=60.0, lasting_s=(0.3, 0.8), at_least=8
    )
    before = drive((stand(3.0), *left, stop(3.0)), loose, seed=BEFORE_SEED)
    (found,) = before.judgement.corner(Corner.FL).findings
    assert found.evidence["goes_with_turn"] == "left"
    straight = compare_checks([before], [drive(STRAIGHT)])
    assert straight.proof.verdict == "repair_not_proven"
    assert straight.proof.clean_km < 0.05
    assert any("turning left" in phrase for phrase in straight.proof.to_drive.phrases)
    turning = drive((stand(3.0), *left, *left, stop(3.0)))
    proof = compare_checks([before], [drive(STRAIGHT), turning]).proof
    assert proof.verdict == "repair_proven"
    assert proof.clean_km < turning.judgement.coverage.distance_km


def test_drives_on_both_sides_add_up(drive: Drive) -> None:
    loose = faults.Dropout(Corner.RR, per_km=1.0, lasting_s=(0.3, 0.8), at_least=2)
    befores = [drive(TOWN, loose, seed=seed) for seed in (BEFORE_SEED, EARLIER_SEED)]
    one, both = (compare_checks(befores[:n], [drive()]).proof for n in (1, 2))
    (claim,), (claims,) = one.claims, both.claims
    assert claims.count > claim.count
    assert claims.before_km > claim.before_km
    # the distance that the finding names: what is hidden beside each drop-out was driven as well
    assert claim.before_km == pytest.approx(befores[0].judgement.coverage.distance_km)
    # By hand: d_b · (0.05^(−1/n) − 1), the distance that five per cent leave.
    assert claims.clean_km_needed == pytest.approx(
        claims.before_km * (0.05 ** (-1 / claims.count) - 1), rel=1e-6
    )
    afters = [drive(seed=seed) for seed in range(40, 46)]
    proofs = [compare_checks(befores, afters[:n]).proof for n in range(1, 7)]
    km = [proof.clean_km for proof in proofs]
    assert km == sorted(km)
    assert [proof.verdict == "repair_proven" for proof in proofs] == [
        proof.clean_km >= claims.clean_km_needed for proof in proofs
    ]
    assert proofs[-1].verdict == "repair_proven"


def test_a_fault_in_one_of_several_drives_is_enough(drive: Drive) -> None:
    dead = faults.NoSignal(Corner.RL)
    before = drive(TOWN, dead, seed=BEFORE_SEED)
    afters = [drive(seed=40), drive(TOWN, dead, seed=41), drive(seed=42)]
    assert compare_checks([before], afters).proof.verdict == "fault_still_there"
