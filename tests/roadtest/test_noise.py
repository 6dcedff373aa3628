"""The noise of a healthy simulated drive against that of a real one."""

import gzip
from pathlib import Path

import numpy as np
import pytest

from canwheel.roadtest.motion import FloatColumn, FloatTable
from canwheel.roadtest.route import Leg
from canwheel.roadtest.sensor import BrakeUnit
from canwheel.roadtest.simulation import Scenario, simulate

REAL = Path(__file__).parents[3] / "shared" / "data" / "road-minute.log.gz"

# Measured on 60 s of nearly straight road at 28 to 72 km/h, 83 samples a second, all four wheels
# in one message: the example segment of comma2k19 (MIT licence). Rear left against
# sqrt(FL² + RR² - FR²), in per cent of it; correlations of what is left of the speeds after
# half a second of smoothing is taken off.
REAL_SD_PCT = 0.453
REAL_P99_PCT = 1.68
REAL_MEDIAN_PCT = 0.211
REAL_REAR_TOGETHER = 0.56
REAL_FRONT_TOGETHER = 0.36
REAL_SLOW_SD_PCT = 0.0128  # of half-second means of (FL + RR - FR - RL) / 4
REAL_FRONT_SD_KPH, REAL_REAR_SD_KPH = 0.146, 0.202  # of what the smoothing leaves
REAL_LOUDEST_HZ = (8.0, 16.0)  # where the residual's spectrum is highest


def residual_pct(speed: FloatTable) -> FloatColumn:
    fl, fr, rl, rr = speed.T
    predicted = np.sqrt(fl**2 + rr**2 - fr**2)
    return (rl - predicted) / predicted * 100


def fast_part(speed: FloatTable) -> FloatTable:
    kernel = np.hanning(43)[1:-1]
    kernel /= kernel.sum()
    slow = np.stack([np.convolve(column, kernel, "valid") for column in speed.T], axis=1)
    return speed[20:-20] - slow


