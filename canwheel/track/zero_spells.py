"""Spells in which one corner reads nothing while the others say that the car moves.

A dead sensor, a drop-out and a wheel locked by the brake all look like this at first; what each
spell goes with tells them apart (`wheel_locks.py`, and the checks).
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canwheel.corners import Corner
from canwheel.outcome import Span
from canwheel.track.motion import (
    LONGEST_STEP_S,
    READ_FROM_KPH,
    TOLD_BY_KPH,
    Motion,
    samples_in,
    smooth,
)
from canwheel.track.runs import runs
from canwheel.track.units import KPH_PER_MPS
from canwheel.track.wheel_track import FloatColumn, WheelSamples, WheelTrack

NOTHING_SHARE = 0.2
"""Less than this share of the others' speed is as good as nothing: no rolling wheel gets there,
the inner rear wheel of the tightest turn of a car still runs at 0.6 of the others' median."""

ALIVE_SHARE = 0.5
"""From this share of the others' speed on, at any speed, the corner reads again."""

WHOLE_SHARE = 0.85
"""From this share of its usual on the wheel turns as it should; a fall or rise is timed from here
to nothing."""

USUAL_S = 1.0
"""Its usual, as a share of the others' speed, is the most within so long before or after: the inner
wheel of a turn runs slower than the others. [s]"""

ROLLING_KPH = 5.0
"""Slower, the others may be about to stand, and how a corner comes back tells nothing. [km/h]"""

KNOWN_S = 2.0
"""Below the speed by which every sensor must read, a corner must have read for so long... [s]"""

KNOWN_SHARE = 0.7
"""... at less than this share of the speed at which it is silent."""


@dataclass(frozen=True, slots=True)
class ZeroSpell:
    """One stretch without a reading.

    Attributes
    ----------
    corner : which.
    from_s, to_s : first and last sample without a reading. [s]
    silent_s : how long it lasted, what the last sample stands for included. [s]
    others_top_kph : fastest that the others went meanwhile. [km/h]
    judged_s, judged_km : time and distance in it during which the corner had to read. [s], [km]
    edge_s : time of fall and of rise together; short for a broken contact, long for a wheel that
        is being stopped and spun up again. [s]
    sample_s : the finest that an edge can be timed: usual time between samples, or the time that
        each is the mean over. [s]
    slowing_mps2 : how hard the car slowed meanwhile, or just before where that is more, by the
        others; positive when slowing. [m/s²]
    braking : whether a brake signal says so; None without one, or just after the brake was let go.
    in_company : another wheel nearly stops and turns again about then, as the fastest one slows.
    to_the_end : no reading after it.
    from_the_start : none before it.
    starts_slow, ends_slow : it begins (ends) as the car sets off (slows down), below the speed
        by which every corner must read.
    """

    corner: Corner
    from_s: float
    to_s: float
    silent_s: float
    others_top_kph: float
    judged_s: float
    judged_km: float
    edge_s: float
    sample_s: float
    slowing_mps2: float
    braking: bool | None
    in_company: bool
    to_the_end: bool
    from_the_start: bool
    starts_slow: bool
    ends_slow: bool

    @property
    def span(self) -> Span:
        """When."""
        return Span(self.from_s, self.to_s)

    @property
    def takes_its_time(self) -> bool:
        """Whether its fall and rise are a wheel's, no contact's."""
        return self.edge_s > max(LONG_EDGE_S, LONG_EDGE_SAMPLES * self.sample_s)

    @property
    def is_quick(self) -> bool:
        """Whether it comes and goes too quickly for its readings to tell a wheel from a contact."""
        return self.edge_s <= LOCK_EDGE_S + 2 * self.sample_s


LOCK_SLOWING_MPS2 = 0.8
"""A wheel locks only while the car is being braked; polished ice still gives about this.
(0.08 to 0.1 g, common practice, no source) [m/s²]"""

LOCK_EDGE_S = 0.06
"""The brake needs at least this long to stop a wheel, and the road to spin it up again, together;
a contact opens and closes between two samples. Between the two stands only the smoothing of the
unit. [s]"""

LONG_EDGE_S, LONG_EDGE_SAMPLES = 0.1, 6
"""A fall and a rise that take this long together, [s] and in samples, are no contact's, nor a
unit's smoothing."""

LONGEST_LOCK_S = 4.0
"""No driver holds a locked wheel for longer, on the road, without the car standing. [s]"""

COMPANY_S = 1.5
"""Within so long of one another, wheels under one braking lock... [s]"""

COMPANY_SHARES = (0.5, 0.8)
"""... fall below the first and come up to the second share of the fastest one: the inner wheel of
the tightest turn stays above 0.55."""

SPIN_S, SPIN_MPS2, SPIN_GAIN_S = 1.0, 8.0, 0.2
"""A wheel that gains speed faster than tyres grip, for as long as the last, spins; one that was
slow then is no silent one for as long as the first. [s], [m/s²], [s]"""

LET_GO_S = 0.8
"""On ice a wheel may stand so long after the driver has let go of the brake... [s]"""

