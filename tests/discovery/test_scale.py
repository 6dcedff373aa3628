"""What a step is worth: the dash by UN Regulation 39, a satellite track, a usual step."""

import numpy as np
import pytest

from canwheel.discovery.hints import HeldSpeed, SatelliteTrack
from canwheel.discovery.scale import scale_by_habit, scale_by_held_speeds, scale_by_track
from canwheel.errors import RequestError

TIME_S = np.arange(0, 200, 0.1)
STEP = 0.01


def steps_at(kph: float) -> np.ndarray:
    return np.full(len(TIME_S), kph / STEP)


@pytest.mark.parametrize(("true_kph", "most_kph"), [(40, 48), (80, 92), (120, 136)])
def test_the_dash_may_show_so_much_and_no_less(true_kph: float, most_kph: float) -> None:
    """FACTS.md section 1, R39 check values: at true 40/80/120 the dash shows 48/92/136 at most."""
    honest = scale_by_held_speeds(TIME_S, steps_at(true_kph), (HeldSpeed(true_kph, 100),))
    most = scale_by_held_speeds(TIME_S, steps_at(true_kph), (HeldSpeed(most_kph, 100),))
    assert honest.high_kph == pytest.approx(STEP)
    assert most.low_kph == pytest.approx(STEP)


def test_two_held_speeds_leave_less_than_one() -> None:
    steps = np.where(TIME_S < 100, 50 / STEP, 100 / STEP)
    one = scale_by_held_speeds(TIME_S, steps, (HeldSpeed(52, 50),))
    both = scale_by_held_speeds(TIME_S, steps, (HeldSpeed(52, 50), HeldSpeed(104, 150)))
    assert both.low_kph is not None
    assert both.high_kph is not None
    assert one.low_kph is not None
    assert one.high_kph is not None
    assert both.high_kph - both.low_kph < one.high_kph - one.low_kph
    assert both.low_kph <= STEP <= both.high_kph


def test_held_speeds_that_cannot_be() -> None:
    steps = np.where(TIME_S < 100, 50 / STEP, 0.0)
    with pytest.raises(RequestError, match="stood"):
        scale_by_held_speeds(TIME_S, steps, (HeldSpeed(50, 150),))
    with pytest.raises(RequestError, match="changed"):
        scale_by_held_speeds(TIME_S, 100 * TIME_S, (HeldSpeed(50, 20),))
    with pytest.raises(RequestError, match="contradict"):
        scale_by_held_speeds(TIME_S, steps_at(50), (HeldSpeed(50, 50), HeldSpeed(90, 100)))


def test_a_track_gives_the_scale_and_finds_the_clock() -> None:
    kph = 40 + 20 * np.sin(TIME_S / 9)
    points = np.arange(5.0, 190.0)
    theirs = np.interp(points, TIME_S, kph)
    track = SatelliteTrack("t.gpx", 1_700_000_000 + points + 7.5, theirs)
    scale = scale_by_track(TIME_S, kph / STEP, 1_700_000_000, track)
    assert scale.kph == pytest.approx(STEP, rel=0.005)
    assert "-7.5 s" in scale.says


def test_a_track_of_another_drive_is_refused() -> None:
    kph = 40 + 20 * np.sin(TIME_S / 9)
    points = np.arange(5.0, 190.0)
    wild = 40 + 20 * np.random.default_rng(1).random(len(points))
    with pytest.raises(RequestError, match="does not go along"):
        scale_by_track(
            TIME_S, kph / STEP, 1_700_000_000, SatelliteTrack("t.gpx", 1_700_000_000 + points, wild)
        )
    with pytest.raises(RequestError, match="does not overlap"):
        scale_by_track(TIME_S, kph / STEP, 0.0, SatelliteTrack("t.gpx", points + 1e9, wild))


def test_without_evidence_the_scale_is_called_relative() -> None:
    scale = scale_by_habit(steps_at(60))
    assert scale.by == "best fitting usual step"
    assert "relative" in scale.says
    assert scale.kph == STEP
