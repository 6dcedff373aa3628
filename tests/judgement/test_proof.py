"""Two judged drives to the comparison's verdict, corner by corner."""

from collections.abc import Callable

import pytest

from canwheel.corners import Corner
from canwheel.judgement.conditions import clean_km_needed
from canwheel.judgement.proof import Proof, prove_repair
from canwheel.judgement.verdict import Judgement
from canwheel.outcome import FaultKind, Figure, Finding, NotJudged

Drive = Callable[..., Judgement]
MakeFinding = Callable[..., Finding]

TOWN = [(2.0, 30.0, "straight"), (1.0, 50.0, "straight")]
SLOW = [(2.0, 30.0, "straight")]
YARD = [(2.0, 0.0, "straight")]


@pytest.fixture
def dead(finding: MakeFinding) -> Finding:
    return finding(Corner.RL, "no_signal", (0.0, 3.0))


@pytest.fixture
def dropping(finding: MakeFinding) -> MakeFinding:
    """Build a drop-out finding that showed so many times, spread over two kilometres."""

    def make(count: int, **evidence: Figure) -> Finding:
        spells = [(2 * k / count, 2 * k / count + 0.01) for k in range(count)]
        return finding(Corner.RL, "dropout", *spells, **evidence)

    return make


def verdicts(proof: Proof) -> dict[str, str]:
    return {repair.corner.value: repair.verdict for repair in proof.corners}


def test_a_dead_corner_that_reads_again_over_the_same_speeds_is_repaired(
    drive: Drive, dead: Finding
) -> None:
    proof = prove_repair(drive(TOWN, dead), drive(TOWN))
    assert proof.verdict == "repair_proven"
    assert verdicts(proof) == {"FL": "sound", "FR": "sound", "RL": "repaired", "RR": "sound"}
    assert proof.confidence >= 0.95
    assert proof.clean_km == pytest.approx(3.0)
    assert proof.clean_km_needed == 0.3
    assert (proof.speed_bands_missing_kph, proof.to_drive.phrases) == ((), ())
    repair = proof.corners[Corner.RL.position]
    assert (repair.before, repair.after) == (("no_signal",), ())


def test_a_second_drive_that_is_too_slow_proves_nothing_and_says_what_is_missing(
    drive: Drive, dead: Finding
) -> None:
    proof = prove_repair(drive(TOWN, dead), drive(SLOW))
    assert proof.verdict == "repair_not_proven"
    assert verdicts(proof)["RL"] == "not_proven"
    assert proof.speed_bands_missing_kph == ((50.0, 80.0),)
    assert proof.to_drive.phrases == ("another 0.1 km between 50 and 80 km/h",)
    assert proof.confidence == 0.0


def test_a_corner_untested_in_the_second_drive_is_never_repaired(
    drive: Drive, dead: Finding
) -> None:
    proof = prove_repair(drive(TOWN, dead), drive(YARD))
    assert proof.verdict == "repair_not_proven"
    assert set(verdicts(proof).values()) == {"not_proven"}


def test_a_corner_not_read_in_the_second_drive_is_never_repaired(
    drive: Drive, dead: Finding
) -> None:
    proof = prove_repair(drive(TOWN, dead), drive(TOWN, unread=[Corner.RL]))
    assert verdicts(proof)["RL"] == "not_proven"
    assert proof.verdict == "repair_not_proven"


def test_a_kind_that_the_second_drive_cannot_show_is_not_proven(
    drive: Drive, dead: Finding
) -> None:
    why = NotJudged(Corner.RL, "no_signal", "something")
    proof = prove_repair(drive(TOWN, dead), drive(TOWN, not_judged=[why]))
    assert proof.verdict == "repair_not_proven"
    elsewhere = NotJudged(Corner.FL, "no_signal", "something")
    proof = prove_repair(drive(TOWN, dead), drive(TOWN, not_judged=[elsewhere]))
    assert proof.verdict == "repair_proven"


@pytest.mark.parametrize("kind", ["no_signal", "dropout", "late_pickup"])
def test_the_same_defect_is_still_there_whatever_its_face(
    drive: Drive, finding: MakeFinding, dead: Finding, kind: FaultKind
) -> None:
    proof = prove_repair(drive(TOWN, dead), drive(TOWN, finding(Corner.RL, kind, (1.0, 1.1))))
    assert proof.verdict == "fault_still_there"
    assert verdicts(proof)["RL"] == "still_faulty"
    assert proof.claims[0].still_there
    assert (proof.confidence, proof.clean_km, proof.to_drive.phrases) == (0.0, 0.0, ())