def slow_sd_pct(speed: FloatTable, rate_hz: float) -> float:
    fl, fr, rl, rr = speed.T
    warp = (fl + rr - fr - rl) / 4 / speed.mean(axis=1) * 100
    block = round(rate_hz / 2)
    return warp[: len(warp) // block * block].reshape(-1, block).mean(axis=1).std()


def spectrum(values: FloatColumn, rate_hz: float) -> tuple[FloatColumn, FloatColumn]:
    window = 512
    shape = np.hanning(window)
    parts = [
        np.abs(np.fft.rfft((values[n : n + window] - values[n : n + window].mean()) * shape)) ** 2
        for n in range(0, len(values) - window, window // 2)
    ]
    return np.fft.rfftfreq(window, 1 / rate_hz), np.mean(parts, axis=0)


def loudest_hz(values: FloatColumn, rate_hz: float) -> float:
    """Middle of the two-hertz band with the most power, above 1 Hz."""
    hertz, power = spectrum(values, rate_hz)
    bands = np.arange(1.0, rate_hz / 2 - 2, 1.0)
    sums = [power[(hertz >= low) & (hertz < low + 2)].mean() for low in bands]
    return float(bands[int(np.argmax(sums))] + 1)


@pytest.fixture(scope="module")
def straight_minutes() -> list[FloatTable]:
    """Eight minutes on as many roads, driven and sampled as the real one."""
    speeds = (65, 72, 55, 70, 40, 68, 60, 72)
    route = (Leg(60, 70), *(Leg(120, kph) for kph in speeds))
    drives = []
    for seed in range(8):
        unit = BrakeUnit(measure_s=0.012, smooth_s=0.012)
        drive = simulate(Scenario(route=route, unit=unit, from_s=8.0), seed=seed)
        speed = np.round(drive.reading_kph[drive.time_s > 2], 2)
        drives.append(speed[speed.min(axis=1) > 25])
    return drives


def test_prediction_error_is_that_of_the_real_drive(straight_minutes: list[FloatTable]) -> None:
    residual = [residual_pct(speed) for speed in straight_minutes]
    assert np.mean([r.std() for r in residual]) == pytest.approx(REAL_SD_PCT, rel=0.15)
    percentile = np.mean([np.percentile(np.abs(r), 99) for r in residual])
    assert percentile == pytest.approx(REAL_P99_PCT, rel=0.2)
    median = np.mean([np.median(np.abs(r)) for r in residual])
    assert median == pytest.approx(REAL_MEDIAN_PCT, rel=0.15)


def test_no_road_is_far_from_the_real_one(straight_minutes: list[FloatTable]) -> None:
    for speed in straight_minutes:
        assert residual_pct(speed).std() == pytest.approx(REAL_SD_PCT, rel=0.4)


def test_tails_are_heavy(straight_minutes: list[FloatTable]) -> None:
    # A normal distribution has its 99th percentile at 3.8 times its median; the real drive at 8.
    residual = np.abs(np.concatenate([residual_pct(speed) for speed in straight_minutes]))
    assert np.percentile(residual, 99) > 6 * np.median(residual)


def test_corners_flutter_together_as_on_the_real_car(straight_minutes: list[FloatTable]) -> None:
    together = np.mean([np.corrcoef(fast_part(s).T) for s in straight_minutes], axis=0)
    assert together[2, 3] == pytest.approx(REAL_REAR_TOGETHER, abs=0.12)
    assert together[0, 1] == pytest.approx(REAL_FRONT_TOGETHER, abs=0.25)
    assert abs(together[0, 2]) < 0.15
    size = np.mean([fast_part(s).std(axis=0) for s in straight_minutes], axis=0)
    assert size[:2] == pytest.approx(REAL_FRONT_SD_KPH, rel=0.25)
    assert size[2:] == pytest.approx(REAL_REAR_SD_KPH, rel=0.25)


def test_rear_wheel_repeats_the_front_one_a_wheelbase_later(
    straight_minutes: list[FloatTable],
) -> None:
    # 2.65 m at about 56 km/h are 0.17 s: 14 samples; the rear axle answers a little faster.
    lags = []
    for speed in straight_minutes:
        fast = fast_part(speed)
        rows = len(fast) - 60
        shifted = [np.corrcoef(fast[:rows, 0], fast[n : rows + n, 2])[0, 1] for n in range(40)]
        lags.append(int(np.argmax(shifted)))
        assert max(shifted) > 0.15
    assert 10 <= np.median(lags) <= 16


def test_noise_has_the_real_drive_s_colour(straight_minutes: list[FloatTable]) -> None:
    loudest = [loudest_hz(residual_pct(speed), 1 / 0.012) for speed in straight_minutes]
    assert REAL_LOUDEST_HZ[0] <= np.median(loudest) <= REAL_LOUDEST_HZ[1]


def test_slow_wander_is_that_of_the_real_drive(straight_minutes: list[FloatTable]) -> None:
    slow = np.mean([slow_sd_pct(speed, 1 / 0.012) for speed in straight_minutes])
    assert slow == pytest.approx(REAL_SLOW_SD_PCT, rel=0.3)


@pytest.mark.skipif(not REAL.exists(), reason=f"the real drives are not beside the project: {REAL}")
def test_figures_of_the_real_drive_are_as_noted() -> None:
    with gzip.open(REAL, "rt") as lines:
        payloads = [line.split("#")[1] for line in lines if " can0 0AA#" in line]
    # FL, FR, RL, RR: big-endian words at these hexadecimal digits; raw 6767 is standstill.
    raw = [[int(payload[n : n + 4], 16) for n in (4, 0, 12, 8)] for payload in payloads]
    speed = np.array(raw) * 0.01 - 67.67
    residual = residual_pct(speed)
    assert residual.std() == pytest.approx(REAL_SD_PCT, rel=0.02)
    assert np.percentile(np.abs(residual), 99) == pytest.approx(REAL_P99_PCT, rel=0.02)
    assert np.median(np.abs(residual)) == pytest.approx(REAL_MEDIAN_PCT, rel=0.02)
    together = np.corrcoef(fast_part(speed).T)
    assert together[2, 3] == pytest.approx(REAL_REAR_TOGETHER, abs=0.02)
    assert together[0, 1] == pytest.approx(REAL_FRONT_TOGETHER, abs=0.02)
    assert fast_part(speed).std(axis=0)[[0, 2]] == pytest.approx(
        [REAL_FRONT_SD_KPH, REAL_REAR_SD_KPH], rel=0.08
    )
    assert slow_sd_pct(speed, 83.0) == pytest.approx(REAL_SLOW_SD_PCT, rel=0.05)
    assert REAL_LOUDEST_HZ[0] <= loudest_hz(residual, 83.0) <= REAL_LOUDEST_HZ[1]
