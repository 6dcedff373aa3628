"""Two corners' signals that sit on each other's places: connectors or wires mixed up."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canwheel.corners import CORNERS, Corner
from canwheel.outcome import Finding, NotJudged, Outcome
from canwheel.track.axles import AXLES
from canwheel.track.motion import Motion, axle_turn_shares, samples_in, smooth
from canwheel.track.wheel_track import FloatColumn, WheelTrack

CALM_S = 0.5
"""Turns are told from means over this long. [s]"""

TURN_SHARE = 0.02
"""Both axles' left/right differences must exceed this for their signs to mean something."""

FEWEST_TURN_S = 3.0
"""So much turning it takes to say that the axles turn opposite ways, or the same way. [s]"""

OPPOSITE_SHARE = 0.8
"""So much of it must be opposite."""

SHARP_SHARE = 0.08
"""In turns sharper than this left/right difference, below `SLOW_KPH`, the front runs measurably
faster than the rear: by 1 % at this value, by 5 % in the tightest."""

SLOW_KPH = 30.0
"""Faster, the tyres' slip angles take the difference between front and rear away. [km/h]"""

FEWEST_SHARP_S = 2.0
"""So much sharp turning it takes to tell front from rear on one side. [s]"""

LEAST_SURPLUS = 0.7
"""Front² − rear² over (right − left)² must be beyond this, one way or the other; cars have 2 to 4.8
(wheelbase over track, squared), less where slip sets in."""


def find_crossed(track: WheelTrack, motion: Motion) -> Outcome:
    """Find swapped corners: left with right on an axle, or front with rear on a side."""
    if np.isnan(track.speed_kph).all(axis=0).any():
        why = "one corner is not read, and the others alone do not show it"
        return Outcome(not_judged=tuple(NotJudged(c, "crossed", why) for c in CORNERS))
    calm = smooth(track.speed_kph, samples_in(track, CALM_S))
    across = _left_with_right(track, motion, calm)
    along = _front_with_rear(track, motion, calm)
    findings = across.findings or along.findings
    if findings:
        return Outcome(findings=findings)
    return Outcome(not_judged=across.not_judged or along.not_judged)


def _seconds(track: WheelTrack, rows: NDArray[np.bool_]) -> float:
    return float(rows.sum()) / max(1, samples_in(track, 1.0))


def _left_with_right(track: WheelTrack, motion: Motion, calm: FloatColumn) -> Outcome:
    """One axle crossed: in every turn the two axles turn opposite ways."""
    front, rear = axle_turn_shares(calm).T
    with np.errstate(invalid="ignore"):
        turning = motion.moving & (np.minimum(np.abs(front), np.abs(rear)) > TURN_SHARE)
    if _seconds(track, turning) < FEWEST_TURN_S:
        why = f"less than {FEWEST_TURN_S:.0f} s of clear turning"
        return Outcome(not_judged=tuple(NotJudged(c, "crossed", why) for c in CORNERS))
    opposite = turning & (front * rear < 0)
    turns = _turn_direction(track)
    if opposite.sum() > OPPOSITE_SHARE * turning.sum():
        wrong = _axle_against(turns, front, rear, opposite)
        return Outcome(findings=_swapped(track, opposite, wrong))
    if turns is not None and opposite.sum() < (1 - OPPOSITE_SHARE) * turning.sum():
        against = turning & (turns * front < 0) & (turns * rear < 0)
        told = turning & (np.abs(turns) > 0)
        if _seconds(track, told) > FEWEST_TURN_S and against.sum() > OPPOSITE_SHARE * told.sum():
            return Outcome(findings=_swapped(track, against, (0, 1), sure=True))
    return Outcome()


def _turn_direction(track: WheelTrack) -> FloatColumn | None:
    """(n,) positive in a left turn, by yaw rate or steering where the drive has one."""
    for name in ("yaw_rate", "steering"):
        helper = track.helpers.get(name)
        if helper is not None and len(helper.time_s) > 1:
            value = np.nan_to_num(helper.value)
            return np.asarray(np.interp(track.time_s, helper.time_s, value - np.median(value)))
    return None


