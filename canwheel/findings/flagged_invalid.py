"""A corner for which the brake unit itself sends "invalid" or "not available"."""

import numpy as np
from numpy.typing import NDArray

from canwheel.corners import CORNERS, Corner
from canwheel.outcome import Finding, Outcome, Span
from canwheel.track.motion import Motion
from canwheel.track.runs import runs
from canwheel.track.wheel_track import WheelSamples, WheelTrack

DRIVING_KPH = 3.5
"""Units send "not available" until they have tested themselves, and some while a sensor stands;
above this speed of the others there is no such excuse. [km/h]"""

SELF_TEST_S = 10.0
"""What is flagged at a standing car counts only when it lasts for longer than this. [s]"""

ONE_SPELL_S = 1.0
"""Flags less than this apart are one spell. [s]"""


def find_flagged_invalid(track: WheelTrack, motion: Motion) -> Outcome:
    """Find corners whose signal is flagged while the car drives."""
    findings = []
    for corner in CORNERS:
        own = track.wheel(corner)
        spells = _spells(own, motion.others_kph(corner))
        if spells:
            findings.append(_describe(corner, own, spells))
    return Outcome(findings=tuple(findings))


def _spells(own: WheelSamples, others: NDArray[np.float64]) -> list[tuple[int, int]]:
    """First and last position of each spell that the unit's own start-up does not excuse."""
    if not own.flagged.any():
        return []
    at = np.flatnonzero(own.flagged)
    parting = np.zeros(len(own.flagged), np.bool_)
    parting[at[1:][np.diff(own.time_s[at]) > ONE_SPELL_S]] = True
    found = []
    for first, last in runs(own.flagged, parting):
        driving = np.nan_to_num(others[first : last + 1]) > DRIVING_KPH
        lasts_s = own.time_s[last] - own.time_s[first]
        if driving[own.flagged[first : last + 1]].any() or lasts_s > SELF_TEST_S:
            found.append((first, last))
    return found


def _describe(corner: Corner, own: WheelSamples, spells: list[tuple[int, int]]) -> Finding:
    flagged_raw = own.raw[own.flagged]
    values, counts = np.unique(flagged_raw, return_counts=True)
    raw = int(values[np.argmax(counts)])
    spans = tuple(Span(float(own.time_s[a]), float(own.time_s[b])) for a, b in spells)
    # What lies between two marks of one spell was read.
    total_s = sum(int(own.flagged[a : b + 1].sum()) for a, b in spells) * own.period_s
    times = "once" if len(spans) == 1 else f"{len(spans)} times"
    return Finding(
        corner=corner,
        kind="flagged_invalid",
        confidence=0.99,
        spans=spans,
        count=len(spans),
        says=(
            f"The brake unit itself marks this signal as having no value, {times}, for"
            f" {total_s:.1f} s in all (raw value {raw})."
        ),
        evidence={"raw_value": raw, "flagged_s": round(total_s, 2)},
    )
