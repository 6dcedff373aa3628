"""A corner that wakes up later than the others."""

from typing import Any

import numpy as np
import pytest

from canwheel.corners import CORNERS, Corner
from canwheel.findings import examine

at_each_corner = pytest.mark.parametrize("corner", CORNERS)


def asleep_below(drive: Any, pick_ups: Any) -> Any:
    return np.where(drive.kph < np.asarray(pick_ups), 0.0, drive.kph)


@at_each_corner
@pytest.mark.parametrize(
    ("others_kph", "own_kph"), [(0.5, 12.0), (0.5, 20.0), (4.0, 15.0), (4.0, 28.0)]
)
def test_the_speed_is_found(
    town: Any, only_finding: Any, corner: Corner, others_kph: float, own_kph: float
) -> None:
    pick_ups = np.full(4, others_kph)
    pick_ups[corner.position] = own_kph
    finding = only_finding(town.track(asleep_below(town, pick_ups)))
    assert (finding.corner, finding.kind) == (corner, "late_pickup")
    assert finding.evidence["picks_up_at_kph"] == pytest.approx(own_kph, abs=1.5)
    assert finding.evidence["others_pick_up_at_kph"] == pytest.approx(others_kph, abs=1.5)
    assert finding.count >= 2


def test_without_a_slow_part_nothing_is_claimed(make_drive: Any, said: Any) -> None:
    track = make_drive([(0, 40), (60, 60)], ()).track()
    assert said(track) == {}
    untested = [n for n in examine(track).outcome.not_judged if n.kind == "late_pickup"]
    assert [n.corner for n in untested] == list(CORNERS)
    assert "no start" in untested[0].why


def test_a_spread_as_of_sound_passive_sensors_is_none(town: Any, said: Any) -> None:
    # They pick up between 3 and 8 km/h (textbook values, from memory).
    assert said(town.track(asleep_below(town, [3.0, 4.0, 7.5, 5.0]))) == {}


def test_every_sensor_of_the_car_waking_up_late_accuses_none(town: Any, said: Any) -> None:
    assert said(town.track(asleep_below(town, [8.0, 8.5, 8.2, 8.8]))) == {}


def test_one_corner_alone_is_compared_with_nothing(town: Any, said: Any) -> None:
    # The other three are marked as having no value all the way: nobody knows how fast the car goes.
    flagged = np.ones((len(town.time_s), 4), bool)
    flagged[:, 2] = False
    kph = asleep_below(town, [0, 0, 15.0, 0])
    assert "late_pickup" not in said(town.track(kph, flagged=flagged)).get("RL", [])


def test_one_that_died_on_the_way_is_not_late(town: Any, only_finding: Any) -> None:
    # It read at every speed before; after it died the car goes slower than it went before.
    finding = only_finding(town.track(town.spoilt(1, 0.0, town.at(90, 999))))
    assert (finding.corner, finding.kind) == (Corner.FR, "no_signal")


def test_beside_a_corner_that_is_marked(town: Any, said: Any) -> None:
    flagged = np.zeros((len(town.time_s), 4), bool)
    flagged[town.at(60, 999), 2] = True
    kph = asleep_below(town, [19.0, 0.5, 0.5, 0.5])
    assert said(town.track(kph, flagged=flagged)) == {
        "FL": ["late_pickup"],
        "RL": ["flagged_invalid"],
    }


def test_a_corner_that_was_never_read_is_not_the_drives_fault(town: Any) -> None:
    present = np.ones(town.kph.shape, bool)
    present[:, Corner.FR.position] = False
    whys = {
        n.corner: n.why
        for n in examine(town.track(present=present)).outcome.not_judged
        if n.kind == "late_pickup"
    }
    assert whys == {Corner.FR: "it was not read at a start from or stop to a standstill"}


def test_where_no_corner_was_read_that_is_said(town: Any) -> None:
    track = town.track(flagged=np.ones(town.kph.shape, bool))
    whys = {n.why for n in examine(track).outcome.not_judged if n.kind == "late_pickup"}
    assert whys == {"no corner was read"}
