"""Captures whose DBC nobody has, and the truth about where the wheel speeds stand in them.

A drive with a stop, straights, tight turns both ways and a stop, among the other messages of a
car; with a corner that is dead, late or frozen; and captures in which there are no four wheel
speeds to be found, though other things look like them.
"""

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from canwheel.corners import CORNERS, Corner
from canwheel.definitions.layout import BitField
from canwheel.frames import Frames
from canwheel.roadtest.background import bus_load, random_background
from canwheel.roadtest.bus_layout import BusLayout, Quantity, SentMessage
from canwheel.roadtest.chance import happens, sign
from canwheel.roadtest.faults import Effect, FlaggedInvalid, Frozen, LatePickup, NoSignal
from canwheel.roadtest.motion import KPH, FloatColumn
from canwheel.roadtest.not_wheels import LookAlike, look_alike_messages
from canwheel.roadtest.random_car import random_car, random_pickups, random_rings, random_road
from canwheel.roadtest.random_car import random_unit as _random_unit
from canwheel.roadtest.recording import record_frames
from canwheel.roadtest.road import Road
from canwheel.roadtest.route import Leg, Route, stand, stop, turn
from canwheel.roadtest.simulation import Drive, Scenario, simulate

Trouble = Literal["dead", "late", "frozen", "flagged"]
"""What is wrong with one corner while the capture is made."""

_FEWEST, _MOST = 30, 60
"""Other messages."""
_BUSY_BITRATE = 1_000_000
_GLASS = Road(0.0, bumps_per_km=0.0, camber_pct=0.0, wander_pct=0.0, surge_pct=0.0, hum_pct=0.0)
_TIGHT_PER_M = 1 / 20
_DASH_FACTOR = 1.02


@dataclass(frozen=True, slots=True)
class TrueField:
    """Where one corner's speed stands."""

    frame_id: int
    extended: bool
    bits: BitField


@dataclass(frozen=True, slots=True, eq=False)
class UnlabelledCapture:
    """Frames, and what is to be found in them.

    Attributes
    ----------
    name : of the layout, or what the capture has in place of wheel speeds.
    wheels : one a corner, in corner order; none where there is nothing to be found.
    trouble : what is wrong, and where.
    left_s, right_s : middle of the first tight turn each way, from the first frame. [s]
    steady : a time of steady driving, and what the dash says then. [s, km/h]
    steering : the field with the steering angle, None where no message has it.
    """

    name: str
    frames: Frames
    drive: Drive
    layout: BusLayout
    wheels: tuple[TrueField, ...]
    trouble: tuple[Trouble, Corner] | None
    left_s: float
    right_s: float
    steady: tuple[float, float]
    steering: TrueField | None


def discovery_route(rng: np.random.Generator) -> Route:
    """Stop, straight, tight left, tight right, stop, in any order, and a little more road."""

    def tight(side: int) -> list[Leg]:
        radius_m, kph = rng.uniform(6.0, 11.0), rng.uniform(11.0, 18.0)
        return [
            turn(side * rng.uniform(80, 170), radius_m, kph),
            Leg(rng.uniform(60, 160), rng.uniform(28, 50)),
        ]

    first = sign(rng)
    legs = [stand(rng.uniform(3, 8)), Leg(rng.uniform(200, 400), rng.uniform(45, 70))]
    legs += tight(first)
    if happens(rng, 0.5):
        legs.append(stop(rng.uniform(2, 5)))
    legs += [Leg(rng.uniform(150, 350), rng.uniform(40, 80)), *tight(-first)]
    if happens(rng, 0.5):
        side = sign(rng)
        legs.append(turn(side * rng.uniform(20, 60), rng.uniform(40, 90), rng.uniform(35, 50)))
    legs += [*tight(sign(rng)), Leg(rng.uniform(100, 300), rng.uniform(40, 90))]
    legs.append(stop(rng.uniform(3, 6)))
    return tuple(legs)


def random_drive(
    rng: np.random.Generator,
    *,
    cycle_s: float,
    effects: tuple[Effect, ...] = (),
    route: Route | None = None,
    smooth: bool = False,
) -> Drive:
    """Any car on such a route; on a road as smooth as glass where that is asked for."""
    unit = _random_unit(rng, cycle_s)
    road = random_road(rng)
    scenario = Scenario(
        car=random_car(rng),
        route=discovery_route(rng) if route is None else route,
        road=_GLASS if smooth else road,
        unit=unit,
        rings=random_rings(rng, unit.teeth),
        pickups=random_pickups(rng, passive=happens(rng, 0.3)),
        effects=effects,
    )
    return simulate(scenario, seed=int(rng.integers(1 << 31)))


def unlabelled_drive(
    wheels: BusLayout,
    *,
    seed: int,
    trouble: tuple[Trouble, Corner] | None = None,
    others: int | None = None,
    route: Route | None = None,
    frames_per_s: float | None = None,
    smooth: bool = False,
    copies: bool = True,
) -> UnlabelledCapture:
    """Record a drive on a bus with these wheel messages among others.

    Parameters
    ----------
    wheels : as `wheel_messages` gives them.
    others : other messages; None draws 30 to 60.
    route : None draws one.
    frames_per_s : make the bus so busy; None leaves it as it comes. [1/s]
    smooth : the road makes no noise.
    copies : coarse copies of the wheels, and pulse counts, may be among the others.
    """
    rng = np.random.default_rng((seed, 8))
    messages = wheels.wheel_messages
    if trouble is not None and trouble[0] == "flagged":
        messages = tuple(map(_with_mark, messages))
    cycle_s = min(message.cycle_s for message in messages)
    effects = () if trouble is None else (_effect(rng, *trouble),)
    drive = random_drive(rng, cycle_s=cycle_s, effects=effects, route=route, smooth=smooth)
    return _recorded(
        rng,
        wheels.name,
        messages,
        drive,
        others=others,
        trouble=trouble,
        frames_per_s=frames_per_s,
        copies=copies,
    )


