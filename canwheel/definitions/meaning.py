"""Raw values that are no values: what a value table, a standard or a stated range says of them."""

import re
from collections.abc import Mapping

from canwheel.definitions.layout import RawRange, SignalPlace
from canwheel.definitions.units import KPH_PER, speed_unit

_NO_VALUE_WORDS = re.compile(
    r"\b(?:invalid|not ?valid|unvalid|error|err|fail|failed|failure|fault|faulty|defect\w*|"
    r"not ?available|notavail\w*|unavailable|n/a|na|sna|signal ?not ?available|no ?signal|"
    r"no ?data|nodata\w*|no ?data ?exists|unknown|undefined|not ?defined|implausible|"
    r"init|initiali[sz]\w*|not ?init\w*|uninit\w*|not ?ready|reserved|not ?used|"
    r"ung[uü]ltig|ungueltig|fehler\w*|defekt\w*|init\w*|initialisier\w*|nicht ?verf[uü]gbar|"
    r"nicht ?verfuegbar|nicht ?definiert|unplausibel|unterspannung|[uü]berspannung|"
    r"invalide|non ?valide|indisponible|erreur|inv[aá]lido|non ?valido|errore|no ?disponible)\b",
    re.IGNORECASE,
)
"""What value tables call a raw value that is no reading: English, German, French, Spanish,
Italian, as found in open DBC files (common practice, no source)."""

_SHORTEST_WITH_MARK = 6
"""A shorter field has no raw value to spare for a mark. [bits]"""


_UNSET_WORDS = re.compile(r"\b(?:init\w*|reserved|not ?used|undefined|unknown)\b", re.IGNORECASE)
"""Of those, the ones that a table also uses of a raw 0 that is in truth a reading of nought."""

_ROAD_SPEED_KPH = 100.0
"""A stated maximum below this is a slip of the pen: every car's wheels go faster. [km/h]"""

_NO_ROAD_SPEED_KPH = 400.0
"""A wheel speed above this is none: a few road cars ever made reach it, and none of them is given a
field that ends just there. [km/h]"""


def words_without_value(
    words: Mapping[int, str], *, zero_can_be_unset: bool = False
) -> tuple[RawRange, ...]:
    """Raw values that a signal's value table calls invalid, an error, not available, ...

    Parameters
    ----------
    words : what the table calls the raw values.
    zero_can_be_unset : whether a raw 0 that is called "init" or "reserved" is no value; it is in
        a field of states, and a reading of nought in a quantity.
    """
    return tuple(
        RawRange(raw, raw, word)
        for raw, word in sorted(words.items())
        if _NO_VALUE_WORDS.search(_spaced(word))
        and (zero_can_be_unset or raw != 0 or not _UNSET_WORDS.search(_spaced(word)))
    )


def all_ones(place: SignalPlace) -> tuple[RawRange, ...]:
    """All bits set, where the signal's stated maximum leaves that value out, or no car reaches it.

    Common practice (no source): an unsigned signal's highest raw value says "no value". Stated
    maxima are often wrong, so one is believed only when it is a speed that cars reach or, in a
    signal that is no speed, when it leaves out less than half of the raw values.
    """
    bits = place.bits
    if bits.is_float or bits.is_signed or bits.length < _SHORTEST_WITH_MARK:
        return ()
    highest = (1 << bits.length) - 1
    unit = speed_unit(place.unit)
    kph_per_unit = KPH_PER.get(unit, 0.0) if unit is not None else 0.0
    beyond_cars = (highest * place.scale + place.offset) * kph_per_unit > _NO_ROAD_SPEED_KPH
    if not beyond_cars and not _is_left_out(place, highest, kph_per_unit):
        return ()
    return (RawRange(highest, highest, "all ones"),)


def _is_left_out(place: SignalPlace, highest: int, kph_per_unit: float) -> bool:
    """Whether a stated maximum that can be believed leaves the highest raw value out."""
    maximum = place.maximum
    if maximum is None or highest * place.scale + place.offset - place.scale / 2 <= maximum:
        return False
    over_half = maximum > (highest // 2) * place.scale + place.offset
    return over_half or maximum * kph_per_unit >= _ROAD_SPEED_KPH


def _spaced(word: str) -> str:
    """Set ``NoDataExists`` and ``NOT_AVAILABLE`` apart into words."""
    return re.sub(r"(?<=[a-z])(?=[A-Z])", " ", word).replace("_", " ")
