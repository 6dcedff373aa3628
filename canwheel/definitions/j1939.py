"""The two wheel-speed groups of SAE J1939, which have one layout on every vehicle.

The standard itself is sold; the figures here are from several public transcriptions that agree.
A group is matched by its number, whoever sends it; its raw ranges for "error" and "not available"
would otherwise decode to plausible speeds (0xFE00 to 254 km/h).

- EBC2, group 65215: the mean of the front wheels in 1/256 km/h, and each wheel's difference from
  it in 1/16 km/h, limited to plus or minus 7.8125 km/h.
- HRW, group 65134: each wheel in 1/256 km/h.
"""

from dataclasses import replace

from canwheel.corners import Corner
from canwheel.definitions.layout import BitField, RawRange, SignalPlace
from canwheel.frames import IdPattern

EBC2_GROUP = 65215
HRW_GROUP = 65134

_CORNER_AT = {
    HRW_GROUP: {0: Corner.FL, 16: Corner.FR, 32: Corner.RL, 48: Corner.RR},
    EBC2_GROUP: {16: Corner.FL, 24: Corner.FR, 32: Corner.RL, 40: Corner.RR},
}
"""Start bit of each corner's field. EBC2's two last fields are a second rear axle."""

_FIELD_BITS = {HRW_GROUP: 16, EBC2_GROUP: 8}

_SPEED_STEP_KPH = 1 / 256
_DIFFERENCE_STEP_KPH = 1 / 16
_DIFFERENCE_LIMIT_KPH = 7.8125
_FRONT_AXLE = BitField(0, 16, "little_endian")

_TOP_BYTE_RESERVED, _TOP_BYTE_ERROR, _TOP_BYTE_ABSENT = 0xFB, 0xFE, 0xFF
"""First topmost byte of a parameter's ranges: for its own or no use, error, not available
(SAE J1939-71 table 1; the 16-bit row second-hand, from ISO 11783, the others from memory)."""

_WIDTHS = (8, 16, 32)


def group_number(frame_id: int) -> int:
    """Parameter group number in a 29-bit identifier (SAE J1939-21, from memory)."""
    return IdPattern.j1939_group(frame_id).value >> 8


def is_wheel_group(frame_id: int, *, extended: bool) -> bool:
    """Whether an identifier is one of the two wheel-speed groups."""
    return extended and group_number(frame_id) in _CORNER_AT


def standard_corner(place: SignalPlace) -> Corner | None:
    """Return the corner whose field in a wheel-speed group this is."""
    group = group_number(place.frame_id)
    bits = place.bits
    if bits.byte_order != "little_endian" or bits.length != _FIELD_BITS[group]:
        return None
    return _CORNER_AT[group].get(bits.start)


def standard_place(place: SignalPlace) -> SignalPlace:
    """Give a field of any J1939 group what the standard says of it and a DBC does not.

    That is: any sender, the raw ranges without a value, and for EBC2's wheels that they are
    differences from the front axle's speed, with the standard's own scaling (transcriptions with
    a slip in the offset are about).
    """
    place = replace(
        place,
        ids=IdPattern.j1939_group(place.frame_id),
        not_values=_merged(place.not_values, no_value_ranges(place.bits)),
    )
    if group_number(place.frame_id) != EBC2_GROUP or standard_corner(place) is None:
        return place
    return replace(
        place,
        scale=_DIFFERENCE_STEP_KPH,
        offset=-_DIFFERENCE_LIMIT_KPH,
        minimum=-_DIFFERENCE_LIMIT_KPH,
        maximum=_DIFFERENCE_LIMIT_KPH,
        unit="km/h",
        relative_to=_front_axle(place),
    )


def no_value_ranges(bits: BitField) -> tuple[RawRange, ...]:
    """Raw values with which a J1939 parameter of this width says that it has no value."""
    if bits.is_float or bits.is_signed or bits.length not in _WIDTHS:
        return ()
    below_top = bits.length - 8
    reserved, error, absent = (
        top << below_top for top in (_TOP_BYTE_RESERVED, _TOP_BYTE_ERROR, _TOP_BYTE_ABSENT)
    )
    return (
        RawRange(reserved, error - 1, "reserved"),
        RawRange(error, absent - 1, "error"),
        RawRange(absent, (1 << bits.length) - 1, "not available"),
    )


def _front_axle(wheel: SignalPlace) -> SignalPlace:
    """Return EBC2's front axle speed, beside one of its wheels."""
    return SignalPlace(
        message=wheel.message,
        signal="front axle speed",
        frame_id=wheel.frame_id,
        ids=wheel.ids,
        bits=_FRONT_AXLE,
        scale=_SPEED_STEP_KPH,
        offset=0.0,
        unit="km/h",
        not_values=no_value_ranges(_FRONT_AXLE),
    )


def _merged(own: tuple[RawRange, ...], standard: tuple[RawRange, ...]) -> tuple[RawRange, ...]:
    """Return the standard's ranges and those of the DBC that they do not hold already."""
    return standard + tuple(
        each
        for each in own
        if not any(known.low <= each.low and each.high <= known.high for known in standard)
    )
