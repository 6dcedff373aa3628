"""The wheel messages of any DBC file as a car sends them, their other fields filled too."""

from dataclasses import replace

import numpy as np

from canwheel.corners import Corner
from canwheel.definitions.dbc import Definitions
from canwheel.definitions.layout import SignalPlace
from canwheel.roadtest.bus_layout import BusLayout, Quantity, SentSignal, unit_per_kph
from canwheel.roadtest.chance import happens
from canwheel.roadtest.packing import bit_places

WHEEL_CYCLES_S = (0.01, 0.02, 0.02, 0.02, 0.05)
"""Usual cycles of wheel messages, the commonest oftener. [s]"""
_USUAL_TOP_KPH = (150.0, 700.0)
"""A wheel-speed field can say at least, and at most, about so much. [km/h]"""


def wheel_messages(
    rng: np.random.Generator,
    layout: BusLayout,
    definitions: Definitions,
) -> BusLayout:
    """Make what a DBC file says of the wheels into messages as a car sends them.

    Parameters
    ----------
    layout : as `adopt.adopt_layout` gives it.
    definitions : of the same file; the other signals of these messages get contents too.

    Returns
    -------
    Only the messages with wheels. A step that no speed has (a DBC that leaves the scale to the
    reader) becomes a usual one.
    """
    cycle_s = float(rng.choice(WHEEL_CYCLES_S))
    messages = []
    for message in layout.wheel_messages:
        signals = tuple(
            _plausible(signal) if isinstance(signal.quantity, Corner) else signal
            for signal in message.signals
        )
        places = next(m.signals for m in definitions.messages if m.name == message.name)
        used = set[int]().union(*(bit_places(signal.bits) for signal in signals))
        rest = []
        for defined in places:
            filled = _filled(rng, defined.place)
            wanted = bit_places(defined.place.bits)
            if filled is not None and not used & wanted:
                rest.append(filled)
                used |= wanted
        messages.append(replace(message, signals=signals + tuple(rest), cycle_s=cycle_s))
    return BusLayout(layout.name, tuple(messages))


def _plausible(signal: SentSignal) -> SentSignal:
    """The same with a step and a unit that a speed can have, and all its bits in use."""
    full = 1 << signal.length
    if signal.unit == "pulses":
        return signal
    plain = replace(signal, minimum=0.0, maximum=0.0)
    per_kph = unit_per_kph(signal.unit, circumference_m=1.94, teeth=48)
    top_kph = (signal.scale * full + signal.offset) / per_kph
    if _USUAL_TOP_KPH[0] <= top_kph <= _USUAL_TOP_KPH[1]:
        return plain
    shift = round(-signal.offset / signal.scale)  # a standstill that is not raw zero stays so
    usual = (0.01, 1 / 64, 1 / 32, 1 / 16, 0.1, 0.25)
    scale = next((s for s in usual if s * (full - shift) >= _USUAL_TOP_KPH[0]), 1.0)
    return replace(plain, scale=scale, offset=-shift * scale, unit="km/h")


_GUARD_WORDS: tuple[tuple[tuple[str, ...], Quantity], ...] = (
    (("COUNT", "ALIVE", "CNT", "_BZ"), "counter"),
    (("CHECK", "CRC", "CHKSUM", "CHKS"), "crc8"),
)
_LONGEST_COUNTER = 8
_LONGEST_REST = 16


def _filled(rng: np.random.Generator, place: SignalPlace) -> SentSignal | None:
    """Another signal of a wheel message, with contents that its name or size suggests."""
    bits = place.bits
    if place.multiplex or bits.is_float or bits.length > _LONGEST_REST:
        return None
    name = place.signal.upper()
    quantity: Quantity = "constant"
    for words, guard in _GUARD_WORDS:
        if any(word in name for word in words) and bits.length <= _LONGEST_COUNTER:
            quantity = guard
    if quantity == "constant" and bits.length <= 2:  # noqa: PLR2004
        quantity = "switch" if happens(rng, 0.3) else "constant"
    elif quantity == "constant":
        choices: tuple[Quantity, ...] = ("constant", "walk", "noise", "switch")
        quantity = choices[int(rng.integers(len(choices)))]
    return SentSignal(place.signal, quantity, bits.start, bits.length, byte_order=bits.byte_order)
