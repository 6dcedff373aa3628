"""Groups of alike numbers completed.

A fourth whose end no flip rate shows stands where the others' spacing says.
"""

from collections.abc import Iterator, Sequence
from itertools import pairwise

from canwheel.discovery.alike import alike_groups, at_moments, is_alike
from canwheel.discovery.fields import Field, field_at
from canwheel.discovery.places import Place
from canwheel.discovery.survey import Survey

_LARGEST = 8
"""A larger group has its members; it is no set of wheels that lacks one."""


def complete_groups(survey: Survey) -> tuple[Survey, list[list[int]]]:
    """Return the groups of alike fields, three and more each, and the survey with what was added.

    Parameters
    ----------
    survey : the bus.
    """
    fields = list(survey.fields)
    groups = []
    for group in alike_groups(survey.streams, survey.fields, survey.moments):
        members = list(group)
        if len(group) <= _LARGEST and survey.fields[group[0]].kind == "number":
            for field in _missing(survey, [survey.fields[at] for at in group]):
                members.append(len(fields))
                fields.append(field)
        if len(members) >= 3:  # noqa: PLR2004 - a corner may be dead
            groups.append(members)
    return survey.with_fields(fields), groups


def _missing(survey: Survey, members: Sequence[Field]) -> Iterator[Field]:
    """Fields at the places that the members' spacing asks for, where they are alike too."""
    length = max(field.length for field in members)
    for stream, lsb in _places(survey, members, length):
        place = Place(stream, members[0].byte_order, lsb)
        field = field_at(survey.streams[stream], place, length)
        if field is None:
            continue
        values = at_moments([members[0], field], survey.moments.time_s).value
        if is_alike(values[0], values[1], length):
            yield field


def _places(survey: Survey, members: Sequence[Field], length: int) -> Iterator[tuple[int, int]]:
    """Places beside the members, in their messages, that are not theirs."""
    at: dict[int, list[int]] = {}
    for field in members:
        at.setdefault(field.stream, []).append(field.lsb)
    asked: dict[tuple[int, int], None] = {}
    for stream, taken in at.items():
        for gap in _gaps(sorted(taken), length):
            for lsb in taken:
                for places in (-2, -1, 1, 2):  # the one between may be dead
                    asked.setdefault((stream, lsb + places * gap))
        others = [lsb for other, theirs in at.items() if other != stream for lsb in theirs]
        asked.update(((stream, lsb), None) for lsb in others)
    for stream, lsb in asked:
        inside = length - 1 <= lsb < survey.streams[stream].bits
        if inside and all(abs(lsb - other) >= length for other in at[stream]):
            yield stream, lsb


def _gaps(taken: Sequence[int], length: int) -> set[int]:
    """Distances at which the members may follow one another; one or two may be missing between."""
    return {
        (b - a) // parts
        for a, b in pairwise(taken)
        for parts in (1, 2, 3)
        if (b - a) % parts == 0 and (b - a) // parts >= length
    }
