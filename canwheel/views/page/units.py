"""What the page gives speeds and distances in: km/h and km, or mph and miles."""

import math
import re
from dataclasses import dataclass
from typing import Literal

SpeedName = Literal["km/h", "mph"]

KM_PER_MILE = 1.609344
"""The international mile, exact (agreement of 1959)."""

_FINE_BELOW_MPH = 20.0
"""Whole miles an hour are too coarse below this. [mph]"""

_KPH = re.compile(r"(\d+(?:\.\d+)?)(?:( and | to )(\d+(?:\.\d+)?))? km/h")
_KM = re.compile(r"(another )?\b(\d+(?:\.\d+)?) km\b(?!/)")
_HAIR = 1e-9


@dataclass(frozen=True, slots=True)
class Units:
    """The units of one page.

    Attributes
    ----------
    speed : name of the unit of speed.
    """

    speed: SpeedName = "km/h"

    @property
    def distance(self) -> str:
        """Name of the unit of distance."""
        return "km" if self.speed == "km/h" else "mi"

    @property
    def per_kilometre(self) -> float:
        """How many of the page's units a kilometre, or a kilometre an hour, is."""
        return 1.0 if self.speed == "km/h" else 1 / KM_PER_MILE

    def convert(self, km: float) -> float:
        """Return kilometres, or kilometres an hour, in the page's units."""
        return km * self.per_kilometre

    def say(self, sentence: str) -> str:
        """Return one of canwheel's own sentences with its speeds and distances in these units."""
        if self.speed == "km/h":
            return sentence
        return _KM.sub(_in_miles, _KPH.sub(_in_mph, sentence))


def _in_mph(found: re.Match[str]) -> str:
    first, between, second = found.groups()
    if second is None:
        return f"{_mph(first)} mph"
    return f"{_mph(first)}{between}{_mph(second)} mph"


def _mph(kph: str) -> str:
    mph = float(kph) / KM_PER_MILE
    decimals = len(kph.partition(".")[2])
    return f"{mph:.{max(decimals, 1) if mph < _FINE_BELOW_MPH else decimals}f}"


def _in_miles(found: re.Match[str]) -> str:
    another, km = found.groups()
    decimals = max(1, len(km.partition(".")[2]))
    scale = 10**decimals
    miles = float(km) / KM_PER_MILE
    if another:  # still to drive: rounded up, so that doing it is enough
        miles = math.ceil(miles * scale - _HAIR) / scale
    return f"{another or ''}{miles:.{decimals}f} mi"
