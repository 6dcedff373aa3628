"""Numbers that are alike: nearly equal raw values all along, as the four wheels of a car are."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from canwheel.discovery.fields import Field
from canwheel.discovery.streams import Stream

GRID_STEP_S = 0.1
"""Numbers are compared at moments so far apart; a long drive's are farther apart. [s]"""

_MOST_MOMENTS = 6000

_ALIKE = 0.12
"""Usual difference of two alike numbers, as a share of their range: a wrong ring shifts a wheel by
a tenth (44 teeth for 48: 9 %)."""

_MOSTLY_ALIKE = 0.35
"""Nine tenths of the time they differ by no more than this: a tight turn parts left and right by
40 % of the speed, which is low then; a wheel that wakes up late is away for longer."""

_SAME_PACE = 1.7
"""Messages whose periods differ by less than this factor can belong together."""

_LEVELS = (5, 25, 50, 75, 95)
"""Percentiles by which numbers are told apart at a glance."""


@dataclass(frozen=True, slots=True, eq=False)
class Moments:
    """Numbers at common moments.

    Attributes
    ----------
    time_s : (t,) evenly spaced over the drive. [s]
    value : (n, t), a row a field; in the fields' own raw units.
    """

    time_s: NDArray[np.float64]
    value: NDArray[np.float64]


def moments_of(streams: Sequence[Stream]) -> NDArray[np.float64]:
    """Return the moments at which the fields of these streams are compared. (t,) [s]"""
    first = min(float(stream.time_s[0]) for stream in streams)
    last = max(float(stream.time_s[-1]) for stream in streams)
    count = min(_MOST_MOMENTS, int((last - first) / GRID_STEP_S) + 2)
    return np.linspace(first, last, count)


def at_moments(fields: Sequence[Field], time_s: NDArray[np.float64]) -> Moments:
    """Interpolate the fields at common moments: (t,) rising, from the capture's first frame. [s]"""
    value = np.empty((len(fields), len(time_s)))
    for row, field in zip(value, fields, strict=True):
        row[:] = np.interp(time_s, field.time_s, field.value)
    return Moments(time_s, value)


def alike_groups(
    streams: Sequence[Stream], fields: Sequence[Field], moments: Moments
) -> list[list[int]]:
    """Return groups of fields that are alike, by position among `fields`, two and more each.

    Fields that are alike share channel, byte order, kind and roughly the period; the constant bits
    above a field may be left out in one and not in another, so values are compared modulo what the
    shorter one holds.
    """
    levels = np.percentile(moments.value, _LEVELS, axis=1).T
    levels -= levels[:, :1]
    classes: dict[tuple[object, ...], list[int]] = {}
    for position, field in enumerate(fields):
        key = (streams[field.stream].channel, field.byte_order, field.kind)
        classes.setdefault(key, []).append(position)
    groups: list[list[int]] = []
    for members in classes.values():
        linked = _Links(members)
        for one, other in _near(members, levels):
            if _same_pace(streams[fields[one].stream], streams[fields[other].stream]) and is_alike(
                moments.value[one],
                moments.value[other],
                min(fields[one].length, fields[other].length),
            ):
                linked.join(one, other)
        groups += [group for group in linked.groups() if len(group) > 1]
    return groups


def _near(members: list[int], levels: NDArray[np.float64]) -> Iterable[tuple[int, int]]:
    """Pairs whose percentiles are close enough to look at them closer."""
    at = np.array(members)
    mine = levels[at]
    span = mine[:, -1]
    for row in range(len(at) - 1):
        rest = mine[row + 1 :]
        wider = np.maximum(span[row], span[row + 1 :])
        close = np.all(np.abs(rest - mine[row]) <= 2 * _ALIKE * wider[:, np.newaxis] + 2, axis=1)
        for other in np.flatnonzero(close):
            yield members[row], members[row + 1 + int(other)]


def _same_pace(one: Stream, other: Stream) -> bool:
    slow, fast = max(one.period_s, other.period_s), min(one.period_s, other.period_s)
    return slow < _SAME_PACE * fast


def is_alike(one: NDArray[np.float64], other: NDArray[np.float64], length: int) -> bool:
    """Whether two numbers are nearly equal all along, modulo what their common bits hold.

    Parameters
    ----------
    one, other : (t,) raw values at the same moments.
    length : bits that both have.
    """
    modulus = float(1 << length)
    apart = np.abs((one - other + modulus / 2) % modulus - modulus / 2)
    low, high = np.percentile(one, (2, 98))
    span = max(1.0, float(high - low))
    usual, mostly = np.percentile(apart, (50, 90))
    return bool(usual <= _ALIKE * span + 1 and mostly <= _MOSTLY_ALIKE * span + 2)


class _Links:
    """Positions that are joined into groups."""

    def __init__(self, members: Sequence[int]) -> None:
        self._head = {member: member for member in members}

    def _find(self, member: int) -> int:
        while self._head[member] != member:
            member = self._head[member]
        return member

    def join(self, one: int, other: int) -> None:
        """Put the groups of two together."""
        self._head[self._find(other)] = self._find(one)

    def groups(self) -> list[list[int]]:
        """Return the groups, each in order."""
        by_head: dict[int, list[int]] = {}
        for member in self._head:
            by_head.setdefault(self._find(member), []).append(member)
        return list(by_head.values())


def sets_of(
    group: Sequence[int], fields: Sequence[Field], size: int, most: int
) -> list[tuple[int, ...]]:
    """Return sets of `size` fields of a group that can be a car's wheels by where they stand.

    All in one message; two each in two messages, or one each in several, at the same places. No
    bit belongs to two. Of a large group the smoothest fields come into question, `most` of them.
    """
    chosen = sorted(sorted(group, key=lambda at: fields[at].roughness)[:most])
    return [
        four
        for four in combinations(chosen, size)
        if _stands_like_wheels([fields[at] for at in four]) and _apart([fields[at] for at in four])
    ]


def _stands_like_wheels(fields: Sequence[Field]) -> bool:
    """Whether these stand in their messages as wheels do: all in one, two and two, one in each.

    Of two and two one may be missing.
    """
    places: dict[int, list[int]] = {}
    for field in fields:
        places.setdefault(field.stream, []).append(field.lsb)
    each = sorted(places.values(), key=len)
    shares = [len(at) for at in each]
    if len(each) == 1:
        return True
    if shares not in ([2, 2], [1, 2]) and max(shares) > 1:
        return False
    return all(set(at) <= set(each[-1]) for at in each)


def _apart(fields: Sequence[Field]) -> bool:
    """Whether no bit belongs to two of the fields, which share a byte order."""
    return all(
        one.stream != other.stream
        or one.line_bits.stop <= other.line_bits.start
        or other.line_bits.stop <= one.line_bits.start
        for one, other in combinations(fields, 2)
    )
