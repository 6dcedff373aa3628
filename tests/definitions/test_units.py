"""Unit texts as they stand in DBC files."""

import pytest

from canwheel.definitions.units import speed_unit

SPELLINGS = {
    "km/h": "km/h|km / h|Km/h|KMH|kmh|kph|KPH|kmph|km^h|k/h|[km/h]|km/hr|Unit_KiloMeterPerHour",
    "mph": "mph|MPH|mi/h|miles/h",
    "m/s": "m/s|M/S|m / s|m/sec|mps|m^s|m*s-1|m s^-1",
    "rad/s": "rad/s|RAD/S|rad/sec|rad*s-1|radians/s",
    "rpm": "rpm|RPM|1/min|U/min|1 / min|min-1|min^-1|tr/min",
    "pulses/s": "Hz|hz|1/s|pulses/s|imp/s|s^-1",
    "pulse count": "pulse count|pulses|Pulse|counts|cnt|Imp.|ticks",
    "proportional": "|-|1|unitless|Unitless|none|no unit| ",
}
OTHERS = "bar|kPa|Nm|deg|deg/s|%|mm|m/s2|m/s^2|V|rad|g|km|s|ms|yd/s|%/s|°/s|kmhh"


@pytest.mark.parametrize(
    ("text", "unit"),
    [(text, unit) for unit, texts in SPELLINGS.items() for text in texts.split("|")],
)
def test_spellings(text: str, unit: str) -> None:
    assert speed_unit(text) == unit


@pytest.mark.parametrize("text", OTHERS.split("|"))
def test_other_quantities_are_no_speed(text: str) -> None:
    assert speed_unit(text) is None
