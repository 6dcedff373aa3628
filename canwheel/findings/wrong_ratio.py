"""A corner that reads a fraction too much or too little.

All the way it is a ring or a tyre of another size; for a time, pulses are lost or counted twice.

The logarithms of the four straight-line ratios are weighed as a sum of what sound cars show
anyway (tyres that differ a little, axles that differ a little, a heading that is not quite
straight) and one corner that is off. The corner with which the rest looks most like a sound car
is the one.
"""

import math

import numpy as np

from canwheel.corners import CORNERS, Corner
from canwheel.outcome import OFF_S, Finding, NotJudged, Outcome, Span
from canwheel.track.motion import Motion, estimate_motion
from canwheel.track.off_spells import APART_S, OffSpell, find_off_spells, off_s
from canwheel.track.straight import FEWEST_S, STEP_ERRORS, straight_ratios
from canwheel.track.wheel_track import FloatColumn, WheelTrack

WHEEL_SPREAD = 0.0025
"""Sound tyres on one axle differ by about this, one standard deviation (real drives: 0.1 to 0.5 %;
worn tyres by 0.8 %)."""

AXLE_SPREAD = 0.004
"""Front and rear differ by about this: load, pressure, the slip of the driven axle."""

HEADING_SPREAD = 0.003
"""The most frequent heading is straight on, to within this left/right difference."""

LEAST_SHARE = 0.017
"""Less than this is what worn or soft tyres do: sound pairs differ by up to 1.2 %; a tyre 0.8 %
worn read 1.68 % too much once, on a driven axle whose other tyre was the largest of the car. One
that is 2 % off reads 1.71 % at the least (real drives). What the steps of the signal may add counts
besides: at one steady speed, in whole km/h, a per cent and more."""

COARSE_SHARE = 0.008
"""Where they may add more than this, a drive does not clear a corner of a small error."""

SPARE_SHARE = 0.055
"""Up to this a tyre of another size, a small spare above all, is the usual reason; rings differ by
more (one of 44 for 48 teeth by 9 %)."""

HIGHEST_CONFIDENCE = 0.97
"""The model of sound cars above is itself no better known than that."""

SURE_OFF_S, GROSS_S, GROSS_SHARE = 5.0, 2.0, 0.2
"""A corner that contradicts the others for so long in all does so by itself; by more than the last,
the second will do. [s]"""

ONE_RATIO = 0.05
"""While pulses are lost by rule, the ratio keeps within this share."""

DOUBT_BELOW = 0.9
"""Below these odds the sentence says that it may be another corner."""

TOOTH_COUNTS = (29, 36, 40, 42, 43, 44, 46, 47, 48, 50, 52, 54, 56, 58, 60, 86, 88, 92, 96, 100)
"""Pulses a turn that rings have (some published, some from memory)."""

TOOTH_MATCH = 0.006
"""A ratio of two counts is named when it lies this close to the one found."""


def find_wrong_ratio(track: WheelTrack, motion: Motion) -> Outcome:
    """Find corners whose scale is off: one after the other, the worst first; then for a time."""
    all_along = _find_all_along(track, motion)
    rest = track.without({finding.corner: finding.spans for finding in all_along.findings})
    for_a_time = _find_for_a_time(rest, motion if rest is track else estimate_motion(rest))
    findings = (*all_along.findings, *for_a_time)
    told = {finding.corner for finding in findings}
    not_judged = tuple(left for left in all_along.not_judged if left.corner not in told)
    return Outcome(findings=findings, not_judged=not_judged)


def _find_for_a_time(track: WheelTrack, motion: Motion) -> tuple[Finding, ...]:
    """One corner after the other, the one that is off for longest first.

    While one is off, the three others do not fit a rigid body either: it is taken out before they
    are asked again.
    """
    off = {corner: find_off_spells(track, motion, corner) for corner in CORNERS}
    worst = max(CORNERS, key=lambda corner: off_s(off[corner]))
    if not off[worst]:
        return ()
    hidden = [Span(s.span.from_s - APART_S, s.span.to_s + APART_S) for s in off[worst]]
    without = track.without({worst: hidden})
    rest = _find_for_a_time(without, estimate_motion(without))
    return (_describe_spells(worst, off[worst]), *(f for f in rest if f.corner is not worst))


def _find_all_along(track: WheelTrack, motion: Motion) -> Outcome:
    ratios = motion.once(straight_ratios)
    if ratios is None:
        why = f"less than {FEWEST_S:.0f} s of steady straight driving above 20 km/h"
        return Outcome(not_judged=tuple(NotJudged(c, "wrong_ratio", why) for c in CORNERS))
    log_ratio = ratios.log_ratio.copy()
    by_steps = STEP_ERRORS * ratios.by_steps
    findings = []
    while np.sum(~np.isnan(log_ratio)) >= 3:  # noqa: PLR2004 - two cannot say which is wrong
        weighed = _weigh(log_ratio)
        best = int(np.nanargmax(weighed[:, 1]))
        share = math.expm1(weighed[best, 0])
        if abs(share) < LEAST_SHARE + by_steps:
            break
        rest = np.delete(weighed[:, 1], best)
        margin = weighed[best, 1] - np.nanmax(rest)
        findings.append(_describe(track, CORNERS[best], share, float(margin), ratios.straight_s))
        log_ratio[best] = np.nan
    not_judged = []
    if by_steps > COARSE_SHARE:
        why = (
            f"the signal is so coarse, and the speed was so steady, that less than"
            f" {100 * (LEAST_SHARE + by_steps):.1f} % would not have shown"
        )
        told = {finding.corner for finding in findings}
        not_judged = [NotJudged(c, "wrong_ratio", why) for c in CORNERS if c not in told]
    return Outcome(findings=tuple(findings), not_judged=tuple(not_judged))


