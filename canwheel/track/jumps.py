"""Moments at which one corner's reading jumps away from what it was and from all the others."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from canwheel.corners import CORNERS, Corner
from canwheel.outcome import Span
from canwheel.track.motion import LONGEST_STEP_S, READ_FROM_KPH, Motion, smooth
from canwheel.track.no_speed import fastest_kph
from canwheel.track.runs import runs
from canwheel.track.units import KPH_PER_MPS
from canwheel.track.wheel_track import FloatColumn, WheelSamples, WheelTrack


@dataclass(frozen=True, slots=True)
class JumpSize:
    """From when on a reading has jumped.

    Attributes
    ----------
    share : of the speed.
    kph, steps : and at least so much, beyond so many steps of the signal, for at walking pace one
        tooth more is a large share. [km/h]
    calm_mps2 : while the car neither brakes nor pulls harder than this. [m/s²]
    pulled_mps2 : up, where readings come seldom, only while the car gains no more than this. [m/s²]
    steep_mps2 : up and down, where readings come often, quicker than this at one end. [m/s²]
    """

    share: float
    kph: float
    steps: float
    calm_mps2: float
    pulled_mps2: float
    steep_mps2: tuple[float, float]


STEEP_MPS2 = 40.0
"""A wheel that spins and is caught again, by the driver or by traction control, gains and loses
speed by up to 36 m/s² (computed). [m/s²]"""

LARGE = JumpSize(
    share=0.12,
    kph=4.0,
    steps=2.0,
    calm_mps2=1.5,
    pulled_mps2=0.3,
    steep_mps2=(STEEP_MPS2, STEEP_MPS2),
)
"""More than the road does: pot-holes on a real drive throw a sound wheel by up to 8 %, and then its
neighbour on the axle as well. Harder braked or driven than 1.5 m/s², tyres slip in jerks; and on
snow a wheel spins and is caught while the car gains 0.3 m/s²."""

SMALL = JumpSize(
    share=0.04,
    kph=1.2,
    steps=1.5,
    calm_mps2=0.5,
    pulled_mps2=-math.inf,
    steep_mps2=(STEEP_MPS2, 0.0),
)
"""What the road may do to one wheel now and then, but not again and again: of a hundred simulated
sound drives, cobbles among them, and two real ones, none shows three moments of it. Upwards a tyre
that slips a little does as much, again and again, unless it is steep."""

ALONE_SHARE = 0.2
"""Where the neighbour is not read, nobody can say what the road did: a jump is larger than that."""

LONGEST_JUMP_S = 0.25
"""What lasts longer is a wheel that slips; a disturbed signal is back within this. [s]"""

AROUND_S = 0.8
"""A reading is held against the median of so long around it: over three times a jump. [s]"""

MOST_AROUND = 81
"""The median is that of so many of them at most, evenly spread."""

ASK_SHARE = 0.5
"""A jump of the full size stands out from the mean around it by at least half of it."""

EDGE_SAMPLES = 5
"""The ends of a jump are looked for in so many samples before and after it."""

SLOPE_SEEN_S = 0.05
"""So often readings must come to show how steep they are. [s]"""

BRAKED_MPS2 = 0.5
"""On ice a braked wheel dips and recovers while the car slows by no more than this. [m/s²]"""

WHEELBASES_M = (2.2, 4.4)
"""Of cars and vans (common practice, no source). What throws a front wheel throws the rear one
behind it so much road later. [m]"""

REPEATED_SHARE = 0.4
"""It is the same bump from so much of the size on: tyres, loads and readings differ."""


ROUGH_S = 2.0
"""How rough the road is shows in how the other corners shake over so long. [s]"""

ROUGH_TIMES = 4.5
"""On a rough road a wheel is thrown this many times the others' root mean square at most: bumps
near enough normal that it is exceeded once in 150,000 samples."""

MOMENT_S, LONGEST_MOMENT_S = 1.0, 4.0
"""Jumps nearer to one another than the first are of one moment, be it a stone or a tyre that slips
in jerks, which it does not for longer than the second. [s]"""

NOISY_MOMENTS = 8
"""A corner that jumps a little in so many moments is noisy, or its ring is damaged: what the road
makes of sound ones is less."""

OTHER_JUMPS = 3
"""A corner that jumps so often to other values than nothing, and more often so than to nothing, is
disturbed: what falls to nothing for no longer than a jump is one of its jumps."""

EDGE_S = 0.2
"""A jump so near a silence is its edge, smoothed by the unit. [s]"""

CIRCUMFERENCES_M = np.arange(1.5, 2.5, 0.004)
"""Tyres of cars and vans roll between these; a quarter of a per cent apart. [m]"""

FARTHEST_M = 30.0
"""Jumps farther apart than this do not tell where on the wheel they happened: the distance that
the disturbed corner itself measures is not that good. [m]"""

SAME_PLACE = 0.6
"""Mean cosine of the turns between jumps from which they happen at one place of the wheel."""


@dataclass(frozen=True, slots=True, eq=False)
class Jumps:
    """The jumps of one corner.

    Attributes
    ----------
    spans : when, in order.
    largest_kph : of them; a value that can be no speed counts as the fastest that can. [km/h]
    is_beyond_speed : whether there is such a value among them.
    has_large : whether one of them is a `LARGE` one by its size.
    at_kph : usual speed of the others meanwhile. [km/h]
    at_m : distance that this wheel had rolled at each, by its readings between the jumps; those
        to no speed left out, for no place of a wheel reads so. [m]
    """

    spans: tuple[Span, ...]
    largest_kph: float
    at_kph: float
    at_m: FloatColumn
    is_beyond_speed: bool = False
    has_large: bool = True

    @property
    def moments(self) -> int:
        """How many moments they make, of `MOMENT_S` at most apart and `LONGEST_MOMENT_S` long."""
        count, began_s, last_s = 0, -math.inf, -math.inf
        for span in self.spans:
            if span.from_s - last_s > MOMENT_S or span.from_s - began_s > LONGEST_MOMENT_S:
                count, began_s = count + 1, span.from_s
            last_s = span.from_s
        return count

    def explain(self, silent: Sequence[Span]) -> bool:
        """Whether these spells without a reading are but those jumps that end at nothing."""
        if any(span.to_s - span.from_s > LONGEST_JUMP_S for span in silent):
            return False
        elsewhere = sum(
            all(
                jump.to_s < span.from_s - EDGE_S or jump.from_s > span.to_s + EDGE_S
                for span in silent
            )
            for jump in self.spans
        )
        return elsewhere >= max(OTHER_JUMPS, len(silent) + 1)

    def place_on_the_wheel(self) -> tuple[float, float] | None:
        """Turn of the wheel, at one place of which they happen, and the chance of such a semblance.

        None where they do not. Between jumps at one place the wheel has made whole turns. Of n
        random turns the mean cosine is near normal, with a variance of 1 / 2n, and one wheel is as
        good as another until the longest way between two jumps holds a quarter of a turn more.
        [m], [probability]
        """
        apart = np.diff(self.at_m)
        apart = apart[(apart > CIRCUMFERENCES_M[0] / 2) & (apart < FARTHEST_M)]
        if len(apart) == 0:
            return None
        turns = apart[None, :] / CIRCUMFERENCES_M[:, None]
        cosine = np.mean(np.cos(2 * np.pi * turns), axis=1)
        best = int(np.argmax(cosine))
        if cosine[best] < SAME_PLACE:
            return None
        chance = math.erfc(float(cosine[best]) * math.sqrt(len(apart))) / 2
        wheels = 1 + 4 * float(np.ptp(turns[[0, -1]], axis=0).max())
        return float(CIRCUMFERENCES_M[best]), min(1.0, wheels * chance)


def allowed_kph(least: JumpSize, own: WheelSamples, others_kph: FloatColumn) -> FloatColumn:
    """(n,) what a reading may be off by. [km/h]"""
    allowed: FloatColumn = np.maximum(
        least.kph + least.steps * own.resolution_kph, least.share * others_kph
    )
    return allowed


def changes(own: WheelSamples, near: slice) -> tuple[FloatColumn, FloatColumn]:
    """From each of these readings to the next: (k,) by how much it changes [km/h], and (k,) how
    quickly [m/s²].
    """  # noqa: D205 - one sentence, one fact
    change_kph: FloatColumn = np.diff(own.speed_kph[near])
    step_s = np.maximum(np.diff(own.time_s[near]), own.period_s / 2)
    return change_kph, change_kph / KPH_PER_MPS / step_s


def distance_m(time_s: FloatColumn, speed_kph: FloatColumn) -> FloatColumn:
    """(n,) distance that a wheel has rolled by its readings. [m]"""
    step_s = np.minimum(np.diff(time_s, prepend=time_s[:1]), LONGEST_STEP_S)
    rolled: FloatColumn = np.cumsum(np.nan_to_num(speed_kph) * step_s) / KPH_PER_MPS
    return rolled


def find_jumps(track: WheelTrack, motion: Motion, corner: Corner) -> Jumps | None:
    """Find when one corner jumps by a `LARGE` step and the others do not; None where it never does.

    Values that can be no speed are jumps too.
    """
    return _find(track, motion, corner, LARGE)


def find_small_jumps(track: WheelTrack, motion: Motion, corner: Corner) -> Jumps | None:
    """Find the same from `SMALL` steps on, while the car goes calmly."""
    return _find(track, motion, corner, SMALL)


def _find(track: WheelTrack, motion: Motion, corner: Corner, least: JumpSize) -> Jumps | None:
    own = track.wheel(corner)
    if not own.period_s > 0:
        return None
    seen = motion.seen_from(corner)
    others = motion.others_kph(corner)
    allowed = allowed_kph(least, own, others)
    jump = _away_from_itself(own.speed_kph, own.period_s, allowed)
    size = np.abs(jump)
    thrown = np.zeros(len(size), np.bool_) if own.no_speed is None else own.no_speed.at
    thrown = thrown & (others > READ_FROM_KPH)
    mirror = seen[:, corner.mirror.position]
    allowed = np.where(np.isnan(mirror), np.maximum(allowed, ALONE_SHARE * others), allowed)
    off = (size > allowed) & (others > READ_FROM_KPH)
    if not (off | thrown).any():
        return None
    off &= size > ROUGH_TIMES * _shaking_kph(seen, corner, own.period_s)
    # A wheel that spins and grips again comes back to the others; a jump leads away from them.
    off &= np.sign(jump) * (own.speed_kph - others) > allowed / 2
    # A bump lifts both wheels of the axle: what the mirror does at the same time is no jump.
    for company in (mirror, others):
        off &= ~(np.abs(_away_from_itself(company, own.period_s, allowed / 2)) > allowed / 2)
    accel = np.interp(own.time_s, track.time_s, motion.accel_mps2)
    off &= (np.abs(accel) < least.calm_mps2) & ~((jump < 0) & (accel < -BRAKED_MPS2))
    if own.period_s > SLOPE_SEEN_S:
        off &= ~((jump > 0) & (accel > least.pulled_mps2))
    # Neither the road nor a tyre that slips makes a wheel read what can be no speed.
    off |= thrown
    size[thrown] = fastest_kph(track.unit) - others[thrown]
    beside = np.abs(
        _away_from_itself(seen[:, corner.same_side.position], own.period_s, allowed / 2)
    )
    large = size > allowed_kph(LARGE, own, others)
    found = []
    for first, last in runs(off, ~off):
        jumped = slice(first, last + 1)
        is_short = own.time_s[last] - own.time_s[first] <= LONGEST_JUMP_S
        bump_kph = np.max(beside[_same_road(own, corner, others[first], jumped)], initial=0.0)
        if is_short and (
            thrown[jumped].any()
            or (
                _is_steep(own, jumped, least.steep_mps2[0 if jump[first] > 0 else 1])
                and bump_kph < REPEATED_SHARE * np.max(size[jumped])
            )
        ):
            found.append((first, last))
    if not found:
        return None
    return Jumps(
        spans=tuple(Span(float(own.time_s[a]), float(own.time_s[b])) for a, b in found),
        largest_kph=max(float(np.max(size[a : b + 1])) for a, b in found),
        at_kph=float(np.median([others[a] for a, _ in found])),
        at_m=distance_m(own.time_s, np.where(thrown, others, own.speed_kph - jump))[
            [a for a, b in found if not thrown[a : b + 1].any()]
        ],
        is_beyond_speed=any(thrown[a : b + 1].any() for a, b in found),
        has_large=any(large[a : b + 1].any() for a, b in found),
    )


def _same_road(own: WheelSamples, corner: Corner, at_kph: float, jumped: slice) -> slice:
    """Samples while the same side's other wheel rolls where this one rolled when it jumped."""
    near_s, far_s = (wheelbase_m * KPH_PER_MPS / at_kph for wheelbase_m in WHEELBASES_M)
    from_s, to_s = own.time_s[jumped][[0, -1]]
    shift_s = (near_s, far_s) if corner.axle == "front" else (-far_s, -near_s)
    window_s = (from_s + shift_s[0] - own.period_s, to_s + shift_s[1] + own.period_s)
    return slice(*np.searchsorted(own.time_s, window_s))


