"""Several drives of one side: distances add up, and so does what was found."""

from collections.abc import Callable

import pytest

from canwheel.corners import CORNERS, Corner
from canwheel.judgement.proof import prove_repair
from canwheel.judgement.several import merge_drives
from canwheel.judgement.verdict import Judgement
from canwheel.outcome import Finding, NotJudged

Drive = Callable[..., Judgement]
MakeFinding = Callable[..., Finding]

TOWN = [(2.0, 30.0, "straight"), (1.0, 50.0, "straight")]
LEFT = [(1.0, 30.0, "left")]


def test_one_drive_is_itself(drive: Drive) -> None:
    one = drive(TOWN)
    assert merge_drives([one]) is one


def test_distances_add_up(drive: Drive) -> None:
    both = merge_drives([drive(TOWN), drive(LEFT)])
    assert both.coverage.distance_km == pytest.approx(4.0)
    for corner in CORNERS:
        covered = both.corner(corner).coverage
        assert covered.km.sum() == pytest.approx(4.0)
        assert covered.km[2].tolist() == pytest.approx([2.0, 1.0, 0.0])
        assert covered.read_km == pytest.approx(4.0)
        assert covered.longest_km == pytest.approx(3.0)
    way = both.coverage.driving
    assert (way.time_s[1:] > way.time_s[:-1]).all()
    assert way.step_km.sum() == pytest.approx(4.0)


def test_one_kind_at_one_corner_is_one_finding_with_all_its_times(
    drive: Drive, finding: MakeFinding
) -> None:
    first = finding(Corner.RL, "dropout", (0.5, 0.51), (1.0, 1.01), confidence=0.95)
    second = finding(Corner.RL, "dropout", (0.2, 0.21), confidence=0.99)
    both = merge_drives([drive(TOWN, first), drive(LEFT, second)])
    (found,) = both.corner(Corner.RL).findings
    assert (found.count, found.confidence, len(found.spans)) == (3, 0.99, 3)
    assert [s.from_s for s in found.spans] == sorted(s.from_s for s in found.spans)
    # Each span still lies on its own drive's road.
    shown = both.coverage.driving.km_within(found.spans)
    assert shown[2, 1] > 0
    assert shown[2, 0] > 0


def test_a_condition_counts_only_where_no_drive_says_otherwise(
    drive: Drive, finding: MakeFinding
) -> None:
    left = finding(Corner.RL, "dropout", (0.5, 0.51), goes_with_turn="left")
    right = finding(Corner.RL, "dropout", (0.5, 0.51), goes_with_turn="right")
    same = merge_drives([drive(LEFT, left), drive(LEFT, left)])
    other = merge_drives([drive(LEFT, left), drive(LEFT, right)])
    assert same.corner(Corner.RL).findings[0].evidence["goes_with_turn"] == "left"
    assert "goes_with_turn" not in other.corner(Corner.RL).findings[0].evidence


def test_a_kind_that_one_drive_could_show_counts_as_judged(drive: Drive) -> None:
    crossed = [NotJudged(Corner.FL, "crossed", "no turn sharp enough")]
    copied = [*crossed, NotJudged(Corner.FL, "copied", "too little")]
    both = merge_drives([drive(TOWN, not_judged=copied), drive(TOWN, not_judged=crossed)])
    assert [entry.kind for entry in both.corner(Corner.FL).not_judged] == ["crossed"]


def test_a_fault_in_any_drive_after_the_repair_is_still_there(
    drive: Drive, finding: MakeFinding
) -> None:
    before = drive(TOWN, finding(Corner.RL, "dropout", (0.5, 0.51)))
    again = drive(TOWN, finding(Corner.RL, "dropout", (2.0, 2.01)))
    after = merge_drives([drive(TOWN), again, drive(TOWN)])
    assert prove_repair(before, after).verdict == "fault_still_there"


def test_three_drives_prove_what_one_does_not(drive: Drive, finding: MakeFinding) -> None:
    five = finding(Corner.RL, "dropout", *((k / 2, k / 2 + 0.01) for k in range(1, 6)))
    before = drive(TOWN, five)  # needs 0.82 of three kilometres
    once = drive([(0.9, 30.0, "straight")])
    fast = drive([(0.2, 50.0, "straight")])
    assert prove_repair(before, merge_drives([once, fast])).verdict == "repair_not_proven"
    proof = prove_repair(before, merge_drives([once, once, once, fast]))
    assert proof.verdict == "repair_proven"
    assert proof.clean_km == pytest.approx(2.9)


def test_several_drives_before_the_repair_add_up_too(drive: Drive, finding: MakeFinding) -> None:
    once = drive(TOWN, finding(Corner.RL, "dropout", (0.5, 0.51)))
    before = merge_drives([once, once, drive(TOWN)])
    (claim,) = prove_repair(before, drive(TOWN)).claims
    assert claim.count == 2
    assert claim.before_km == pytest.approx(9.0)


def test_what_began_some_way_into_a_drive_needs_one_drive_of_that_length(
    drive: Drive, finding: MakeFinding
) -> None:
    before = drive(TOWN, finding(Corner.RL, "no_signal", (1.5, 3.0)))
    short = drive([(0.9, 30.0, "straight"), (0.3, 50.0, "straight")])
    proof = prove_repair(before, merge_drives([short, short]))
    assert proof.verdict == "repair_not_proven"
    assert proof.to_drive.phrases == ("another 1.5 km in one drive without a break",)
    assert prove_repair(before, merge_drives([short, drive(TOWN)])).verdict == "repair_proven"


def test_the_way_to_a_fault_is_counted_from_its_own_drive(
    drive: Drive, finding: MakeFinding
) -> None:
    late = drive(TOWN, finding(Corner.RL, "no_signal", (0.5, 3.0)))
    before = merge_drives([drive(TOWN), late])
    (claim,) = prove_repair(before, drive(TOWN)).claims
    assert claim.pattern == "constant"
    assert claim.clean_km_needed == pytest.approx(0.5, abs=0.02)
    assert claim.proven
