"""How the car moved by its four corners, and what any three corners say of the fourth.

The car is a rigid body turning about a point, and each rolling wheel runs at yaw rate times its
distance to that point. For the corners of a rectangle and any point (the British flag theorem)

    FL² + RR² = FR² + RL²

so three corners predict the fourth; and the front pair runs faster than the rear by the square of
yaw rate times wheelbase, FL² − RL² = FR² − RR² = (L / t)² (RR − RL)² at walking pace, where the
tyres do not slip sideways. The first relation has three unknowns for four readings and cannot say
which corner is wrong; the second tells whether three corners agree among themselves.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, TypeVar, TypeVarTuple

import numpy as np
from numpy.typing import NDArray

from canwheel.corners import CORNERS, Corner
from canwheel.track.units import KPH_PER_MPS
from canwheel.track.wheel_track import FloatColumn, WheelTrack

Answer = TypeVar("Answer")
Of = TypeVarTuple("Of")

MOVING_KPH = 1.5
"""Above this the car moves; below, sensors of every kind may be silent. [km/h]"""

LONGEST_STEP_S = 1.0
"""Between samples farther apart than this nobody knows what the car did; it counts for nothing.
Slower than any wheel message (10 to 100 ms), even with most frames lost. [s]"""

TURNING_SHARE = 0.02
"""Left/right difference over speed from which a turn is one: wheels of sound pairs differ by up to
1.2 % (measured on real drives), and a 75 m radius gives 2 %."""

READ_FROM_KPH = 10.0
"""By this speed of the others every sound corner reads; slower, sound sensors come and go. Passive
ones pick up between 3 and 8 km/h (textbook, from memory), the inner wheel of the tightest turn runs
at 0.6 of the others' speed. [km/h]"""

TOLD_BY_KPH = 15.0
"""By this speed a sensor fault is told (UN Regulation 13-H asks the same of a unit), and above
it a corner counts as tested; below, a sensor that picks up late looks like a dead one. [km/h]"""

SMOOTH_S = 0.3
"""Turn and acceleration are told from means over this long, so that a bump is no manoeuvre. [s]"""

WHEELBASE_OVER_TRACK = (1.4, 2.2)
"""Passenger cars and vans lie within these (common practice, no source)."""

USUAL_WHEELBASE_OVER_TRACK = 1.7
"""Taken where the vehicle file does not say (2.65 m over 1.55 m; 1.6 to 1.8 on a real drive)."""

TIGHTEST_TURN_SHARE = 0.55
"""Most that an axle's left and right can differ, over their mean: a 1.6 m track about a point 3 m
from the middle of the axle, tighter than any car turns (common practice, no source)."""

TWO_LEFT_FACTOR = 1.6
"""In the tightest turn a wheel runs at most so much faster, or slower, than the fastest, or
slowest, of two others (rigid body, 1.6 m track about a point 3.5 m away: 4.3 m over 2.7 m)."""

GRIP_MPS2 = 10.0
"""No tyre of a road car corners harder (0.8 to 0.9 g on a good dry road, from memory). [m/s²]"""

TRACK_M = 1.6
"""Width taken where only a bound is needed. [m]"""

AGREE_SHARE = 0.05
"""Three corners agree when their speeds fit a rigid body this well: three standard deviations of
the worse real drive (1.3 to 1.7 %, front and rear in two messages)."""

AGREE_KPH = 1.5
"""The same at walking pace, where one tooth more or less is a large share. [km/h]"""


def others_kph(speed_kph: FloatColumn, corner: Corner) -> FloatColumn:
    """What the other corners say the car does, whatever one of them says. [km/h]

    Their median; of two, the slower, since a mean is dragged by one spike or one spinning wheel;
    of one, that one. NaN where none is read.

    Parameters
    ----------
    speed_kph : (n, 4).
    """
    first, second, third = (speed_kph[:, other] for other in _others(corner))
    low, high = np.minimum(first, second), np.maximum(first, second)
    middle: FloatColumn = np.maximum(low, np.minimum(high, third))
    few = np.flatnonzero(np.isnan(middle))
    if len(few):
        middle[few] = np.fmin(np.fmin(first[few], second[few]), third[few])
    return middle


def _others(corner: Corner) -> tuple[int, int, int]:
    """Positions of the corner on the same side, on the same axle, and crosswise."""
    mirror = corner.mirror
    return corner.same_side.position, mirror.position, mirror.same_side.position


