"""Two corners' signals that sit on each other's places: connectors or wires mixed up.

Each swap of two corners is tried: put back in order, do the four move as corners of one car do?
Two relations tell. FL² + RR² = FR² + RL² breaks when the axles turn opposite ways, or when a rear
wheel runs ahead of the front one on its side; and front² − rear² is positive in every slow turn,
(wheelbase over track)² times (right − left)². Swapping left and right on the front axle, or on the
rear axle, are mirror images of each other to these relations: there a steering or yaw-rate signal
must say which way the car turned.
"""

import math
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from canwheel.corners import CORNERS, Corner
from canwheel.outcome import Finding, NotJudged, Outcome
from canwheel.track.motion import Motion, axle_turn_shares, samples_in, smooth, squared_box
from canwheel.track.steering import turn_direction
from canwheel.track.straight import STEP_ERRORS, StraightRatios, steps_driven, straight_ratios
from canwheel.track.wheel_track import FloatColumn, WheelTrack

CALM_S = 0.5
"""Turns are told from means over this long. [s]"""

TURN_SHARE = 0.03
"""What turns is told by a left/right, or crosswise, difference of more than this over speed."""

FEWEST_TURN_S = 3.0
"""So much turning it takes to judge. [s]"""

SHARP_SHARE = 0.10
"""Front and rear of one side differ measurably only in turns sharper than this (by 1.5 % here, by
5 % in the tightest), below `SLOW_KPH`; faster, slip angles take the difference away."""

SLOW_KPH = 30.0
"""See `SHARP_SHARE`. [km/h]"""

MOST_UNREAD_SHARE = 0.5
"""A corner that was not read for more than this share of the way cannot be placed."""

PACE_KPH = 4.0
"""Slower, sensors of some cars are silent. [km/h]"""

BETTER_BY = 2.0
"""The best order must fit this many times better than the order as it is..."""

CLEAR_MISFIT = 0.008
"""... and the order as it is must miss by at least this share of the speed, twice what bumps and
skew leave of a sound car's turns (0.3 to 0.5 % after smoothing, real drive)."""

FITS_SHARE = 0.03
"""The order put back is a car's when it misses by no more than this, or by what the signal's steps
may add; else something other than an exchange is wrong."""

SCALES, ENOUGH = np.linspace(0.8, 1.25, 46), 2000
"""Rings and tyres of another size read so much of what they should; so many samples tell."""

AGREE_SHARE = 0.8
"""A steering or yaw-rate signal must have the sign of the turn for this share of it."""

HARD_MPS2 = 1.0
"""Harder, an axle slips by as much as a turn shows: crosswise that looks like a turn. [m/s²]"""

NO_CAR = "in its turns the four are not a car's, in whatever order"
TOO_LITTLE = "too coarse a signal, or too gentle turns"

Swap = tuple[Corner, Corner]

SWAPS: tuple[Swap, ...] = tuple(combinations(CORNERS, 2))
ACROSS: tuple[Swap, ...] = ((Corner.FL, Corner.FR), (Corner.RL, Corner.RR))


def find_crossed(track: WheelTrack, motion: Motion) -> Outcome:
    """Find the two corners whose exchange makes the four a car again."""
    unread = np.isnan(track.speed_kph[motion.moving])
    if motion.moving.any() and (np.mean(unread, axis=0) > MOST_UNREAD_SHARE).any():
        return _untested(CORNERS, "one corner is not read, and the others alone do not show it")
    ratios = straight_ratios(track, motion)
    calm = smooth(_scaled(track, ratios), samples_in(track, CALM_S))
    moving = motion.moving & (np.min(calm, axis=1) > PACE_KPH)
    moving &= np.abs(motion.accel_mps2) < HARD_MPS2
    turning = moving & (_turn_size(calm) > TURN_SHARE)
    if _seconds(track, turning) < FEWEST_TURN_S:
        return _untested(CORNERS, f"less than {FEWEST_TURN_S:.0f} s of clear turning")
    box = squared_box(track)
    as_is = _misfit(calm[turning], box)
    misfits = {swap: _misfit(_put_back(calm[turning], swap), box) for swap in SWAPS}
    best = min(misfits, key=lambda swap: misfits[swap])
    turn_s = _seconds(track, turning)
    coarse = _coarseness(track, motion, turning) + (STEP_ERRORS * ratios.by_steps if ratios else 0)
    if _breaks(as_is, misfits[best], coarse):
        fits = misfits[best] <= max(FITS_SHARE, coarse)
        if ratios is None:
            fits &= misfits[best] < _misfit_of_a_scale(calm[turning], box)
        return _crossed(track, calm, turning, best, turn_s) if fits else _untested(CORNERS, NO_CAR)
    both = _both_axles(track, calm, turning, turn_s)
    if both.findings:
        return both
    sharp = moving & (_turn_size(calm) > SHARP_SHARE) & (motion.speed_kph < SLOW_KPH)
    if _seconds(track, sharp) < FEWEST_TURN_S:
        why = f"less than {FEWEST_TURN_S:.0f} s of sharp turns below {SLOW_KPH:.0f} km/h"
        return _untested(CORNERS, f"front with rear on one side not tested: {why}")
    # Had two been exchanged, what is as it should be now would have been the order put back.
    hidden = [swap for swap, misfit in misfits.items() if not _breaks(misfit, as_is, coarse)]
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


