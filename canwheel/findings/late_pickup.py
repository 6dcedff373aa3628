"""A corner that reads nothing below a speed at which the others already read: a wide air gap."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canwheel.corners import CORNERS, Corner
from canwheel.outcome import Finding, NotJudged, Outcome, Span
from canwheel.track.motion import MOVING_KPH, TOLD_BY_KPH, Motion, estimate_motion
from canwheel.track.runs import runs
from canwheel.track.wheel_track import FloatColumn, WheelSamples, WheelTrack
from canwheel.track.zero_spells import NOTHING_SHARE

SOUND_SPREAD_KPH = 6.0
"""Sound sensors of one car pick up within this of one another, beside the signal's step: passive
ones between 3 and 8 km/h (textbook, from memory), inner wheels later than outer ones. [km/h]"""

HIGHEST_KPH = 60.0
"""A sensor that wakes above this is told as one that drops out. [km/h]"""

MOST_ODD_SHARE = 0.3
"""So many samples may stand on the wrong side of the pick-up speed: units hold the last reading for
a while when the pulses stop, and need a few pulses to start."""

MOST_ODD_ONCE_S = 1.0
"""Of a single silence hardly any may: a sensor that died on the way has read below before. [s]"""

LONGEST_STOPPING_S = 20.0
"""Rolling to a stop takes no longer than this. [s]"""

SPREAD_SHARE = 0.15
"""A weak sensor does not wake at quite the same speed every time, nor falls asleep at it."""

FEWEST_S = 0.4
"""Time without a reading, and time with one above it, that it takes to say so. [s]"""


_NO_START = "the drive had no start from or stop to a standstill"


@dataclass(frozen=True, slots=True)
class _PickUp:
    kph: float
    silent_s: float
    reading_s: float
    odd_s: float
    times: int


def find_late_pickup(track: WheelTrack, motion: Motion) -> Outcome:
    """Find corners that wake up later than the others at every start."""
    if not _low_speed_seen(motion):
        read = bool(np.any(~np.isnan(motion.speed_kph)))
        why = _NO_START if read else "no corner was read"
        return Outcome(not_judged=tuple(NotJudged(c, "late_pickup", why) for c in CORNERS))
    seen = _what_the_others_say(track, motion)
    pick_ups = {c: _pick_up(track.wheel(c), seen[c]) for c in CORNERS}
    findings, not_judged = [], []
    for corner in CORNERS:
        mine = pick_ups[corner]
        rest = [p.kph for c, p in pick_ups.items() if c is not corner and p is not None]
        if mine is None or not rest:
            which = "it was" if mine is None else "the other corners were"
            why = f"{which} not read at a start from or stop to a standstill"
            not_judged.append(NotJudged(corner, "late_pickup", why))
            continue
        others = float(np.median(rest))
        spread_kph = SOUND_SPREAD_KPH + track.wheel(corner).resolution_kph
        if mine.kph - others > spread_kph and _is_clear(mine):
            findings.append(_describe(corner, track.wheel(corner), seen[corner], mine, others))
    return Outcome(findings=tuple(findings), not_judged=tuple(not_judged))


def _what_the_others_say(track: WheelTrack, motion: Motion) -> dict[Corner, FloatColumn]:
    """(n,) for each corner what the others say it runs at, corners that never read left out. [km/h]

    By all three where there are three, for in a tight turn the inner wheel is slow by right and the
    outer one fast; the slower one where there are two.
    """
    dead = {
        corner: [track.whole]
        for corner in CORNERS
        if motion.top_kph > TOLD_BY_KPH
        and not np.any(track.wheel(corner).speed_kph > NOTHING_SHARE * TOLD_BY_KPH)
    }
    if dead:
        motion = estimate_motion(track.without(dead))
    return {corner: motion.predicted_kph(corner) for corner in CORNERS}


def _low_speed_seen(motion: Motion) -> bool:
    return bool(np.any(motion.moving & (motion.speed_kph < SOUND_SPREAD_KPH + MOVING_KPH)))


def _is_clear(pick_up: _PickUp) -> bool:
    return (
        pick_up.silent_s >= FEWEST_S
        and pick_up.reading_s >= FEWEST_S
        and pick_up.odd_s <= MOST_ODD_SHARE * pick_up.silent_s
        and (pick_up.times > 1 or pick_up.odd_s <= MOST_ODD_ONCE_S)
    )


def _silent(own: WheelSamples, others: FloatColumn) -> NDArray[np.bool_]:
    return own.speed_kph <= np.maximum(NOTHING_SHARE * others, own.resolution_kph)


def _pick_up(own: WheelSamples, others: FloatColumn) -> _PickUp | None:
    """Speed that best parts silence from reading; None where the car was never that slow."""
    asked = (others > MOVING_KPH) & (others < HIGHEST_KPH) & ~np.isnan(own.speed_kph)
    if not asked.any():
        return None
    silent = _silent(own, others)
    asked &= ~_dead_at_the_end(own, silent, moving=others > MOVING_KPH)
    if not asked.any():
        return None
    order = np.argsort(others[asked], kind="stable")
    pace, quiet = others[asked][order], silent[asked][order]
    # The parting speed leaves the fewest readings below it and silences above it.
    readings_below = np.concatenate(([0], np.cumsum(~quiet)))
    silences_above = quiet.sum() - np.concatenate(([0], np.cumsum(quiet)))
    best = int(np.argmin(readings_below + silences_above))
    below = quiet[:best]
    parting_kph = float(pace[best - 1]) if best else 0.0
    bounded = silent & asked & (others <= parting_kph)
    return _PickUp(
        kph=parting_kph if best else _slowest_reading_kph(own),
        silent_s=float(below.sum()) * own.period_s,
        reading_s=float((~quiet[best:]).sum()) * own.period_s,
        odd_s=_odd(pace, quiet, parting_kph) * own.period_s,
        times=len(runs(bounded, ~silent & (others > MOVING_KPH))),
    )


def _dead_at_the_end(
    own: WheelSamples, silent: NDArray[np.bool_], *, moving: NDArray[np.bool_]
) -> NDArray[np.bool_]:
    """(n,) what comes after the last reading, where the car drove on for longer than a stop takes.

    A sensor that died on the way says nothing of the speed from which it read.
    """
    reading = np.flatnonzero(~silent & moving)
    after = np.arange(len(silent)) > (reading[-1] if len(reading) else len(silent))
    drives_on_s = float(np.sum(after & moving)) * own.period_s
    return after & (drives_on_s > LONGEST_STOPPING_S)


def _odd(pace_kph: FloatColumn, quiet: NDArray[np.bool_], parting_kph: float) -> int:
    """Readings clearly below the parting speed, and silences clearly above it.

    Around it a weak sensor comes and goes.
    """
    reads_below = ~quiet & (pace_kph < parting_kph * (1 - SPREAD_SHARE))
    silent_above = quiet & (pace_kph > parting_kph * (1 + SPREAD_SHARE))
    return int(np.sum(reads_below) + np.sum(silent_above))


def _slowest_reading_kph(own: WheelSamples) -> float:
    """The slowest that a corner was read at: it picks up there at the latest. [km/h]"""
    return float(np.min(own.speed_kph[own.speed_kph > own.resolution_kph], initial=HIGHEST_KPH))


def _describe(
    corner: Corner, own: WheelSamples, others: FloatColumn, mine: _PickUp, others_pick_up: float
) -> Finding:
    reach_kph = mine.kph * (1 + SPREAD_SHARE) + MOVING_KPH
    # Around that speed it comes and goes: nothing that it says there counts.
    below = (others > MOVING_KPH) & (others <= reach_kph)
    spans = tuple(
        Span(float(own.time_s[first]), float(own.time_s[last]))
        for first, last in runs(below, ~below)
    )
    return Finding(
        corner=corner,
        kind="late_pickup",
        confidence=0.97 if mine.times > 1 else 0.9,
        spans=spans,
        count=mine.times,
        says=(
            f"Reads nothing below {mine.kph:.1f} km/h, at {mine.times} starts or stops, while the"
            f" other corners read from {others_pick_up:.1f} km/h on."
        ),
        evidence={
            "picks_up_at_kph": round(mine.kph, 1),
            "others_pick_up_at_kph": round(others_pick_up, 1),
        },
    )
