"""The demo's story: a bakery van with a faulty corner, and the same round after the repair."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from canwheel.corners import Corner
from canwheel.frames import Frames
from canwheel.outcome import FaultKind
from canwheel.roadtest import faults
from canwheel.roadtest.car import Car
from canwheel.roadtest.faults import Effect
from canwheel.roadtest.layouts import BAKERY_VAN
from canwheel.roadtest.motion import KPH, Motion
from canwheel.roadtest.recording import record_frames
from canwheel.roadtest.route import Leg, Route, lane_change, roundabout, stand, stop, turn
from canwheel.roadtest.sensor import BrakeUnit, Ring
from canwheel.roadtest.simulation import Scenario, simulate
from canwheel.roadtest.traffic import Chatter, random_traffic

DEMO_SEED = 1
"""Seed of the pair that ships with the project; `canwheel demo` starts with it too."""
_OTHER_IDS = 8
_UNHURRIED_S = 0.5
"""Cycle of the other messages, slow so that the shipped recordings stay small. [s]"""
_AFTER = 1
"""Added to the seed for the second drive: the same round, but not the same traffic or foot."""

_VAN = Car(
    wheelbase_m=2.98,
    front_track_m=1.60,
    rear_track_m=1.59,
    circumference_m=1.935,
    tyre_ratio=(1.0007, 0.9991, 1.0012, 0.9996),
    driven="front",
)

_ROUND: Route = (
    stand(5.0),
    Leg(160, 42),
    turn(90, 9.0, 16),  # left out of the yard's street
    Leg(230, 50),
    stop(5.0),
    turn(-88, 11.0, 18),
    Leg(280, 52),
    *roundabout(22, quarters=3),
    Leg(420, 72),
    turn(-32, 140, 62),
    Leg(520, 84),
    *lane_change(80, left=False),
    Leg(260, 82),
    turn(28, 180, 66),
    Leg(180, 58),
    stop(7.0, brake_mps2=2.4),
    turn(85, 10.0, 17),
    Leg(210, 48),
    turn(-92, 9.0, 16),
    Leg(90, 34),
    turn(-180, 6.5, 12),  # round in the yard of the shop
    Leg(40, 24),
    turn(90, 7.5, 13),
    stop(4.0),
)
"""A delivery round: junctions both ways, a roundabout, a stretch of faster road."""

_BACK: Route = (
    Leg(210, 45),
    turn(90, 9.0, 16),
    Leg(180, 50),
    stop(3.0),
    turn(-90, 10.0, 17),
    Leg(150, 46),
    stop(3.0),
)
"""What the second drive adds to it."""


def _early(corner: Corner) -> Effect:
    return faults.NoSignal(corner, from_s=21.0)


def _loose(corner: Corner) -> Effect:
    return faults.Dropout(corner, per_km=6.0, lasting_s=(0.2, 1.2), at_least=8)


def _wide_gap(corner: Corner) -> Effect:
    return faults.LatePickup(corner, lowest_kph=19.0)


def _stuck(corner: Corner) -> Effect:
    return faults.Frozen(corner, from_s=70.0)


def _loose_ring(corner: Corner) -> Effect:
    return faults.RingDamage(corner, off_centre=0.06)


def _other_ring(corner: Corner) -> Effect:
    return faults.WrongRatio(corner, teeth=44)


def _swapped(corner: Corner) -> Effect:
    return faults.Crossed(corner, corner.mirror)


def _stray(corner: Corner) -> Effect:
    return faults.Erratic(corner)


def _invalid(corner: Corner) -> Effect:
    return faults.FlaggedInvalid(corner, from_s=21.0)


def _silent(corner: Corner) -> Effect:
    return faults.MessageMissing(corner, from_s=90.0)


def _repeated(corner: Corner) -> Effect:
    return faults.Copied(corner, corner.mirror)


DEMO_FAULTS: Mapping[FaultKind, Callable[[Corner], Effect]] = {
    "no_signal": _early,
    "late_pickup": _wide_gap,
    "dropout": _loose,
    "frozen": _stuck,
    "ring_damage": _loose_ring,
    "wrong_ratio": _other_ring,
    "crossed": _swapped,
    "erratic": _stray,
    "flagged_invalid": _invalid,
    "message_missing": _silent,
    "copied": _repeated,
}
"""What each kind is in the demo: plain to see, not the smallest that can be found."""


@dataclass(frozen=True, slots=True, eq=False)
class DemoDrive:
    """One drive of the round.

    Attributes
    ----------
    frames : what a recorder hears of it.
    motion : how the van moved, by the same clock, from its first frame on.
    """

    frames: Frames
    motion: Motion

    def speed_kph(self, at_s: float) -> float:
        """How fast the van is at a time from the beginning; it stands after the end. [km/h]"""
        if at_s >= self.motion.time_s[-1]:
            return 0.0
        return abs(float(np.interp(at_s, self.motion.time_s, self.motion.speed_mps))) * KPH

    def standing(self) -> Frames:
        """Return the last frames, of the van at a stand: repeated, it goes on standing."""
        last_ns = self.frames.time_ns[-1]
        return self.frames.select(self.frames.time_ns > last_ns - int(STANDING_S * 1e9))


STANDING_S = 2.0
"""How much of the end of every round is standing: all of the van's messages come in it. [s]"""


