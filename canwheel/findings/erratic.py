"""A corner that jumps faster than a wheel can turn faster or slower."""

import numpy as np

from canwheel.corners import CORNERS, Corner
from canwheel.outcome import Finding, Outcome, Span
from canwheel.track.jumps import (
    LONGEST_JUMP_S,
    MOMENT_S,
    NOISY_MOMENTS,
    Jumps,
    find_jumps,
    find_small_jumps,
)
from canwheel.track.long_jumps import find_long_jumps
from canwheel.track.motion import Motion, steps_s
from canwheel.track.wheel_track import WheelTrack

FEWEST_MOMENTS, SURE_MOMENTS = 3, 4
"""One or two moments with jumps in a drive may be stones or lost bits on the bus; from the second
number on, it is the signal."""

SURE_NOISY = 12
"""The same of jumps so small that the road throws a wheel as far: a noisy signal has many..."""

NOISY_TIMES = 5
"""... and so many times as many as any other corner."""

MANY_BUMPS = 60
"""Where the other wheel on its side is not read, nobody can say which of them are bumps under that
side: no road has so many, a noisy signal has hundreds. (Ten on a rough one, simulated.)"""

ALL_THE_WAY_SHARE = 0.25
"""A signal that jumps on and on for so much of the way is noisy in between as well, where the car
pulls or brakes and nobody can say so."""


def find_erratic(track: WheelTrack, motion: Motion) -> Outcome:
    """Find corners whose reading jumps away from what the others allow, and back."""
    noise = {corner: motion.once(find_small_jumps, corner) for corner in CORNERS}
    moments = {corner: 0 if own is None else own.moments for corner, own in noise.items()}
    findings = []
    for corner in CORNERS:
        elsewhere = max(moments[other] for other in CORNERS if other is not corner)
        small = noise[corner]
        noisy = moments[corner] >= NOISY_TIMES * elsewhere
        if small is not None and not _is_read(track, motion, corner.same_side):
            noisy &= len(small.spans) >= MANY_BUMPS
        told = [
            (jumps, 0.97 if jumps.moments >= sure else 0.8)
            for jumps, fewest, sure in (
                (motion.once(find_jumps, corner), FEWEST_MOMENTS, SURE_MOMENTS),
                (motion.once(find_long_jumps, corner), FEWEST_MOMENTS, SURE_MOMENTS),
                (small if noisy else None, NOISY_MOMENTS, SURE_NOISY),
            )
            if jumps is not None and jumps.moments >= fewest
        ]
        if told:
            most, _ = max(told, key=lambda one: len(one[0].spans))
            confidence = max(sureness for _, sureness in told)
            findings.append(_describe(corner, most, motion, confidence))
    return Outcome(findings=tuple(findings))


def _is_read(track: WheelTrack, motion: Motion, corner: Corner) -> bool:
    """Whether it was read for most of the way."""
    read = ~np.isnan(track.speed_kph[motion.moving, corner.position])
    return 2 * int(read.sum()) > len(read)


def _describe(corner: Corner, jumps: Jumps, motion: Motion, confidence: float) -> Finding:
    count = len(jumps.spans)
    per_km = count / max(motion.distance_km, 1e-3)
    longest_s = max(span.to_s - span.from_s for span in jumps.spans)
    within = "a quarter of a second" if longest_s <= LONGEST_JUMP_S else f"{longest_s:.1f} s"
    by = "to values that no wheel can have, by more than" if jumps.is_beyond_speed else "by up to"
    why = (
        "no wheel turns faster or slower that quickly"
        if jumps.has_large
        else "the other three run smoothly meanwhile, the signal is noisy"
    )
    return Finding(
        corner=corner,
        kind="erratic",
        confidence=confidence,
        spans=_unreadable(jumps.spans, motion),
        count=count,
        says=(
            f"Jumps {count} times in {motion.distance_km:.1f} km, {by}"
            f" {jumps.largest_kph:.1f} km/h and back within {within}, at about"
            f" {jumps.at_kph:.0f} km/h: {why}."
        ),
        evidence={
            "count": count,
            "largest_jump_kph": round(jumps.largest_kph, 1),
            "per_km": round(per_km, 2),
        },
    )


def _unreadable(spans: tuple[Span, ...], motion: Motion) -> tuple[Span, ...]:
    """When the corner is not to be read: jumps nearer than `MOMENT_S` as one; or all the way."""
    joined: list[Span] = []
    for span in spans:
        if joined and span.from_s - joined[-1].to_s < MOMENT_S:
            joined[-1] = Span(joined[-1].from_s, span.to_s)
        else:
            joined.append(span)
    moving_s = float(np.sum(steps_s(motion.track)[motion.moving]))
    if sum(span.to_s - span.from_s for span in joined) > ALL_THE_WAY_SHARE * moving_s:
        return (motion.track.whole,)
    return tuple(joined)
