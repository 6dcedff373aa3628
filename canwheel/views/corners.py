"""Which signal is which corner, and why, on a terminal."""

from collections.abc import Iterable
from pathlib import Path

from rich.text import Text

from canwheel.corners import CORNERS
from canwheel.definitions.families import Family
from canwheel.definitions.layout import RawRange, SignalPlace, WheelLayout
from canwheel.definitions.survey import Survey
from canwheel.plain_text import capital
from canwheel.vehicle import Vehicle
from canwheel.views.terminal import (
    GOOD,
    OPEN,
    QUIET,
    Screen,
    banner,
    bullets,
    facts,
    render_parts,
    section,
)
from canwheel.views.words import say_unit

_MOST_LISTED = 8
"""Lines on what was passed over; the rest is counted. [lines]"""


def render_corners(survey: Survey, vehicle: Vehicle, screen: Screen) -> str:
    """Return the assignment as text: the four signals and why, then what else there is."""
    assignment = survey.assignment
    layout = assignment.layout
    side = vehicle.drive_side
    corners = [
        (capital(corner.described(side)), f"{layout.wheel(corner).path}, {why}")
        for corner, why in zip(CORNERS, assignment.why, strict=True)
    ]
    helpers = [(name.replace("_", " "), place.path) for name, place in layout.helpers.items()]
    parts = [
        _headline(survey),
        Text(_subject(survey, vehicle), style=QUIET),
        *section("Corners", facts(corners)),
        *section("Messages", facts(_messages(survey))),
        *section("Values", facts(_values(layout))),
        *section("Helpers", facts(helpers)),
        *section(
            "Other sets of wheel speeds",
            bullets(_say_family(survey, family) for family in assignment.runners_up),
        ),
        *section("Cautions", bullets(layout.cautions)),
        *section("Passed over in the DBC", bullets(_shortened(survey.definitions.passed_over))),
    ]
    return render_parts(parts, screen)


def _headline(survey: Survey) -> Text:
    """Return whether the corners were found, and heard."""
    layout = survey.assignment.layout
    if any(survey.rate(place) == 0.0 for place in layout.wheels):
        return banner("NOT HEARD", OPEN, "wheel messages of the DBC are not in this recording")
    return banner("FOUR CORNERS FOUND", GOOD, say_unit(layout.unit))


def _subject(survey: Survey, vehicle: Vehicle) -> str:
    """Return whose signals these are and where they were looked for."""
    files = [survey.definitions.file]
    if survey.capture is not None:
        files.append(Path(survey.capture).name)
    return ", ".join([*([vehicle.vehicle.name] if vehicle.vehicle.name else []), *files])


def _messages(survey: Survey) -> list[tuple[str, str]]:
    """Return the messages that carry a wheel, each once, and how often they come."""
    places = {place.message: place for place in survey.assignment.layout.wheels}
    return [
        (name, f"0x{place.frame_id:X}{_say_group(place)}{_say_rate(survey, place)}")
        for name, place in places.items()
    ]


def _values(layout: WheelLayout) -> list[tuple[str, str]]:
    """Return what the signals' values are; what is the same of all four, once and first."""
    rows = {corner: _value_rows(layout.wheel(corner)) for corner in CORNERS}
    shared = [row for row in rows[CORNERS[0]] if all(row in own for own in rows.values())]
    return shared + [
        (f"{label}, {corner.words}", text)
        for corner, own in rows.items()
        for label, text in own
        if (label, text) not in shared
    ]


def _value_rows(place: SignalPlace) -> list[tuple[str, str]]:
    """Return what one signal's value is."""
    bits = place.bits
    order = bits.byte_order.replace("_", "-")
    sign = "floating-point" if bits.is_float else "signed" if bits.is_signed else "unsigned"
    rows = [("steps", f"{_say_step(place)}, {bits.length} bits {sign}, {order}")]
    if place.relative_to is not None:
        rows.append(("relative", f"to the {place.relative_to.signal} in the same frame"))
    if place.not_values:
        said = (_say_range(each, bits.length) for each in place.not_values)
        rows.append(("no value", ", ".join(said)))
    for field in place.validity:
        values = " or ".join(str(value) for value in sorted(field.valid))
        rows.append(("counts", f"while {field.signal} is {values}"))
    return rows


def _say_group(place: SignalPlace) -> str:
    """Say that any sender counts, where it does."""
    any_sender = place.ids.extended and place.ids.mask != (1 << 29) - 1
    return ", from any sender" if any_sender else ""


def _say_rate(survey: Survey, place: SignalPlace) -> str:
    """Say how often a message was heard, or how often it should be."""
    heard = survey.rate(place)
    if heard is not None:
        return f", {heard:.1f} a second in the recording" if heard else ", never in the recording"
    if place.cycle_s is not None:
        return f", {1 / place.cycle_s:.1f} a second by the DBC"
    return ""


def _say_step(place: SignalPlace) -> str:
    """Say what one step of the raw number is, and what raw 0 is where that is not nought."""
    unit = f" {place.unit}" if place.unit else ""
    offset = f" from {place.offset:g}" if place.offset else ""
    return f"{abs(place.scale):g}{unit}{offset}"


def _say_range(each: RawRange, length: int) -> str:
    """Say which raw values mean what."""
    digits = -(-length // 4)
    low, high = f"0x{each.low:0{digits}X}", f"0x{each.high:0{digits}X}"
    return f"{low} {each.meaning}" if low == high else f"{low} to {high} {each.meaning}"


def _say_family(survey: Survey, family: Family) -> str:
    """Say what another set of wheel speeds is."""
    place = family.wheels[0].place
    unit = say_unit(family.unit)
    copy = ", by its name a copy for show" if family.is_copy else ""
    rate = _say_rate(survey, place)
    return (
        f"{' and '.join(family.messages)}: {unit}, steps of {_say_step(place)}, "
        f"{place.bits.length} bits{rate}{copy}"
    )


def _shortened(lines: Iterable[str]) -> list[str]:
    """Return the first lines, and how many more there are."""
    every = list(lines)
    more = len(every) - _MOST_LISTED
    return [*every[:_MOST_LISTED], f"and {more} more"] if more > 0 else every
