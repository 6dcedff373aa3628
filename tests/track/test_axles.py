"""One axle that turns while the other stands."""

from typing import Any

import numpy as np
import pytest

from canwheel.track.axles import AXLES, find_axle_spells

RUN_UP = ((0, 0), (5, 0), (15, 60), (40, 60), (50, 0), (55, 0))


@pytest.mark.parametrize("standing", AXLES)
def test_rollers(make_drive: Any, standing: Any) -> None:
    drive = make_drive(RUN_UP, ())
    kph = drive.kph.copy()
    kph[:, [corner.position for corner in standing]] = 0.0
    (spell,) = find_axle_spells(drive.track(kph))
    assert spell.standing == standing
    assert spell.from_s == pytest.approx(5.3, abs=0.3)  # the wheels start at 5 s
    assert spell.to_s == pytest.approx(49.7, abs=0.3)  # and stand again at 50 s
    assert spell.top_kph == pytest.approx(60, abs=1)
    assert spell.from_standing


def test_an_axle_that_falls_silent_at_speed(make_drive: Any) -> None:
    drive = make_drive(RUN_UP, ())
    kph = drive.kph.copy()
    kph[np.ix_(drive.at(20, 999), [0, 1])] = 0.0
    (spell,) = find_axle_spells(drive.track(kph))
    assert not spell.from_standing
    assert spell.from_s == pytest.approx(20, abs=0.05)


def test_both_one_after_the_other_in_order_of_time(make_drive: Any) -> None:
    drive = make_drive((*RUN_UP, (65, 40), (75, 0), (80, 0)), ())
    kph = drive.kph.copy()
    kph[np.ix_(drive.at(0, 52), [2, 3])] = 0.0
    kph[np.ix_(drive.at(52, 99), [0, 1])] = 0.0
    first, second = find_axle_spells(drive.track(kph))
    assert (first.standing, second.standing) == (AXLES[1], AXLES[0])
    assert first.to_s < second.from_s


def test_driving_is_none(town: Any) -> None:
    assert find_axle_spells(town.track()) == ()
    assert find_axle_spells(town.track(town.spoilt(0, 0.0))) == ()
