"""What looks like a wheel-speed fault and is none: tyres on ice, rollers, the recorder, tyres."""

from dataclasses import dataclass
from typing import ClassVar, Literal

import numpy as np

from canwheel.roadtest.faults import Effect, Kind
from canwheel.roadtest.motion import BoolColumn, FloatColumn, FloatTable, moving_average
from canwheel.roadtest.scene import Scene, Windows, inside, keep_apart


def _moments(
    scene: Scene,
    rng: np.random.Generator,
    fit: BoolColumn,
    *,
    count: int,
    lasting_s: tuple[float, float],
) -> Windows:
    """Draw moments out of those that fit. (k, 2) [s]"""
    places = np.flatnonzero(fit)
    if not len(places):
        return np.empty((0, 2))
    begin = np.sort(scene.motion.time_s[rng.choice(places, count)])
    return keep_apart(np.column_stack((begin, begin + rng.uniform(*lasting_s, count))))


def _ramp(scene: Scene, windows: Windows, change_s: float) -> FloatColumn:
    """One inside the windows, zero outside, changing over `change_s`. (n,)"""
    samples = max(1, round(change_s / (scene.motion.time_s[1] - scene.motion.time_s[0])))
    return moving_average(inside(scene.motion.time_s, windows).astype(float), samples)


_LOCKS_ABOVE_MPS = 3.0
_STANDS_MPS = 0.02
_STARTING_MPS2 = 0.7
_SPINS_BELOW_MPS = 8.0


@dataclass(frozen=True, slots=True)
class WheelLock(Effect):
    """The brake locks the wheel on a slippery road and lets it go again.

    Attributes
    ----------
    depth : share of its speed that the wheel loses; 1.0 stands still.
    cycles_hz : how often a second the anti-lock control lets it go; 0 holds it. [Hz]
    """

    count: int = 2
    depth: float = 1.0
    cycles_hz: float = 0.0
    lasting_s: tuple[float, float] = (0.3, 1.2)
    kind: ClassVar[Kind] = "wheel_lock"

    def when(self, scene: Scene, rng: np.random.Generator) -> Windows:
        """While braking at some speed."""
        motion = scene.motion
        braking = (motion.acceleration_mps2 < -1.0) & (motion.speed_mps > _LOCKS_ABOVE_MPS)
        return _moments(scene, rng, braking, count=self.count, lasting_s=self.lasting_s)

    def turn_wheels(self, wheel_mps: FloatTable, scene: Scene, windows: Windows) -> FloatTable:
        """Stop the wheel within 0.15 s, as a tyre with a little grip left does."""
        changed = wheel_mps.copy()
        grip = self.depth * _ramp(scene, windows, 0.15)
        if self.cycles_hz:
            grip *= (1 - np.cos(2 * np.pi * self.cycles_hz * scene.motion.time_s)) / 2
        changed[:, self.corner.position] *= 1.0 - grip
        return changed


@dataclass(frozen=True, slots=True)
class WheelSpin(Effect):
    """A driven wheel, or both, spin when starting on a slippery road.

    Attributes
    ----------
    both : the other wheel of the axle spins too, a little less.
    stuck : the car does not move at all, as in mud or snow.
    """

    count: int = 2
    both: bool = False
    stuck: bool = False
    gain_kph: float = 12.0
    lasting_s: tuple[float, float] = (0.5, 2.0)
    kind: ClassVar[Kind] = "wheel_spin"

    def when(self, scene: Scene, rng: np.random.Generator) -> Windows:
        """While accelerating from low speed, or while standing."""
        motion = scene.motion
        if self.stuck:
            standing = np.abs(motion.speed_mps) < _STANDS_MPS
            return _moments(scene, rng, standing, count=self.count, lasting_s=self.lasting_s)
        speeding = (motion.acceleration_mps2 > _STARTING_MPS2) & (
            motion.speed_mps < _SPINS_BELOW_MPS
        )
        return _moments(scene, rng, speeding, count=self.count, lasting_s=self.lasting_s)

    def turn_wheels(self, wheel_mps: FloatTable, scene: Scene, windows: Windows) -> FloatTable:
        """Run away within 0.4 s, with the flutter of a tyre that grips and slips."""
        changed = wheel_mps.copy()
        time_s = scene.motion.time_s
        grip = 1.0 + 0.25 * np.sin(2 * np.pi * 3.1 * time_s)
        extra = _ramp(scene, windows, 0.4) * self.gain_kph / 3.6 * grip
        changed[:, self.corner.position] += extra
        if self.both:
            changed[:, self.corner.mirror.position] += 0.8 * extra
        return changed