def _is_steep(own: WheelSamples, jumped: slice, least_mps2: float) -> bool:
    """Whether a jump begins or ends so quickly, as far as readings come often enough to show it."""
    if own.period_s > SLOPE_SEEN_S:
        return True
    near = slice(max(0, jumped.start - EDGE_SAMPLES), jumped.stop + EDGE_SAMPLES)
    _, rate_mps2 = changes(own, near)
    return not bool(np.nanmax(np.abs(rate_mps2), initial=0.0) < least_mps2)


def _shaking_kph(seen: FloatColumn, corner: Corner, period_s: float) -> FloatColumn:
    """(n,) root mean square, over `ROUGH_S`, of what the roughest other corner shakes by. [km/h]"""
    others = seen[:, [other.position for other in CORNERS if other is not corner]]
    quick = others - smooth(others, max(3, round(AROUND_S / period_s)))
    mean_square = smooth(quick**2, max(3, round(ROUGH_S / period_s)))
    shaking: FloatColumn = np.sqrt(np.fmax.reduce(np.nan_to_num(mean_square), axis=1))
    return shaking


def _away_from_itself(
    speed_kph: FloatColumn, period_s: float, allowed_kph: FloatColumn
) -> FloatColumn:
    """(n,) difference from the median of the samples around, 0 where it is small anyway. [km/h]

    The median is only worked out where the difference from the mean calls for it, as it is slow.
    """
    half = max(2, round(AROUND_S / 2 / period_s))
    coarse = np.nan_to_num(speed_kph - smooth(speed_kph, 2 * half + 1))
    ask = np.flatnonzero(np.abs(coarse) > ASK_SHARE * allowed_kph)
    beside = np.unique(np.linspace(-half, half, MOST_AROUND).round().astype(np.intp))
    around = np.clip(ask[:, None] + beside, 0, len(speed_kph) - 1)
    away = np.zeros(len(speed_kph))
    away[ask] = np.nan_to_num(speed_kph[ask] - np.nanmedian(speed_kph[around], axis=1))
    return away
