"""From a turning wheel to a speed: the toothed ring, the pick-up, and the brake unit's timing.

A ring gives one pulse a tooth; the unit times the pulses over its cycle. What a real ring does
wrong (uneven teeth, off-centre, a bent or missing tooth) so comes out as it does on a car.
"""

from dataclasses import dataclass

import numpy as np

from canwheel.roadtest.motion import KPH, STEP_S, FloatColumn, moving_average


@dataclass(frozen=True, slots=True)
class Ring:
    """A toothed ring, or the magnets of an encoder.

    Attributes
    ----------
    teeth : pulses a revolution when nothing is broken.
    pitch_error : standard deviation of a tooth's place, as a fraction of the pitch.
    off_centre : amplitude of the once-a-revolution ripple of the speed, as a fraction.
    bent : teeth out of place: (tooth, fraction of the pitch).
    missing : teeth that give no pulse.
    turned_rad : where the ring starts. [rad]
    """

    teeth: int = 48
    pitch_error: float = 0.002
    off_centre: float = 0.0005
    bent: tuple[tuple[int, float], ...] = ()
    missing: tuple[int, ...] = ()
    turned_rad: float = 0.0


@dataclass(frozen=True, slots=True)
class Pickup:
    """The sensor over the ring.

    Attributes
    ----------
    lowest_kph : speed below which its pulses are too weak; near zero for an active one. [km/h]
    jitter : standard deviation of a pulse's time, as a fraction of the time between pulses.
    """

    lowest_kph: float = 0.4
    jitter: float = 0.002


@dataclass(frozen=True, slots=True)
class BrakeUnit:
    """How the pulses become the number that is sent.

    Attributes
    ----------
    measure_s : cycle over which pulses are timed. [s]
    smooth_s : length of the moving average over those. [s]
    latency_s : age of each corner's value when it is ready to be sent, in corner order. [s]
    timeout_s : a wheel without a pulse for so long stands. [s]
    teeth : count that the unit was told.
    lowest_kph : below this it says zero. [km/h]
    tells_direction : whether speeds are negative in reverse.
    """

    measure_s: float = 0.01
    smooth_s: float = 0.01
    latency_s: tuple[float, float, float, float] = (0.004, 0.004, 0.004, 0.004)
    timeout_s: float = 0.25
    teeth: int = 48
    lowest_kph: float = 0.3
    tells_direction: bool = False


Pulses = FloatColumn


def tooth_places(ring: Ring, rng: np.random.Generator) -> FloatColumn:
    """Where in a revolution the ring gives its pulses. (teeth,) rising, 0 to 1."""
    tooth = np.arange(ring.teeth)
    place = tooth + rng.normal(0.0, ring.pitch_error, ring.teeth)
    for number, shift in ring.bent:
        place[number % ring.teeth] += shift
    angle = 2 * np.pi * tooth / ring.teeth + ring.turned_rad
    # Pulse places off by e/(2 pi) sin(angle) make the speed ripple by e cos(angle).
    place = place / ring.teeth + ring.off_centre / (2 * np.pi) * np.sin(angle)
    return np.sort(np.delete(place, [number % ring.teeth for number in ring.missing]))


def pulse_times(
    ring: Ring,
    pickup: Pickup,
    wheel_mps: FloatColumn,
    circumference_m: float,
    rng: np.random.Generator,
) -> Pulses:
    """When the sensor gives its pulses.

    Parameters
    ----------
    wheel_mps : (n,) speed of the tyre's surface, one value each `STEP_S`. [m/s]
    circumference_m : true rolling circumference of this wheel. [m]

    Returns
    -------
    (k,) strictly rising. [s]
    """
    speed = np.abs(wheel_mps)
    turns = np.concatenate(([0.0], np.cumsum(speed[:-1]) * (STEP_S / circumference_m)))
    turns += ring.turned_rad / (2 * np.pi)
    time_s = np.arange(len(speed)) * STEP_S
    whole = np.arange(int(turns[0]) - 1, int(turns[-1]) + 2)
    place = (whole[:, None] + tooth_places(ring, rng)[None, :]).ravel()
    place = place[(place > turns[0]) & (place < turns[-1])]
    at_s = np.interp(place, turns, time_s)
    gap_s = np.diff(at_s, prepend=-1.0)
    kph = np.interp(at_s, time_s, speed) * KPH
    at_s = at_s + np.minimum(gap_s, 0.02) * rng.normal(0.0, pickup.jitter, len(at_s))
    # Run-out changes the air gap over a revolution, and with it the weakest readable speed.
    strong = kph > pickup.lowest_kph * (1.0 + 0.06 * np.sin(2 * np.pi * place))
    at_s = at_s[strong]
    in_order = np.diff(at_s, prepend=-np.inf) > 0
    pulses: Pulses = at_s[in_order]
    return pulses


def measure_speed(
    unit: BrakeUnit, pulses: Pulses, circumference_m: float, ready_s: FloatColumn
) -> FloatColumn:
    """Speed that the unit makes of the pulses, before its smoothing.

    Pulses of a cycle over the time between the last of it and the last of the one before; without
    a new pulse the last speed is held, but never more than the silence since allows.

    Parameters
    ----------
    circumference_m : rolling circumference that the unit was told. [m]
    ready_s : (m,) ends of its cycles, `unit.measure_s` apart. [s]

    Returns
    -------
    (m,) [km/h]
    """
    if not len(pulses):
        return np.zeros(len(ready_s))
    pitch_m = circumference_m / unit.teeth
    last = np.searchsorted(pulses, ready_s, side="right") - 1
    before = np.concatenate(([-1], last[:-1]))
    timed = (last > before) & (before >= 0)
    taken_s = np.where(timed, pulses[last] - pulses[before], np.inf)
    timed &= taken_s < unit.timeout_s + unit.measure_s
    speed = (last - before) * pitch_m / taken_s
    newest = np.maximum.accumulate(np.where(timed, np.arange(len(ready_s)), 0))
    silence_s = np.where(last >= 0, ready_s - pulses[np.maximum(last, 0)], np.inf)
    possible = pitch_m / np.maximum(silence_s, 1e-6)
    held = np.where(timed, speed, np.minimum(speed[newest], possible))
    held = np.where(silence_s > unit.timeout_s, 0.0, held) * KPH
    return np.where(held < unit.lowest_kph, 0.0, held)


def smooth(unit: BrakeUnit, speed_kph: FloatColumn) -> FloatColumn:
    """The unit's own smoothing: the mean of the latest readings, none of those to come."""
    samples = max(1, round(unit.smooth_s / unit.measure_s))
    average = moving_average(speed_kph, samples)
    delay = samples - 1 - samples // 2  # the window above is centred; this one ends now
    late = np.concatenate((np.full(delay, average[0]), average))[: len(average)]
    return np.where(late < unit.lowest_kph, 0.0, late)