def _weigh(log_ratio: FloatColumn) -> FloatColumn:
    """(4, 2) for each corner: how far off it would have to be, and by how much that explains the
    ratios better than a sound car (twice a log-likelihood); NaN for those not read.
    """  # noqa: D205 - one sentence, one fact
    read = ~np.isnan(log_ratio)
    axle = np.array([0.5, 0.5, -0.5, -0.5])[read]
    heading = np.array([-0.5, 0.5, -0.5, 0.5])[read]
    common = np.ones(int(read.sum()))
    covariance = (
        WHEEL_SPREAD**2 * np.eye(len(common))
        + AXLE_SPREAD**2 * np.outer(axle, axle)
        + HEADING_SPREAD**2 * np.outer(heading, heading)
        + np.outer(common, common)  # the car's speed itself: anything
    )
    weight = np.linalg.inv(covariance)
    pull = weight @ log_ratio[read]
    stiffness = np.diag(weight)
    weighed = np.full((4, 2), np.nan)
    weighed[read, 0] = pull / stiffness
    weighed[read, 1] = pull**2 / stiffness
    return weighed


def _tooth_counts(ratio: float) -> str:
    """``44/48``: the pulses that the ring has over those it should have, '' where none fits."""
    pairs = [
        (abs(math.log(has / should) - math.log(ratio)), abs(should - 48), has, should)
        for has in TOOTH_COUNTS
        for should in TOOTH_COUNTS
        if has != should
    ]
    fitting = [pair for pair in pairs if pair[0] < TOOTH_MATCH]
    if not fitting:
        return ""
    _, _, has, should = min(fitting, key=lambda pair: (pair[1], pair[0]))
    return f"{has}/{should}"


def _describe(
    track: WheelTrack, corner: Corner, share: float, margin: float, straight_s: float
) -> Finding:
    size = abs(share)
    teeth = _tooth_counts(1 + share)
    if size < SPARE_SHARE:
        reason = "a tyre of another size (a small spare above all), very worn or very soft"
    elif teeth:
        reason = f"a ring of another tooth count ({teeth} fits), or a tyre of another size"
    else:
        reason = "a ring of another tooth count, or a tyre of another size"
    # The margin is twice the logarithm of the odds against the next best corner.
    confidence = min(HIGHEST_CONFIDENCE, 1 / (1 + math.exp(-margin / 2)))
    evidence: dict[str, float | int | str | bool] = {
        "ratio": round(1 + share, 4),
        "straight_s": round(straight_s, 1),
        "nearest_tooth_ratio": teeth or "none",
    }
    doubt = "" if confidence >= DOUBT_BELOW else " Another corner explains it nearly as well."
    return Finding(
        corner=corner,
        kind="wrong_ratio",
        confidence=round(confidence, 3),
        spans=(track.whole,),
        count=1,
        says=(
            f"Reads {100 * size:.1f} % too {'much' if share > 0 else 'little'} at all speeds, over"
            f" {straight_s:.0f} s of straight driving: {reason}.{doubt}"
        ),
        evidence=evidence,
    )


def _describe_spells(corner: Corner, spells: tuple[OffSpell, ...]) -> Finding:
    lasts_s = off_s(spells)
    longest = max(spells, key=lambda spell: spell.lasts_s)
    low, high = min(spell.least for spell in spells), max(spell.most for spell in spells)
    gross = abs(longest.ratio - 1) > GROSS_SHARE
    times = "once" if len(spells) == 1 else f"{len(spells)} times"
    if high - low < ONE_RATIO * longest.ratio:
        reads = f"{100 * longest.ratio:.0f} %"
        reason = "pulses lost, or counted twice, by rule"
    else:
        reads = f"{100 * low:.0f} to {100 * high:.0f} %"
        reason = "pulses lost, or counted twice"
    return Finding(
        corner=corner,
        kind="wrong_ratio",
        confidence=HIGHEST_CONFIDENCE if lasts_s >= (GROSS_S if gross else SURE_OFF_S) else 0.7,
        spans=tuple(spell.span for spell in spells),
        count=len(spells),
        says=(
            f"Reads {reads} of what the other corners say, {times}, for {lasts_s:.0f} s in all,"
            f" and is right otherwise: {reason}."
        ),
        evidence={
            "ratio": round(longest.ratio, 4),
            "nearest_tooth_ratio": "none",
            "count": len(spells),
            OFF_S: round(lasts_s, 1),
        },
    )