def expected_kph(speed_kph: FloatColumn, corner: Corner) -> tuple[FloatColumn, FloatColumn]:
    """Least and most that this corner may read by what the other three say. [km/h]

    Between the squared relation, right in every turn but only if all three are, and the median,
    right whichever one of the three is wrong but not in a tight turn. Where the three do not fit
    a rigid body only the median counts. Two or one cannot predict: there the range is what a tight
    turn allows.

    Parameters
    ----------
    speed_kph : (n, 4), scale factors taken out.
    """
    middle = others_kph(speed_kph, corner)
    return _range_kph(speed_kph, corner, middle, predicted_kph(speed_kph, corner, middle))


def _range_kph(
    speed_kph: FloatColumn, corner: Corner, middle: FloatColumn, flag: FloatColumn
) -> tuple[FloatColumn, FloatColumn]:
    least, most = np.minimum(middle, flag), np.maximum(middle, flag)
    first, second, third = (speed_kph[:, other] for other in _others(corner))
    few = np.flatnonzero(np.isnan(first) | np.isnan(second) | np.isnan(third))
    if len(few):
        slowest = np.fmin(np.fmin(first[few], second[few]), third[few])
        fastest = np.fmax(np.fmax(first[few], second[few]), third[few])
        least[few], most[few] = slowest / TWO_LEFT_FACTOR, fastest * TWO_LEFT_FACTOR
    return least, most


def predicted_kph(
    speed_kph: FloatColumn, corner: Corner, middle: FloatColumn | None = None
) -> FloatColumn:
    """(n,) what this corner most likely runs at by what the others say. [km/h]

    By the squared relation where the other three fit a rigid body, else as `others_kph`, which is
    `middle` where that is at hand.
    """
    middle = others_kph(speed_kph, corner) if middle is None else middle
    flag = squared_relation_kph(speed_kph, corner)
    known = three_agree(speed_kph, corner) & ~np.isnan(flag)
    predicted: FloatColumn = np.where(known, flag, middle)
    return predicted


def squared_relation_kph(speed_kph: FloatColumn, corner: Corner) -> FloatColumn:
    """(n,) this corner by the squared relation, NaN where there is no such speed. [km/h]"""
    same_side, mirror, diagonal = (speed_kph[:, other] for other in _others(corner))
    squared = mirror**2 + same_side**2 - diagonal**2
    with np.errstate(invalid="ignore"):
        speed: FloatColumn = np.sqrt(squared)
    return speed


def three_agree(speed_kph: FloatColumn, corner: Corner) -> NDArray[np.bool_]:
    """(n,) whether the other three could be three corners of one car on a road.

    Whichever corner is left out, one whole axle and one end of the other remain. The whole axle
    gives the yaw rate, which the tightest turn and the grip of the tyres bound; and with it how
    much faster or slower the single wheel may run than the one on its side: anything from no
    difference (side slip at speed) to the full one of the longest car (walking pace).
    """
    surplus, difference, pace = triple_surplus(speed_kph, corner)
    slack_kph = np.maximum(AGREE_SHARE * pace, AGREE_KPH)
    with np.errstate(divide="ignore", invalid="ignore"):
        by_grip_kph = GRIP_MPS2 * TRACK_M * KPH_PER_MPS**2 / pace
    tightest = np.minimum(TIGHTEST_TURN_SHARE * pace, by_grip_kph)
    most = WHEELBASE_OVER_TRACK[1] ** 2 * difference**2
    slack = 2 * np.maximum(pace, slack_kph) * slack_kph
    agree: NDArray[np.bool_] = (
        (difference < tightest + slack_kph) & (surplus > -slack) & (surplus < most + slack)
    )
    return agree


def three_may_agree(speed_kph: FloatColumn, corner: Corner) -> NDArray[np.bool_]:
    """(n,) whether the other three agree, or are not all read: then nobody can say they do not."""
    rest = np.delete(speed_kph, corner.position, axis=1)
    return np.asarray(three_agree(speed_kph, corner) | np.isnan(rest).any(axis=1))


