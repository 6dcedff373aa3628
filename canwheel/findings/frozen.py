"""A corner that stays at one non-zero value while the others change."""

import numpy as np

from canwheel.corners import CORNERS, Corner
from canwheel.outcome import Finding, Outcome, Span
from canwheel.track.motion import Motion, others_kph, smooth
from canwheel.track.wheel_track import FloatColumn, WheelSamples, WheelTrack

SHORTEST_S = 0.5
"""Less than this and a coarse signal in steady driving looks the same. [s]"""

CHANGE_KPH = 1.0
"""The others must change by this much meanwhile, beyond what the signal's own step hides. [km/h]"""

CHANGE_SHARE = 0.02
"""And by this share of the value: more than wheels of one car differ on a straight road."""

CALM_S = 0.3
"""The others' change is that of their mean over this long, so that no bump is one. [s]"""

READ_FROM_KPH = 10.0
"""The others count from here on: slower, their own sensors come and go (passive ones pick up at 3
to 8 km/h). [km/h]"""

FROM_KPH = 5.0
"""Below this units hold the last value between two teeth, and zero is no reading at all. [km/h]"""


def find_frozen(track: WheelTrack, motion: Motion) -> Outcome:  # noqa: ARG001
    """Find corners that repeat one reading to the last bit while the car's speed changes."""
    findings = []
    for corner in CORNERS:
        own = track.wheel(corner)
        if len(own.time_s) > 1 and own.period_s > 0:
            others = others_kph(track.seen_from(corner), corner)
            calm = smooth(others, round(CALM_S / own.period_s))
            calm[calm < READ_FROM_KPH] = np.nan
            frozen = _frozen_runs(own, calm)
            if frozen:
                findings.append(_describe(corner, own, calm, frozen))
    return Outcome(findings=tuple(findings))


def _frozen_runs(own: WheelSamples, others: FloatColumn) -> list[tuple[int, int]]:
    """First and last position of each run of one raw value during which the others change."""
    known = ~np.isnan(own.speed_kph)
    change = np.flatnonzero((np.diff(own.raw) != 0) | ~known[1:] | ~known[:-1]) + 1
    firsts = np.concatenate(([0], change))
    lasts = np.concatenate((change, [len(own.raw)])) - 1
    value = own.speed_kph[firsts]
    low = np.fmin.reduceat(others, firsts)
    high = np.fmax.reduceat(others, firsts)
    with np.errstate(invalid="ignore"):
        change_kph = high - low
        most_kph = np.maximum(CHANGE_KPH + 2 * own.resolution_kph, CHANGE_SHARE * high)
        is_frozen = (
            (own.time_s[lasts] - own.time_s[firsts] >= SHORTEST_S)
            & (value > FROM_KPH)
            & (change_kph > most_kph)
        )
    at = np.flatnonzero(is_frozen)
    return [(int(firsts[i]), int(lasts[i])) for i in at]


def _describe(
    corner: Corner, own: WheelSamples, others: FloatColumn, frozen: list[tuple[int, int]]
) -> Finding:
    first, last = max(frozen, key=lambda run: own.time_s[run[1]] - own.time_s[run[0]])
    value = float(own.speed_kph[first])
    low, high = (float(f(others[first : last + 1])) for f in (np.nanmin, np.nanmax))
    times = "" if len(frozen) == 1 else f", {len(frozen)} times in all"
    return Finding(
        corner=corner,
        kind="frozen",
        confidence=0.99,
        spans=tuple(Span(float(own.time_s[a]), float(own.time_s[b])) for a, b in frozen),
        count=len(frozen),
        says=(
            f"Stays at {value:.1f} km/h to the last digit for"
            f" {own.time_s[last] - own.time_s[first]:.1f} s{times}, while the other corners go"
            f" from {low:.1f} to {high:.1f} km/h."
        ),
        evidence={
            "value_kph": round(value, 2),
            "longest_s": round(float(own.time_s[last] - own.time_s[first]), 2),
            "others_lowest_kph": round(low, 1),
            "others_highest_kph": round(high, 1),
        },
    )