def _axle_against(
    turns: FloatColumn | None, front: FloatColumn, rear: FloatColumn, rows: NDArray[np.bool_]
) -> tuple[int, ...]:
    """Which axle turns against the steering or the yaw rate; both when nothing tells."""
    if turns is None:
        return (0, 1)
    agrees = [float(np.mean(np.sign(turns[rows]) == np.sign(axle[rows]))) for axle in (front, rear)]
    if max(agrees) < OPPOSITE_SHARE:
        return (0, 1)
    return (int(np.argmin(agrees)),)


def _swapped(
    track: WheelTrack, rows: NDArray[np.bool_], axles: tuple[int, ...], *, sure: bool = False
) -> tuple[Finding, ...]:
    sure = sure or len(axles) == 1
    seconds = _seconds(track, rows)
    if sure and len(axles) == 1:
        says = (
            f"Left and right of this axle are swapped: for {seconds:.0f} s of turning it turns"
            " against the other axle and against the steering."
        )
    elif sure:
        says = (
            f"Left and right are swapped on both axles: for {seconds:.0f} s of turning the wheels"
            " turn against the steering."
        )
    else:
        says = (
            f"The two axles turn opposite ways for {seconds:.0f} s of turning: left and right are"
            " swapped on one of them. Without a steering or yaw-rate signal nobody can say on"
            " which."
        )
    return tuple(
        _finding(track, corner, corner.mirror, 0.97 if sure else 0.5, says)
        for axle in axles
        for corner in AXLES[axle]
    )


@dataclass(frozen=True, slots=True)
class _Surplus:
    """Front² − rear² over (right − left)² on one side; `agree` of its samples have its sign."""

    value: float
    agree: float


def _front_with_rear(track: WheelTrack, motion: Motion, calm: FloatColumn) -> Outcome:
    """One side crossed: its rear wheel runs faster than its front in every sharp turn."""
    share = np.abs(axle_turn_shares(calm)).min(axis=1)
    with np.errstate(invalid="ignore"):
        sharp = motion.moving & (share > SHARP_SHARE) & (motion.speed_kph < SLOW_KPH)
        sharp &= calm.min(axis=1) > TURN_PACE_KPH
    if _seconds(track, sharp) < FEWEST_SHARP_S:
        why = f"less than {FEWEST_SHARP_S:.0f} s of sharp turning below {SLOW_KPH:.0f} km/h"
        return Outcome(not_judged=tuple(NotJudged(c, "crossed", why) for c in CORNERS))
    fl, fr, rl, rr = calm[sharp].T
    difference = ((fr - fl) + (rr - rl)) / 2
    left = _surplus(fl**2 - rl**2, difference)
    right = _surplus(fr**2 - rr**2, difference)
    seconds = _seconds(track, sharp)
    wrong: list[tuple[Corner, Corner]] = []
    if _is_swapped(left):
        wrong.append((Corner.FL, Corner.RL))
    if _is_swapped(right):
        wrong.append((Corner.FR, Corner.RR))
    says = (
        f"Front and rear of this side are swapped: for {seconds:.0f} s of sharp turns its rear"
        " wheel runs faster than its front wheel, which no car does."
    )
    return Outcome(
        findings=tuple(
            _finding(track, corner, other, 0.95, says)
            for pair in wrong
            for corner, other in (pair, pair[::-1])
        )
    )


TURN_PACE_KPH = 3.0
"""All four must read: below this, sensors of some cars are silent. [km/h]"""


def _surplus(squares: FloatColumn, difference: FloatColumn) -> _Surplus:
    ratio = squares / difference**2
    value = float(np.median(ratio))
    return _Surplus(value, float(np.mean(np.sign(ratio) == np.sign(value))))


def _is_swapped(side: _Surplus) -> bool:
    return side.value < -LEAST_SURPLUS and side.agree > OPPOSITE_SHARE


def _finding(
    track: WheelTrack, corner: Corner, other: Corner, confidence: float, says: str
) -> Finding:
    return Finding(
        corner=corner,
        kind="crossed",
        confidence=confidence,
        spans=(track.whole,),
        count=1,
        says=says,
        evidence={"with": other.value},
    )
