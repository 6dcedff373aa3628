"""The road under the wheels: how its roughness makes the wheel speeds flutter.

The two wheel tracks are rolled over by the front wheels and again, a wheelbase later, by the rear
ones. Height is a random walk over distance (a displacement spectrum falling with the square of
the spatial frequency: ISO 8608, from memory). A wheel answers around the hop frequency of its
axle. Levels and frequencies are fitted to a real drive (see the test of the noise figures).
"""

from dataclasses import dataclass

import numpy as np

from canwheel.roadtest.car import Car
from canwheel.roadtest.motion import STEP_S, FloatColumn, FloatTable, Motion, moving_average

_PLACE_M = 0.05
"""Spacing of the road's profile; a tyre's contact smooths anything shorter. [m]"""
_CONTACT_M = 0.1
"""Length of a tyre's contact with the road. [m]"""
_PATCH_M = 16.0
"""Distance over which the road's roughness changes. [m]"""
_WANDER_S = 0.5
"""Time over which a wheel's slow wander changes, as on that drive. [s]"""
_DRIVELINE_ORDER = 6.1
"""Order of the driven axle's own hum, near the sixth of the wheel; seen on real sound drives."""


@dataclass(frozen=True, slots=True)
class Road:
    """What the road is like.

    Attributes
    ----------
    roughness : 1.0 makes the noise of the real drive that the model was fitted to.
    patchiness : standard deviation of the logarithm of the local roughness.
    alike_m : wavelength above which both wheel tracks go up and down together. [m]
    bumps_per_km : joints across the road; as many holes, of half the size, on each side. [1/km]
    bump_size : height of a usual one against the roughness around it.
    camber_pct : standard deviation of the left/right difference that camber makes. [%]
    wander_pct : standard deviation of each wheel's own slow wander: ruts, load, a weaving car. [%]
    surge_pct : standard deviation of the driven wheels' shudder. [%]
    hum_pct : amplitude of the driven axle's hum near the sixth order. [%]
    """

    roughness: float = 1.0
    patchiness: float = 0.75
    alike_m: float = 2.2
    bumps_per_km: float = 9.0
    bump_size: float = 45.0
    camber_pct: float = 0.02
    wander_pct: float = 0.035
    surge_pct: float = 0.08
    hum_pct: float = 0.05


@dataclass(frozen=True, slots=True, eq=False)
class Flutter:
    """What the road does to the wheels.

    Attributes
    ----------
    speed_mps : (n, 4) added to each wheel's speed. [m/s]
    roughness : (n,) how rough the place under the car is, 1.0 the usual.
    """

    speed_mps: FloatTable
    roughness: FloatColumn


_HOP_HZ = {"front": (8.8, 0.8), "rear": (12.8, 0.32)}
"""Axle-hop frequency and damping ratio. [Hz]"""
_FLUTTER_PER_HEIGHT = {"front": 0.0007, "rear": 0.00152}
"""Wheel-speed change per vertical speed of the road; fitted."""


def roll_over(road: Road, car: Car, motion: Motion, rng: np.random.Generator) -> Flutter:
    """Drive the car over a road drawn from `rng`."""
    heights, local = _profile(road, motion.travelled_m[-1] + car.wheelbase_m, rng)
    front_m = motion.travelled_m + car.wheelbase_m
    columns = []
    for axle, at_m in (("front", front_m), ("rear", motion.travelled_m)):
        for height in heights:
            rising = np.gradient(np.interp(at_m, height[0], height[1]), STEP_S)
            columns.append(_FLUTTER_PER_HEIGHT[axle] * _hop(rising, *_HOP_HZ[axle]))
    flutter = np.column_stack(columns) * road.roughness
    flutter += motion.speed_mps[:, None] * _shared(road, car, motion, rng)
    # A standing wheel does not flutter; a creeping one hardly.
    moving = np.minimum(np.abs(motion.speed_mps), 1.0)
    return Flutter(
        flutter * moving[:, None], road.roughness * np.interp(front_m, local[0], local[1])
    )


_Curve = tuple[FloatColumn, FloatColumn]


