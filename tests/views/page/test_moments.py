"""The close-ups show the moments at which a corner differs most from the others."""

import numpy as np
import pytest

from canwheel.corners import Corner
from canwheel.outcome import Finding, Span
from canwheel.views.page.moments import View, largest_difference, worst_moments

TIME_S = np.arange(0.0, 300.0, 0.02)


def view(own_kph: np.ndarray) -> View:
    expected = np.interp(TIME_S, [0, 10, 20, 280, 300], [0, 0, 60, 60, 0])
    return View(Corner.RL, TIME_S, own_kph, expected - 0.2, expected + 0.2)


def expected() -> np.ndarray:
    return np.interp(TIME_S, [0, 10, 20, 280, 300], [0, 0, 60, 60, 0])


def finding(kind: str, *spans: tuple[float, float]) -> Finding:
    return Finding(Corner.RL, kind, 0.99, tuple(Span(*s) for s in spans), len(spans), "Says.")


def test_the_two_worst_drop_outs_in_order_of_time() -> None:
    own = expected()
    spells = ((50.0, 50.1), (100.0, 101.0), (150.0, 150.2), (200.0, 202.0))
    for begin, end in spells:
        own[(begin <= TIME_S) & (end >= TIME_S)] = 0.0
    first, second = worst_moments(view(own), finding("dropout", *spells), 300.0)
    assert first.from_s < 100.0
    assert first.to_s > 101.0
    assert second.from_s < 200.0
    assert second.to_s > 202.0
    assert first.to_s - first.from_s < 12.0


def test_a_dead_corner_is_shown_as_it_dies_and_where_the_others_move() -> None:
    own = expected()
    own[TIME_S > 100.0] = 0.0
    dying, moving = worst_moments(view(own), finding("no_signal", (100.0, 300.0)), 300.0)
    assert dying.from_s < 100.0 < dying.to_s
    assert moving.to_s > 280.0  # where the car slows down


def test_a_corner_dead_from_the_start_is_shown_as_the_car_pulls_away() -> None:
    (shown,) = worst_moments(view(expected() * 0), finding("no_signal", (0.0, 300.0)), 300.0)
    assert shown.from_s < 15.0


def test_a_corner_without_any_value_is_shown_while_the_others_run() -> None:
    own = expected()
    own[(TIME_S >= 200) & (TIME_S <= 205)] = np.nan
    spans = finding("flagged_invalid", (5.0, 5.2), (200.0, 205.0))
    moments = worst_moments(view(own), spans, 300.0)
    assert any(span.from_s < 200 and span.to_s > 205 for span in moments)


def test_a_ripple_is_shown_where_every_turn_has_several_samples() -> None:
    # 20 ms: a turn of 1.94 m has six samples up to 58 km/h, so the 60 km/h on the way are too fast.
    expected_kph = expected()
    turned = np.cumsum(expected_kph / 3.6 * 0.02) / 1.94
    own = expected_kph * (1 + 0.04 * np.sin(2 * np.pi * turned))
    (shown,) = worst_moments(view(own), finding("ring_damage", (0.0, 300.0)), 300.0)
    at_kph = np.interp([shown.from_s, shown.to_s], TIME_S, expected_kph)
    assert at_kph.max() <= 60.0
    assert at_kph.min() < 58.0
    assert at_kph.mean() > 10.0
    # A drive that is fast throughout is shown as it is.
    fast = View(Corner.RL, TIME_S, own + 60, expected_kph + 59.8, expected_kph + 60.2)
    assert worst_moments(fast, finding("ring_damage", (0.0, 300.0)), 300.0)


def test_a_sound_corner_is_shown_at_its_largest_difference() -> None:
    own = expected()
    own[(TIME_S >= 170) & (TIME_S < 180)] *= 1.02
    shown = largest_difference(view(own), finding("dropout", (0.0, 1.0)), 300.0)
    assert shown.from_s <= 171
    assert shown.to_s >= 179


@pytest.mark.parametrize("span", [(0.0, 0.02), (299.9, 300.0), (0.0, 300.0)])
def test_close_ups_stay_inside_the_drive(span: tuple[float, float]) -> None:
    for shown in worst_moments(view(expected() * 0), finding("frozen", span), 300.0):
        assert 0.0 <= shown.from_s < shown.to_s <= 300.0
