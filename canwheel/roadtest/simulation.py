"""A simulated drive: the stations between the road and the number that the brake unit sends."""

from dataclasses import dataclass, field
from enum import IntEnum

import numpy as np

from canwheel.corners import CORNERS
from canwheel.roadtest.car import Car, wheel_speeds
from canwheel.roadtest.faults import Effect
from canwheel.roadtest.motion import (
    KPH,
    BoolColumn,
    FloatColumn,
    FloatTable,
    Motion,
)
from canwheel.roadtest.road import Road, roll_over
from canwheel.roadtest.route import Route, drive, stability_recipe
from canwheel.roadtest.scene import Scene, Windows
from canwheel.roadtest.sensor import BrakeUnit, Pickup, Ring, measure_speed, pulse_times, smooth


class _Draw(IntEnum):
    """Independent random streams, so that a fault put in leaves the rest of the drive alone."""

    DRIVER = 0
    ROAD = 1
    SENSOR = 2
    EFFECT = 3
    BUS = 4


@dataclass(frozen=True, slots=True)
class Scenario:
    """Everything that a drive is made of, but chance.

    Attributes
    ----------
    car, route, road, unit : as they are.
    rings, pickups : one a corner, in corner order.
    effects : faults and look-alikes put in, in the order of their making.
    from_s : leave out so much of the beginning. [s]
    wobble : unsteadiness of the driver's foot, as a fraction of the speed.
    lamp_lit : the lamp is lit from a fault stored before.
    batch_s : the recorder takes frames from its adapter so often and stamps them only then. [s]
    """

    car: Car = field(default_factory=Car)
    route: Route = field(default_factory=stability_recipe)
    road: Road = field(default_factory=Road)
    unit: BrakeUnit = field(default_factory=BrakeUnit)
    rings: tuple[Ring, Ring, Ring, Ring] = (Ring(), Ring(), Ring(), Ring())
    pickups: tuple[Pickup, Pickup, Pickup, Pickup] = (Pickup(), Pickup(), Pickup(), Pickup())
    effects: tuple[Effect, ...] = ()
    from_s: float = 0.0
    wobble: float = 0.02
    lamp_lit: bool = False
    batch_s: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Drive:
    """What happened, and what the brake unit made of it.

    Attributes
    ----------
    scenario, seed : what it was made of.
    scene : the car's motion and the road's roughness.
    wheel_mps : (n, 4) how the tyres really turned, on the motion's grid. [m/s]
    windows : one for each of the scenario's effects: when it really showed. [s]
    time_s : (m,) when the unit had new readings. [s]
    reading_kph : (m, 4) them, before they are rounded to what the message can say. [km/h]
    flagged : (m, 4) the unit calls the reading invalid.
    """

    scenario: Scenario
    seed: int
    scene: Scene
    wheel_mps: FloatTable
    windows: tuple[Windows, ...]
    time_s: FloatColumn
    reading_kph: FloatTable
    flagged: BoolColumn

    @property
    def motion(self) -> Motion:
        """The car's motion."""
        return self.scene.motion

    def lamp(self, time_s: FloatColumn) -> BoolColumn:
        """Whether the warning lamp is lit: self-test, stored fault, then what the unit finds.

        A stored fault's lamp goes out once the car has been fast enough to see every sensor
        work, and a fault is told by then (15 km/h: UN Regulation 13-H, from memory).
        """
        motion = self.motion
        fast = np.abs(motion.speed_mps) * KPH > _TOLD_BY_KPH
        tested_s = float(motion.time_s[np.argmax(fast)]) if fast.any() else np.inf
        lit = time_s < SELF_TEST_S
        if self.scenario.lamp_lit:
            lit |= time_s < tested_s + _CONFIRM_S
        for effect, windows in zip(self.scenario.effects, self.windows, strict=True):
            if effect.lights_lamp and len(windows):
                lit |= time_s > max(windows[0, 0] + _NOTICE_S, tested_s)
        return lit

    def random(self, stream: int) -> np.random.Generator:
        """Random numbers for the stations after this one."""
        return np.random.default_rng((self.seed, _Draw.BUS, stream))


