"""A corner that stays at one non-zero value while the others change."""

import numpy as np
from numpy.typing import NDArray

from canwheel.corners import CORNERS, Corner
from canwheel.outcome import Finding, Outcome, Span
from canwheel.track.jumps import NOISY_MOMENTS, find_jumps, find_small_jumps
from canwheel.track.motion import READ_FROM_KPH, Motion, smooth
from canwheel.track.wheel_track import FloatColumn, WheelSamples, WheelTrack
from canwheel.track.zero_spells import ALIVE_SHARE

SHORTEST_S = 0.5
"""For less than this any reading may stand still... [s]"""

SHORTEST_S_PER_KPH = 2.0
"""... and for so much longer where the signal's own step is coarse. [s for each km/h]"""

CHANGE_KPH = 1.0
"""The others must change by this much meanwhile, beyond what the signal's own steps hide. [km/h]"""

CHANGE_SHARE = 0.02
"""And by this share of the value: more than wheels of one car differ on a straight road."""

FRONT_AS_REAR_KPH = 25.0
"""Slower, in sharp turns, the wheels of one side differ by so much that one step more may hide the
change; faster they do not. [km/h]"""

FRONT_BESIDE_REAR = 0.25
"""By so much of its speed a front wheel may then run ahead of the rear one behind it: steered by 40
degrees, as far as any goes."""

TURN_SHARE = 0.55
"""Where the corner on the same side does not change, or is not read, or the one crosswise stands,
the others must change by more than a turn can explain (the tightest one: 1.6 m track about a point
3 m away)."""

FLICKER_SHARE = 0.5
"""A signal flickers when it changes in more than this share of its samples, standstills aside."""

FLICKERS = 100
"""So many changes of the others are no chance while this one has none, for so long as..."""

FLICKER_S = 5.0
"""... no sound reading rests: in the middle between two steps it may for a second or two. [s]"""

EDGE_S = 0.2
"""Left out at both ends of a standstill when the others' change is looked at. [s]"""

CALM_S = 0.3
"""The others' change is that of their mean over this long, so that no bump is one. [s]"""

STANDS_S, STARTED_SHARE = 2.0, 0.7
"""Or the car comes to a stand, for so long, and this corner keeps what all read before: the others
then at no less than so much of it."""

FROM_KPH = 5.0
"""Below this units hold the last value between two teeth, and zero is no reading at all. [km/h]"""


def find_frozen(track: WheelTrack, motion: Motion) -> Outcome:
    """Find corners that repeat one reading to the last bit while the car's speed changes."""
    findings = []
    for corner in CORNERS:
        own = track.wheel(corner)
        # A counter of pulses that stands still says zero, which other checks judge.
        if len(own.time_s) > 1 and own.period_s > 0 and track.unit != "pulse count":
            frozen = _frozen_runs(own, _rest(motion.seen_from(corner), corner))
            if frozen:  # a corner that jumps does not change for that
                smooth_kph = _without_jumps(track, motion, corner).seen_from(corner)
                frozen = _frozen_runs(own, _rest(smooth_kph, corner))
            if frozen:
                findings.append(_describe(track, motion, corner, frozen))
    return Outcome(findings=tuple(findings))


def _rest(seen_kph: FloatColumn, corner: Corner) -> FloatColumn:
    """(n, 3) the corner on the same side, and the two on the other side, at this one's times."""
    order = (corner.same_side, corner.mirror, corner.mirror.same_side)
    return seen_kph[:, [other.position for other in order]]


def _without_jumps(track: WheelTrack, motion: Motion, corner: Corner) -> WheelTrack:
    """The drive with the jumps of all corners but this one unread, and noisy ones altogether."""
    hidden = {}
    for other in (c for c in CORNERS if c is not corner):
        small = motion.once(find_small_jumps, other)
        large = motion.once(find_jumps, other)
        if small is not None and small.moments >= NOISY_MOMENTS:
            hidden[other] = [track.whole]
        elif large is not None:
            hidden[other] = [Span(s.from_s - EDGE_S, s.to_s + EDGE_S) for s in large.spans]
    return track.without(hidden)


def _calm(own: WheelSamples, rest: FloatColumn) -> FloatColumn:
    """(n, 3) the other corners, bumps out, only where they must read and do. [km/h]"""
    with np.errstate(invalid="ignore"):
        lost = rest < ALIVE_SHARE * np.fmax.reduce(rest, axis=1)[:, None]
    lost[1:] |= lost[:-1]
    lost[:-1] |= lost[1:]
    calm = smooth(np.where(lost, np.nan, rest), round(CALM_S / own.period_s))
    calm[~(calm >= READ_FROM_KPH)] = np.nan
    return calm


