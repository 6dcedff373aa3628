"""Kilometres to miles, in numbers and in sentences."""

import pytest

from canwheel.views.page.units import Units

MPH = Units("mph")


@pytest.mark.parametrize(
    ("kph", "mph"),
    # Outside reference: one mile is 1609.344 m by the international agreement of 1959.
    [(1.609344, 1.0), (160.9344, 100.0), (0.0, 0.0)],
)
def test_numbers(kph: float, mph: float) -> None:
    assert MPH.convert(kph) == pytest.approx(mph)
    assert Units().convert(kph) == kph


@pytest.mark.parametrize(
    ("says", "in_miles"),
    [
        ("reach 84.6 km/h over 2.64 km.", "reach 52.6 mph over 1.64 mi."),
        ("between 30 and 50 km/h", "between 18.6 and 31 mph"),
        ("from 0.0 to 85.1 km/h", "from 0.0 to 52.9 mph"),
        ("a steady 30 to 40 km/h", "a steady 18.6 to 25 mph"),
        ("below 15 km/h", "below 9.3 mph"),
        ("another 6.4 km between 30 and 50 km/h", "another 4.0 mi between 18.6 and 31 mph"),
        ("drive 1 km straight", "drive 0.6 mi straight"),
        ("15 times in 2.8 km, for up to 1.12 s", "15 times in 1.7 mi, for up to 1.12 s"),
        ("nothing to convert: 12 s, 48 teeth", "nothing to convert: 12 s, 48 teeth"),
    ],
)
def test_sentences(says: str, in_miles: str) -> None:
    assert MPH.say(says) == in_miles
    assert Units().say(says) == says


def test_what_is_still_to_drive_is_rounded_up() -> None:
    assert MPH.say("another 0.5 km") == "another 0.4 mi"  # 0.311 would not be enough
    assert MPH.say("0.5 km") == "0.3 mi"
