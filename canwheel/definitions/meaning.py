"""Raw values that are no values: what a value table, a standard or a stated range says of them."""

import re
from collections.abc import Mapping

from canwheel.definitions.layout import BitField, RawRange

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


def words_without_value(words: Mapping[int, str]) -> tuple[RawRange, ...]:
    """Raw values that the signal's value table calls invalid, an error, not available, ..."""
    return tuple(
        RawRange(raw, raw, word)
        for raw, word in sorted(words.items())
        if _NO_VALUE_WORDS.search(_spaced(word))
    )


def all_ones(
    bits: BitField, scale: float, offset: float, maximum: float | None
) -> tuple[RawRange, ...]:
    """All bits set, where the signal's stated maximum leaves that value out.

    Common practice (no source): an unsigned signal's highest raw value says "no value". A maximum
    that leaves out half of all raw values or more is taken for a slip of the pen and not believed.
    """
    if bits.is_float or bits.is_signed or maximum is None or bits.length < _SHORTEST_WITH_MARK:
        return ()
    highest = (1 << bits.length) - 1
    believable = (highest // 2) * scale + offset < maximum < highest * scale + offset - scale / 2
    return (RawRange(highest, highest, "all ones"),) if believable else ()


def _spaced(word: str) -> str:
    """Set ``NoDataExists`` and ``NOT_AVAILABLE`` apart into words."""
    return re.sub(r"(?<=[a-z])(?=[A-Z])", " ", word).replace("_", " ")