JUST_BEFORE_S = 0.5
"""... and may lock so soon after the brake is pressed. [s]"""


def told_from_kph(own: WheelSamples) -> float:
    """Speed from which this corner must read: it has read, for a while, at `KNOWN_SHARE` of it.

    By 15 km/h every sensor must; many do at walking pace.
    """
    samples = math.ceil(KNOWN_S / own.period_s) if own.period_s > 0 else 0
    reading = own.speed_kph[own.speed_kph > own.resolution_kph]
    if not 0 < samples < len(reading):
        return TOLD_BY_KPH
    slowest_kph = float(np.partition(reading, samples)[samples])
    return min(TOLD_BY_KPH, slowest_kph / KNOWN_SHARE)


def find_zero_spells(track: WheelTrack, motion: Motion, corner: Corner) -> tuple[ZeroSpell, ...]:
    """Find the stretches without a reading of one corner, in order.

    A spell lasts until the corner reads again: a stop in between, when nothing can be said, does
    not end it.
    """
    own = track.wheel(corner)
    if len(own.time_s) < 2:  # noqa: PLR2004 - one sample is no spell
        return ()
    others, _ = motion.expected_kph(corner)
    nothing = own.speed_kph <= np.maximum(NOTHING_SHARE * others, own.resolution_kph)
    silent = (others >= READ_FROM_KPH) & nothing
    if silent.any():
        silent &= _is_witnessed(motion, corner, others)
    alive = own.speed_kph > np.maximum(ALIVE_SHARE * others, own.resolution_kph)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(alive, np.minimum(1.0, own.speed_kph / others), 0.0)
    zero = (own.speed_kph <= own.resolution_kph) & (others > ROLLING_KPH)
    readings = _Readings(own, others, silent, zero, share, np.flatnonzero(alive))
    spells = (
        _describe(track, motion, corner, readings, first=first, last=last)
        for first, last in runs(silent, alive)
    )
    gain = samples_in(track, SPIN_GAIN_S / 2), samples_in(track, SPIN_GAIN_S)
    return tuple(
        spell
        for spell in spells
        if spell.silent_s > LONGEST_LOCK_S
        or spell.in_company
        or not _others_spin(track, spell, gain)
    )


def _is_witnessed(motion: Motion, corner: Corner, others_kph: FloatColumn) -> NDArray[np.bool_]:
    """(n,) where two others say how fast the car goes, or one does three times in a row: a single
    one that is left may have a fault of its own, and nobody beside it to say so.
    """  # noqa: D205 - one sentence, one fact
    rest = np.delete(motion.seen_from(corner), corner.position, axis=1)
    fast = others_kph >= READ_FROM_KPH
    lasting = fast & np.roll(fast, 1) & np.roll(fast, -1)
    return np.asarray(lasting | (np.sum(~np.isnan(rest), axis=1) > 1))


def _others_spin(track: WheelTrack, spell: ZeroSpell, gain: tuple[int, int]) -> bool:
    """Whether another corner gained speed as no car does, just before, while this one was slow.

    It reads again later: one that never does is silent whoever spins.

    Parameters
    ----------
    gain : samples of the common base in half of the time that the gain is taken over, and in all
        of it; worked out once for many spells.
    """
    if spell.to_the_end:
        return False
    before = slice(*np.searchsorted(track.time_s, (spell.from_s - SPIN_S, spell.from_s)))
    smoothed_over, later = gain
    calm = smooth(track.speed_kph[before], smoothed_over)
    slow = calm[later:, spell.corner.position] < READ_FROM_KPH
    gained_kph = np.delete(calm[later:] - calm[:-later], spell.corner.position, axis=1)
    beyond_grip = gained_kph > SPIN_MPS2 * SPIN_GAIN_S * KPH_PER_MPS
    return bool(np.any(slow[:, None] & beyond_grip))


@dataclass(frozen=True, slots=True, eq=False)
class _Readings:
    """One corner beside what the others say of it, sample by sample."""

    own: WheelSamples
    others_kph: FloatColumn
    silent: NDArray[np.bool_]  # where it had to read and did not
    zero: NDArray[np.bool_]  # where it read none at all while the car rolled, slowly or not
    share: FloatColumn  # of the others' speed, at most 1; 0 where it does not read
    alive_at: NDArray[np.intp]  # positions at which it reads

    @property
    def sample_s(self) -> float:
        """The finest that an edge can be timed. [s]"""
        return max(self.own.period_s, self.own.mean_over_s)

    def edges_s(self, first: int, last: int) -> tuple[float | None, float | None]:
        """Time of the fall before and of the rise after a spell, less what any change takes, one
        sample or the time that a mean is over; None where it never read before, or never again. [s]
        """  # noqa: D205 - one sentence, one fact
        time_s, at = self.own.time_s, self.alive_at
        before = int(np.searchsorted(at, first)) - 1
        after = int(np.searchsorted(at, last, "right"))
        fall_s = rise_s = None
        if before >= 0:
            end = int(at[before])
            begin = int(np.searchsorted(time_s, time_s[end] - USUAL_S))
            whole = begin + self._whole(slice(begin, end + 1))[-1]
            zero = end + np.flatnonzero(self.zero[end:first])
            stands = zero[0] if len(zero) else first
            fall_s = max(0.0, float(time_s[stands] - time_s[whole]) - self.sample_s)
        if after < len(at):
            begin = int(at[after])
            end = int(np.searchsorted(time_s, time_s[begin] + USUAL_S, "right"))
            whole = begin + self._whole(slice(begin, end))[0]
            zero = last + np.flatnonzero(self.zero[last : begin + 1])
            stands = zero[-1] if len(zero) else last
            rise_s = max(0.0, float(time_s[whole] - time_s[stands]) - self.sample_s)
        return fall_s, rise_s

    def _whole(self, near: slice) -> NDArray[np.intp]:
        """Where, in a stretch in which it reads, the wheel turns as it usually does there."""
        share = self.share[near]
        return np.flatnonzero(share >= WHOLE_SHARE * share.max())


