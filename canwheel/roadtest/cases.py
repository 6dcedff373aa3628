"""Random cases for the judgement: any car, drive and layout, with a fault, a look-alike or none.

Ranges are meant to be at least as hard as the road; where a range has no source it is common
practice and says nothing about any one car.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from canwheel.corners import CORNERS, Corner
from canwheel.outcome import FAULT_KINDS, FaultKind
from canwheel.roadtest import faults, look_alikes
from canwheel.roadtest.bus_layout import BusLayout, unit_per_kph
from canwheel.roadtest.car import Car
from canwheel.roadtest.chance import happens, sign
from canwheel.roadtest.faults import Effect
from canwheel.roadtest.random_car import (
    TEETH,
    random_car,
    random_pickups,
    random_rings,
    random_road,
    random_unit,
)
from canwheel.roadtest.random_layout import random_layout
from canwheel.roadtest.route import Route, random_route
from canwheel.roadtest.scene import Condition
from canwheel.roadtest.sensor import BrakeUnit
from canwheel.roadtest.simulation import Drive, Scenario, simulate

_CYCLES_S = (0.01, 0.01, 0.02, 0.02, 0.02, 0.04, 0.05, 0.1)
_MIXES: tuple[tuple[str, ...], ...] = (
    ("town",),
    ("town", "country"),
    ("town", "town", "car_park"),
    ("country", "motorway"),
    ("town", "country", "motorway"),
    ("town", "country", "motorway", "car_park"),
)


@dataclass(frozen=True, slots=True)
class Case:
    """One drive to be judged, and the truth about it.

    Attributes
    ----------
    name : kind of fault or look-alike, or ``healthy``.
    scenario, seed : make the drive.
    layout : how its frames carry the wheels.
    """

    name: str
    scenario: Scenario
    seed: int
    layout: BusLayout

    @property
    def faults(self) -> tuple[Effect, ...]:
        """What has to be found, with corner, kind and figures."""
        return tuple(e for e in self.scenario.effects if e.kind in FAULT_KINDS)

    @property
    def look_alikes(self) -> tuple[Effect, ...]:
        """What has to be let pass."""
        return tuple(e for e in self.scenario.effects if e.kind not in FAULT_KINDS)

    def drive(self) -> Drive:
        """Simulate it."""
        return simulate(self.scenario, seed=self.seed)

    def twin(self) -> Drive:
        """Simulate it with nothing put in: the same drive otherwise, to the last bit."""
        return simulate(replace(self.scenario, effects=()), seed=self.seed)

    def shown_s(self) -> tuple[float, ...]:
        """For how long each of `faults` really shows while the car moves. [s]

        A fault that the drive never brings out, such as a drop-out in left turns on a drive
        without any, cannot be asked for. Of a missing message it is the time it is missing.
        """
        drive, twin = self.drive(), self.twin()
        moving = np.abs(drive.motion.at(drive.motion.speed_mps, drive.time_s)) > _MOVING_MPS
        shown = []
        for effect, windows in zip(self.scenario.effects, drive.windows, strict=True):
            if effect.kind not in FAULT_KINDS:
                continue
            place = effect.corner.position
            sound = twin.reading_kph[:, place]
            least = np.maximum(_DIFFERS * sound, self._step_kph(effect.corner))
            differs = np.abs(drive.reading_kph[:, place] - sound) > least
            differs |= drive.flagged[:, place] | effect.silences(drive.time_s, windows)
            shown.append(float(np.sum(differs & moving)) * self.scenario.unit.measure_s)
        return tuple(shown)

    def _step_kph(self, corner: Corner) -> float:
        """One step of the corner's signal; 0 of a counter, whose steps add up. [km/h]"""
        (signal,) = (s for _, s in self.layout.signals() if s.quantity is corner)
        if signal.unit == "pulses":
            return 0.0
        car, unit = self.scenario.car, self.scenario.unit
        return abs(signal.scale) / unit_per_kph(
            signal.unit, circumference_m=car.circumference_m, teeth=unit.teeth
        )


_MOVING_MPS = 0.5
_DIFFERS = 0.008
"""A reading that is off by less is within what sound corners differ by; by less than a step of its
signal, it is not on the bus."""