def test_another_defect_at_the_repaired_corner_is_new(
    drive: Drive, finding: MakeFinding, dead: Finding
) -> None:
    ratio = finding(Corner.RL, "wrong_ratio", (0.0, 3.0))
    proof = prove_repair(drive(TOWN, dead), drive(TOWN, ratio))
    assert proof.verdict == "new_fault"
    assert verdicts(proof)["RL"] == "newly_faulty"
    assert not proof.claims[0].still_there
    assert not proof.claims[0].proven


def test_a_fault_at_another_corner_is_new(
    drive: Drive, finding: MakeFinding, dead: Finding
) -> None:
    crossed = (
        finding(Corner.RL, "crossed", (0.0, 1.0), **{"with": "RR"}),
        finding(Corner.RR, "crossed", (0.0, 1.0), **{"with": "RL"}),
    )
    proof = prove_repair(drive(TOWN, dead), drive(TOWN, *crossed))
    assert proof.verdict == "new_fault"
    assert verdicts(proof)["RR"] == "newly_faulty"


def test_what_is_still_there_outranks_what_is_new(
    drive: Drive, finding: MakeFinding, dead: Finding
) -> None:
    new = finding(Corner.FL, "frozen", (0.0, 1.0))
    proof = prove_repair(drive(TOWN, dead), drive(TOWN, dead, new))
    assert proof.verdict == "fault_still_there"


def test_weak_signs_after_the_repair_keep_it_from_being_proven(
    drive: Drive, finding: MakeFinding, dead: Finding
) -> None:
    weak = finding(Corner.RL, "dropout", (1.0, 1.1), confidence=0.6)
    proof = prove_repair(drive(TOWN, dead), drive(TOWN, weak))
    assert proof.verdict == "repair_not_proven"
    assert proof.claims[0].still_there
    elsewhere = finding(Corner.FL, "dropout", (1.0, 1.1), confidence=0.6)
    assert prove_repair(drive(TOWN, dead), drive(TOWN, elsewhere)).verdict == "repair_not_proven"


def test_two_sound_drives_leave_nothing_to_prove(drive: Drive) -> None:
    proof = prove_repair(drive(TOWN), drive(SLOW))
    assert proof.verdict == "nothing_to_prove"
    assert proof.claims == ()
    assert proof.clean_km == pytest.approx(2.0)
    assert proof.clean_km_needed == 0.0


@pytest.mark.parametrize("before", [YARD, TOWN])
def test_a_first_drive_without_a_sure_fault_proves_no_repair(
    drive: Drive, finding: MakeFinding, before: list[tuple[float, float, str]]
) -> None:
    weak = finding(Corner.RL, "dropout", (1.0, 1.1), confidence=0.6)
    proof = prove_repair(drive(before, weak), drive(TOWN))
    assert proof.verdict == "repair_not_proven"
    assert verdicts(proof)["RL"] == "sound"


def test_a_sound_first_drive_and_a_second_too_short_is_no_all_clear(drive: Drive) -> None:
    assert prove_repair(drive(TOWN), drive(YARD)).verdict == "repair_not_proven"


def test_five_drop_outs_need_0_82_of_the_distance(drive: Drive, dropping: MakeFinding) -> None:
    # Factor for five times: see RATIOS in test_conditions.py.
    before = drive(SLOW, dropping(5))
    enough, short = ([(km, 30.0, "straight")] for km in (1.65, 1.6))
    proof = prove_repair(before, drive(enough))
    assert proof.verdict == "repair_proven"
    assert proof.confidence >= 0.95
    assert proof.clean_km_needed == pytest.approx(0.82 * 2.0, abs=0.01)
    proof = prove_repair(before, drive(short))
    assert proof.verdict == "repair_not_proven"
    assert 0.9 < proof.confidence < 0.95
    assert proof.to_drive.phrases == ("another 0.1 km",)


