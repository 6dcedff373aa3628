"""Two corners' signals that sit on each other's places: connectors or wires mixed up.

Each swap of two corners is tried: put back in order, do the four move as corners of one car do?
Swapping left and right on the front axle, or on the rear axle, are mirror images of each other to
that: there a steering or yaw-rate signal must say which way the car turned. (`turned_round.py`
looks for both pairs of corners exchanged at once.)
"""

from itertools import combinations

import numpy as np

from canwheel.corners import CORNERS, Corner
from canwheel.outcome import Finding, NotJudged, Outcome
from canwheel.track.axles import AXLES
from canwheel.track.motion import Motion, squared_box
from canwheel.track.steering import turn_direction
from canwheel.track.turns import (
    AGREE_SHARE,
    FEWEST_TURN_S,
    SIDES,
    SLOW_KPH,
    Swap,
    Turns,
    find_turns,
    misfit,
)
from canwheel.track.wheel_track import FloatColumn, WheelTrack

BETTER_BY = 2.0
"""The best order must fit this many times better than the order as it is..."""

CLEAR_MISFIT = 0.008
"""... and the order as it is must miss by at least this share of the speed, twice what bumps and
skew leave of a sound car's turns (0.3 to 0.5 % after smoothing, real drive)."""

SCALES, ENOUGH = np.linspace(0.8, 1.25, 46), 2000
"""Rings and tyres of another size read so much of what they should; so many samples tell."""

NO_CAR = "in its turns the four are not a car's, in whatever order"
TOO_LITTLE = "too coarse a signal, or too gentle turns"

SWAPS: tuple[Swap, ...] = tuple(combinations(CORNERS, 2))


def find_crossed(track: WheelTrack, motion: Motion) -> Outcome:
    """Find the two corners whose exchange makes the four a car again."""
    turns = motion.once(find_turns)
    if turns is None:
        return _untested(CORNERS, "one corner is not read, and the others alone do not show it")
    if turns.turn_s < FEWEST_TURN_S:
        return _untested(CORNERS, f"less than {FEWEST_TURN_S:.0f} s of clear turning")
    as_is = turns.misfit()
    misfits = {swap: turns.misfit(swap) for swap in SWAPS}
    best = min(misfits, key=lambda swap: misfits[swap])
    if _breaks(as_is, misfits[best], turns.coarse):
        fits = turns.fits(best)
        if not turns.has_straight:
            fits &= misfits[best] < _misfit_of_a_scale(turns.put_back(), squared_box(track))
        return _crossed(turns, best) if fits else _untested(CORNERS, NO_CAR)
    # A turn's square is small beside the steps of a coarse signal, but they come out even.
    exchanged = turns.exchanged_side()
    if exchanged is not None:
        return _crossed(turns, exchanged)
    if turns.sharp_s < FEWEST_TURN_S:
        why = f"less than {FEWEST_TURN_S:.0f} s of sharp turns below {SLOW_KPH:.0f} km/h"
        return _untested(CORNERS, f"front with rear on one side or both not tested: {why}")
    # Had two been exchanged, what is as it should be now would have been the order put back.
    hidden = [swap for swap, other in misfits.items() if not _breaks(other, as_is, turns.coarse)]
    if all(turns.front_is_front):
        hidden = [swap for swap in hidden if swap not in SIDES]
    not_judged = []
    for corner in CORNERS:
        pairs = dict.fromkeys(_pair_words(swap) for swap in hidden if corner in swap)
        if pairs:
            why = f"{' or '.join(pairs)} exchanged would not have shown: {TOO_LITTLE}"
            not_judged.append(NotJudged(corner, "crossed", why))
    return Outcome(not_judged=tuple(not_judged))


def _pair_words(swap: Swap) -> str:
    one, other = swap
    if one.mirror is other:
        return "left and right of one axle"
    return "front and rear of one side" if one.same_side is other else "two corners crosswise"


def _breaks(misfit: float, put_back: float, coarse: float) -> bool:
    """Whether an order misses clearly, and clearly more than that which puts it right."""
    return misfit > max(CLEAR_MISFIT, coarse) and misfit > BETTER_BY * put_back


def _misfit_of_a_scale(speed_kph: FloatColumn, box: float) -> float:
    """How far the four are from a car when one of them, the best for it, reads too much or little.

    Where no straight drive tells the scales: a wrong ring bends a turn as an exchange does.
    """
    some = speed_kph[:: max(1, len(speed_kph) // ENOUGH)]
    return min(
        misfit(some * np.where(np.arange(len(CORNERS)) == position, scale, 1.0), box)
        for position in range(len(CORNERS))
        for scale in SCALES
    )


def _crossed(turns: Turns, best: Swap) -> Outcome:
    track, turn_s = turns.track, turns.turn_s
    if best not in AXLES:
        says = (
            f"In {turn_s:.0f} s of turns the four move like one car only with {best[0].words} and"
            f" {best[1].words} exchanged: their connectors or wires are swapped."
        )
        return _outcome(track, best, 0.95, says)
    direction = turn_direction(track)
    if direction is not None:
        agree = turns.turn_with(direction)
        if max(agree) > AGREE_SHARE and min(agree) < 1 - AGREE_SHARE:
            wrong = AXLES[int(np.argmin(agree))]
            says = (
                f"For {turn_s:.0f} s of turning this axle turns against the other one and against"
                " the steering: its left and right are swapped."
            )
            return _outcome(track, wrong, 0.97, says)
    unknown = (
        "Without a steering or yaw-rate signal the drive"
        if direction is None
        else "The steering or yaw-rate signal follows neither, and the drive alone"
    )
    says = (
        f"The two axles turn opposite ways for {turn_s:.0f} s: left and right are swapped on one of"
        f" them. {unknown} cannot say on which."
    )
    return Outcome.merge(_outcome(track, swap, 0.5, says) for swap in AXLES)


def _untested(corners: tuple[Corner, ...], why: str) -> Outcome:
    return Outcome(not_judged=tuple(NotJudged(corner, "crossed", why) for corner in corners))


def _outcome(track: WheelTrack, swap: Swap, confidence: float, says: str) -> Outcome:
    return Outcome(
        findings=tuple(
            Finding(
                corner=corner,
                kind="crossed",
                confidence=confidence,
                spans=(track.whole,),
                count=1,
                says=says,
                evidence={"with": other.value},
            )
            for corner, other in (swap, swap[::-1])
        )
    )
