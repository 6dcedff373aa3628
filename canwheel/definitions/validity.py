"""Fields beside a wheel's speed that say whether it counts, where a name or a table says so."""

from collections.abc import Mapping
from dataclasses import replace

from canwheel.definitions.dbc import DefinedMessage, DefinedSignal
from canwheel.definitions.layout import SignalPlace, ValidityField
from canwheel.definitions.meaning import words_without_value
from canwheel.definitions.names import (
    PULSE_WORDS,
    SPEED_WORDS,
    WHEEL_WORDS,
    position_in_name,
    word_set,
    words_in,
)

_LONGEST_FIELD = 4
"""A validity field is a bit or a few. [bits]"""

_GOOD_WORDS = word_set("valid vld isvalid ok available avail gueltig gültig")
"""Names of a single bit that is set while the speed counts."""

_BAD_WORDS = word_set(
    "invalid inv notvalid unavailable err error fault faulty flt fail failed failure defect",
    "ungueltig ungültig fehler defekt",
)
"""Names of a field that is zero while the speed counts."""

_STATE_WORDS = word_set(
    "validity qual quality qf q qbit qb status stat sts state flag v sta",
    "zustand qualitaet qualität",
)
"""Names of a field whose values only a table explains: some set it for good, some for bad."""

_FIELD_WORDS = _GOOD_WORDS | _BAD_WORDS | _STATE_WORDS
_FILL_WORDS = WHEEL_WORDS | SPEED_WORDS | PULSE_WORDS | word_set("sensor sens bit no val value")


def with_validity(message: DefinedMessage, wheel: SignalPlace) -> SignalPlace:
    """Return a wheel's place with the fields of its message that say whether it counts."""
    fields = tuple(
        field for signal in message.signals if (field := _validity_field(wheel, signal)) is not None
    )
    return replace(wheel, validity=fields) if fields else wheel


def _validity_field(wheel: SignalPlace, signal: DefinedSignal) -> ValidityField | None:
    """Return what a signal beside a wheel says of it, None when it says nothing certain."""
    place = signal.place
    if place.bits.length > _LONGEST_FIELD or place.bits.is_float or place.bits.is_signed:
        return None
    if place.multiplex != wheel.multiplex or not _is_about(place.signal, wheel.signal):
        return None
    values = range(1 << place.bits.length)
    names = _FIELD_WORDS.intersection(words_in(place.signal))
    if signal.words:
        valid = _valid_by_table(signal.words, values)
    elif names & _BAD_WORDS:
        valid = frozenset({0})
    elif names & _GOOD_WORDS and place.bits.length == 1:
        valid = frozenset({1})
    else:
        return None
    if valid is None:
        return None
    return ValidityField(place.signal, place.bits, valid)


def _is_about(field: str, wheel: str) -> bool:
    """Whether a field's name is a wheel signal's with a word of validity in it."""
    own, of_wheel = set(words_in(field)), set(words_in(wheel))
    if own.isdisjoint(_FIELD_WORDS):
        return False
    if of_wheel <= own and own - of_wheel <= _FIELD_WORDS | _FILL_WORDS:
        return True
    corner = position_in_name(field).corner
    same_corner = corner is not None and corner == position_in_name(wheel).corner
    speaks_of_wheel = not own.isdisjoint(_FILL_WORDS)
    return same_corner and speaks_of_wheel and own - of_wheel <= _FIELD_WORDS | _FILL_WORDS


def _valid_by_table(words: Mapping[int, str], values: range) -> frozenset[int] | None:
    """Return the raw values that a table does not call bad, None when it calls all or none so."""
    bad = {each.low for each in words_without_value(words, zero_can_be_unset=True)}
    valid = frozenset(values) - bad
    said_good = valid & words.keys()
    return valid if bad and said_good else None