@dataclass(frozen=True, slots=True, eq=False)
class DemoPair:
    """The two recordings."""

    before: Frames
    after: Frames


def make_pair(
    corner: Corner = Corner.RL, fault: FaultKind = "no_signal", *, seed: int = DEMO_SEED
) -> DemoPair:
    """Drive the round twice: with the fault, and after its repair."""
    before = make_drive(corner, fault, seed=seed)
    return DemoPair(before.frames, make_drive(corner, fault, repaired=True, seed=seed).frames)


def make_drive(
    corner: Corner, fault: FaultKind | None, *, repaired: bool = False, seed: int = DEMO_SEED
) -> DemoDrive:
    """Drive the round once.

    Parameters
    ----------
    corner, fault : what is wrong; with no fault, the corner is of no matter.
    repaired : it was repaired before this drive, so that only the lamp still tells of it.
    seed : another number, another drive.
    """
    effect = None if fault is None else DEMO_FAULTS[fault](corner)
    if effect is not None and not repaired:
        drive = simulate(_scenario(_ROUND, (effect,), lamp_lit=False), seed=seed)
        return DemoDrive(record_frames(drive, BAKERY_VAN, _traffic()), drive.motion)
    lamp_lit = effect is not None and effect.lights_lamp
    drive = simulate(_scenario(_ROUND + _BACK, (), lamp_lit=lamp_lit), seed=seed + _AFTER)
    frames = record_frames(drive, BAKERY_VAN, _traffic(), started_s=_LATER_S)
    return DemoDrive(frames, drive.motion)


_LATER_S = 3 * 3600.0
"""The second drive begins so much later. [s]"""


def _scenario(route: Route, effects: tuple[Effect, ...], *, lamp_lit: bool) -> Scenario:
    unit = BrakeUnit(measure_s=0.01, smooth_s=0.04)
    rng = np.random.default_rng(DEMO_SEED)  # one van: its rings stay as they are
    turned = rng.uniform(0, 2 * np.pi, 4)
    ripple = rng.uniform(0.0002, 0.0012, 4)
    ring = [
        Ring(unit.teeth, off_centre=float(r), turned_rad=float(a))
        for r, a in zip(ripple, turned, strict=True)
    ]
    return Scenario(
        car=_VAN,
        route=route,
        unit=unit,
        rings=(ring[0], ring[1], ring[2], ring[3]),
        effects=effects,
        lamp_lit=lamp_lit,
    )


def _traffic() -> tuple[Chatter, ...]:
    """The van's other messages: always the same ones."""
    taken = frozenset(message.frame_id for message in BAKERY_VAN.messages)
    return random_traffic(
        np.random.default_rng(DEMO_SEED), ids=_OTHER_IDS, taken=taken, fastest_s=_UNHURRIED_S
    )