_TOLD_BY_KPH = 15.0
SELF_TEST_S = 2.5
"""Lamps light for so long after the ignition is switched on (common practice, no source). [s]"""
_CONFIRM_S = 3.0
_NOTICE_S = 0.3


@dataclass(frozen=True, slots=True, eq=False)
class Way:
    """A car on its way, before anything is put in: most of the work of a simulated drive.

    Attributes
    ----------
    scene : the car's motion and the road's roughness.
    wheel_mps : (n, 4) how the tyres turn, on the motion's grid. [m/s]
    """

    scene: Scene
    wheel_mps: FloatTable


def find_way(scenario: Scenario, *, seed: int) -> Way:
    """Drive the scenario's route; its unit, rings, pick-ups and effects play no part."""
    motion = drive(
        scenario.route, _rng(seed, _Draw.DRIVER), wobble=scenario.wobble, from_s=scenario.from_s
    )
    flutter = roll_over(scenario.road, scenario.car, motion, _rng(seed, _Draw.ROAD))
    return Way(
        Scene(motion, flutter.roughness), wheel_speeds(scenario.car, motion) + flutter.speed_mps
    )


def simulate(scenario: Scenario, *, seed: int, way: Way | None = None) -> Drive:
    """Drive the scenario.

    The same scenario and seed give the same drive to the last bit; another effect changes
    nothing but what it touches.

    Parameters
    ----------
    way : found before with the same seed, car, route and road; None finds it.
    """
    way = find_way(scenario, seed=seed) if way is None else way
    scene, motion, wheel_mps = way.scene, way.scene.motion, way.wheel_mps
    draws = [_rng(seed, _Draw.EFFECT, number) for number in range(len(scenario.effects))]
    windows = tuple(
        effect.when(scene, rng) for effect, rng in zip(scenario.effects, draws, strict=True)
    )
    for effect, when in zip(scenario.effects, windows, strict=True):
        wheel_mps = effect.turn_wheels(wheel_mps, scene, when)

    time_s = np.arange(scenario.unit.measure_s, motion.duration_s, scenario.unit.measure_s)
    reading = _read_wheels(scenario, wheel_mps, time_s, windows, seed)
    if scenario.unit.tells_direction:
        reading *= np.where(motion.at(motion.speed_mps, time_s) < 0, -1.0, 1.0)[:, None]
    flagged = np.zeros(reading.shape, bool)
    for effect, when, rng in zip(scenario.effects, windows, draws, strict=True):
        reading = effect.pass_readings(reading, time_s, when, rng)
        flagged[:, effect.corner.position] |= effect.flags(time_s, when)
    return Drive(scenario, seed, scene, wheel_mps, windows, time_s, reading, flagged)


def _rng(seed: int, draw: _Draw, number: int = 0) -> np.random.Generator:
    return np.random.default_rng((seed, draw, number))


def _read_wheels(
    scenario: Scenario,
    wheel_mps: FloatTable,
    time_s: FloatColumn,
    windows: tuple[Windows, ...],
    seed: int,
) -> FloatTable:
    """From four turning wheels to the unit's four readings. (m, 4) [km/h]"""
    car, unit = scenario.car, scenario.unit
    tyres = np.array(car.tyre_ratio)
    for effect in scenario.effects:
        tyres = effect.fit_tyres(tyres)
    columns = []
    for corner in CORNERS:
        place = corner.position
        rng = _rng(seed, _Draw.SENSOR, place)
        ring, pickup = scenario.rings[place], scenario.pickups[place]
        here = [
            (effect, when)
            for effect, when in zip(scenario.effects, windows, strict=True)
            if effect.corner == corner
        ]
        for effect, _ in here:
            ring, pickup = effect.fit_ring(ring), effect.fit_pickup(pickup)
        true_m = car.circumference_m * tyres[place]
        pulses = pulse_times(ring, pickup, wheel_mps[:, place], float(true_m), rng)
        for effect, when in here:
            pulses = effect.pass_pulses(pulses, when, rng)
        timed_s = time_s - unit.latency_s[place]
        speed = measure_speed(unit, pulses, car.circumference_m, timed_s)
        columns.append(smooth(unit, speed))
    return np.column_stack(columns)
