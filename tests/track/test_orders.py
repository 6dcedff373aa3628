"""Ripple by the turn of the wheel, against another library's periodogram."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy.signal import lombscargle

from canwheel.corners import Corner
from canwheel.track.orders import (
    RippleSpectrum,
    certain_hz,
    left_by_mean,
    ripple_spectrum,
    smoothing_s,
)
from canwheel.track.wheel_track import WheelSamples

CIRCUMFERENCE_M = 1.94


def wheel(
    seconds: float = 120, *, period_s: float = 0.01, noise: float = 0.003, seed: int = 1
) -> WheelSamples:
    """One corner at a little changing speed, 32 to 40 km/h, with white noise."""
    rng = np.random.default_rng(seed)
    time_s = np.arange(0, seconds, period_s)
    speed = 36 + 4 * np.sin(time_s / 15)
    return WheelSamples(
        time_s=time_s,
        speed_kph=speed * (1 + noise * rng.normal(size=len(time_s))),
        raw=np.zeros(len(time_s), np.int64),
        flagged=np.zeros(len(time_s), bool),
        index=np.arange(len(time_s)),
        resolution_kph=0.01,
        period_s=period_s,
    )


def distance_m(own: WheelSamples) -> Any:
    return np.cumsum(own.speed_kph / 3.6 * own.period_s)


def with_sine(own: WheelSamples, amplitude: float, order: int, phase: float = 0.4) -> WheelSamples:
    angle = 2 * np.pi * order * distance_m(own) / CIRCUMFERENCE_M + phase
    own.speed_kph[:] *= 1 + amplitude * np.sin(angle)
    return own


def amplitude_at(spectrum: RippleSpectrum, order: int) -> float:
    """Of a sine there: the highest within a bin, as stretches of measured way are never exact."""
    near = order / CIRCUMFERENCE_M + np.linspace(-0.01, 0.01, 41)
    return float(np.sqrt(np.max(spectrum.at(spectrum.power, near))))


@pytest.mark.parametrize("order", [1, 2, 3])
@pytest.mark.parametrize("amplitude", [0.008, 0.02])
def test_a_planted_sine_is_measured(order: int, amplitude: float) -> None:
    spectrum = ripple_spectrum(with_sine(wheel(), amplitude, order))
    assert spectrum is not None
    assert amplitude_at(spectrum, order) == pytest.approx(amplitude, rel=0.10)


def test_as_another_library_measures_it() -> None:
    own = with_sine(with_sine(wheel(noise=0.002), 0.012, 1), 0.006, 2)
    spectrum = ripple_spectrum(own)
    assert spectrum is not None
    # The same samples, over the same distance, unevenly spaced as they are: the periodogram by
    # least squares of scipy, normalised to amplitude.
    kernel = np.ones(241) / 241  # takes off what changes over more than some 30 m
    relative = own.speed_kph / np.convolve(own.speed_kph, kernel, "same") - 1
    inside = slice(300, -300)
    for order, planted in ((1, 0.012), (2, 0.006)):
        near = order / CIRCUMFERENCE_M + np.linspace(-0.01, 0.01, 41)
        power = lombscargle(distance_m(own)[inside], relative[inside], 2 * np.pi * near)
        theirs = float(np.sqrt(4 * power.max() / len(relative[inside])))
        assert theirs == pytest.approx(planted, rel=0.1)
        assert amplitude_at(spectrum, order) == pytest.approx(theirs, rel=0.1)


def test_frequencies_and_only_those_stand_out() -> None:
    spectrum = ripple_spectrum(with_sine(wheel(), 0.01, 2))
    assert spectrum is not None
    seen = spectrum.stretches >= 4
    highest = spectrum.per_metre[seen][np.nanargmax(spectrum.white[seen])]
    assert highest == pytest.approx(2 / CIRCUMFERENCE_M, rel=0.02)


def test_the_spectrum_of_noise_spreads_as_so_many_stretches_do() -> None:
    # The mean of N powers of noise is spread by one part in the root of N.
    spectrum = ripple_spectrum(wheel(500, noise=0.004))
    assert spectrum is not None
    inside = (spectrum.per_metre > 0.5) & (spectrum.per_metre < 2.5)
    independent = spectrum.white[inside][::4]
    trend = np.polynomial.Polynomial.fit(np.arange(len(independent)), independent, 3)
    flat = independent / trend(np.arange(len(independent)))
    count = np.median(spectrum.stretches[inside])
    assert np.std(flat) == pytest.approx(1 / np.sqrt(count), rel=0.3)


def test_a_slow_message_shows_nothing_for_certain_at_speed() -> None:
    # Nyquist: at 36 km/h and 100 ms a sample covers 1 m, so nothing shorter than 2 m is certain,
    # and the wheel turns once in 1.94 m.
    once_a_turn = np.array([1 / CIRCUMFERENCE_M])
    slow = ripple_spectrum(wheel(300, period_s=0.1))
    assert slow is not None
    assert slow.at(slow.certain, once_a_turn)[0] == 0
    fast = ripple_spectrum(wheel(300))
    assert fast is not None
    assert fast.at(fast.certain, once_a_turn)[0] > 10


@pytest.mark.parametrize("order", [1, 2])
def test_many_speeds_show_what_one_would_not(order: int) -> None:
    # Beyond Nyquist the same sine looks like another one at each speed, and like itself at all.
    own = with_sine(wheel(600, period_s=0.1), 0.01, order)
    spectrum = ripple_spectrum(own)
    assert spectrum is not None
    assert spectrum.at(spectrum.certain, np.array([order / CIRCUMFERENCE_M]))[0] == 0
    assert amplitude_at(spectrum, order) == pytest.approx(0.01, rel=0.15)
    seen = spectrum.stretches >= 4
    highest = spectrum.per_metre[seen][np.nanargmax(spectrum.white[seen])]
    assert highest == pytest.approx(order / CIRCUMFERENCE_M, rel=0.02)


def test_a_gap_spoils_only_the_stretches_around_it() -> None:
    own = with_sine(wheel(240), 0.01, 1)
    kept = np.ones(len(own.time_s), bool)
    kept[8000:9000] = False
    parts = WheelSamples(
        **{
            name: getattr(own, name)[kept]
            for name in ("time_s", "speed_kph", "raw", "flagged", "index")
        },
        resolution_kph=0.01,
        period_s=0.01,
    )
    whole, broken = ripple_spectrum(own), ripple_spectrum(parts)
    assert whole is not None
    assert broken is not None
    assert amplitude_at(broken, 1) == pytest.approx(amplitude_at(whole, 1), rel=0.1)
    assert 0.7 * whole.stretches.max() < broken.stretches.max() < whole.stretches.max()


def averaged(over: int, *, from_kph: float = 20.0, to_kph: float = 90.0) -> WheelSamples:
    """A ripple of 3 % at rising speed, each reading the mean over so many samples of 10 ms."""
    own = wheel(300)
    own.speed_kph[:] *= np.interp(own.time_s, [0, 300], [from_kph, to_kph]) / 36
    with_sine(own, 0.03, 1)
    own.speed_kph[:] = np.convolve(own.speed_kph, np.ones(over) / over, "same")
    return own


@pytest.mark.parametrize("over", [1, 3, 5, 8])
def test_how_long_the_unit_averages_shows_in_the_ripple(over: int) -> None:
    own = averaged(over)
    assert smoothing_s(own, 1 / CIRCUMFERENCE_M) == pytest.approx(0.01 * over, abs=0.02)


def test_what_a_count_over_time_takes_off_is_put_back() -> None:
    sent = averaged(15, from_kph=15, to_kph=25)
    counted = replace(sent, mean_over_s=0.15)
    spectra = ripple_spectrum(sent), ripple_spectrum(counted)
    assert spectra[0] is not None
    assert spectra[1] is not None
    assert amplitude_at(spectra[0], 1) < 0.025
    assert amplitude_at(spectra[1], 1) == pytest.approx(0.03, rel=0.15)
    assert smoothing_s(counted, 1 / CIRCUMFERENCE_M) == 0, "it is known, and taken off already"
    # 0.4 cycles a sample of 10 ms; 0.7 cycles in a mean of 150 ms.
    assert certain_hz(sent) == pytest.approx(40)
    assert certain_hz(counted) == pytest.approx(4.67, abs=0.01)


def test_at_one_steady_speed_nothing_says_how_long_it_averages() -> None:
    own = wheel(300)
    own.speed_kph[:] *= 50 / (36 + 4 * np.sin(own.time_s / 15))
    assert smoothing_s(with_sine(own, 0.03, 1), 1 / CIRCUMFERENCE_M) < 0.01
    assert smoothing_s(wheel(3), 1 / CIRCUMFERENCE_M) == 0


@pytest.mark.parametrize("cycles", [0.0, 0.1, 0.4, 0.7])
def test_a_mean_leaves_of_a_sine_what_it_should(cycles: float) -> None:
    # The mean of a sine over so many of its cycles, by numbers: sin(pi x) / (pi x).
    angle = 2 * np.pi * cycles * (np.arange(4000) - 1999.5) / 4000
    assert left_by_mean(np.array([cycles]))[0] == pytest.approx(np.mean(np.cos(angle)), abs=1e-4)
    assert left_by_mean(np.array([3.0]))[0] == left_by_mean(np.array([0.7]))[0]


def test_too_little_way_has_no_spectrum(town: Any) -> None:
    assert ripple_spectrum(wheel(3)) is None
    dead = town.track(town.spoilt(0, 0.0)).wheel(Corner.FL)
    assert ripple_spectrum(dead) is None


def test_way_in_short_pieces_has_no_spectrum() -> None:
    own = wheel(120)
    own.speed_kph[(own.time_s % 5) < 2] = np.nan  # 38 m in one piece at most
    assert ripple_spectrum(own) is None


def test_impossible_speeds_do_not_make_the_grid_grow() -> None:
    own = with_sine(wheel(240), 0.01, 1)
    own.speed_kph[4000:4100] = 1e15
    spectrum = ripple_spectrum(own)
    assert spectrum is not None
    assert amplitude_at(spectrum, 1) == pytest.approx(0.01, rel=0.3)