def _coarseness(track: WheelTrack, motion: Motion, turning: NDArray[np.bool_]) -> float:
    """What the signal's steps alone may add to a misfit, over speed.

    Four values rounded to a step each leave 0.58 of one, one standard deviation: over many steps
    that much, at one steady speed up to three times as much.
    """
    share, steps = steps_driven(track, motion.speed_kph[turning])
    return 0.58 * share * (1 + (STEP_ERRORS - 1) / math.sqrt(steps))


def _scaled(track: WheelTrack, ratios: StraightRatios | None) -> FloatColumn:
    """The four speeds with their straight-line scale factors taken out."""
    if ratios is None:
        return track.speed_kph
    scaled: FloatColumn = track.speed_kph / np.exp(np.nan_to_num(ratios.log_ratio))
    return scaled


def _turn_size(calm: FloatColumn) -> FloatColumn:
    """(n,) the larger left/right difference over speed of the two axles, without its sign."""
    with np.errstate(invalid="ignore"):
        return np.asarray(np.max(np.abs(axle_turn_shares(calm)), axis=1))


def _put_back(speed_kph: FloatColumn, swap: Swap) -> FloatColumn:
    order = list(range(len(CORNERS)))
    one, other = (corner.position for corner in swap)
    order[one], order[other] = order[other], order[one]
    return speed_kph[:, order]


def _misfit(speed_kph: FloatColumn, box: float) -> float:
    """How far four corners are from one car's in turns: median over the samples, over speed.

    Parameters
    ----------
    speed_kph : (n, 4). box : (wheelbase over track)².
    """
    fl, fr, rl, rr = speed_kph.T
    twice_pace_squared = np.sum(speed_kph**2, axis=1) / 2
    flag = (fl**2 + rr**2 - fr**2 - rl**2) / twice_pace_squared
    difference = ((fr - fl) + (rr - rl)) / 2
    ahead = (fl**2 - rl**2 + fr**2 - rr**2) / (2 * twice_pace_squared)
    # Slip angles leave between none and all of what rolling wheels would show.
    rolling = box * difference**2 / twice_pace_squared
    beyond = ahead - np.clip(ahead, 0.0, rolling)
    return float(np.median(np.hypot(flag, beyond)))


def _misfit_of_a_scale(speed_kph: FloatColumn, box: float) -> float:
    """How far the four are from a car when one of them, the best for it, reads too much or little.

    Where no straight drive tells the scales: a wrong ring bends a turn as an exchange does.
    """
    some = speed_kph[:: max(1, len(speed_kph) // ENOUGH)]
    return min(
        _misfit(some * np.where(np.arange(len(CORNERS)) == position, scale, 1.0), box)
        for position in range(len(CORNERS))
        for scale in SCALES
    )


def _turns_with(direction: FloatColumn, share: FloatColumn) -> float:
    """Share of the samples in which an axle turns the way the steering or yaw rate says."""
    return float(np.mean(np.sign(direction) == np.sign(share)))


def _crossed(
    track: WheelTrack, calm: FloatColumn, turning: NDArray[np.bool_], best: Swap, turn_s: float
) -> Outcome:
    if best not in ACROSS:
        says = (
            f"In {turn_s:.0f} s of turns the four move like one car only with {best[0].words} and"
            f" {best[1].words} exchanged: their connectors or wires are swapped."
        )
        return _outcome(track, best, 0.95, says)
    direction = turn_direction(track)
    if direction is not None:
        shares = axle_turn_shares(calm[turning])
        agree = [_turns_with(direction[turning], shares[:, axle]) for axle in (0, 1)]
        if max(agree) > AGREE_SHARE and min(agree) < 1 - AGREE_SHARE:
            wrong = ACROSS[int(np.argmin(agree))]
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
    return Outcome.merge(_outcome(track, swap, 0.5, says) for swap in ACROSS)


def _both_axles(
    track: WheelTrack, calm: FloatColumn, turning: NDArray[np.bool_], turn_s: float
) -> Outcome:
    """Left and right swapped on both axles: a mirrored car, which only the steering gives away."""
    direction = turn_direction(track)
    if direction is None:
        return Outcome()
    shares = axle_turn_shares(calm[turning])
    if max(_turns_with(direction[turning], shares[:, axle]) for axle in (0, 1)) > 1 - AGREE_SHARE:
        return Outcome()
    says = (
        f"For {turn_s:.0f} s of turning both axles turn against the steering: left and right are"
        " swapped on both, or the steering signal's sign is."
    )
    return Outcome.merge(_outcome(track, swap, 0.6, says) for swap in ACROSS)


def _seconds(track: WheelTrack, rows: NDArray[np.bool_]) -> float:
    return float(rows.sum()) / max(1, samples_in(track, 1.0))


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
