"""Pulse counters of every width, with marks among the counts and steps of other sizes."""

import numpy as np
import pytest

from canwheel.capture.summary import CaptureSummary
from canwheel.definitions.layout import BitField, RawRange, SignalPlace, WheelLayout
from canwheel.frames import Frames, IdPattern
from canwheel.track.build import build_track
from canwheel.vehicle import Vehicle, VehicleFacts

N, PERIOD_S = 500, 0.02
PULSES_A_SECOND = 400.0
CAR = Vehicle(vehicle=VehicleFacts(rolling_circumference_m=2.0, ring_teeth=50))
EXPECTED_KPH = 57.6  # 400 pulses a second of 0.04 m each: 16 m/s


def speeds(
    length: int,
    modulus: int,
    *,
    scale: float = 1.0,
    maximum: float | None = None,
    marks: slice | None = None,
) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    """The four speeds, in km/h, of a counter that starts again after `modulus` values."""
    counts = np.floor(np.arange(N) * PERIOD_S * PULSES_A_SECOND / scale).astype(np.uint64) % modulus
    highest = (1 << length) - 1
    if marks is not None:
        counts[marks] = highest
    data = np.zeros((N, 8), np.uint8)
    data[:, :4] = counts.astype("<u4").view(np.uint8).reshape(N, 4)
    frames = Frames(
        time_ns=(np.arange(N) * PERIOD_S * 1e9).astype(np.int64),
        can_id=np.full(N, 1, np.uint32),
        flags=np.zeros(N, np.uint8),
        length=np.full(N, 8, np.uint8),
        data=data,
        channel=np.zeros(N, np.uint8),
        channels=("can0",),
        index=np.arange(N, dtype=np.int64),
    )
    place = SignalPlace(
        message="M",
        signal="S",
        frame_id=1,
        ids=IdPattern.exactly(1, extended=False),
        bits=BitField(0, length, "little_endian"),
        scale=scale,
        offset=0.0,
        unit="",
        maximum=maximum,
        not_values=(RawRange(highest, highest, "SNA"),) if marks is not None else (),
    )
    layout = WheelLayout("car.dbc", (place, place, place, place), "pulse count")
    summary = CaptureSummary("drive.log", "", N, 0, int(N * PERIOD_S * 1e9))
    return build_track(frames, layout, CAR, summary).speed_kph


@pytest.mark.parametrize("length", [4, 8, 10, 16, 24, 32])
def test_every_width(length: int) -> None:
    read = speeds(length, 1 << length)
    assert np.nanmedian(read) == pytest.approx(EXPECTED_KPH, rel=0.02)
    assert np.nanmax(np.abs(read - EXPECTED_KPH)) < 2.0  # about one pulse in the window


@pytest.mark.parametrize(("length", "highest"), [(8, 254), (10, 1000)])
def test_counters_that_start_again_before_their_bits_are_full(length: int, highest: int) -> None:
    read = speeds(length, highest + 1, maximum=float(highest))
    assert np.nanmax(np.abs(read - EXPECTED_KPH)) < 2.0


def test_counts_of_half_a_pulse() -> None:
    read = speeds(8, 256, scale=0.5)
    assert np.nanmedian(read) == pytest.approx(EXPECTED_KPH, rel=0.02)


def test_marks_are_no_counts() -> None:
    read = speeds(8, 255, maximum=254.0, marks=slice(200, 203))
    assert np.isnan(read[200:203]).all()
    assert np.nanmax(np.abs(read - EXPECTED_KPH)) < 2.0
    assert np.isfinite(read[220:]).all()
