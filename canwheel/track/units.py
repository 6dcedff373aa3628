"""What a wheel signal counts in, to km/h."""

import numpy as np
from numpy.typing import NDArray

from canwheel.definitions.layout import SpeedUnit
from canwheel.vehicle import Vehicle

ASSUMED_RING_TEETH = 48
"""Taken when nobody gives the ring's count; ratios between corners do not depend on it. Implied by
a published sensor range of 0 to 1700 Hz for 0 to 250 km/h."""

COUNTER_WINDOW_S = 0.15
"""Pulse counts are differenced over this long: a ring of 48 teeth then steps by about 1 km/h. [s]
(1.94 m / 48 / 0.15 s = 0.97 km/h)"""

KPH_PER_MPS = 3.6
KPH_PER_MPH = 1.609344

_BY_PULSE: frozenset[SpeedUnit] = frozenset({"pulses/s", "pulse count"})
_BY_TURN: frozenset[SpeedUnit] = _BY_PULSE | {"rad/s", "rpm"}


def assumed_scale(unit: SpeedUnit, vehicle: Vehicle) -> dict[str, float]:
    """What a unit's factor to km/h takes for granted because the vehicle file does not give it.

    Returns
    -------
    Assumed values by their name in the vehicle file: ``rolling_circumference_m`` [m],
    ``ring_teeth``; empty where the unit needs none, or all that it needs is given.
    """
    assumed: dict[str, float] = {}
    if unit in _BY_TURN and not vehicle.circumference_is_known:
        assumed["rolling_circumference_m"] = vehicle.circumference_m
    if unit in _BY_PULSE and vehicle.vehicle.ring_teeth is None:
        assumed["ring_teeth"] = ASSUMED_RING_TEETH
    return assumed


def kph_per_unit(unit: SpeedUnit, vehicle: Vehicle) -> float:
    """Factor from a signal's own unit to km/h; for a pulse count, from pulses a second. [km/h]

    A signal whose DBC gives no unit is taken as km/h: right or wrong by a constant that all four
    corners share.
    """
    circumference_m = vehicle.circumference_m
    pulse_m = circumference_m / (vehicle.vehicle.ring_teeth or ASSUMED_RING_TEETH)
    factors: dict[SpeedUnit, float] = {
        "km/h": 1.0,
        "mph": KPH_PER_MPH,
        "m/s": KPH_PER_MPS,
        "rad/s": KPH_PER_MPS * circumference_m / (2 * np.pi),
        "rpm": KPH_PER_MPS * circumference_m / 60,
        "pulses/s": KPH_PER_MPS * pulse_m,
        "pulse count": KPH_PER_MPS * pulse_m,
        "proportional": 1.0,
    }
    return factors[unit]


def counter_rate(
    raw: NDArray[np.int64], time_s: NDArray[np.float64], *, modulus: int, period_s: float
) -> tuple[NDArray[np.float64], float, float]:
    """Pulses a second from a wrapped pulse counter.

    Parameters
    ----------
    raw : (n,) counter values. time_s : (n,) strictly rising. [s]
    modulus : how many values the counter goes through before it starts again.
    period_s : usual time between samples. [s]

    Returns
    -------
    (n,) rate, the first window NaN, and NaN across a gap in which the counter may have wrapped
    unseen; the rate of one single pulse more, its resolution [1/s]; and the time that each rate
    is the mean over [s].
    """
    window = max(1, round(COUNTER_WINDOW_S / period_s)) if period_s > 0 else 1
    rate = np.full(len(raw), np.nan)
    if len(raw) <= window:
        return rate, float("nan"), 0.0
    step = np.diff(raw) % modulus
    count = np.concatenate(([0], np.cumsum(step)))
    span_s = time_s[window:] - time_s[:-window]
    rate[window:] = (count[window:] - count[:-window]) / span_s
    rate[window:][span_s > 3 * window * period_s] = np.nan
    return rate, 1.0 / (window * period_s), window * period_s
