"""The faults: each puts itself in at its physical place on the way from wheel to message.

A fault says when it shows (`when`), and changes one station: the ring, the pick-up, the pulses on
the cable, the unit's readings, its validity, or what it sends. Every other station passes through.
"""

from dataclasses import dataclass, replace
from typing import ClassVar

import numpy as np

from canwheel.corners import Corner
from canwheel.outcome import EventKind, FaultKind
from canwheel.roadtest.motion import BoolColumn, FloatColumn, FloatTable
from canwheel.roadtest.scene import Condition, Scene, Windows, inside
from canwheel.roadtest.sensor import Pickup, Pulses, Ring

Kind = FaultKind | EventKind | None
"""What canwheel should call it; None is nothing to be told as a fault."""


@dataclass(frozen=True, slots=True)
class Effect:
    """Something put into a drive; on its own it changes nothing.

    Attributes
    ----------
    corner : where; of an effect on all four, any.
    """

    corner: Corner
    kind: ClassVar[Kind] = None
    lights_lamp: ClassVar[bool] = False

    def when(self, scene: Scene, rng: np.random.Generator) -> Windows:
        """When it shows: by default all along."""
        del rng
        return np.array([[0.0, scene.motion.duration_s]])

    def turn_wheels(self, wheel_mps: FloatTable, scene: Scene, windows: Windows) -> FloatTable:
        """Change how the four tyres turn. (n, 4) [m/s]"""
        del scene, windows
        return wheel_mps

    def fit_tyres(self, ratio: FloatColumn) -> FloatColumn:
        """Change the tyres' circumferences, as ratios to the one the unit was told. (4,)"""
        return ratio

    def fit_ring(self, ring: Ring) -> Ring:
        """Change this corner's ring."""
        return ring

    def fit_pickup(self, pickup: Pickup) -> Pickup:
        """Change this corner's sensor."""
        return pickup

    def pass_pulses(self, pulses: Pulses, windows: Windows, rng: np.random.Generator) -> Pulses:
        """Change what arrives over this corner's cable. [s]"""
        del windows, rng
        return pulses

    def pass_readings(
        self,
        reading_kph: FloatTable,
        time_s: FloatColumn,
        windows: Windows,
        rng: np.random.Generator,
    ) -> FloatTable:
        """Change the unit's readings. (m, 4) [km/h]"""
        del time_s, windows, rng
        return reading_kph

    def flags(self, time_s: FloatColumn, windows: Windows) -> BoolColumn:
        """When the unit sends its "invalid" value for this corner. (m,)"""
        del windows
        return np.zeros(len(time_s), bool)

    def silences(self, time_s: FloatColumn, windows: Windows) -> BoolColumn:
        """Which sendings of the message that carries this corner stay out. (m,)"""
        del windows
        return np.zeros(len(time_s), bool)

    def record(
        self, time_s: FloatColumn, windows: Windows, rng: np.random.Generator
    ) -> tuple[FloatColumn, BoolColumn]:
        """Change what the recorder writes: its clock, and which frames it keeps."""
        del windows, rng
        return time_s, np.ones(len(time_s), bool)


def _replace_column(table: FloatTable, corner: Corner, column: FloatColumn) -> FloatTable:
    changed = table.copy()
    changed[:, corner.position] = column
    return changed


@dataclass(frozen=True, slots=True)
class NoSignal(Effect):
    """A broken wire or a dead sensor: no pulses any more."""

    from_s: float = 0.0
    kind: ClassVar[Kind] = "no_signal"
    lights_lamp: ClassVar[bool] = True

    def when(self, scene: Scene, rng: np.random.Generator) -> Windows:
        """From `from_s` to the end."""
        del rng
        return np.array([[self.from_s, scene.motion.duration_s]])

    def pass_pulses(self, pulses: Pulses, windows: Windows, rng: np.random.Generator) -> Pulses:
        """Cut the cable."""
        del rng
        return pulses[~inside(pulses, windows)]


@dataclass(frozen=True, slots=True)
class LatePickup(Effect):
    """Too wide an air gap: no pulses below a speed."""

    lowest_kph: float = 15.0
    kind: ClassVar[Kind] = "late_pickup"
    lights_lamp: ClassVar[bool] = True

    def fit_pickup(self, pickup: Pickup) -> Pickup:
        """Weaken it."""
        return replace(pickup, lowest_kph=self.lowest_kph)


