"""The frames that carry a corner stop while others go on: the network or the unit, not a sensor."""

import math

import numpy as np

from canwheel.corners import CORNERS, Corner
from canwheel.outcome import Finding, Outcome, Span
from canwheel.track.motion import READ_FROM_KPH, Motion, samples_in
from canwheel.track.silence import was_listening
from canwheel.track.wheel_track import WheelSamples, WheelTrack

SHORTEST_S = 0.5
"""A unit that skips a few frames is busy; half a second without any is a fault. [s]"""

FEWEST_PERIODS = 10
"""And at least this many of the message's own periods."""

ENDED_S = 5.0
"""A message of which so few frames came that its period is not known has ended when the rest of the
drive is longer than this: the slowest wheel message comes every 0.1 s. [s]"""

ENDED_FRAMES = 1000
"""And when so many other frames came meanwhile: the recorder was listening."""

RARE_BY_CHANCE = 1e-3
"""Where frames are lost at random, a gap counts only when chance would leave one as long in one
drive of a thousand."""

AGREE_S, AGREE_SHARE = 10.0, 0.05
"""Two corners that are heard drive so long, and half of that time apart by less than this share:
the DBC is this car's. On a straight road they differ by some per cent at most. [s]"""

CHANGE_KPH = 10.0
"""Their speed changes by as much meanwhile: two fields that stand still agree by chance. [km/h]"""

UNHEARD_CONFIDENCE = 0.9
"""What was never heard may be in no car that is built like this one, though the other messages
are (our choice, no source): enough to act on, and no more."""

REGULAR_SHARE = 1.5
"""A message is regular when nine of ten gaps stay below this many times the usual one."""


def find_message_missing(track: WheelTrack, motion: Motion) -> Outcome:
    """Find corners whose frames stop, or never come, while the recorder hears others."""
    findings = []
    if track.unheard and _is_this_cars(track, motion):
        findings += [_describe_unheard(track, corner) for corner in track.unheard]
    for corner in CORNERS:
        spans = _silences(track, track.wheel(corner))
        if spans:
            findings.append(_describe(corner, spans))
    return Outcome(findings=tuple(findings))


def _is_this_cars(track: WheelTrack, motion: Motion) -> bool:
    """Whether the corners that are heard are those of one car, heard long enough to miss the rest.

    Two that agree are enough: a third one may have a fault of its own.
    """
    if track.duration_s < ENDED_S or track.last_index < ENDED_FRAMES:
        return False
    driving = np.nan_to_num(motion.speed_kph) > READ_FROM_KPH
    ordered = np.sort(track.speed_kph[driving], axis=1)  # NaN goes last
    apart = np.nan_to_num(np.diff(ordered, axis=1) / ordered[:, 1:], nan=np.inf).min(axis=1)
    agreeing = motion.speed_kph[driving][apart < AGREE_SHARE]
    enough = max(samples_in(track, AGREE_S), int(driving.sum()) // 2)
    return len(agreeing) > enough and float(np.ptp(agreeing)) > CHANGE_KPH


def _longest_usual_s(own: WheelSamples) -> float:
    """Gap that is still no news: a few frames for a regular message, more for a thinned one. [s]"""
    step_s = np.diff(own.time_s)
    if np.quantile(step_s, 0.9) < REGULAR_SHARE * own.period_s:
        return max(SHORTEST_S, FEWEST_PERIODS * own.period_s)
    # Lost at random: gaps are exponential, the longest of n is mean * ln(n / chance) at most.
    by_chance_s = float(np.mean(step_s)) * math.log(len(step_s) / RARE_BY_CHANCE)
    return max(SHORTEST_S, by_chance_s)


def _silences(track: WheelTrack, own: WheelSamples) -> tuple[Span, ...]:
    if len(own.time_s) < FEWEST_PERIODS:
        return _ended_early(track, own)
    # The drive's end closes the last silence; before the first frame the unit may be waking up.
    time_s = np.append(own.time_s, max(track.duration_s, own.time_s[-1]))
    index = np.append(own.index, max(track.last_index + 1, own.index[-1] + 1))
    gap_s, heard = np.diff(time_s), np.diff(index) - 1
    long = gap_s > _longest_usual_s(own)
    at = np.flatnonzero(long & was_listening(own, gap_s, heard))
    return tuple(Span(float(time_s[i]), float(time_s[i + 1])) for i in at)


def _ended_early(track: WheelTrack, own: WheelSamples) -> tuple[Span, ...]:
    """Return the silence after the last of a few frames, where it is too long for any message."""
    if len(own.time_s) == 0:
        return ()
    last_s = float(own.time_s[-1])
    usual_s = float(np.max(np.diff(own.time_s), initial=0.0))
    silence_s = track.duration_s - last_s
    heard = track.last_index - int(own.index[-1])
    if silence_s < max(ENDED_S, FEWEST_PERIODS * usual_s) or heard < ENDED_FRAMES:
        return ()
    return (Span(last_s, track.duration_s),)


def _describe_unheard(track: WheelTrack, corner: Corner) -> Finding:
    return Finding(
        corner=corner,
        kind="message_missing",
        confidence=UNHEARD_CONFIDENCE,
        spans=(track.whole,),
        count=1,
        says=(
            f"The frames that carry this signal were never heard in {track.duration_s:.0f} s, while"
            " those of other wheels came, and agree: the network or the brake unit, not the sensor."
            " Or this car has no such message, and the DBC is not quite its own."
        ),
        evidence={"longest_gap_s": round(track.duration_s, 2), "count": 1},
    )


def _describe(corner: Corner, spans: tuple[Span, ...]) -> Finding:
    longest_s = max(span.to_s - span.from_s for span in spans)
    times = "once" if len(spans) == 1 else f"{len(spans)} times"
    return Finding(
        corner=corner,
        kind="message_missing",
        confidence=0.99,
        spans=spans,
        count=len(spans),
        says=(
            f"The frames that carry this signal stop {times}, for up to {longest_s:.1f} s, while"
            " other frames go on: the network or the brake unit, not the sensor."
        ),
        evidence={"longest_gap_s": round(longest_s, 2), "count": len(spans)},
    )
