"""Which silences of a corner the brake explains: a wheel that locks, and no sensor that fails."""

import math
from collections.abc import Collection, Mapping, Sequence
from itertools import pairwise

from canwheel.corners import Corner
from canwheel.track.motion import TOLD_BY_KPH
from canwheel.track.zero_spells import LOCK_EDGE_S, LOCK_SLOWING_MPS2, LONGEST_LOCK_S, ZeroSpell

SLIGHT_SLOWING_MPS2 = 0.3
"""Where a wheel took its time to stop, a car that slows at all was braked, on however little grip.
[m/s²]"""

AGAIN_S = 0.5
"""Locked wheels are let go and lock again two to eight times a second. (common practice, no
source) [s]"""

CYCLES = 3
"""A wheel that reads nothing so many times, one right after the other, while the car brakes, is let
go and locked by the anti-lock control, however seldom the message comes."""

TOO_MANY = 5
"""No wheel locks in so many brakings of one drive while no other ever does. (common practice, no
source)"""

RARELY = 3
"""A signal lost so many times as often without a sign of a locked wheel is lost by its contact."""

BRAKING_APART_S = 4.0
"""Locks farther apart than this are of two brakings. [s]"""


def is_wheel_lock(spell: ZeroSpell) -> bool:
    """Whether the brake, not the sensor, explains a spell.

    A brake signal that says "not braked" rules it out. The wheel must take its time to stop, or the
    message come too seldom to show it; and the car must be slowing: by less where the wheel took
    long, and at all only where no brake signal says so.
    """
    if spell.braking is False or spell.silent_s > LONGEST_LOCK_S:
        return False
    if spell.edge_s > LOCK_EDGE_S and spell.braking:
        return True  # on ice a car hardly slows, whatever the driver does
    if spell.takes_its_time:
        return spell.slowing_mps2 > SLIGHT_SLOWING_MPS2
    unhurried = spell.edge_s > LOCK_EDGE_S or spell.sample_s > LOCK_EDGE_S
    return spell.slowing_mps2 > LOCK_SLOWING_MPS2 and unhurried


def wheel_locks(
    spells: Mapping[Corner, Sequence[ZeroSpell]],
) -> dict[Corner, frozenset[ZeroSpell]]:
    """Return those of each corner's spells that the brake explains.

    A driver who pumps the brake, or a unit that lets it go, makes a wheel lock again within
    `AGAIN_S`: by then the car may no longer be slowing. `CYCLES` of them need no more. One that
    seems to lock in `TOO_MANY` brakings, and no other wheel ever, has a signal that goes when the
    car brakes; and one that goes without the brake goes with it as well: where the edges are alike,
    and all the same where it does so `RARELY` times as often. Wheels that lock together are excused
    whatever each of them does alone.
    """
    together = {c: frozenset(s for s in own if _in_company(s)) for c, own in spells.items()}
    locks = {corner: _locks(own) for corner, own in spells.items()}
    for corner, own in locks.items():
        by_contact = _by_contact(spells[corner], own | together[corner])
        if len(by_contact) >= RARELY * len(own):
            locks[corner] = frozenset()
        elif by_contact:
            slowest_s = max(spell.edge_s + 2 * spell.sample_s for spell in by_contact)
            locks[corner] = frozenset(spell for spell in own if spell.edge_s > slowest_s)
    alone = [own for own in locks.values() if own]
    if len(alone) == 1 and not any(together.values()) and brakings(alone[0]) >= TOO_MANY:
        return dict.fromkeys(spells, frozenset())
    return {corner: own | together[corner] for corner, own in locks.items()}


def open_locks(spells: Sequence[ZeroSpell], locks: Collection[ZeroSpell]) -> tuple[ZeroSpell, ...]:
    """Those of one corner's locks that may be lost signals as well: no cycles, and too quick.

    Parameters
    ----------
    spells, locks : the corner's, all of them and those that `wheel_locks` made locks.
    """
    if _cycles(spells):
        return ()
    return tuple(spell for spell in spells if spell in locks and spell.is_quick)


def _locks(spells: Sequence[ZeroSpell]) -> frozenset[ZeroSpell]:
    locks: set[ZeroSpell] = set()
    # Where anti-lock control is seen at work, the wheel does lock: what goes under the brake alone
    # does so too, and what goes again right after it, however seldom the message comes.
    cycles = bool(_cycles(spells))
    last_s = -math.inf
    for spell in spells:
        again = spell.from_s - last_s < AGAIN_S and (cycles or spell.edge_s > LOCK_EDGE_S)
        braked = cycles and _while_braking(spell)
        if is_wheel_lock(spell) or ((again or braked) and spell.silent_s <= LONGEST_LOCK_S):
            locks.add(spell)
            last_s = spell.to_s
    return frozenset(locks)


def _cycles(spells: Sequence[ZeroSpell]) -> list[list[ZeroSpell]]:
    """Short spells under the brake, `CYCLES` or more within `AGAIN_S` of one another."""
    clusters: list[list[ZeroSpell]] = []
    for spell in spells:
        if clusters and spell.from_s - clusters[-1][-1].to_s < AGAIN_S:
            clusters[-1].append(spell)
        else:
            clusters.append([spell])
    short = [[spell for spell in cluster if spell.silent_s < AGAIN_S] for cluster in clusters]
    return [c for c in short if len(c) >= CYCLES and _while_braking(c[0])]


def _in_company(spell: ZeroSpell) -> bool:
    return spell.in_company and spell.braking is not False and spell.silent_s <= LONGEST_LOCK_S


def _while_braking(spell: ZeroSpell) -> bool:
    return bool(spell.braking) or (spell.braking is None and spell.slowing_mps2 > LOCK_SLOWING_MPS2)


def _by_contact(spells: Sequence[ZeroSpell], locks: Collection[ZeroSpell]) -> tuple[ZeroSpell, ...]:
    """Those that only a contact explains: no locks, at speed, and sharp."""
    return tuple(
        spell
        for spell in spells
        if spell not in locks and spell.others_top_kph >= TOLD_BY_KPH and not spell.takes_its_time
    )


def brakings(spells: Collection[ZeroSpell]) -> int:
    """How many brakings a corner's spells fall into, `BRAKING_APART_S` or more from each other."""
    starts_s = sorted(spell.from_s for spell in spells)
    return len(starts_s) - sum(b - a < BRAKING_APART_S for a, b in pairwise(starts_s))