@dataclass(frozen=True, slots=True)
class Dropout(Effect):
    """A loose contact or a chafed cable: the pulses stay out for moments.

    Attributes
    ----------
    condition : what opens the contact.
    per_km : rate over the distance driven in that condition. [1/km]
    lasting_s : shortest and longest. [s]
    in_unit : the unit loses single readings, in place of the cable losing pulses.
    """

    condition: Condition = "any"
    per_km: float = 4.0
    lasting_s: tuple[float, float] = (0.05, 1.0)
    in_unit: bool = False
    from_s: float = 0.0
    at_least: int = 1
    kind: ClassVar[Kind] = "dropout"
    lights_lamp: ClassVar[bool] = True

    def when(self, scene: Scene, rng: np.random.Generator) -> Windows:
        """At a constant rate while the condition holds."""
        windows = scene.draw_windows(
            self.condition,
            rng,
            per_km=self.per_km,
            lasting_s=self.lasting_s,
            above_kph=12.0,
            at_least=self.at_least,
        )
        return windows[windows[:, 0] >= self.from_s]

    def pass_pulses(self, pulses: Pulses, windows: Windows, rng: np.random.Generator) -> Pulses:
        """Open the contact."""
        del rng
        return pulses if self.in_unit else pulses[~inside(pulses, windows)]

    def pass_readings(
        self,
        reading_kph: FloatTable,
        time_s: FloatColumn,
        windows: Windows,
        rng: np.random.Generator,
    ) -> FloatTable:
        """Lose readings."""
        del rng
        if not self.in_unit:
            return reading_kph
        column = np.where(inside(time_s, windows), 0.0, reading_kph[:, self.corner.position])
        return _replace_column(reading_kph, self.corner, column)


@dataclass(frozen=True, slots=True)
class Frozen(Effect):
    """The unit goes on sending the value of one moment."""

    from_s: float = 60.0
    to_s: float = float("inf")
    kind: ClassVar[Kind] = "frozen"

    def when(self, scene: Scene, rng: np.random.Generator) -> Windows:
        """From the first moment after `from_s` at which the car is well under way."""
        del rng
        return _once_under_way(scene, self.from_s, self.to_s - self.from_s)

    def pass_readings(
        self,
        reading_kph: FloatTable,
        time_s: FloatColumn,
        windows: Windows,
        rng: np.random.Generator,
    ) -> FloatTable:
        """Hold the value."""
        del rng
        column = reading_kph[:, self.corner.position].copy()
        stuck = inside(time_s, windows)
        if stuck.any():
            column[stuck] = column[np.argmax(stuck)]
        return _replace_column(reading_kph, self.corner, column)


_WELL_UNDER_WAY_MPS = 4.0


def _once_under_way(scene: Scene, from_s: float, lasting_s: float) -> Windows:
    """One window, or none where the car never is."""
    motion = scene.motion
    moving = (motion.time_s >= from_s) & (motion.speed_mps > _WELL_UNDER_WAY_MPS)
    if not moving.any():
        return np.empty((0, 2))
    begin = float(motion.time_s[np.argmax(moving)])
    return np.array([[begin, min(begin + lasting_s, motion.duration_s)]])


@dataclass(frozen=True, slots=True)
class RingDamage(Effect):
    """A ring off-centre, with bent teeth, or with teeth missing."""

    off_centre: float = 0.0
    bent: tuple[tuple[int, float], ...] = ()
    missing: tuple[int, ...] = ()
    kind: ClassVar[Kind] = "ring_damage"

    def fit_ring(self, ring: Ring) -> Ring:
        """Damage it."""
        off_centre = max(ring.off_centre, self.off_centre)
        return replace(ring, off_centre=off_centre, bent=self.bent, missing=self.missing)


@dataclass(frozen=True, slots=True)
class WrongRatio(Effect):
    """A ring with another number of teeth, or a tyre of another size.

    Attributes
    ----------
    teeth : of the ring fitted; None leaves it.
    tyre : circumference of the tyre fitted over the right one.
    """

    teeth: int | None = None
    tyre: float = 1.0
    kind: ClassVar[Kind] = "wrong_ratio"
    lights_lamp: ClassVar[bool] = True

    def fit_ring(self, ring: Ring) -> Ring:
        """Fit the wrong ring."""
        return ring if self.teeth is None else replace(ring, teeth=self.teeth)

    def fit_tyres(self, ratio: FloatColumn) -> FloatColumn:
        """Fit the wrong tyre."""
        changed = ratio.copy()
        changed[self.corner.position] *= self.tyre
        return changed


@dataclass(frozen=True, slots=True)
class Crossed(Effect):
    """Two connectors on each other's places."""

    other: Corner = Corner.FR
    kind: ClassVar[Kind] = "crossed"

    def pass_readings(
        self,
        reading_kph: FloatTable,
        time_s: FloatColumn,
        windows: Windows,
        rng: np.random.Generator,
    ) -> FloatTable:
        """Swap the two."""
        del time_s, windows, rng
        changed = reading_kph.copy()
        pair = [self.corner.position, self.other.position]
        changed[:, pair] = reading_kph[:, pair[::-1]]
        return changed


