"""A corner that falls to nothing for moments, and what only looks like it."""

from typing import Any

import numpy as np
import pytest

from canwheel.corners import CORNERS, Corner

at_each_corner = pytest.mark.parametrize("corner", CORNERS)
STARTS_S = (14.3, 19.8, 25.1, 31.0, 62.2, 66.6, 74.9, 79.3, 85.0, 127.4)
"""Ten moments in town at 20 km/h and more."""


def with_gaps(town: Any, corner: Corner, lasts_s: float, starts_s: Any = STARTS_S) -> Any:
    gone = np.zeros(len(town.time_s), bool)
    for start_s in starts_s:
        gone |= town.at(start_s, start_s + lasts_s - 1e-6)
    return town.spoilt(corner.position, 0.0, gone)


@at_each_corner
@pytest.mark.parametrize("lasts_s", [0.2, 0.5, 1.2, 2.0])
def test_the_count_is_exact_from_a_fifth_of_a_second_on(
    town: Any, only_finding: Any, corner: Corner, lasts_s: float
) -> None:
    finding = only_finding(town.track(with_gaps(town, corner, lasts_s)))
    assert (finding.corner, finding.kind) == (corner, "dropout")
    assert finding.count == finding.evidence["count"] == len(STARTS_S)
    assert finding.evidence["longest_s"] == pytest.approx(lasts_s, abs=0.04)
    assert finding.evidence["per_km"] == pytest.approx(len(STARTS_S) / 1.48, rel=0.03)
    starts = [span.from_s for span in finding.spans]
    assert starts == pytest.approx(STARTS_S, abs=0.03)


@at_each_corner
def test_single_samples_are_seen(town: Any, only_finding: Any, corner: Corner) -> None:
    finding = only_finding(town.track(with_gaps(town, corner, 0.02)))
    assert (finding.corner, finding.kind, finding.count) == (corner, "dropout", len(STARTS_S))


def test_one_is_enough(town: Any, only_finding: Any) -> None:
    finding = only_finding(town.track(with_gaps(town, Corner.FR, 0.4, [65.0])))
    assert (finding.corner, finding.kind, finding.count) == (Corner.FR, "dropout", 1)
    assert "once" in finding.says


@pytest.mark.parametrize("resolution_kph", [0.005, 0.1, 1.0])
def test_coarse_signals_show_it_as_well(
    town: Any, only_finding: Any, resolution_kph: float
) -> None:
    kph = with_gaps(town, Corner.RR, 0.3)
    finding = only_finding(town.track(kph, resolution_kph=resolution_kph))
    assert (finding.corner, finding.kind, finding.count) == (Corner.RR, "dropout", len(STARTS_S))


def test_a_gap_over_a_stop_is_one_gap(town: Any, only_finding: Any) -> None:
    # It begins at 20 km/h before the stop at 110 s and ends at 30 km/h after it.
    kph = with_gaps(town, Corner.FL, 15.0, [105.0])
    finding = only_finding(town.track(kph))
    assert (finding.kind, finding.count) == ("dropout", 1)


def test_a_unit_that_wakes_up_at_speed(make_drive: Any, said: Any) -> None:
    drive = make_drive([(0, 50), (40, 55)], ())
    assert said(drive.track(drive.spoilt(1, 0.0, drive.at(0, 0.6)))) == {}


def test_passive_sensors_that_all_sleep_below_walking_pace(town: Any, said: Any) -> None:
    # Passive sensors read nothing below 3 to 8 km/h (textbook values, from memory).
    pick_ups = np.array([3.5, 4.5, 5.5, 6.0])
    assert said(town.track(np.where(town.kph < pick_ups, 0.0, town.kph))) == {}


def test_at_walking_pace_of_a_sensor_that_reads_there(make_drive: Any, only_finding: Any) -> None:
    drive = make_drive([(0, 0), (3, 0), (8, 6), (20, 6), (24, 13), (60, 13)], ())
    kph = drive.kph.copy()
    for start_s in (30.0, 40.0, 50.0):
        kph[drive.at(start_s, start_s + 0.6), 3] = 0.0
    finding = only_finding(drive.track(kph))
    assert (finding.corner, finding.kind, finding.count) == (Corner.RR, "dropout", 3)


def test_one_at_walking_pace_is_enough_where_it_reads_much_slower(
    make_drive: Any, only_finding: Any
) -> None:
    drive = make_drive([(0, 0), (3, 0), (8, 5), (20, 5), (24, 13), (60, 13)], ())
    finding = only_finding(drive.track(drive.spoilt(3, 0.0, drive.at(40, 40.4))))
    assert (finding.corner, finding.kind, finding.confidence) == (Corner.RR, "dropout", 0.9)


@pytest.mark.parametrize(
    ("brakings", "edge_s", "confidence"), [(5, 0.0, 0.6), (6, 0.0, 0.9), (6, 0.15, 0.6)]
)
def test_silences_in_brakings_alone(
    braking_drive: Any, only_finding: Any, brakings: int, edge_s: float, confidence: float
) -> None:
    """At ten messages a second nobody sees how fast a wheel stops; how often it does tells."""
    drive = braking_drive(brakings, period_s=0.02 if edge_s else 0.1)
    kph = drive.kph.copy()
    for k in range(brakings):
        fall_s = 20.0 * k + 12
        at = [fall_s, fall_s + max(edge_s, 1e-3), fall_s + 0.8, fall_s + 0.8 + max(edge_s, 1e-3)]
        kph[:, 1] *= np.interp(drive.time_s, at, [1, 0, 0, 1])
    finding = only_finding(drive.track(kph))
    assert (finding.corner, finding.kind) == (Corner.FR, "dropout")
    assert finding.confidence == confidence


def test_at_walking_pace_of_one_that_wakes_up_there_nothing_is_said(
    make_drive: Any, said: Any
) -> None:
    drive = make_drive([(0, 0), (3, 0), (8, 13), (60, 13)], ())
    kph = np.where(drive.kph < 11.0, 0.0, drive.kph)
    for start_s in (30.0, 40.0, 50.0):
        kph[drive.at(start_s, start_s + 0.6), 3] = 0.0
    assert "dropout" not in said(drive.track(kph)).get("RR", [])
