"""The raw value of rest where the drive shows none: by other speeds on the bus."""

import numpy as np
from numpy.typing import NDArray

from canwheel.discovery.fields import Field
from canwheel.discovery.survey import Survey

_GOES_ALONG = 0.999
"""Correlation of another number that counts the same speed."""

_FEWEST = 1
_AGREE = 0.01
"""Two answers that differ by less than this share of the range are one."""


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
    if len(answers) < _FEWEST:
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