def triple_surplus(
    speed_kph: FloatColumn, left_out: Corner
) -> tuple[FloatColumn, FloatColumn, FloatColumn]:
    """What three corners say of a turn: the three numbers that rolling wheels tie together.

    Parameters
    ----------
    speed_kph : (n, 4). left_out : the corner not looked at; its axle mate is the single wheel.

    Returns
    -------
    (n,) front² − rear² on the single wheel's side, which rolling wheels keep at (wheelbase over
    track)² times the square of the next [(km/h)²]; (n,) left/right difference of the whole axle,
    without its sign [km/h]; (n,) mean speed of the whole axle [km/h].
    """
    front_is_whole = left_out.axle == "rear"
    whole = (Corner.FL, Corner.FR) if front_is_whole else (Corner.RL, Corner.RR)
    left, right = (speed_kph[:, c.position] for c in whole)
    single = speed_kph[:, left_out.mirror.position]
    beside = speed_kph[:, left_out.mirror.same_side.position]
    surplus = beside**2 - single**2 if front_is_whole else single**2 - beside**2
    return surplus, np.abs(right - left), (left + right) / 2


def squared_box(track: WheelTrack) -> float:
    """(Wheelbase over track)², from the vehicle file or that of a usual car."""
    return (track.wheelbase_over_track or USUAL_WHEELBASE_OVER_TRACK) ** 2