@dataclass(frozen=True, slots=True)
class Erratic(Effect):
    """Stray pulses or a bad screen: readings jump up and down.

    Attributes
    ----------
    per_km : rate. [1/km]
    size_kph : smallest and largest jump. [km/h]
    lasting_s : shortest and longest. [s]
    """

    per_km: float = 30.0
    size_kph: tuple[float, float] = (8.0, 40.0)
    lasting_s: tuple[float, float] = (0.01, 0.15)
    kind: ClassVar[Kind] = "erratic"
    lights_lamp: ClassVar[bool] = True

    def when(self, scene: Scene, rng: np.random.Generator) -> Windows:
        """At a constant rate over the distance."""
        return scene.draw_windows(
            "any", rng, per_km=self.per_km, lasting_s=self.lasting_s, at_least=6
        )

    def pass_readings(
        self,
        reading_kph: FloatTable,
        time_s: FloatColumn,
        windows: Windows,
        rng: np.random.Generator,
    ) -> FloatTable:
        """Jump, down to less than half the speed but never near zero: that is a drop-out."""
        if not len(windows):
            return reading_kph
        column = reading_kph[:, self.corner.position]
        which = np.maximum(np.searchsorted(windows[:, 0], time_s, side="right") - 1, 0)
        jump = rng.uniform(*self.size_kph, len(windows)) * rng.choice((-1, 1), len(windows))
        jumped = column + jump[which] * rng.uniform(0.8, 1.2, len(column))
        jumped = np.maximum(jumped, _LEAST_LEFT * column)
        column = np.where(inside(time_s, windows), jumped, column)
        return _replace_column(reading_kph, self.corner, column)


_LEAST_LEFT = 0.4


@dataclass(frozen=True, slots=True)
class Noisy(Effect):
    """A bad screen or earth: every reading is off by something else.

    Attributes
    ----------
    sd_kph : by how much, one standard deviation. [km/h]
    """

    sd_kph: float = 2.0
    kind: ClassVar[Kind] = "erratic"
    lights_lamp: ClassVar[bool] = True

    def pass_readings(
        self,
        reading_kph: FloatTable,
        time_s: FloatColumn,
        windows: Windows,
        rng: np.random.Generator,
    ) -> FloatTable:
        """Shake what is read, by as much at all speeds; what reads nothing stays so."""
        del time_s, windows
        column = reading_kph[:, self.corner.position]
        shaken = np.maximum(column + rng.normal(0, self.sd_kph, len(column)), 0.0)
        return _replace_column(reading_kph, self.corner, np.where(column > 0, shaken, column))


@dataclass(frozen=True, slots=True)
class _BetweenTimes(Effect):
    """What shows from one time of the drive to another."""

    from_s: float = 0.0
    to_s: float = float("inf")

    def when(self, scene: Scene, rng: np.random.Generator) -> Windows:
        """Between the two times."""
        del rng
        return np.array([[self.from_s, min(self.to_s, scene.motion.duration_s)]])


@dataclass(frozen=True, slots=True)
class Miscounted(_BetweenTimes):
    """Pulses too weak or too dirty for the threshold: every second one lost, or each counted twice.

    Attributes
    ----------
    twice : counted twice; else lost.
    """

    twice: bool = False
    kind: ClassVar[Kind] = "wrong_ratio"
    lights_lamp: ClassVar[bool] = True

    def when(self, scene: Scene, rng: np.random.Generator) -> Windows:
        """From the first moment after `from_s` at which the car is well under way."""
        del rng
        return _once_under_way(scene, self.from_s, self.to_s - self.from_s)

    def pass_pulses(self, pulses: Pulses, windows: Windows, rng: np.random.Generator) -> Pulses:
        """Lose every second pulse, or put one between every two."""
        del rng
        during = inside(pulses, windows)
        if self.twice:
            between = (pulses[1:] + pulses[:-1])[during[1:] & during[:-1]] / 2
            return np.sort(np.concatenate((pulses, between)))
        left: Pulses = pulses[~during | (np.cumsum(during) % 2 == 0)]
        return left


@dataclass(frozen=True, slots=True)
class FlaggedInvalid(_BetweenTimes):
    """The unit itself says that it has no value."""

    kind: ClassVar[Kind] = "flagged_invalid"
    lights_lamp: ClassVar[bool] = True

    def flags(self, time_s: FloatColumn, windows: Windows) -> BoolColumn:
        """Say so."""
        return inside(time_s, windows)


@dataclass(frozen=True, slots=True)
class MessageMissing(_BetweenTimes):
    """The message that carries the corner stops: the network or the unit."""

    from_s: float = 60.0
    kind: ClassVar[Kind] = "message_missing"
    lights_lamp: ClassVar[bool] = True

    def silences(self, time_s: FloatColumn, windows: Windows) -> BoolColumn:
        """Send nothing."""
        return inside(time_s, windows)


@dataclass(frozen=True, slots=True)
class Copied(Effect):
    """The corner repeats another one's reading."""

    of: Corner = Corner.FR
    kind: ClassVar[Kind] = "copied"

    def pass_readings(
        self,
        reading_kph: FloatTable,
        time_s: FloatColumn,
        windows: Windows,
        rng: np.random.Generator,
    ) -> FloatTable:
        """Repeat it."""
        del time_s, windows, rng
        return _replace_column(reading_kph, self.corner, reading_kph[:, self.of.position])
