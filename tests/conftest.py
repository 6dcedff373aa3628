"""Drives made to order: a speed profile, turns of a rigid body, noise like the road's.

Nothing of the package makes them, so that what is found in them is known by hand.
"""

import importlib
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from canwheel.corners import CORNERS
from canwheel.track.clock import usual_period_s
from canwheel.track.wheel_track import WheelSamples, WheelTrack, at_times

Column = NDArray[np.float64]
Table = NDArray[np.float64]

WHEELBASE_M, TRACK_M = 2.65, 1.55
FRAMES_A_SAMPLE = 80
"""Frames of all kinds on the bus for each wheel message: 4,000 a second."""

MARK = 0xFFFF
"""Raw value of a sample that is marked as having no value."""

Turn = tuple[float, float, float]
"""From and to [s]; radius at the middle of the rear axle, left positive [m]."""

TOWN_KPH = (
    *((0, 0), (4, 0), (12, 50), (18, 46), (28, 55), (34, 48), (42, 22), (52, 20), (60, 62)),
    *((70, 55), (80, 63), (86, 52), (94, 18), (104, 18), (110, 0), (115, 0), (122, 38)),
    *((135, 42), (145, 35), (152, 0), (156, 0)),
)
TOWN_TURNS = ((43, 51, 12.0), (95, 103, -10.0), (124, 130, 60.0), (136, 142, -50.0))
"""A few minutes of town: 1.5 km, two stops, tight and wide turns both ways, up to 63 km/h."""


def rigid_body_kph(
    speed_kph: Any,
    curvature: Any,
    *,
    wheelbase_m: float = WHEELBASE_M,
    front_m: float = TRACK_M,
    rear_m: float = TRACK_M,
) -> Table:
    """Speeds of the four wheels, (n, 4): yaw rate times each one's distance to the turning point.

    `speed_kph` and `curvature` (left positive, 1/m) are those of the middle of the rear axle.
    """
    pace, bend = np.atleast_1d(speed_kph).astype(float), np.atleast_1d(curvature).astype(float)
    forward = (bend * wheelbase_m) ** 2
    return np.column_stack(
        [
            pace * np.sqrt((1 - bend * front_m / 2) ** 2 + forward),
            pace * np.sqrt((1 + bend * front_m / 2) ** 2 + forward),
            pace * (1 - bend * rear_m / 2),
            pace * (1 + bend * rear_m / 2),
        ]
    )


@dataclass(frozen=True, slots=True, eq=False)
class MadeDrive:
    """What the four corners really did: time_s (n,), kph (n, 4); and the curvature driven (n,)."""

    time_s: Column
    kph: Table
    curvature: Column

    def at(self, from_s: float, to_s: float) -> NDArray[np.bool_]:
        """Which samples lie in a stretch."""
        inside: NDArray[np.bool_] = (self.time_s >= from_s) & (self.time_s < to_s)
        return inside

    def spoilt(self, corner: int, value: Any, rows: Any = slice(None)) -> Table:
        """Return the speeds with one corner replaced, all the way or in some rows."""
        kph = self.kph.copy()
        kph[rows, corner] = value
        return kph

    def track(
        self,
        kph: Table | None = None,
        *,
        resolution_kph: float = 0.01,
        flagged: NDArray[np.bool_] | None = None,
        present: NDArray[np.bool_] | None = None,
        rear_later_s: float = 0.0,
        **facts: Any,
    ) -> WheelTrack:
        """Record these speeds: rounded to the signal's step, in one message or two.

        Parameters
        ----------
        kph : instead of the true speeds. (n, 4)
        flagged, present : (n, 4) marked as having no value; and which frames were sent at all.
        rear_later_s : the rear corners' own message comes so much later.
        facts : anything else that a `WheelTrack` may hold.
        """
        table = self.kph if kph is None else kph
        index = np.arange(len(self.time_s), dtype=np.int64) * FRAMES_A_SAMPLE
        rear_s = self.time_s + rear_later_s if rear_later_s else self.time_s
        wheels = []
        for corner in CORNERS:
            k, is_rear = corner.position, corner.axle == "rear"
            time_s = rear_s if is_rear else self.time_s
            raw = np.round(np.interp(time_s, self.time_s, table[:, k]) / resolution_kph)
            marked = np.zeros(len(raw), np.bool_) if flagged is None else flagged[:, k]
            whole = WheelSamples(
                time_s=time_s,
                speed_kph=np.where(marked, np.nan, raw * resolution_kph),
                raw=np.where(marked, MARK, raw).astype(np.int64),
                flagged=marked,
                index=index + (1 if rear_later_s and is_rear else 0),
                resolution_kph=resolution_kph,
                period_s=float(np.median(np.diff(time_s))),
            )
            wheels.append(whole if present is None else _those_sent(whole, present[:, k]))
        fl, fr, rl, rr = wheels
        base_s = max(wheels, key=lambda wheel: np.nan_to_num(wheel.period_s)).time_s
        facts.setdefault("duration_s", float(self.time_s[-1]))
        facts.setdefault("last_index", int(index[-1]) + FRAMES_A_SAMPLE)
        return WheelTrack(
            wheels=(fl, fr, rl, rr),
            time_s=base_s,
            speed_kph=np.column_stack([at_times(wheel, base_s) for wheel in wheels]),
            **facts,
        )


