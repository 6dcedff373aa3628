"""Where the drive goes: legs of road with a speed to keep, and the motion that they make.

Speeds are planned over distance: the limit of every place, then what can be reached by
accelerating and what is left by braking, so that stops and turns come out where they stand.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from canwheel.roadtest.chance import happens, sign
from canwheel.roadtest.motion import (
    KPH,
    STEP_S,
    FloatColumn,
    Motion,
    moving_average,
)

_PLACE_M = 0.2
"""Spacing of the plan over distance. [m]"""
_STEERING_M = 6.0
"""Distance over which a driver turns the wheel into a bend. [m]"""
_PEDAL_S = 0.6
"""Time over which a driver moves from one pedal to the other. [s]"""
_SLOWEST_MPS = 0.05
"""Below this the plan counts as standing. [m/s]"""


@dataclass(frozen=True, slots=True)
class Leg:
    """A stretch of road.

    Attributes
    ----------
    length_m : how long. [m]
    kph : speed not to exceed on it. [km/h]
    curvature : left positive. [1/m]
    accelerate_mps2, brake_mps2 : how briskly it is driven. [m/s²]
    wait_s : how long to stand at its end; None drives on. [s]
    reverse : driven backwards; put a stop before and after it.
    """

    length_m: float
    kph: float
    curvature: float = 0.0
    accelerate_mps2: float = 1.4
    brake_mps2: float = 1.8
    wait_s: float | None = None
    reverse: bool = False


Route = tuple[Leg, ...]


def stand(wait_s: float) -> Leg:
    """Stand where the car is, as at the beginning of a drive."""
    return Leg(_PLACE_M, 5.0, wait_s=wait_s)


def stop(wait_s: float, *, brake_mps2: float = 1.8) -> Leg:
    """Roll to a stop within a short last stretch and stand."""
    return Leg(4.0, 12.0, brake_mps2=brake_mps2, wait_s=wait_s)


def hard_brake(kph: float, to_kph: float, *, brake_mps2: float) -> Route:
    """Drive on at a speed, then brake late and hard to another."""
    length_m = ((kph / KPH) ** 2 - (to_kph / KPH) ** 2) / (2 * brake_mps2)
    return (Leg(max(length_m, 1.0), kph, brake_mps2=brake_mps2), Leg(3.0, to_kph))


def turn(degrees: float, radius_m: float, kph: float) -> Leg:
    """Drive a bend; positive degrees turn left."""
    length_m = abs(np.radians(degrees)) * radius_m
    return Leg(float(length_m), kph, curvature=float(np.sign(degrees)) / radius_m)


def lane_change(kph: float, *, left: bool, width_m: float = 3.2) -> Route:
    """Move over by one lane and straighten up, within about three seconds."""
    length_m = max(20.0, kph / KPH * 3.0)
    curvature = 4.0 * width_m / length_m**2 * (1 if left else -1)
    half = length_m / 2
    return (Leg(half, kph, curvature=curvature), Leg(half, kph, curvature=-curvature))


def roundabout(kph: float, *, radius_m: float = 14.0, quarters: int = 2) -> Route:
    """Keep left into it, go round to the right, keep left out of it, as where one drives left.

    A negative `quarters` goes round the other way.
    """
    side = -1 if quarters > 0 else 1
    return (
        turn(-side * 35, radius_m * 1.3, kph),
        turn(side * 90 * abs(quarters), radius_m, kph),
        turn(-side * 35, radius_m * 1.3, kph),
    )


def stability_recipe() -> Route:
    """Malfunction drive of the stability-control rules: 48 km/h, both turns, one brake.

    48 ± 8 km/h within 30 s, then within two minutes at least one smooth left and one smooth right
    turn and one brake application (49 CFR 571.126 S7.10 and UN R140 §9.10, from memory).
    """
    return (
        stand(3.0),
        Leg(350.0, 48.0),
        turn(60, 60.0, 44.0),
        Leg(180.0, 48.0),
        turn(-60, 60.0, 44.0),
        Leg(250.0, 48.0),
        Leg(30.0, 30.0, brake_mps2=3.0),
        Leg(250.0, 48.0),
        stop(6.0),
    )


def drive(
    route: Route, rng: np.random.Generator, *, wobble: float = 0.02, from_s: float = 0.0
) -> Motion:
    """Drive a route.

    Parameters
    ----------
    route : legs, in order; starts at standstill.
    rng : of the driver's unsteady foot.
    wobble : standard deviation of the speed around the plan, as a fraction of it.
    from_s : leave out this much of the beginning, so that the drive starts on the way. [s]

    Raises
    ------
    ValueError : no legs, or nothing left after `from_s`.
    """
    if not route:
        raise ValueError("a route needs at least one leg")
    speed, curvature = _plan(route)
    speed = moving_average(speed, round(_PEDAL_S / STEP_S))
    speed = speed * (1.0 + wobble * _unsteadiness(len(speed), rng))
    first = round(from_s / STEP_S)
    if first >= len(speed):
        raise ValueError(f"from_s={from_s} is beyond the end of the route")
    return Motion(speed[first:], curvature[first:])


def _plan(route: Route) -> tuple[FloatColumn, FloatColumn]:
    """Speed and curvature over time, before the driver adds anything."""
    places = np.maximum([round(leg.length_m / _PLACE_M) for leg in route], 1)

    def spread(values: Iterable[float]) -> FloatColumn:
        return np.repeat(np.fromiter(values, float, len(route)), places)

    limit = spread(leg.kph / KPH for leg in route) ** 2
    ends = np.cumsum(places) - 1
    waits = np.array([-1.0 if leg.wait_s is None else leg.wait_s for leg in route])
    limit[0] = 0.0
    limit[ends[waits >= 0]] = 0.0
    gain = 2 * _PLACE_M * np.cumsum(spread(leg.accelerate_mps2 for leg in route))
    loss = 2 * _PLACE_M * np.cumsum(spread(leg.brake_mps2 for leg in route))
    squared = np.minimum.accumulate(limit - gain) + gain
    squared = np.minimum.accumulate((squared + loss)[::-1])[::-1] - loss
    speed = np.sqrt(np.maximum(squared, 0.0))

    step_s = 2 * _PLACE_M / np.maximum(speed[:-1] + speed[1:], _SLOWEST_MPS)
    at_s = np.concatenate(([0.0], np.cumsum(step_s)))
    sign = spread(-1.0 if leg.reverse else 1.0 for leg in route)
    bend = moving_average(spread(leg.curvature for leg in route), round(_STEERING_M / _PLACE_M))
    # Standing at a stop repeats its place: once on arrival and once on leaving.
    stops = ends[waits >= 0]
    place = np.sort(np.concatenate((np.arange(len(speed)), stops)))
    standing = np.zeros(len(place))
    standing[stops + np.arange(1, len(stops) + 1)] = waits[waits >= 0]
    arrive_s = at_s[place] + np.cumsum(standing)
    time_s = np.arange(0.0, arrive_s[-1], STEP_S)
    return (
        np.interp(time_s, arrive_s, (speed * sign)[place]),
        np.interp(time_s, arrive_s, bend[place]),
    )


def _unsteadiness(samples: int, rng: np.random.Generator) -> FloatColumn:
    """Slow noise of standard deviation one, changing over some seconds."""
    knots = max(4, round(samples * STEP_S / 2.5))
    slow = rng.standard_normal(knots + 3)
    smooth = np.convolve(slow, (0.25, 0.5, 0.25), mode="same") / 0.61
    fine = np.interp(np.linspace(0, knots, samples), np.arange(knots + 3), smooth)
    return moving_average(fine, round(1.0 / STEP_S))


Part = Callable[[np.random.Generator], Sequence[Leg]]


def _straight(rng: np.random.Generator, kph: float, shortest_m: float, longest_m: float) -> Leg:
    """Nearly straight road, driven to taste."""
    bend = rng.normal(0.0, 1 / 4000) if happens(rng, 0.5) else 0.0
    return Leg(
        rng.uniform(shortest_m, longest_m),
        kph,
        curvature=float(np.clip(bend, -1 / 900, 1 / 900)),
        accelerate_mps2=rng.uniform(0.8, 2.4),
        brake_mps2=rng.uniform(1.2, 2.8),
    )


def town(rng: np.random.Generator) -> Route:
    """One block of a town: a street, then a junction, a light, a roundabout or a hard brake."""
    kph = float(rng.choice([30, 40, 50, 50, 60])) * rng.uniform(0.9, 1.05)
    street = _straight(rng, kph, 60, 350)
    kind = rng.choice(["junction", "light", "stop turn", "roundabout", "brake", "through"])
    degrees = sign(rng) * rng.uniform(70, 100)
    if kind == "junction":
        return (street, turn(degrees, rng.uniform(6, 16), rng.uniform(12, 24)))
    if kind == "light":
        return (street, stop(rng.uniform(3, 12), brake_mps2=rng.uniform(1.2, 2.6)))
    if kind == "stop turn":
        return (street, stop(rng.uniform(1, 5)), turn(degrees, rng.uniform(6, 14), 18.0))
    if kind == "roundabout":
        quarters = int(rng.integers(1, 4)) * sign(rng)
        return (street, *roundabout(rng.uniform(18, 30), quarters=quarters))
    if kind == "brake":
        return (street, *hard_brake(kph, rng.uniform(6, 20), brake_mps2=rng.uniform(3, 7.5)))
    return (street, *lane_change(kph, left=happens(rng, 0.5)))


def country(rng: np.random.Generator) -> Route:
    """A piece of open road: bends at speed, now and then a junction."""
    kph = rng.uniform(65, 100)
    legs: list[Leg] = [_straight(rng, kph, 150, 700)]
    for _ in range(int(rng.integers(1, 4))):
        radius_m = rng.uniform(60, 450)
        fastest = np.sqrt(rng.uniform(1.5, 4.0) * radius_m) * KPH
        legs.append(turn(sign(rng) * rng.uniform(10, 70), radius_m, min(kph, float(fastest))))
        legs.append(_straight(rng, kph, 50, 350))
    if happens(rng, 0.25):
        legs += [stop(rng.uniform(1, 6)), turn(sign(rng) * 90, rng.uniform(8, 18), 22.0)]
    return tuple(legs)


def motorway(rng: np.random.Generator) -> Route:
    """A piece of fast road: long, gentle bends, lane changes, traffic."""
    kph = rng.uniform(90, 135)
    gentle = turn(sign(rng) * rng.uniform(3, 15), rng.uniform(700, 2500), kph)
    legs: list[Leg] = [_straight(rng, kph, 600, 2000), gentle]
    if happens(rng, 0.6):
        legs += lane_change(kph, left=happens(rng, 0.5))
        legs.append(_straight(rng, rng.uniform(80, kph), 200, 700))
    return tuple(legs)


def car_park(rng: np.random.Generator) -> Route:
    """Walking pace: tight turns, stops, now and then backwards."""
    legs: list[Leg] = []
    for _ in range(int(rng.integers(2, 5))):
        kph = rng.uniform(4, 15)
        legs.append(Leg(rng.uniform(8, 40), kph))
        legs.append(turn(sign(rng) * rng.uniform(60, 180), rng.uniform(4.8, 9), kph))
    if happens(rng, 0.5):
        bend = sign(rng) / rng.uniform(5, 12)
        legs.append(stop(rng.uniform(1, 3)))
        legs.append(Leg(rng.uniform(6, 25), rng.uniform(3, 8), bend, wait_s=2.0, reverse=True))
    return tuple(legs)


PARTS: dict[str, Part] = {
    "town": town,
    "country": country,
    "motorway": motorway,
    "car_park": car_park,
}


def random_route(
    rng: np.random.Generator, *, duration_s: float, mix: Sequence[str] = ("town", "country")
) -> Route:
    """String parts together until they take about as long as asked.

    Parameters
    ----------
    duration_s : least time that the drive takes. [s]
    mix : names of `PARTS`; each block of the drive draws one of them.
    """
    legs: list[Leg] = [stand(rng.uniform(2, 8))]
    taken_s = 0.0
    while taken_s < duration_s:
        name = mix[int(rng.integers(len(mix)))]
        for _ in range(int(rng.integers(1, 4))):
            part = PARTS[name](rng)
            legs += part
            taken_s += sum(leg.length_m / (leg.kph / KPH) + (leg.wait_s or 0.0) for leg in part)
    legs.append(stop(rng.uniform(2, 5)))
    return tuple(legs)
