"""What a chart says under the pointer: the speeds in each short stretch of its time.

A browser shows an SVG element's title when the pointer rests on it, so that figures can be read off
a chart that has no script.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from canwheel.outcome import Span
from canwheel.track.wheel_track import FloatColumn
from canwheel.views.page.units import Units

Column = tuple[str, FloatColumn, FloatColumn]
"""A name, rising times [s], and speeds, NaN where there is none [km/h]."""

_FINE_BELOW_S = 0.2
"""Stretches shorter than this are told to a hundredth of a second. [s]"""

_SAME = 0.05
"""What differs by less is one figure with one decimal."""


@dataclass(frozen=True, slots=True)
class Probe:
    """A stretch of a chart's time, and what is read in it. [% of the axis]"""

    at_pct: float
    width_pct: float
    text: str


def read_off(columns: Sequence[Column], span: Span, units: Units, count: int) -> tuple[Probe, ...]:
    """Tell the least and the most of each column in `count` stretches of a span.

    Parameters
    ----------
    columns : what is drawn.
    span : what the chart shows.
    units : of the page.
    count : of stretches, all of one length.
    """
    edges_s = np.linspace(span.from_s, span.to_s, count + 1)
    decimals = 2 if edges_s[1] - edges_s[0] < _FINE_BELOW_S else 1
    places = [np.searchsorted(time_s, edges_s) for _, time_s, _ in columns]
    width_pct = 100 / count
    probes = []
    for number in range(count):
        begin, end = (say_clock(float(edges_s[i]), decimals) for i in (number, number + 1))
        lines = [f"{begin} to {end}, {units.speed}"]
        for (name, _, speed_kph), place in zip(columns, places, strict=True):
            lines.append(
                f"{name}: {_say_range(speed_kph[place[number] : place[number + 1]], units)}"
            )
        probes.append(Probe(round(number * width_pct, 3), round(width_pct, 3), "\n".join(lines)))
    return tuple(probes)


def _say_range(speed_kph: FloatColumn, units: Units) -> str:
    """``41.8 to 42.3``, ``0.0``, or that there is none."""
    known = speed_kph[~np.isnan(speed_kph)]
    if not len(known):
        return "no value"
    least, most = (units.convert(float(end)) for end in (known.min(), known.max()))
    return f"{least:.1f}" if most - least < _SAME else f"{least:.1f} to {most:.1f}"


def say_clock(at_s: float, decimals: int = 0) -> str:
    """``1:30``, ``0:02.5``, ``1:05:00``: minutes and seconds from the recording's start."""
    minutes, rest_s = divmod(round(at_s, decimals), 60)
    seconds = f"{rest_s:0{3 + decimals if decimals else 2}.{decimals}f}"
    hours, minutes = divmod(int(minutes), 60)
    return f"{hours}:{minutes:02}:{seconds}" if hours else f"{minutes}:{seconds}"