def smooth(values: FloatColumn, samples: int) -> FloatColumn:
    """Mean over a centred window, of what is there in it. (n,) or (n, k), along axis 0."""
    half = max(0, samples // 2)
    if half == 0 or len(values) == 0:
        return values
    unknown = np.isnan(values)
    if not unknown.any():
        total = _running_sum(values, half)
        count = _running_sum(np.ones((len(values), *[1] * (values.ndim - 1))), half)
    else:
        total = _running_sum(np.where(unknown, 0.0, values), half)
        count = _running_sum((~unknown).astype(np.float64), half)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean: FloatColumn = total / count
    return mean


def _running_sum(values: FloatColumn, half: int) -> FloatColumn:
    """Sum over `half` rows before to `half` rows after each, as far as there are any."""
    n = len(values)
    padded = np.empty((n + 2 * half + 1, *values.shape[1:]))
    padded[: half + 1] = 0.0
    np.cumsum(values, axis=0, out=padded[half + 1 : half + 1 + n])
    padded[half + 1 + n :] = padded[half + n]
    return np.asarray(padded[2 * half + 1 :] - padded[:n])


@dataclass(frozen=True, slots=True, eq=False)
class Motion:
    """The car's own motion on the track's common time base, and what corners say of one another.

    Attributes
    ----------
    track : the drive that it is the motion of.
    speed_kph : (n,) median of the corners read. [km/h]
    turn : (n,) left/right difference over speed, positive in a left turn; of the axle whose
        difference is the smaller, so that one wrong corner makes no turn; NaN when standing.
    accel_mps2 : (n,) rate of change of speed. [m/s²]
    moving : (n,) whether the car moves.
    distance_km : driven in all. [km]
    top_kph : fastest for at least a blink (a spike is no speed). [km/h]
    """

    track: WheelTrack
    speed_kph: FloatColumn
    turn: FloatColumn
    accel_mps2: FloatColumn
    moving: NDArray[np.bool_]
    distance_km: float
    top_kph: float
    _answers: dict[tuple[object, ...], Any] = field(default_factory=dict, repr=False)

    def once(self, question: Callable[[WheelTrack, "Motion", *Of], Answer], *of: *Of) -> Answer:
        """What a function says of this drive, or of a corner of it; it works once for all checks.

        Parameters
        ----------
        question : asked with the drive and its motion, and with `of`: a corner, or nothing more.
        """
        key = (question, *of)
        if key not in self._answers:
            self._answers[key] = question(self.track, self, *of)
        answer: Answer = self._answers[key]
        return answer

    def seen_from(self, corner: Corner) -> FloatColumn:
        """All four at the corner's own times; see the track's method of that name. [km/h]"""
        return self.once(_seen_from, self.track.first_beside(corner))

    def others_kph(self, corner: Corner) -> FloatColumn:
        """What the others say, at the corner's own times; see the function of that name. [km/h]"""
        return self.once(_others_of, corner)

    def expected_kph(self, corner: Corner) -> tuple[FloatColumn, FloatColumn]:
        """What it may read, at its own times; see the function of that name. [km/h]"""
        return self.once(_expected_of, corner)

    def predicted_kph(self, corner: Corner) -> FloatColumn:
        """What it most likely runs at, at its own times; see the function of that name. [km/h]"""
        return self.once(_predicted_of, corner)


def _seen_from(track: WheelTrack, _motion: Motion, corner: Corner) -> FloatColumn:
    return track.seen_from(corner)


def _others_of(_track: WheelTrack, motion: Motion, corner: Corner) -> FloatColumn:
    return others_kph(motion.seen_from(corner), corner)


def _expected_of(
    _track: WheelTrack, motion: Motion, corner: Corner
) -> tuple[FloatColumn, FloatColumn]:
    middle, flag = motion.others_kph(corner), motion.predicted_kph(corner)
    return _range_kph(motion.seen_from(corner), corner, middle, flag)


def _predicted_of(_track: WheelTrack, motion: Motion, corner: Corner) -> FloatColumn:
    return predicted_kph(motion.seen_from(corner), corner, motion.others_kph(corner))


def estimate_motion(track: WheelTrack) -> Motion:
    """Estimate the car's motion from the corners that are read."""
    speed = middle_kph(track.speed_kph)
    samples = samples_in(track, SMOOTH_S)
    calm = smooth(speed, samples)
    moving = np.nan_to_num(calm) > MOVING_KPH
    accel = np.zeros(len(speed))
    if len(speed) > 2 * samples > 0:
        rise = calm[2 * samples :] - calm[: -2 * samples]
        accel[samples:-samples] = rise / (
            track.time_s[2 * samples :] - track.time_s[: -2 * samples]
        )
    step_s = steps_s(track)
    return Motion(
        track=track,
        speed_kph=speed,
        turn=np.where(moving, turn_share(smooth(track.speed_kph, samples)), np.nan),
        accel_mps2=np.nan_to_num(accel) / KPH_PER_MPS,
        moving=moving,
        distance_km=float(np.sum(np.where(moving, np.nan_to_num(speed), 0.0) * step_s)) / 3600,
        top_kph=float(np.max(np.nan_to_num(calm), initial=0.0)),
    )


def steps_s(track: WheelTrack) -> FloatColumn:
    """(n,) time since the sample before, 0 for the first one and across a gap. [s]"""
    step_s: FloatColumn = np.diff(track.time_s, prepend=track.time_s[:1])
    step_s[step_s > LONGEST_STEP_S] = 0.0
    return step_s


def samples_in(track: WheelTrack, seconds: float) -> int:
    """How many samples of the common base lie in that time, at least one."""
    if len(track.time_s) < 2:  # noqa: PLR2004 - a rate needs two samples
        return 1
    period = float(np.median(np.diff(track.time_s)))
    return max(1, round(seconds / period)) if period > 0 else 1


def middle_kph(speed_kph: FloatColumn) -> FloatColumn:
    """(n,) median of the corners read, NaN where none is. [km/h]"""
    first, second, third, fourth = speed_kph.T
    # The two in the middle: all but the lowest and the highest.
    lows, highs = np.minimum(first, second), np.maximum(first, second)
    lows_2, highs_2 = np.minimum(third, fourth), np.maximum(third, fourth)
    middle: FloatColumn = (np.maximum(lows, lows_2) + np.minimum(highs, highs_2)) / 2
    few = np.flatnonzero(np.isnan(middle))
    if len(few):
        order = np.sort(speed_kph[few], axis=1)  # NaN goes last
        count = np.sum(~np.isnan(order), axis=1)
        rows = np.arange(len(few))
        low = order[rows, np.maximum(count - 1, 0) // 2]
        high = order[rows, np.minimum(count // 2, len(CORNERS) - 1)]
        middle[few] = np.where(count > 0, (low + high) / 2, np.nan)
    return middle


def axle_turn_shares(speed_kph: FloatColumn) -> FloatColumn:
    """(n, 2) front and rear left/right difference over speed, positive in a left turn."""
    left, right = speed_kph[:, [0, 2]], speed_kph[:, [1, 3]]
    with np.errstate(invalid="ignore", divide="ignore"):
        share: FloatColumn = (right - left) / np.maximum((left + right) / 2, MOVING_KPH)
    return share


def turn_share(speed_kph: FloatColumn) -> FloatColumn:
    """(n,) the smaller of the two axles' left/right differences, 0 where they contradict."""
    front, rear = axle_turn_shares(speed_kph).T
    smaller = np.where(np.abs(front) < np.abs(rear), front, rear)
    contradict = front * rear < 0
    both = np.where(contradict, 0.0, smaller)
    return np.where(np.isnan(front), rear, np.where(np.isnan(rear), front, both))
