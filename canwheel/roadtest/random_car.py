"""Any car, its sensors and the road under it.

Ranges are meant to be at least as hard as the road; where a range has no source it is common
practice and says nothing about any one car.
"""

import numpy as np

from canwheel.roadtest.car import Car, Driven
from canwheel.roadtest.chance import happens
from canwheel.roadtest.road import Road
from canwheel.roadtest.sensor import BrakeUnit, Pickup, Ring

TEETH = (43, 44, 47, 48, 48, 52, 60, 86, 96, 100)
"""Usual tooth counts of rings, the commonest twice (makers' descriptions and from memory)."""


def random_car(rng: np.random.Generator) -> Car:
    """Any car or van, with tyres up to 0.5 % off."""
    front_track_m = float(rng.uniform(1.42, 1.72))
    ratios = np.clip(rng.normal(1.0, 0.002, 4), 0.995, 1.005)
    driven: Driven = ("front", "front", "rear", "all")[int(rng.integers(4))]
    return Car(
        wheelbase_m=float(rng.uniform(2.3, 3.6)),
        front_track_m=front_track_m,
        rear_track_m=front_track_m + float(rng.normal(0.0, 0.02)),
        circumference_m=float(rng.uniform(1.7, 2.2)),
        tyre_ratio=(float(ratios[0]), float(ratios[1]), float(ratios[2]), float(ratios[3])),
        driven=driven,
        rear_slip_rad_per_g=float(rng.uniform(0.04, 0.11)),
        slip_stiffness=float(rng.uniform(14.0, 30.0)),
    )


def random_road(rng: np.random.Generator) -> Road:
    """From a new motorway to a patched lane."""
    roughness = float(np.clip(rng.lognormal(0.0, 0.45), 0.4, 2.5))
    return Road(
        roughness=roughness,
        patchiness=float(rng.uniform(0.4, 0.9)),
        alike_m=float(rng.uniform(1.0, 4.0)),
        bumps_per_km=float(rng.uniform(2.0, 20.0)),
        bump_size=float(rng.uniform(15.0, 55.0)) / max(roughness, 1.0),
        camber_pct=float(rng.uniform(0.0, 0.15)),
        wander_pct=float(rng.uniform(0.02, 0.08)),
        surge_pct=float(rng.uniform(0.02, 0.15)),
        hum_pct=float(rng.uniform(0.0, 0.15)),
    )


def random_unit(rng: np.random.Generator, cycle_s: float) -> BrakeUnit:
    """A unit whose smoothing suits its message's cycle, or does not."""
    measure_s = float(rng.choice((0.005, 0.007, 0.01)))
    front_s, rear_s = rng.uniform(0.0, 0.02, 2)
    return BrakeUnit(
        measure_s=measure_s,
        smooth_s=measure_s * float(rng.integers(1, 3 + round(cycle_s / measure_s))),
        latency_s=(float(front_s), float(front_s), float(rear_s), float(rear_s)),
        timeout_s=float(rng.uniform(0.12, 0.4)),
        teeth=int(rng.choice(TEETH)),
        lowest_kph=float(rng.uniform(0.2, 1.8)),
        tells_direction=happens(rng, 0.1),
    )


def random_rings(rng: np.random.Generator, teeth: int) -> tuple[Ring, Ring, Ring, Ring]:
    """Four sound rings: up to 0.25 % ripple once a turn, as seen on real sound drives."""

    def ring() -> Ring:
        return Ring(
            teeth=teeth,
            pitch_error=float(rng.uniform(0.001, 0.006)),
            off_centre=float(min(rng.exponential(0.0007), 0.0025)),
            turned_rad=float(rng.uniform(0, 2 * np.pi)),
        )

    return (ring(), ring(), ring(), ring())


def random_pickups(
    rng: np.random.Generator, *, passive: bool
) -> tuple[Pickup, Pickup, Pickup, Pickup]:
    """Active sensors, or passive ones that read nothing below 3 to 6 km/h."""
    usual = rng.uniform(3.0, 5.5) if passive else rng.uniform(0.1, 1.2)

    def pickup() -> Pickup:
        return Pickup(float(usual * rng.uniform(0.9, 1.1)), float(rng.uniform(0.001, 0.005)))

    return (pickup(), pickup(), pickup(), pickup())