def test_one_drop_out_is_not_proven_gone_by_an_equal_drive(
    drive: Drive, dropping: MakeFinding
) -> None:
    proof = prove_repair(drive(SLOW, dropping(1)), drive(SLOW))
    assert proof.verdict == "repair_not_proven"
    assert proof.confidence == pytest.approx(0.5)
    assert proof.clean_km_needed == pytest.approx(19.0 * 2.0, rel=0.001)


def test_an_intermittent_fault_that_never_counted_is_taken_as_one(
    drive: Drive, finding: MakeFinding
) -> None:
    none = finding(Corner.RL, "dropout", (1.0, 1.1), count=0)
    proof = prove_repair(drive(SLOW, none), drive(SLOW))
    assert proof.confidence == pytest.approx(0.5)


def test_only_the_turns_that_it_goes_with_count(drive: Drive, finding: MakeFinding) -> None:
    legs = [(2.0, 30.0, "straight"), (0.5, 15.0, "left")]
    spells = [(2.0 + k / 10, 2.01 + k / 10) for k in range(5)]
    before = drive(legs, finding(Corner.RL, "dropout", *spells, goes_with_turn="left"))
    straight_on = prove_repair(before, drive([(9.0, 30.0, "straight"), (0.2, 15.0, "left")]))
    assert straight_on.verdict == "repair_not_proven"
    assert straight_on.clean_km == pytest.approx(0.2)
    assert straight_on.clean_km_needed == pytest.approx(clean_km_needed(5, 0.5))
    assert straight_on.to_drive.phrases == (
        "another 0.3 km turning left (about 15 turns at junctions)",
    )
    assert prove_repair(before, drive([(0.5, 15.0, "left")])).verdict == "repair_proven"


def test_the_speed_band_that_it_goes_with_is_named_while_distance_is_missing(
    drive: Drive, finding: MakeFinding
) -> None:
    spells = [(k / 5, k / 5 + 0.01) for k in range(5)]
    dropouts = finding(Corner.RL, "dropout", *spells, goes_with_band_from_kph=30.0)
    before = drive(TOWN, dropouts)
    proof = prove_repair(before, drive([(1.0, 30.0, "straight"), (5.0, 50.0, "straight")]))
    assert proof.verdict == "repair_not_proven"
    assert proof.speed_bands_missing_kph == ((30.0, 50.0),)
    assert proof.to_drive.phrases == ("another 0.7 km between 30 and 50 km/h",)


def test_the_figures_are_those_of_the_claim_farthest_from_proven(
    drive: Drive, finding: MakeFinding, dropping: MakeFinding
) -> None:
    dead = finding(Corner.FL, "no_signal", (0.0, 2.0))
    proof = prove_repair(drive(SLOW, dead, dropping(2)), drive(SLOW))
    assert [claim.proven for claim in proof.claims] == [True, False]
    assert proof.verdict == "repair_not_proven"
    assert verdicts(proof) == {
        "FL": "repaired",
        "FR": "sound",
        "RL": "not_proven",
        "RR": "sound",
    }
    assert proof.clean_km_needed == pytest.approx(3.47 * 2.0, abs=0.01)
    assert proof.confidence == pytest.approx(0.75)


def test_two_findings_of_one_kind_are_one_claim(drive: Drive, finding: MakeFinding) -> None:
    first = finding(Corner.RL, "frozen", (0.0, 1.5))
    second = finding(Corner.RL, "frozen", (1.6, 2.0), confidence=0.95)
    proof = prove_repair(drive(SLOW, first, second), drive(SLOW))
    assert [claim.kind for claim in proof.claims] == ["frozen"]
    assert proof.corners[Corner.RL.position].before == ("frozen",)


def test_one_drive_serves_several_claims(drive: Drive, finding: MakeFinding) -> None:
    longer = finding(Corner.FL, "message_missing", (0.5, 0.6))
    shorter = finding(Corner.FR, "message_missing", (0.5, 0.6), (0.8, 0.9))
    why = NotJudged(Corner.FL, "message_missing", "something")
    proof = prove_repair(drive(SLOW, longer, shorter), drive(SLOW, not_judged=[why]))
    assert [claim.to_drive.phrases for claim in proof.claims] == [
        (
            "another 36.0 km",
            "a drive that can show message missing (this one could not: something)",
        ),
        ("another 5.0 km",),
    ]
    assert proof.to_drive.phrases == proof.claims[0].to_drive.phrases