def random_case(rng: np.random.Generator, name: str | None = None) -> Case:
    """Draw a case.

    Parameters
    ----------
    name : a fault kind, a key of `LOOK_ALIKES`, ``two faults`` or ``healthy``; None draws one.

    Raises
    ------
    KeyError : an unknown name.
    """
    if name is None:
        share = rng.random()
        among = FAULT_KINDS if share < _FAULTY else tuple(LOOK_ALIKES)
        name = "healthy" if share > 1 - _HEALTHY else str(rng.choice(among))
        if share < _DOUBLE:
            name = "two faults"
    cycle_s = float(rng.choice(_CYCLES_S))
    car, unit = random_car(rng), random_unit(rng, cycle_s)
    duration_s = float(rng.uniform(150, 700))
    corner = CORNERS[int(rng.integers(4))]
    effects = _draw_effects(name, _Draw(rng, corner, car, unit, duration_s))
    scenario = Scenario(
        car=car,
        route=_draw_route(rng, name, duration_s),
        road=random_road(rng),
        unit=unit,
        rings=random_rings(rng, unit.teeth),
        pickups=random_pickups(rng, passive=name == "passive sensors" or happens(rng, 0.4)),
        effects=effects,
        from_s=float(rng.uniform(20, 60)) if name == "starts at speed" else 0.0,
        wobble=float(rng.uniform(0.005, 0.04)),
        batch_s=float(rng.choice(_BATCHES_S)),
    )
    kinds = {effect.kind for effect in effects}
    layout = random_layout(
        rng,
        car,
        unit,
        cycle_s=cycle_s,
        has_invalid="flagged_invalid" in kinds or happens(rng, 0.5),
        may_count=not kinds & _NOT_COUNTED,
        tells_turns=happens(rng, 0.85 if "crossed" in kinds else 0.4),
        one_message="copied" in kinds,
    )
    return Case(name, scenario, int(rng.integers(1 << 31)), layout)


_BATCHES_S = (0.0, 0.0, 0.0, 0.0, 0.001, 0.004, 0.01, 0.02)
"""How often recorders fetch frames; a real drive shows stamps up to 0.015 s off. [s]"""
_FAULTY, _HEALTHY, _DOUBLE = 0.55, 0.2, 0.05
_NOT_COUNTED = frozenset({"frozen", "copied", "flagged_invalid"})
"""Kinds that a counter of pulses shows as something else: it has no speed to hold or repeat."""


def _draw_route(rng: np.random.Generator, name: str, duration_s: float) -> Route:
    mix = _MIXES[int(rng.integers(len(_MIXES)))]
    if name == "walking pace":
        mix, duration_s = ("car_park",), min(duration_s, 240.0)
    if name in {"late_pickup", "crossed", "wheel_lock", "wheel_spin"}:
        mix = ("town", "town", "country")  # a drive that shows it
    return random_route(rng, duration_s=duration_s, mix=mix)


@dataclass(frozen=True, slots=True)
class _Draw:
    """What a fault is drawn from."""

    rng: np.random.Generator
    corner: Corner
    car: Car
    unit: BrakeUnit
    duration_s: float

    def other(self) -> Corner:
        """Another corner."""
        return CORNERS[(self.corner.position + int(self.rng.integers(1, 4))) % 4]

    def within(self, first: float = 0.1, last: float = 0.6) -> float:
        """A time within these fractions of the drive. [s]"""
        return float(self.rng.uniform(first, last) * self.duration_s)


def _no_signal(draw: _Draw) -> Effect:
    from_s = 0.0 if happens(draw.rng, 0.6) else draw.within()
    return faults.NoSignal(draw.corner, from_s)


def _late_pickup(draw: _Draw) -> Effect:
    return faults.LatePickup(draw.corner, float(draw.rng.uniform(12.0, 32.0)))


_CONDITIONS: tuple[Condition, ...] = (
    "any",
    "any",
    "left_turn",
    "right_turn",
    "rough_road",
    "braking",
    "fast",
    "slow",
)