def _describe(
    track: WheelTrack, motion: Motion, corner: Corner, readings: _Readings, *, first: int, last: int
) -> ZeroSpell:
    own = readings.own
    from_s, to_s = float(own.time_s[first]), float(own.time_s[last])
    inside = slice(first, last + 1)
    others_kph, silent = readings.others_kph[inside], readings.silent[inside]
    step_s = np.minimum(np.diff(own.time_s[inside], prepend=from_s - own.period_s), LONGEST_STEP_S)
    silent_step_s = step_s[silent]
    fall_s, rise_s = readings.edges_s(first, last)
    # By the others alone: the speed of all four would fall with a corner that drops out.
    car_kph = motion.others_kph(corner)
    slowing_mps2 = max(
        _slowing_mps2(own.time_s, car_kph, begin_s, end_s)
        for begin_s, end_s in (
            (from_s - LET_GO_S, from_s),
            (from_s - JUST_BEFORE_S, from_s),
            (from_s - JUST_BEFORE_S / 2, to_s + JUST_BEFORE_S / 2),
        )
    )
    return ZeroSpell(
        corner=corner,
        from_s=from_s,
        to_s=to_s,
        silent_s=to_s - from_s + readings.sample_s,
        others_top_kph=float(np.max(others_kph[silent])),
        judged_s=float(silent_step_s.sum()),
        judged_km=float(np.sum(silent_step_s * others_kph[silent])) / 3600,
        edge_s=(fall_s or 0.0) + (rise_s or 0.0),
        sample_s=readings.sample_s,
        slowing_mps2=slowing_mps2,
        braking=_braking(track, from_s, to_s),
        in_company=_company(track, corner, from_s, to_s),
        to_the_end=rise_s is None,
        from_the_start=fall_s is None,
        starts_slow=first > 0 and not readings.others_kph[first - 1] >= READ_FROM_KPH,
        ends_slow=last + 1 < len(own.time_s) and not readings.others_kph[last + 1] >= READ_FROM_KPH,
    )


def _slowing_mps2(
    time_s: FloatColumn, speed_kph: FloatColumn, begin_s: float, end_s: float
) -> float:
    """How hard a speed falls between two times, by a straight line through it. [m/s²]"""
    at = slice(int(np.searchsorted(time_s, begin_s)), int(np.searchsorted(time_s, end_s, "right")))
    known = ~np.isnan(speed_kph[at])
    time_s, speed_kph = time_s[at][known], speed_kph[at][known]
    if len(time_s) < 2:  # noqa: PLR2004 - a line needs two points
        return 0.0
    lever_s = time_s - time_s.mean()
    return -float(lever_s @ speed_kph / (lever_s @ lever_s)) / KPH_PER_MPS


def _company(track: WheelTrack, corner: Corner, from_s: float, to_s: float) -> bool:
    """Whether another wheel nearly stops and turns again about then, as the fastest one slows."""
    begin_s, end_s = from_s - COMPANY_S, to_s + COMPANY_S
    near = slice(*np.searchsorted(track.time_s, (begin_s, end_s)))
    speed_kph = track.speed_kph[near]
    fastest = np.fmax.reduce(speed_kph, axis=1)
    moving = fastest > READ_FROM_KPH
    if _slowing_mps2(track.time_s[near], fastest, begin_s, end_s) < LOCK_SLOWING_MPS2:
        return False
    share = np.delete(speed_kph[moving], corner.position, axis=1) / fastest[moving, None]
    fallen, whole = COMPANY_SHARES
    with np.errstate(invalid="ignore"):
        return bool(np.any((share < fallen).any(axis=0) & (share > whole).any(axis=0)))


def _braking(track: WheelTrack, from_s: float, to_s: float) -> bool | None:
    brake = track.helpers.get("brake")
    if brake is None or len(brake.time_s) == 0:
        return None
    just_before, first, last = np.searchsorted(brake.time_s, (from_s - LET_GO_S, from_s, to_s))
    if np.any(np.nan_to_num(brake.value[max(0, first - 1) : last + 1]) != 0):
        return True
    return None if np.any(np.nan_to_num(brake.value[just_before:first]) != 0) else False
