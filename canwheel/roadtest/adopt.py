"""Any DBC file as the simulated car's own: its wheel and helper signals carry the drive."""

from dataclasses import replace

from canwheel.corners import CORNERS
from canwheel.definitions.dbc import DefinedMessage, Definitions
from canwheel.definitions.layout import SignalPlace, SpeedUnit, ValidityField, WheelLayout
from canwheel.roadtest.bus_layout import BusLayout, Quantity, SentMessage, SentSignal

_LONGEST_CLASSICAL = 8
_USUAL_CYCLE_S = 0.02
"""Taken for a message whose DBC states no cycle. [s]"""


def adopt_layout(definitions: Definitions, wheels: WheelLayout) -> BusLayout:
    """Let a drive be packed by a DBC file that was not made for it.

    Parameters
    ----------
    definitions : of the DBC file.
    wheels : which of its signals is which corner and helper.

    Returns
    -------
    The messages that carry them; every other bit of theirs is zero, checksums too.

    Raises
    ------
    ValueError : a wheel signal is multiplexed, relative to another or a floating-point number.
    """
    carried: list[tuple[SignalPlace, Quantity]] = [
        (wheels.wheel(corner), corner) for corner in CORNERS
    ]
    carried += [(place, name) for name, place in wheels.helpers.items() if _packable(place)]
    for place, _ in carried:
        if not _packable(place):
            raise ValueError(f"{place.path} is multiplexed, relative or a floating-point number")
    messages = []
    for message in definitions.messages:
        here = [
            (place, quantity)
            for place, quantity in carried
            if place.message == message.name and place.frame_id == message.frame_id
        ]
        mine = [_sent(place, quantity, wheels.unit) for place, quantity in here]
        mine += [_always_valid(state) for place, _ in here for state in place.validity]
        if mine:
            cycle_s = here[0][0].cycle_s or _USUAL_CYCLE_S
            messages.append(_message(message, tuple(mine), cycle_s))
    return BusLayout(definitions.file.removesuffix(".dbc"), tuple(messages))


def _packable(place: SignalPlace) -> bool:
    return not place.multiplex and not place.bits.is_float and place.relative_to is None


def _always_valid(state: ValidityField) -> SentSignal:
    """A field that says of a speed that it is good: a constant, as the offset of nothing."""
    bits = state.bits
    return SentSignal(
        state.signal,
        "zero",
        bits.start,
        bits.length,
        offset=-float(min(state.valid)),
        byte_order=bits.byte_order,
    )


def _message(
    message: DefinedMessage, signals: tuple[SentSignal, ...], cycle_s: float
) -> SentMessage:
    return SentMessage(
        name=message.name,
        frame_id=message.frame_id,
        signals=signals,
        cycle_s=cycle_s,
        length=message.length,
        extended=message.extended,
        fd=message.length > _LONGEST_CLASSICAL,
    )


def _sent(place: SignalPlace, quantity: Quantity, speed_unit: SpeedUnit) -> SentSignal:
    """The signal as the car fills it: to what its bits can hold, whatever limits the DBC states."""
    bits = place.bits
    signal = SentSignal(
        name=place.signal,
        quantity=quantity,
        start=bits.start,
        length=bits.length,
        scale=place.scale,
        offset=place.offset,
        unit=place.unit,
        byte_order=bits.byte_order,
        is_signed=bits.is_signed,
    )
    if quantity not in CORNERS:
        return signal
    invalid = place.not_values[0].low if place.not_values else None
    if speed_unit == "pulse count":
        return replace(signal, unit="pulses", maximum=float(place.counter_modulus - 1))
    unit = "km/h" if speed_unit == "proportional" else speed_unit
    return replace(signal, unit=unit, invalid_raw=invalid)