def _dropout(draw: _Draw) -> Effect:
    rng = draw.rng
    condition = _CONDITIONS[int(rng.integers(len(_CONDITIONS)))]
    shortest_s = float(rng.choice((0.03, 0.1, 0.2, 0.4)))
    often = 8.0 if condition in {"left_turn", "right_turn", "braking", "rough_road"} else 1.0
    return faults.Dropout(
        draw.corner,
        condition=condition,
        per_km=float(np.exp(rng.uniform(np.log(0.8), np.log(20.0)))) * often,
        lasting_s=(shortest_s, max(2.0, 2 * shortest_s)),
        in_unit=happens(rng, 0.3),
        at_least=int(rng.integers(2, 6)),
    )


def _frozen(draw: _Draw) -> Effect:
    from_s = draw.within()
    to_s = from_s + float(draw.rng.uniform(15, 90)) if happens(draw.rng, 0.5) else float("inf")
    return faults.Frozen(draw.corner, from_s, to_s)


def _ring_damage(draw: _Draw) -> Effect:
    rng = draw.rng
    kind = rng.integers(3)
    if kind == 0:
        return faults.RingDamage(draw.corner, off_centre=float(rng.uniform(0.015, 0.08)))
    tooth = int(rng.integers(draw.unit.teeth))
    if kind == 1:
        count = int(rng.integers(1, 3))
        return faults.RingDamage(draw.corner, missing=tuple(tooth + n for n in range(count)))
    bent = tuple((tooth + n, float(rng.uniform(0.3, 0.6))) for n in range(int(rng.integers(1, 4))))
    return faults.RingDamage(draw.corner, bent=bent)


def _wrong_ratio(draw: _Draw) -> Effect:
    rng = draw.rng
    if happens(rng, _FOR_A_TIME):
        from_s = draw.within()
        to_s = from_s + float(rng.uniform(20, 120))
        return faults.Miscounted(draw.corner, from_s, to_s, twice=happens(rng, 0.3))
    if happens(rng, 0.5):
        others = [teeth for teeth in set(TEETH) if _clearly_another(teeth, draw.unit.teeth)]
        return faults.WrongRatio(draw.corner, teeth=int(rng.choice(others)))
    return faults.WrongRatio(draw.corner, tyre=1.0 + float(rng.uniform(0.02, 0.12)) * sign(rng))


def _clearly_another(teeth: int, right: int) -> bool:
    """Whether a ring fits by mistake: not so near that it is a tyre matter, not twice as many."""
    return _NEAR < abs(teeth / right - 1) < _FAR


_NEAR, _FAR = 0.03, 0.5
_FOR_A_TIME = 0.15
"""So many of the wrong ratios are pulses lost or counted twice, for a time."""


def _crossed(draw: _Draw) -> Effect:
    sideways = happens(draw.rng, 0.7)
    other = draw.corner.mirror if sideways else draw.corner.same_side
    return faults.Crossed(draw.corner, other)


def _erratic(draw: _Draw) -> Effect:
    rng = draw.rng
    if happens(rng, _ALL_THE_WAY):
        return faults.Noisy(draw.corner, sd_kph=float(np.exp(rng.uniform(np.log(2), np.log(12)))))
    smallest = float(rng.uniform(6, 15))
    return faults.Erratic(
        draw.corner,
        per_km=float(rng.uniform(5, 60)),
        size_kph=(smallest, smallest * float(rng.uniform(1.5, 4))),
        lasting_s=(0.01, float(rng.uniform(0.05, 0.2))),
    )


_ALL_THE_WAY = 0.25
"""So many of the erratic readings shake all the way."""


def _flagged_invalid(draw: _Draw) -> Effect:
    from_s = 0.0 if happens(draw.rng, 0.4) else draw.within()
    to_s = float("inf") if happens(draw.rng, 0.5) else from_s + float(draw.rng.uniform(3, 60))
    return faults.FlaggedInvalid(draw.corner, from_s, to_s)


def _message_missing(draw: _Draw) -> Effect:
    from_s = draw.within()
    to_s = float("inf") if happens(draw.rng, 0.4) else from_s + float(draw.rng.uniform(2, 40))
    return faults.MessageMissing(draw.corner, from_s, to_s)


