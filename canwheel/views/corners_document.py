"""Which signal is which corner, as a JSON document and as a vehicle file."""

import json
from typing import Literal

import msgspec

from canwheel.corners import CORNERS, Corner
from canwheel.definitions.families import Family
from canwheel.definitions.layout import ByteOrder, HelperName, SignalPlace, SpeedUnit
from canwheel.definitions.survey import Survey
from canwheel.plain_text import printable
from canwheel.vehicle import Vehicle
from canwheel.views.part import Part, json_text, utf8


class SignalPart(Part, frozen=True):
    """One signal."""

    message: str
    frame_id: int
    extended: bool
    signal: str
    unit: str


class NoValuePart(Part, frozen=True):
    """Raw values that are no reading."""

    low: int
    high: int
    meaning: str


class ValidityPart(Part, frozen=True):
    """A field that says whether the signal counts, and its values while it does."""

    signal: str
    valid: list[int]


class WheelPart(SignalPart, frozen=True):
    """One corner's signal. `per_second` is null without a recording."""

    why: str
    resolution: float
    offset: float
    start: int
    bits: int
    byte_order: ByteOrder
    is_signed: bool
    is_float: bool
    per_second: float | None
    cycle_s: float | None
    relative_to: str | None
    not_values: list[NoValuePart]
    validity: list[ValidityPart]


class SetPart(Part, frozen=True):
    """Another set of four wheel signals."""

    unit: SpeedUnit
    resolution: float
    per_second: float | None
    wheels: dict[Corner, SignalPart]


class CornersDocument(Part, frozen=True):
    """Which signal is which corner."""

    schema: Literal["canwheel-corners/1"]
    definitions: str
    capture: str | None
    unit: SpeedUnit
    wheels: dict[Corner, WheelPart]
    helpers: dict[HelperName, SignalPart]
    runners_up: list[SetPart]
    cautions: list[str]
    passed_over: list[str]


def document_corners(survey: Survey) -> CornersDocument:
    """Put the assignment into its document."""
    assignment = survey.assignment
    layout = assignment.layout
    return CornersDocument(
        schema="canwheel-corners/1",
        definitions=utf8(layout.file),
        capture=None if survey.capture is None else utf8(survey.capture),
        unit=layout.unit,
        wheels={
            corner: _wheel(survey, layout.wheel(corner), why)
            for corner, why in zip(CORNERS, assignment.why, strict=True)
        },
        helpers={name: _signal(place) for name, place in layout.helpers.items()},
        runners_up=[_set(survey, family) for family in assignment.runners_up],
        cautions=list(layout.cautions),
        passed_over=list(survey.definitions.passed_over),
    )


def render_corners_json(document: CornersDocument) -> str:
    """Return the document as JSON text, indented, with a line end."""
    return json_text(document)


def render_vehicle_file(survey: Survey, vehicle: Vehicle) -> str:
    """Return a vehicle file that names the four signals, with all that was known before.

    Helpers that the DBC itself is plain about are left to it.
    """
    layout = survey.assignment.layout
    wheels = {corner.value: layout.wheel(corner).path for corner in CORNERS}
    sections: dict[str, dict[str, object]] = msgspec.to_builtins(vehicle)
    usual: dict[str, dict[str, object]] = msgspec.to_builtins(Vehicle())
    sections["wheels"] = dict(wheels)
    lines = [f"# What is known of the car beside {printable(layout.file)}"]
    for name, entries in sections.items():
        known = {key: value for key, value in entries.items() if value != usual[name][key]}
        if known:
            lines += ["", f"[{name}]"]
            lines += [f"{key} = {_toml(key, value)}" for key, value in known.items()]
    return "\n".join(lines) + "\n"


def _toml(key: str, value: object) -> str:
    """Return a text or a number as TOML writes it.

    A JSON string is a TOML string, but for signs beyond U+FFFF: JSON alone may escape their halves.
    """
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007F")
    if key.endswith("_id") and isinstance(value, int):
        return f"0x{value:X}"
    return repr(value)


def _signal(place: SignalPlace) -> SignalPart:
    return SignalPart(place.message, place.frame_id, place.ids.extended, place.signal, place.unit)


def _wheel(survey: Survey, place: SignalPlace, why: str) -> WheelPart:
    return WheelPart(
        message=place.message,
        frame_id=place.frame_id,
        extended=place.ids.extended,
        signal=place.signal,
        unit=place.unit,
        why=why,
        resolution=abs(place.scale),
        offset=place.offset,
        start=place.bits.start,
        bits=place.bits.length,
        byte_order=place.bits.byte_order,
        is_signed=place.bits.is_signed,
        is_float=place.bits.is_float,
        per_second=_rounded(survey.rate(place)),
        cycle_s=place.cycle_s,
        relative_to=None if place.relative_to is None else place.relative_to.signal,
        not_values=[NoValuePart(each.low, each.high, each.meaning) for each in place.not_values],
        validity=[ValidityPart(field.signal, sorted(field.valid)) for field in place.validity],
    )


def _set(survey: Survey, family: Family) -> SetPart:
    first = family.wheels[0].place
    return SetPart(
        unit=family.unit,
        resolution=abs(first.scale),
        per_second=_rounded(survey.rate(first)),
        wheels={
            corner: _signal(wheel.place)
            for corner, wheel in zip(CORNERS, family.wheels, strict=True)
        },
    )


def _rounded(rate: float | None) -> float | None:
    return None if rate is None else round(rate, 2)