@dataclass(frozen=True, slots=True)
class OneAxleTurning(Effect):
    """Only this corner's axle turns: a brake tester's rollers, a jack, a tow.

    It begins and ends while the car stands, at the first stop after each of the two times; zero
    is from the beginning.
    """

    from_s: float = 0.0
    to_s: float = float("inf")
    kind: ClassVar[Kind] = "one_axle_turning"

    def when(self, scene: Scene, rng: np.random.Generator) -> Windows:
        """Between two stops."""
        del rng
        motion = scene.motion
        stands_s = motion.time_s[np.abs(motion.speed_mps) < _STANDS_MPS]
        begins = stands_s[stands_s >= self.from_s]
        if self.from_s > 0 and not len(begins):
            return np.empty((0, 2))
        begin = begins[0] if self.from_s > 0 else 0.0
        ends = stands_s[stands_s >= max(self.to_s, begin)]
        return np.array([[begin, ends[0] if len(ends) else motion.duration_s]])

    def turn_wheels(self, wheel_mps: FloatTable, scene: Scene, windows: Windows) -> FloatTable:
        """Hold the other axle still; on rollers the two turning wheels keep step."""
        changed = wheel_mps.copy()
        turning = [self.corner.position, self.corner.mirror.position]
        still = inside(scene.motion.time_s, windows)
        changed[:, turning] = np.where(
            still[:, None], wheel_mps[:, turning].mean(axis=1)[:, None], wheel_mps[:, turning]
        )
        other = [self.corner.same_side.position, self.corner.same_side.mirror.position]
        changed[:, other] *= ~still[:, None]
        return changed


@dataclass(frozen=True, slots=True)
class OtherTyre(Effect):
    """A worn tyre or a spare wheel: told as a ratio, with the tyre as the likely reason."""

    ratio: float = 0.992

    def fit_tyres(self, ratio: FloatColumn) -> FloatColumn:
        """Fit it."""
        changed = ratio.copy()
        changed[self.corner.position] *= self.ratio
        return changed


@dataclass(frozen=True, slots=True)
class RecordingGap(Effect):
    """The recorder hears nothing for a while."""

    from_s: float = 30.0
    to_s: float = 35.0
    kind: ClassVar[Kind] = "recording_gap"

    def when(self, scene: Scene, rng: np.random.Generator) -> Windows:
        """Between the two times."""
        del rng, scene
        return np.array([[self.from_s, self.to_s]])

    def record(
        self, time_s: FloatColumn, windows: Windows, rng: np.random.Generator
    ) -> tuple[FloatColumn, BoolColumn]:
        """Keep nothing."""
        del rng
        return time_s, ~inside(time_s, windows)


@dataclass(frozen=True, slots=True)
class ClockStep(Effect):
    """The recorder's clock is set while it records."""

    at_s: float = 30.0
    by_s: float = -1.5
    kind: ClassVar[Kind] = "clock_step"

    def when(self, scene: Scene, rng: np.random.Generator) -> Windows:
        """At that moment."""
        del rng, scene
        return np.array([[self.at_s, self.at_s]])

    def record(
        self, time_s: FloatColumn, windows: Windows, rng: np.random.Generator
    ) -> tuple[FloatColumn, BoolColumn]:
        """Step."""
        del rng, windows
        return time_s + np.where(time_s >= self.at_s, self.by_s, 0.0), np.ones(len(time_s), bool)


@dataclass(frozen=True, slots=True)
class LostFrames(Effect):
    """A slow recorder keeps only a share of the frames, at random or in bursts."""

    share: float = 0.3
    pattern: Literal["random", "bursts"] = "random"

    def record(
        self, time_s: FloatColumn, windows: Windows, rng: np.random.Generator
    ) -> tuple[FloatColumn, BoolColumn]:
        """Lose some."""
        del windows
        if self.pattern == "random":
            return time_s, rng.random(len(time_s)) >= self.share
        burst = rng.random(len(time_s) // 40 + 1) < self.share
        return time_s, ~np.repeat(burst, 40)[: len(time_s)]