def _frozen_runs(own: WheelSamples, rest: FloatColumn) -> list[tuple[int, int]]:
    """First and last position of each run of one raw value during which the others change.

    At least two of them must, each by enough: one alone may have a fault of its own. Of a signal
    so fine that it flickers from sample to sample, the others' flicker is change enough.

    Parameters
    ----------
    rest : (n, 3) the corner on the same side, and the two on the other side, at this one's
        times. [km/h]
    """
    known = ~np.isnan(own.speed_kph)
    change = np.flatnonzero((np.diff(own.raw) != 0) | ~known[1:] | ~known[:-1]) + 1
    firsts = np.concatenate(([0], change))
    lasts = np.concatenate((change, [len(own.raw)])) - 1
    shortest_s = SHORTEST_S + SHORTEST_S_PER_KPH * own.resolution_kph
    lengths = lasts - firsts + 1
    long = (own.time_s[lasts] - own.time_s[firsts] >= shortest_s) & (
        np.nan_to_num(own.speed_kph[firsts]) > FROM_KPH
    )
    flickers = len(change) > FLICKER_SHARE * (len(own.raw) - int(lengths[long].sum()))
    firsts, lasts = firsts[long], lasts[long]
    if len(firsts) == 0:
        return []
    low, high = _range_inside(_calm(own, rest), firsts, lasts, round(EDGE_S / own.period_s))
    value = own.speed_kph[firsts]
    with np.errstate(invalid="ignore"):
        change_kph = np.sort(np.nan_to_num(high - low), axis=1)[:, 1]
        fastest, slowest = np.fmax.reduce(high, axis=1), np.fmin.reduce(low, axis=1)
        steps = np.where(slowest > FRONT_AS_REAR_KPH, 1, 2)
        must_change = np.maximum(CHANGE_KPH + steps * own.resolution_kph, CHANGE_SHARE * fastest)
        outside = np.maximum(value - slowest, fastest - value) > must_change
        # In a turn one side may keep its speed while the other changes; crosswise where the
        # connectors of an axle are on each other's places.
        crosswise_stands = high[:, 2] - low[:, 2] <= must_change / 2
        side_kph = np.where(slowest > FRONT_AS_REAR_KPH, 0.0, FRONT_BESIDE_REAR * fastest)
        side_changes = high[:, 0] - low[:, 0] > np.maximum(must_change, side_kph)
        side_changes &= ~crosswise_stands
        change_share = np.sort(np.nan_to_num((high - low) / high), axis=1)[:, 1]
        no_turn = side_changes | (change_share > TURN_SHARE)
        # The wheel beside it changes too, unless the other axle spins, or it is not read.
        mirror_stands = high[:, 1] - low[:, 1] <= must_change
        is_frozen = (change_kph > must_change) & outside & no_turn & ~mirror_stands
    if flickers:
        lasting = own.time_s[lasts] - own.time_s[firsts] >= FLICKER_S
        is_frozen |= lasting & _others_flicker(rest, firsts, lasts)
    is_frozen |= _others_stop(own, rest, firsts, lasts)
    return [(int(firsts[i]), int(lasts[i])) for i in np.flatnonzero(is_frozen)]


def _others_stop(
    own: WheelSamples, rest: FloatColumn, firsts: NDArray[np.intp], lasts: NDArray[np.intp]
) -> NDArray[np.bool_]:
    """Whether all others, as fast as this one at first, came to a stand during each run."""
    with np.errstate(invalid="ignore"):
        standing = (rest <= own.resolution_kph).all(axis=1)
    # At one go: passive sensors flicker at the speed at which they wake.
    lasting = max(1, round(STANDS_S / own.period_s))
    total = np.concatenate(([0], np.cumsum(standing)))
    stood = np.concatenate(([0], np.cumsum(total[lasting:] - total[:-lasting] == lasting)))
    begun = np.minimum(firsts, len(stood) - 1)
    stands = stood[np.maximum(lasts + 2 - lasting, begun)] > stood[begun]
    usual = np.median(rest[firsts], axis=1)
    stopped: NDArray[np.bool_] = usual > STARTED_SHARE * own.speed_kph[firsts]
    return stopped & stands


def _others_flicker(
    rest: FloatColumn, firsts: NDArray[np.intp], lasts: NDArray[np.intp]
) -> NDArray[np.bool_]:
    """Whether at least two others, all fast enough to be read, kept changing during each run."""
    with np.errstate(invalid="ignore"):
        steps = (np.diff(rest, axis=0) != 0) & (rest[1:] > READ_FROM_KPH)
    total = np.concatenate((np.zeros((1, rest.shape[1]), np.int64), np.cumsum(steps, axis=0)))
    changes = np.sort(total[lasts] - total[firsts], axis=1)[:, 1]
    enough: NDArray[np.bool_] = (changes >= FLICKERS) & (changes > FLICKER_SHARE * (lasts - firsts))
    return enough


def _range_inside(
    others: FloatColumn, firsts: NDArray[np.intp], lasts: NDArray[np.intp], edge: int
) -> tuple[FloatColumn, FloatColumn]:
    """Lowest and highest of each other corner within each run, a few samples at its ends left out.

    Units are not all equally quick: what changes at the very end may reach this corner later.
    """
    bounds = np.column_stack((firsts + edge, np.maximum(lasts - edge, firsts + edge) + 1)).ravel()
    padded = np.vstack((others, np.full((edge + 2, others.shape[1]), np.nan)))
    return (
        np.fmin.reduceat(padded, bounds, axis=0)[::2],
        np.fmax.reduceat(padded, bounds, axis=0)[::2],
    )


def _describe(
    track: WheelTrack, motion: Motion, corner: Corner, frozen: list[tuple[int, int]]
) -> Finding:
    own = track.wheel(corner)
    first, last = max(frozen, key=lambda run: own.time_s[run[1]] - own.time_s[run[0]])
    value = own.as_sent_kph(first)
    others = motion.others_kph(corner)[first : last + 1]
    low, high = float(np.nanmin(others)), float(np.nanmax(others))
    times = "" if len(frozen) == 1 else f", {len(frozen)} times in all"
    return Finding(
        corner=corner,
        kind="frozen",
        confidence=0.99,
        spans=tuple(Span(float(own.time_s[a]), float(own.time_s[b])) for a, b in frozen),
        count=len(frozen),
        says=(
            f"Stays at {value:.1f} km/h to the last digit for"
            f" {own.time_s[last] - own.time_s[first]:.1f} s{times}, while the other corners go"
            f" from {low:.1f} to {high:.1f} km/h."
        ),
        evidence={
            "value_kph": round(value, 2),
            "longest_s": round(float(own.time_s[last] - own.time_s[first]), 2),
            "others_lowest_kph": round(low, 1),
            "others_highest_kph": round(high, 1),
        },
    )
