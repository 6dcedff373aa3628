"""All that is looked at once: streams, flip rates, number-like fields, and common moments."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from canwheel.definitions.layout import BitField
from canwheel.discovery.alike import Moments, at_moments, moments_of
from canwheel.discovery.fields import Field, fields_of
from canwheel.discovery.places import BitRates, Place, bit_field, bit_rates, read_field
from canwheel.discovery.pulses import pulse_fields_of
from canwheel.discovery.streams import Stream, streams_of
from canwheel.frames import Frames

_MOST_MARKED = 0.5
"""All bits set means "no value" (common practice, no source), as units send it until they have one.
A field that hardly says anything else is looked at as it is."""


@dataclass(frozen=True, slots=True, eq=False)
class Survey:
    """What a capture holds.

    Attributes
    ----------
    streams, rates : a message each.
    fields, moments : bit fields that behave as numbers, and their values at common moments.
    """

    streams: list[Stream]
    rates: list[BitRates]
    fields: list[Field]
    moments: Moments

    def with_fields(self, fields: list[Field]) -> "Survey":
        """Return the same with further fields at the end of its own."""
        new = at_moments(fields[len(self.fields) :], self.moments.time_s)
        value = np.concatenate([self.moments.value, new.value])
        return Survey(self.streams, self.rates, fields, Moments(self.moments.time_s, value))

    def bits(self, place: Place, length: int, *, is_signed: bool = False) -> BitField:
        """Return a field that ends at a place as a DBC tells it."""
        bits = bit_field(place.byte_order, place.lsb, length, self.streams[place.stream].bits)
        return replace(bits, is_signed=is_signed)

    def held(self, stream: int, bits: BitField) -> NDArray[np.float64]:
        """Return a field's last raw value at each moment, the first one before it came. (t,)"""
        time_s, raw = self._values(stream, bits)
        at = np.searchsorted(time_s, self.moments.time_s, "right") - 1
        return raw[np.maximum(at, 0)].astype(np.float64)

    def between(self, stream: int, bits: BitField) -> NDArray[np.float64]:
        """Return a field's raw values at the moments, interpolated. (t,)"""
        time_s, raw = self._values(stream, bits)
        return np.interp(self.moments.time_s, time_s, raw)

    def _values(self, stream: int, bits: BitField) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
        """Times and raw values, without marks for "no value" that stand among others. (n,) each"""
        time_s = self.streams[stream].time_s
        raw = read_field(self.streams[stream], bits)
        marked = raw == (1 << bits.length) - 1
        if bits.is_signed or not marked.any() or marked.mean() > _MOST_MARKED:
            return time_s, raw
        return time_s[~marked], raw[~marked]


def survey_frames(frames: Frames, first_time_ns: int) -> Survey:
    """Look through a capture's frames.

    Parameters
    ----------
    frames, first_time_ns : as for ``streams_of``.
    """
    return survey_streams(streams_of(frames, first_time_ns))


def survey_streams(streams: Sequence[Stream]) -> Survey:
    """Look through streams."""
    rates = [bit_rates(stream) for stream in streams]
    fields = []
    for number, (stream, rate) in enumerate(zip(streams, rates, strict=True)):
        fields += fields_of(stream, number, rate)
        fields += pulse_fields_of(stream, number, rate)
    time_s = moments_of(streams) if streams else np.empty(0)
    return Survey(list(streams), rates, fields, at_moments(fields, time_s))
