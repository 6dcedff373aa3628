"""What wheel signals count in, to km/h."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from canwheel.definitions.layout import SpeedUnit
from canwheel.track.units import counter_rate, kph_per_unit
from canwheel.vehicle import Vehicle, VehicleFacts

CAR = Vehicle(vehicle=VehicleFacts(rolling_circumference_m=1.9273, ring_teeth=48))
"""205/55 R16 by the ETRTO rule (3.05 times the free diameter, seen second-hand)."""


@pytest.mark.parametrize(
    ("unit", "value", "kph"),
    [
        ("km/h", 50.0, 50.0),
        ("mph", 31.0685596, 50.0),  # the international mile, 1.609344 km
        ("m/s", 13.8888889, 50.0),
        # 518.9 turns a kilometre, so 7.206 turns a second at 50 km/h (the same rule).
        ("rpm", 7.206 * 60, 50.0),
        ("rad/s", 7.206 * 2 * np.pi, 50.0),
        ("pulses/s", 345.9, 50.0),  # 48 a turn
        ("pulse count", 345.9, 50.0),  # counted over one second
        ("proportional", 50.0, 50.0),
    ],
)
def test_each_unit(unit: SpeedUnit, value: float, kph: float) -> None:
    assert value * kph_per_unit(unit, CAR) == pytest.approx(kph, rel=3e-4)


@pytest.mark.parametrize(
    ("teeth", "hertz"), [(44, 634.2), (48, 691.8), (52, 749.5), (96, 1383.6), (100, 1441.3)]
)
def test_pulse_rates_at_100_kph(teeth: int, hertz: float) -> None:
    facts = VehicleFacts(rolling_circumference_m=1.9273, ring_teeth=teeth)
    assert hertz * kph_per_unit("pulses/s", Vehicle(vehicle=facts)) == pytest.approx(100, rel=1e-4)


def test_without_a_tyre_or_a_ring_usual_ones_are_taken() -> None:
    # 1.94 m and 48 teeth; a published range of 0 to 1700 Hz for 0 to 250 km/h implies about that.
    assert 1700 * kph_per_unit("pulses/s", Vehicle()) == pytest.approx(250, rel=0.02)


def test_too_few_counts_make_no_rate() -> None:
    rate, step, mean_over_s = counter_rate(
        np.array([1, 2, 3]), np.array([0.0, 0.01, 0.02]), modulus=16, period_s=0.01
    )
    assert np.isnan(rate).all()
    assert np.isnan(step)
    assert mean_over_s == 0


def test_counts_without_a_period() -> None:
    rate, _, _ = counter_rate(np.array([1]), np.array([0.0]), modulus=16, period_s=float("nan"))
    assert np.isnan(rate).all()


def test_across_a_gap_there_is_no_rate() -> None:
    # Nobody knows how often the counter started again meanwhile.
    time_s = np.concatenate((np.arange(100) * 0.01, 5 + np.arange(100) * 0.01))
    count = np.arange(200) % 16
    rate, _, _ = counter_rate(count, time_s, modulus=16, period_s=0.01)
    assert np.isnan(rate[100:114]).all()
    assert rate[20:100] == pytest.approx(100)
    assert rate[120:] == pytest.approx(100)


@given(bits=st.integers(4, 32), start=st.integers(0, 2**32), hertz=st.integers(0, 700))
@settings(deadline=None, max_examples=40)
def test_wherever_a_counter_starts_it_counts_alike(bits: int, start: int, hertz: int) -> None:
    # Up to 7 counts a sample: a counter of 4 bits still shows which way it went.
    time_s = np.arange(200) * 0.01
    counts = (start + np.floor(time_s * hertz).astype(np.int64)) % (1 << bits)
    rate, step, mean_over_s = counter_rate(counts, time_s, modulus=1 << bits, period_s=0.01)
    assert np.nanmean(rate) == pytest.approx(hertz, abs=step)
    assert np.nanmax(np.abs(rate - hertz)) <= step * 1.01
    assert mean_over_s == pytest.approx(0.15)
