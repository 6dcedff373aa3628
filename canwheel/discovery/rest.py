"""The raw values of rest: as the drive shows them or, where it has no stop, by other speeds."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canwheel.discovery.fields import Field
from canwheel.discovery.survey import Survey
from canwheel.track.runs import runs

_REST_S = 1.0
"""A car that stands does so for longer than this. [s]"""

_APART_AT_REST = 0.05
"""Farthest that the values of rest lie apart, of the range of the drive."""

_SMALL_STEP = 1 / 8
"""Share of the range: what a car does from one moment to the next is less."""

_GOES_ALONG = 0.999
"""Correlation of another number that counts the same speed."""

_AGREE = 0.01
"""Two answers that differ by less than this share of the range are one."""


@dataclass(frozen=True, slots=True, eq=False)
class Rest:
    """The raw values at which the car stands.

    Attributes
    ----------
    raw : (k,) of each field; the same for all as a rule.
    seen_s : how long all stood at it. [s]
    """

    raw: NDArray[np.float64]
    seen_s: float


def find_rest(time_s: NDArray[np.float64], raw: NDArray[np.float64]) -> Rest | None:
    """Find the values at which all stand still together, None when they never do.

    Parameters
    ----------
    time_s : (t,) moments. [s]
    raw : (t, k) raw values of two and more fields.

    Of the values that all hold unchanged for a second and more, it is those from which they move on
    in small steps, and the lowest; a mark such as "no value yet" is left by a jump. Some units
    count one wheel from another nought than the rest; the four then stand a little apart.
    """
    span = float(np.percentile(raw, 99) - np.percentile(raw, 1))
    near = np.ptp(raw, axis=1) <= _APART_AT_REST * span
    still = near & np.all(np.diff(raw, axis=0, prepend=np.nan) == 0, axis=1)
    seen: dict[tuple[float, ...], float] = {}
    for first, end in runs(still, ~still):
        begin = max(0, first - 1)
        length_s = float(time_s[end] - time_s[begin])
        here = raw[end]
        beside = [raw[at] for at in (begin - 1, end + 1) if 0 <= at < len(raw)]
        if length_s >= _REST_S and all(
            np.all(np.abs(one - here) < _SMALL_STEP * span) for one in beside
        ):
            key = tuple(here.tolist())
            seen[key] = seen.get(key, 0.0) + length_s
    if not seen:
        return None
    lowest = min(seen, key=sum)
    return Rest(np.array(lowest), seen[lowest])


def infer_rest(survey: Survey, mean: NDArray[np.float64], own: tuple[Field, ...]) -> float | None:
    """Return the raw value at which other speeds on the bus would be nought, None without any.

    A vehicle speed most often counts from raw nought (common practice, no source), so a straight
    line through both tells where the wheels' own nought is. The smoothest answer counts; where two
    differ, none.

    Parameters
    ----------
    survey : all of the bus.
    mean : (t,) mean raw value of the wheels.
    own : their fields.
    """
    answers = []
    span = float(np.ptp(mean))
    channel = survey.streams[own[0].stream].channel
    for field, value in zip(survey.fields, survey.moments.value, strict=True):
        if any(_overlap(field, mine) for mine in own) or field.kind != "number":
            continue
        if survey.streams[field.stream].channel != channel or np.ptp(value) == 0:
            continue
        along = float(np.corrcoef(value, mean)[0, 1])
        if along < _GOES_ALONG:
            continue
        slope, rest = np.polyfit(value, mean, 1)
        if slope > 0 and rest > -_AGREE * span:
            answers.append((along, float(rest)))
    if not answers:
        return None
    answers.sort(reverse=True)
    best = answers[0][1]
    agreeing = [rest for _, rest in answers if abs(rest - best) <= _AGREE * span]
    if len(agreeing) * 2 < len(answers):
        return None
    return max(0.0, float(np.round(best)))


def _overlap(one: Field, other: Field) -> bool:
    return (
        one.stream == other.stream
        and one.line_bits.start < other.line_bits.stop
        and other.line_bits.start < one.line_bits.stop
        and one.byte_order == other.byte_order
    )