def _profile(
    road: Road, length_m: float, rng: np.random.Generator
) -> tuple[tuple[_Curve, _Curve], _Curve]:
    """Height of the left and the right wheel track over distance, and the local roughness."""
    at_m = np.arange(0.0, length_m + 2 * _PLACE_M, _PLACE_M)
    knots_m = np.arange(0.0, length_m + 2 * _PATCH_M, _PATCH_M)
    log_patch = road.patchiness * rng.standard_normal(len(knots_m))
    local = np.exp(np.interp(at_m, knots_m, log_patch))
    common, *own = _split(rng.standard_normal((3, len(at_m))), road.alike_m)
    tracks = []
    bumpy = np.zeros(len(at_m))
    across = _bumps(road, len(at_m), rng)
    for side in own:
        slope = (common + side) * local
        bump = across * rng.uniform(0.8, 1.2) + 0.5 * _bumps(road, len(at_m), rng)
        bumpy += np.abs(bump)
        height = np.cumsum(slope + bump) * np.sqrt(_PLACE_M)
        tracks.append((at_m, moving_average(height, round(_CONTACT_M / _PLACE_M))))
    rough = local + moving_average(bumpy, round(4.0 / _PLACE_M)) * 5
    return (tracks[0], tracks[1]), (at_m, rough)


def _split(slopes: FloatTable, alike_m: float) -> FloatTable:
    """Give the first row the long waves, the others the short ones, so that each sum is white."""
    ratio = np.fft.rfftfreq(slopes.shape[1], _PLACE_M) * alike_m
    low = 1 / (1 + 1j * ratio)
    answers = np.stack((low, 1 - low, 1 - low))
    filtered: FloatTable = np.fft.irfft(np.fft.rfft(slopes) * answers, slopes.shape[1])
    return filtered


def _bumps(road: Road, places: int, rng: np.random.Generator) -> FloatColumn:
    """Slopes of sudden edges up and down again, of very different sizes."""
    count = rng.poisson(road.bumps_per_km * places * _PLACE_M / 1000)
    slope = np.zeros(places + 64)
    start = rng.integers(0, places, count)
    size = road.bump_size * rng.lognormal(0.0, 0.4, count) * rng.choice((-1, 1), count)
    np.add.at(slope, start, size)
    np.add.at(slope, start + rng.integers(4, 24, count), -size)
    return slope[:places]


def _hop(rising: FloatColumn, hop_hz: float, damping: float) -> FloatColumn:
    """Answer of an unsprung wheel to the road's vertical speed: a damped resonance."""
    spectrum = np.fft.rfft(rising)
    ratio = np.fft.rfftfreq(len(rising), STEP_S) / hop_hz
    answer = 2j * damping * ratio / (1 - ratio**2 + 2j * damping * ratio)
    filtered: FloatColumn = np.fft.irfft(spectrum * answer, len(rising))
    return filtered


def _wander(samples: int, rng: np.random.Generator) -> FloatTable:
    """Four independent slow noises of standard deviation one. (n, 4)"""
    spectrum = np.fft.rfft(rng.standard_normal((samples, 4)), axis=0)
    ratio = 2 * np.pi * np.fft.rfftfreq(samples, STEP_S) * _WANDER_S
    noise: FloatTable = np.fft.irfft(spectrum / (1 + 1j * ratio)[:, None], samples, axis=0)
    return noise * float(np.sqrt(2 * _WANDER_S / STEP_S))


def _shared(road: Road, car: Car, motion: Motion, rng: np.random.Generator) -> FloatTable:
    """What the wheels of an axle or a side share: shudder, hum and camber, as fractions."""
    samples = len(motion.speed_mps)
    shudder = _hop(rng.standard_normal(samples), 3.0, 0.6)
    shudder *= road.surge_pct / 100 / max(float(np.std(shudder)), 1e-12)
    turned = 2 * np.pi * motion.travelled_m / car.circumference_m
    hum = road.hum_pct / 100 * np.sin(_DRIVELINE_ORDER * turned)
    driven = {"front": (1.0, 0.15), "rear": (0.15, 1.0), "all": (1.0, 1.0)}[car.driven]
    front, rear = (share * (shudder + hum) for share in driven)
    knots = max(4, round(motion.travelled_m[-1] / 60.0))
    lean = road.camber_pct / 100 * rng.standard_normal(knots)
    side = np.interp(motion.travelled_m, np.linspace(0, motion.travelled_m[-1], knots), lean) / 2
    shared = np.column_stack((front - side, front + side, rear - side, rear + side))
    return shared + road.wander_pct / 100 * _wander(samples, rng)