def without_wheels(
    look_alike: LookAlike, *, seed: int, wheels: BusLayout | None = None
) -> UnlabelledCapture:
    """Record a drive on a bus on which there are no four wheel speeds, or a parked car.

    Parameters
    ----------
    wheels : of the parked car.

    Raises
    ------
    ValueError : a parked car without wheels.
    """
    rng = np.random.default_rng((seed, 9))
    if look_alike == "parked":
        if wheels is None:
            raise ValueError("a parked car has wheel messages")
        drive = random_drive(rng, cycle_s=0.02, route=(stand(60.0),))
        capture = _recorded(rng, look_alike, wheels.wheel_messages, drive)
        return replace(capture, wheels=())
    drive = random_drive(rng, cycle_s=0.02)
    messages = look_alike_messages(rng, look_alike)
    return _recorded(rng, look_alike, messages, drive)


def _recorded(
    rng: np.random.Generator,
    name: str,
    messages: tuple[SentMessage, ...],
    drive: Drive,
    *,
    others: int | None = None,
    trouble: tuple[Trouble, Corner] | None = None,
    frames_per_s: float | None = None,
    copies: bool = True,
) -> UnlabelledCapture:
    bitrate = 2_000_000 if any(message.fd for message in messages) else 500_000
    background = random_background(
        rng,
        count=int(rng.integers(_FEWEST, _MOST + 1)) if others is None else others,
        taken=frozenset(message.frame_id for message in messages),
        taken_load=bus_load(messages, bitrate),
        bitrate=bitrate,
        has_wheels=copies and any(message.corners for message in messages),
    )
    if frames_per_s is not None:
        wanted = frames_per_s - sum(1 / message.cycle_s for message in messages)
        slower = sum(1 / message.cycle_s for message in background) / wanted
        background = tuple(replace(one, cycle_s=one.cycle_s * slower) for one in background)
        bitrate = max(bitrate, _BUSY_BITRATE)
    layout = BusLayout(name, messages + background, bitrate)
    wheels = tuple(
        TrueField(message.frame_id, message.extended, signal.bits)
        for corner in CORNERS
        for message in messages
        for signal in message.signals
        if signal.quantity == corner
    )
    frames = record_frames(drive, layout)
    first_s = float(frames.time_ns[0] / 1e9) % 1_790_000_000
    motion = drive.motion
    return UnlabelledCapture(
        name=name,
        frames=frames,
        drive=drive,
        layout=layout,
        wheels=wheels,
        trouble=trouble,
        left_s=_middle_of_first(motion.time_s, motion.curvature > _TIGHT_PER_M) - first_s,
        right_s=_middle_of_first(motion.time_s, motion.curvature < -_TIGHT_PER_M) - first_s,
        steady=_steady(drive, first_s),
        steering=_field_of(layout, "steering"),
    )


def _middle_of_first(time_s: FloatColumn, holds: np.ndarray) -> float:
    """Middle of the first time that something holds; NaN where it never does. [s]"""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], holds, [False])).astype(np.int8)))
    if not len(edges):
        return float("nan")
    return float(time_s[edges[0]] + time_s[edges[1] - 1]) / 2


def _steady(drive: Drive, first_s: float) -> tuple[float, float]:
    """Where the car is fast and neither gains nor loses speed, and what the dash says there."""
    motion = drive.motion
    calm = np.abs(motion.speed_mps) - 8.0 * np.abs(motion.acceleration_mps2)
    row = int(np.argmax(calm - 500.0 * np.abs(motion.curvature)))
    return (
        float(motion.time_s[row]) - first_s,
        float(np.abs(motion.speed_mps[row])) * KPH * _DASH_FACTOR,
    )


def _field_of(layout: BusLayout, quantity: Quantity) -> TrueField | None:
    for message, signal in layout.signals():
        if signal.quantity == quantity:
            return TrueField(message.frame_id, message.extended, signal.bits)
    return None


def _with_mark(message: SentMessage) -> SentMessage:
    """All ones say "invalid", where nothing else does."""
    signals = tuple(
        replace(signal, invalid_raw=(1 << signal.length) - 1)
        if signal.quantity in CORNERS and signal.invalid_raw is None
        else signal
        for signal in message.signals
    )
    return replace(message, signals=signals)


def _effect(rng: np.random.Generator, trouble: Trouble, corner: Corner) -> Effect:
    if trouble == "late":
        return LatePickup(corner, lowest_kph=float(rng.uniform(12.0, 25.0)))
    if trouble == "frozen":
        return Frozen(corner, from_s=float(rng.uniform(5.0, 40.0)))
    return FlaggedInvalid(corner) if trouble == "flagged" else NoSignal(corner)