def _those_sent(whole: WheelSamples, sent: NDArray[np.bool_]) -> WheelSamples:
    if sent.all():
        return whole
    return replace(
        whole,
        time_s=whole.time_s[sent],
        speed_kph=whole.speed_kph[sent],
        raw=whole.raw[sent],
        flagged=whole.flagged[sent],
        index=whole.index[sent],
        period_s=usual_period_s(whole.time_s[sent]),
    )


def road_noise(rng: np.random.Generator, samples: int, period_s: float) -> Table:
    """(n, 4) what bumps do to each corner's speed, as a fraction, one standard deviation of 1.

    Half of it is shared by the axle. Smooth over some 50 ms, as on a real drive, whose residual is
    loudest at 8 to 16 Hz.
    """
    width = max(1, round(0.05 / period_s))
    white = rng.normal(size=(samples + width, 6))
    total = np.cumsum(white, axis=0)
    smooth = (total[width:] - total[:-width]) / np.sqrt(width)
    own, axle = smooth[:, :4], np.repeat(smooth[:, 4:], 2, axis=1)
    return np.sqrt(0.5) * (own + axle)


def drive_made_of(
    speed: Sequence[tuple[float, float]] = TOWN_KPH,
    turns: Sequence[Turn] = TOWN_TURNS,
    *,
    period_s: float = 0.02,
    noise: float = 0.0032,
    tyres: Sequence[float] = (1.0, 1.002, 0.998, 1.001),
    box: Mapping[str, float] | None = None,
    seed: int = 1,
) -> MadeDrive:
    """Drive a speed profile through turns.

    Parameters
    ----------
    speed : knots of the profile. (s, km/h)
    turns : see `Turn`; each begins and ends over a second.
    noise : of each corner, one standard deviation, as a fraction of speed. Half of it is the
        axle's and cancels: what is left of four makes the 0.45 % between one corner and the other
        three that were measured on a real road.
    tyres : scale of each corner.
    box : wheelbase and tracks, as `rigid_body_kph` names them.
    """
    knots_s, knots_kph = np.array(speed, float).T
    time_s = np.arange(knots_s[0], knots_s[-1], period_s)
    pace = np.interp(time_s, knots_s, knots_kph)
    curvature = np.zeros(len(time_s))
    for from_s, to_s, radius_m in turns:
        full = [0, 1 / radius_m, 1 / radius_m, 0]
        curvature += np.interp(time_s, [from_s, from_s + 1, to_s - 1, to_s], full, 0, 0)
    kph = rigid_body_kph(pace, curvature, **(box or {})) * np.asarray(tyres)
    rng = np.random.default_rng(seed)
    kph = kph * (1 + noise * road_noise(rng, len(time_s), period_s))
    return MadeDrive(time_s, np.maximum(kph, 0.0), curvature)


@pytest.fixture(scope="session")
def rigid_body() -> Callable[..., Table]:
    return rigid_body_kph


@pytest.fixture(scope="session")
def make_drive() -> Callable[..., MadeDrive]:
    return drive_made_of


@pytest.fixture(scope="session")
def braking_drive() -> Callable[..., MadeDrive]:
    """Brake from 60 to 30 km/h so many times, at 1.2 m/s², twenty seconds apart, from 10 s on."""

    def make(brakings: int, *, period_s: float = 0.01) -> MadeDrive:
        knots = [(0.0, 60.0)]
        for k in range(brakings):
            knots += [(20.0 * k + 10, 60.0), (20.0 * k + 17, 30.0), (20.0 * k + 20, 60.0)]
        return drive_made_of(knots, (), period_s=period_s)

    return make


@pytest.fixture(scope="session")
def town() -> MadeDrive:
    """The usual drive, sound at every corner."""
    return drive_made_of()


@pytest.fixture(scope="module")
def load_benchmark() -> Iterator[Callable[[str], ModuleType]]:
    """Import a script of `tests/benchmarks`, which is no package, with those beside it."""
    with pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(str(Path(__file__).parent / "benchmarks"))
        yield importlib.import_module
