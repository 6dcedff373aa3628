"""What the unit text beside a signal means."""

import re

from canwheel.definitions.layout import SpeedUnit

_SPELLINGS: dict[SpeedUnit, str] = {
    "km/h": "km/h kmh kph kmph k/h km/hr km/hour km/std kmperhour kmperhr kilometersperhour "
    "kilometresperhour kilometerperhour kilometreperhour",
    "mph": "mph mi/h mile/h miles/h mileperhour milesperhour",
    "m/s": "m/s m/sec mps mpersec meterspersecond metrespersecond meterpersecond "
    "metrepersecond meterpersecon",
    "rad/s": "rad/s rad/sec radps radpersec radian/s radians/s radianspersecond",
    "rpm": "rpm 1/min u/min r/min rev/min revs/min /min upm tr/min giri/min revolutionsperminute",
    "pulses/s": "hz hertz 1/s /s pulse/s pulses/s pulse/sec pulses/sec imp/s impulse/s "
    "impulses/s pps p/s edges/s teeth/s tooth/s ticks/s counts/s pulsespersecond",
    "pulse count": "pulse pulses pulsecount pulsecounts count counts cnt impulse impulses imp "
    "tick ticks edge edges tooth teeth",
}

_NO_UNIT = frozenset({"", "-", "1", "none", "less", "no", "nounit", "n/a", "bit", "bits", "raw"})

_BY_SPELLING = {text: unit for unit, texts in _SPELLINGS.items() for text in texts.split()}

KPH_PER: dict[SpeedUnit, float] = {
    "km/h": 1.0,
    "mph": 1.609344,
    "m/s": 3.6,
    "rad/s": 3.6 * 0.309,
    "rpm": 3.6 * 1.94 / 60,
    "pulses/s": 3.6 * 1.94 / 48,
}
"""Rough size of one unit on a car's wheel, to compare resolutions with (rolling circumference
1.94 m, 48 pulses a turn); never used to convert a reading. [km/h]"""


def speed_unit(text: str) -> SpeedUnit | None:
    """What a wheel signal of this unit counts in, None when the text is something else.

    No unit at all gives ``proportional``. ``km^h``, ``Km / h`` and ``[kph]`` are all km/h.
    """
    plain = re.sub(r"[\s\[\](){}_.]", "", text).lower().removeprefix("unit")
    plain = re.sub(r"\*?(s|min)\^?-1$", r"/\1", plain)
    plain = re.sub(r"[\\^÷:|]", "/", plain)
    if plain in _NO_UNIT:
        return "proportional"
    return _BY_SPELLING.get(plain)
