"""A corner that repeats another corner's value to the last bit: the unit fills in a missing one."""

import math
from itertools import combinations

from canwheel.corners import CORNERS, Corner
from canwheel.outcome import REPEATED_S, Figure, Finding, NotJudged, Outcome, Span
from canwheel.track.motion import Motion, estimate_motion
from canwheel.track.placing import (
    SURE_LOG_ODDS,
    Placing,
    placed_by_opposite_turns,
    placed_by_slip,
    placed_by_steering,
    placed_by_turns,
)
from canwheel.track.road_echo import placed_by_road
from canwheel.track.same_value import FEWEST_CHANGES, SameValue, find_same_value, may_be_same
from canwheel.track.seams import placed_by_seams
from canwheel.track.wheel_track import WheelTrack


def find_copied(track: WheelTrack, motion: Motion) -> Outcome:
    """Find corners that are another's copy, and say which of the two is.

    The original fits the rest: it keeps to the wheel on its side through turns, as the wheels or
    the steering tell them, slips with the wheel on its axle, and meets the road with it; and where
    the copy begins or ends, it runs on. Where none of these shows, both are doubtful.
    """
    findings: list[Finding] = []
    not_judged: list[NotJudged] = []
    for one, other in combinations(CORNERS, 2):
        if {one, other} <= {finding.corner for finding in findings}:
            continue  # of three or four with one value, each is told once
        same = find_same_value(track, motion, one, other)
        why = None
        if same is None and may_be_same(track.wheel(one), track.wheel(other)):
            why = "its time stamps are too uneven to tell a copy from a twin"
        elif same is not None and same.changes < FEWEST_CHANGES:
            why = "too little driving, or too coarse a signal, to tell a copy from a twin"
        if why is not None:
            not_judged += [NotJudged(one, "copied", why), NotJudged(other, "copied", why)]
        if same is None or why is not None:
            continue
        copy = _which_is_the_copy(track, motion, one, other, same)
        suspects = [(one, other), (other, one)]
        if copy is not None:
            suspects = [(copy, other if copy is one else one)]
        findings += [_describe(same, *suspect, sure=copy is not None) for suspect in suspects]
    return Outcome(findings=tuple(findings), not_judged=tuple(not_judged))


def _which_is_the_copy(
    track: WheelTrack, motion: Motion, one: Corner, other: Corner, same: SameValue
) -> Corner | None:
    """Which of two corners with one value does not fit its place; None where the drive is silent.

    All that can be asked is, and what each of them says is put together.
    """
    placings: list[Placing | None] = []
    if not same.is_whole:
        placings = [placed_by_seams(track, motion, one, other, same.spans)]
        track = track.without(dict.fromkeys(CORNERS, _outside(same.spans, track.whole)))
        motion = estimate_motion(track)
    asked = (
        placed_by_turns,
        placed_by_opposite_turns,
        placed_by_slip,
        placed_by_steering,
        placed_by_road,
    )
    placings += [ask(track, motion, one, other) for ask in asked]
    log_odds = sum(placing.log_odds for placing in placings if placing is not None)
    if abs(log_odds) < SURE_LOG_ODDS:
        return None
    return other if log_odds > 0 else one


def _outside(spans: tuple[Span, ...], whole: Span) -> tuple[Span, ...]:
    """What lies before, between and after some stretches, short of their ends."""
    starts_s = [whole.from_s, *(math.nextafter(span.to_s, math.inf) for span in spans)]
    ends_s = [*(math.nextafter(span.from_s, -math.inf) for span in spans), whole.to_s]
    return tuple(Span(a, b) for a, b in zip(starts_s, ends_s, strict=True) if a < b)


def _describe(same: SameValue, copy: Corner, of: Corner, *, sure: bool) -> Finding:
    lasting, evidence = "the whole drive", dict[str, Figure](of=of.value)
    if not same.is_whole:
        lasting_s = sum(span.to_s - span.from_s for span in same.spans)
        evidence[REPEATED_S] = round(lasting_s, 1)
        parts = "" if len(same.spans) == 1 else f" in all, in {len(same.spans)} stretches"
        lasting = f"{lasting_s:.0f} s{parts}, and reads a value of its own otherwise"
    doubt = "" if sure else " This drive cannot tell which of the two is the copy."
    return Finding(
        corner=copy,
        kind="copied",
        confidence=0.95 if sure else 0.5,
        spans=same.spans,
        count=len(same.spans),
        says=f"Repeats the {of.words} value to the last bit for {lasting}.{doubt}",
        evidence=evidence,
    )
