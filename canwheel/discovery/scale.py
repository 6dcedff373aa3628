"""What one raw step is worth: by a held speed, a satellite track, or relative to a usual step."""

import numpy as np
from numpy.typing import NDArray

from canwheel.discovery.hints import HeldSpeed, SatelliteTrack
from canwheel.discovery.proposal import Scale
from canwheel.errors import RequestError

FloatColumn = NDArray[np.float64]

DASH_SHARE, DASH_KPH = 0.10, 4.0
"""A dash may read too much by a tenth of the true speed and 4 km/h, and never too little
(UN Regulation 39, 5.3; read in a second-hand copy)."""

USUAL_STEPS_KPH = (
    *(0.01, 1 / 32, 1.0, 1 / 16, 0.1, 0.5, 1 / 64, 0.0075, 0.05, 1 / 8, 0.02, 0.25, 0.005),
)
"""Steps in which wheel speeds are sent, the most usual first (common practice, no source; 0.01
stands in a third of the layouts of an open set). [km/h]"""

_NEAR_S = 1.5
"""A held speed is averaged over so long either way. [s]"""

_HELD_SHARE = 0.06
"""While a speed is held it changes by no more than this."""

_SHORTEST_TRACK_S = 20.0
"""Track and capture must overlap for so long, moving. [s]"""

_FARTHEST_CLOCK_S = 30.0
"""The recorder's clock and the satellites' differ by no more, or the two cannot be matched. [s]"""

_TRACK_FITS = 0.97
"""Correlation of the two speeds."""

_LIKELY_TOP_KPH = (42.0, 135.0)
"""The fastest of a drive on public roads lies in here, most likely. [km/h]"""


def scale_by_held_speeds(
    time_s: FloatColumn, steps: FloatColumn, held: tuple[HeldSpeed, ...]
) -> Scale:
    """Return the scale by speeds that the driver held on the dash.

    The dash shows V with V2 <= V <= 1.1 V2 + 4 km/h of the true V2; the middle of what that leaves
    is taken, of several held speeds what all of them leave.

    Parameters
    ----------
    time_s, steps : (t,) moments and raw steps above rest, the mean of the four. [s]
    held : at least one.

    Raises
    ------
    RequestError : the car stood then, or its speed changed; or the speeds contradict one another.
    """
    lows, highs = [], []
    for speed in held:
        where = f"--speed {speed.kph:g}@{speed.time_s:g}"
        near = steps[np.abs(time_s - speed.time_s) <= _NEAR_S]
        level = float(np.median(near)) if len(near) else 0.0
        if level < 0.05 * float(np.percentile(steps, 99)):
            raise RequestError(
                "the car stood then",
                where=where,
                remedy="give the time in seconds from the first frame",
            )
        if float(np.ptp(near)) > 2 * _HELD_SHARE * level:
            raise RequestError(
                f"the speed changed by {np.ptp(near) / level:.0%} about then",
                where=where,
                remedy="name a time at which the driver held it for three seconds and more",
            )
        lows.append(max(0.0, speed.kph - DASH_KPH) / (1 + DASH_SHARE) / level)
        highs.append(speed.kph / level)
    low, high = max(lows), min(highs)
    if low > high * 1.03:
        raise RequestError(
            "the held speeds contradict one another by more than a dash may be wrong",
            where="--speed",
            remedy="check the speeds and their times",
        )
    low, high = min(low, high), max(low, high)
    kph, usual = _usual_within(low, high)
    says = (
        f"By the held speed a step is {low:.5g} to {high:.5g} km/h; a dash may read 10 % + 4 km/h"
    )
    says += " too much (UN Regulation 39)."
    if usual:
        says += f" {kph:.5g} km/h, a usual step, lies within and is taken."
    return Scale(kph, low, high, "held speed", says)


def scale_by_track(
    time_s: FloatColumn, steps: FloatColumn, first_time_s: float, track: SatelliteTrack
) -> Scale:
    """Return the scale by a satellite track.

    Parameters
    ----------
    time_s, steps : as for ``scale_by_held_speeds``.
    first_time_s : the capture's first frame since the epoch. [s]
    track : speeds over ground.

    Raises
    ------
    RequestError : track and capture do not overlap, or do not fit.
    """
    best = (0.0, 0.0, np.empty(0), np.empty(0))
    for offset_s in np.arange(-_FARTHEST_CLOCK_S, _FARTHEST_CLOCK_S + 0.5, 0.5):
        at = track.time_s - first_time_s + offset_s
        inside = (at >= time_s[0]) & (at <= time_s[-1])
        if inside.sum() < 10:  # noqa: PLR2004 - a line needs some points
            continue
        ours = np.interp(at[inside], time_s, steps)
        theirs = track.speed_kph[inside]
        if np.ptp(at[inside]) < _SHORTEST_TRACK_S or np.ptp(ours) == 0 or np.ptp(theirs) == 0:
            continue
        along = float(np.corrcoef(ours, theirs)[0, 1])
        if along > best[0]:
            best = (along, float(offset_s), ours, theirs)
    along, offset_s, ours, theirs = best
    if along < _TRACK_FITS:
        what = "does not overlap with the capture" if along == 0 else "does not go along with it"
        raise RequestError(
            f"{what} (clocks may differ by {_FARTHEST_CLOCK_S:.0f} s at most)",
            where=track.file,
            remedy="give the track of this very drive",
        )
    moving = theirs > 0.3 * theirs.max()
    ratio = theirs[moving] / np.maximum(ours[moving], 1e-9)
    kph = float(np.median(ratio))
    apart = float(np.median(np.abs(ratio - kph))) * 1.5
    error = max(0.005 * kph, 3 * apart / np.sqrt(max(1, moving.sum())))
    says = (
        f"The satellite track makes a step {kph:.5g} km/h, to {100 * error / kph:.1f} %, with its"
        f" clock {offset_s:+.1f} s off (correlation {along:.3f})."
    )
    return Scale(kph, kph - error, kph + error, "satellite track", says)


def scale_by_habit(steps: FloatColumn) -> Scale:
    """Return the most usual step that makes the drive's top speed a likely one, and say so.

    Parameters
    ----------
    steps : (t,) raw steps above rest, the mean of the four.
    """
    top = float(np.percentile(steps, 99.5))
    low, high = _LIKELY_TOP_KPH
    fits = [step for step in USUAL_STEPS_KPH if low <= step * top <= high]
    if not fits:
        return Scale(None, None, None, "unknown", "Nothing tells what a step is worth.")
    kph = fits[0]
    return Scale(
        kph,
        low / top,
        high / top,
        "best fitting usual step",
        f"Nothing tells what a step is worth: speeds are relative to the best fitting usual step,"
        f" {kph:.5g} km/h, by which the drive's top speed is {kph * top:.0f} km/h. Faults that are"
        f" told by ratios do not depend on it.",
    )


def no_scale() -> Scale:
    """Return the scale of what is not counted in speeds."""
    return Scale(None, None, None, "unknown", "It counts ring pulses.")


def _usual_within(low: float, high: float) -> tuple[float, bool]:
    """Return the usual step in a range nearest to its middle, or the middle itself."""
    middle = (low + high) / 2
    inside = [step for step in USUAL_STEPS_KPH if low * 0.995 <= step <= high * 1.005]
    if not inside:
        return middle, False
    return min(inside, key=lambda step: abs(step - middle)), True