def _copied(draw: _Draw) -> Effect:
    return faults.Copied(draw.corner, draw.other())


_Maker = Callable[[_Draw], Effect]

_FAULT_MAKERS: Mapping[str, _Maker] = {
    "no_signal": _no_signal,
    "late_pickup": _late_pickup,
    "dropout": _dropout,
    "frozen": _frozen,
    "ring_damage": _ring_damage,
    "wrong_ratio": _wrong_ratio,
    "crossed": _crossed,
    "erratic": _erratic,
    "flagged_invalid": _flagged_invalid,
    "message_missing": _message_missing,
    "copied": _copied,
}


def _wheel_lock(draw: _Draw) -> Effect:
    rng = draw.rng
    return look_alikes.WheelLock(
        draw.corner,
        count=int(rng.integers(1, 5)),
        depth=float(rng.uniform(0.5, 1.0)) if happens(rng, 0.5) else 1.0,
        cycles_hz=float(rng.uniform(2.0, 6.0)) if happens(rng, 0.4) else 0.0,
    )


def _wheel_spin(draw: _Draw) -> Effect:
    axle = {"front": (Corner.FL, Corner.FR), "rear": (Corner.RL, Corner.RR)}.get(
        draw.car.driven, CORNERS
    )
    return look_alikes.WheelSpin(
        axle[int(draw.rng.integers(len(axle)))],
        count=int(draw.rng.integers(1, 5)),
        both=happens(draw.rng, 0.5),
        stuck=happens(draw.rng, 0.2),
        gain_kph=float(draw.rng.uniform(4, 30)),
    )


def _one_axle(draw: _Draw) -> Effect:
    whole = happens(draw.rng, 0.5)
    from_s = 0.0 if whole else draw.within()
    to_s = float("inf") if whole else from_s + float(draw.rng.uniform(10, 60))
    return look_alikes.OneAxleTurning(draw.corner, from_s, to_s)


def _worn_tyre(draw: _Draw) -> Effect:
    return look_alikes.OtherTyre(draw.corner, float(draw.rng.uniform(0.991, 0.995)))


def _gap(draw: _Draw) -> Effect:
    from_s = draw.within()
    return look_alikes.RecordingGap(draw.corner, from_s, from_s + float(draw.rng.uniform(0.5, 30)))


def _clock_step(draw: _Draw) -> Effect:
    by_s = float(draw.rng.choice((-3600.0, -2.0, -0.3, 5.0, 7200.0)))
    return look_alikes.ClockStep(draw.corner, draw.within(), by_s)


def _lost_frames(draw: _Draw) -> Effect:
    bursts = happens(draw.rng, 0.4)
    return look_alikes.LostFrames(
        draw.corner, float(draw.rng.uniform(0.02, 0.7)), "bursts" if bursts else "random"
    )


LOOK_ALIKES: Mapping[str, _Maker | None] = {
    "wheel_lock": _wheel_lock,
    "wheel_spin": _wheel_spin,
    "one_axle_turning": _one_axle,
    "worn tyre": _worn_tyre,
    "recording_gap": _gap,
    "clock_step": _clock_step,
    "lost frames": _lost_frames,
    "starts at speed": None,
    "passive sensors": None,
    "walking pace": None,
}
"""Look-alikes by name; None where the drive itself is the look-alike."""

_GROSS: tuple[FaultKind, ...] = ("no_signal", "dropout", "frozen", "flagged_invalid")
_FINE: tuple[FaultKind, ...] = ("ring_damage", "wrong_ratio", "dropout", "erratic", "late_pickup")


def _draw_effects(name: str, draw: _Draw) -> tuple[Effect, ...]:
    if name == "healthy":
        return ()
    if name == "two faults":
        first = _GROSS[int(draw.rng.integers(len(_GROSS)))]
        second = _FINE[int(draw.rng.integers(len(_FINE)))]
        return (
            _FAULT_MAKERS[first](draw),
            _FAULT_MAKERS[second](replace(draw, corner=draw.other())),
        )
    maker = _FAULT_MAKERS[name] if name in _FAULT_MAKERS else LOOK_ALIKES[name]
    return () if maker is None else (maker(draw),)
