"""Where a copy begins and ends: which of the two corners runs on."""

from itertools import permutations
from typing import Any

import numpy as np
import pytest

from canwheel.corners import CORNERS
from canwheel.outcome import Span
from canwheel.track.motion import estimate_motion
from canwheel.track.placing import SURE_LOG_ODDS
from canwheel.track.seams import placed_by_seams

TYRES = (1.0, 1.006, 0.994, 1.012)
PART = Span(30.0, 50.0)


@pytest.fixture(scope="module")
def straight(make_drive: Any) -> Any:
    return make_drive([(0, 50), (20, 70), (60, 60), (90, 50)], (), tyres=TYRES, noise=0.001)


def placed(drive: Any, kph: Any, of: int, copy: int, *spans: Span) -> Any:
    track = drive.track(kph)
    return placed_by_seams(track, estimate_motion(track), CORNERS[of], CORNERS[copy], spans)


@pytest.mark.parametrize(("of", "copy"), list(permutations(range(4), 2)))
def test_tyres_that_differ_tell_on_a_straight_road(straight: Any, of: int, copy: int) -> None:
    rows = straight.at(PART.from_s, PART.to_s)
    placing = placed(straight, straight.spoilt(copy, straight.kph[rows, of], rows), of, copy, PART)
    assert abs(placing.log_odds) > SURE_LOG_ODDS
    assert placing.lean == pytest.approx(0.5, abs=0.1)


def test_more_seams_tell_more_surely(straight: Any) -> None:
    spans = (PART, Span(60.0, 75.0))
    rows = straight.at(30, 50) | straight.at(60, 75)
    kph = straight.spoilt(1, straight.kph[rows, 0], rows)
    assert placed(straight, kph, 0, 1, *spans).error < 0.8 * placed(straight, kph, 0, 1, PART).error


def test_wheels_that_run_alike_tell_nothing(make_drive: Any) -> None:
    drive = make_drive([(0, 50), (20, 70), (60, 60), (90, 50)], (), tyres=(1, 1, 1, 1))
    rows = drive.at(PART.from_s, PART.to_s)
    for copy, of in permutations(range(4), 2):
        assert placed(drive, drive.spoilt(copy, drive.kph[rows, of], rows), of, copy, PART) is None


def test_a_standing_car_and_an_unread_corner_tell_nothing(make_drive: Any) -> None:
    drive = make_drive([(0, 50), (20, 0), (40, 0), (60, 50)], (), tyres=TYRES, noise=0.001)
    rows = drive.at(25, 35)
    kph = drive.spoilt(1, drive.kph[rows, 0], rows)
    assert placed(drive, kph, 0, 1, Span(25.0, 35.0)) is None
    rows = drive.at(50, 58)
    kph = drive.spoilt(1, drive.kph[rows, 0], rows)
    assert placed(drive, kph, 0, 1, Span(50.0, 58.0)) is not None
    kph[:, 2] = np.nan
    assert placed(drive, np.nan_to_num(kph), 0, 1, Span(50.0, 58.0)) is None


def test_from_the_first_value_to_the_last_there_is_no_seam(straight: Any) -> None:
    track = straight.track(straight.spoilt(1, straight.kph[:, 0]))
    whole = track.whole
    assert placed(straight, straight.kph, 0, 1, whole) is None
