"""Which corner a name or a comment speaks of.

A name is taken apart into words (``WHL_SpdFLVal`` to ``whl spd fl val``). A word may name a whole
corner (``fl``, ``vr``), an axle (``front``, ``hinten``) or a side (``left``, ``rechts``); an axle
and a side that stand together make a corner. Some short words have several meanings (``re`` is
rear, or German for right; ``rr`` is rear right, or rear): what stands beside them decides.
"""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import Literal, TypeVar

from canwheel.corners import Corner, Side

Axle = Literal["front", "rear"]


def word_set(*lines: str) -> frozenset[str]:
    """Return the words in these lines."""
    return frozenset(word for line in lines for word in line.split())


_AXLES: dict[str, Axle] = {
    **dict.fromkeys(
        word_set(
            "front frt frnt fro fwd",
            "vorne vorn vorder vorderrad vordere vorderer vorderes vorderen vorderachse",
            "avant delantera delantero anteriore",
        ),
        "front",
    ),
    **dict.fromkeys(
        word_set(
            "rear back bck",
            "hinten hinter hinterrad hintere hinterer hinteres hinteren hinterachse",
            "arriere arrière trasera trasero posteriore",
        ),
        "rear",
    ),
}
"""Words for an axle: English, German, French, Spanish, Italian."""

_SIDES: dict[str, Side] = {
    **dict.fromkeys(
        word_set(
            "left lft lh lhs links linke linker linkes linken li",
            "gauche izquierda izquierdo izq sinistra sinistro sx",
        ),
        "left",
    ),
    **dict.fromkeys(
        word_set(
            "right rght rgt rt rh rhs rechts rechte rechter rechtes rechten",
            "droite droit derecha derecho destra destro dx",
        ),
        "right",
    ),
}
"""Words for a side, in the same languages."""

_PAIRED_AXLES: dict[str, Axle] = {
    **dict.fromkeys(["f", "fr", "ft", "v", "vo", "va", "av", "ant"], "front"),
    **dict.fromkeys(["r", "re", "rr", "bk", "h", "hi", "ha", "ar", "post"], "rear"),
}
"""Short words that are an axle only where a side stands next to them: ``FrL``, ``R_L``."""

_PAIRED_SIDES: dict[str, Side] = {
    **dict.fromkeys(["l", "le", "lt", "g"], "left"),
    **dict.fromkeys(["r", "re", "ri", "d"], "right"),
}
"""Short words that are a side only where an axle stands next to them."""

_CORNERS: dict[str, Corner] = {
    **dict.fromkeys(["fl", "lf", "vl"], Corner.FL),
    **dict.fromkeys(["fr", "rf", "vr"], Corner.FR),
    **dict.fromkeys(["rl", "lr", "hl"], Corner.RL),
    **dict.fromkeys(["rr", "hr"], Corner.RR),
}
"""Words for a whole corner: English both ways round, German."""

PLACE_WORDS = (
    _AXLES.keys() | _SIDES.keys() | _PAIRED_AXLES.keys() | _PAIRED_SIDES.keys() | _CORNERS.keys()
)
"""All words that can tell a place on the car."""

_CODE = re.compile(r"\b(?:FL|FR|RL|RR|LF|RF|LR|VL|VR|HL|HR)\b")
"""A corner's code as a comment writes it, in capitals."""

WHEEL_WORDS = word_set(
    "wheel wheels whl whls wss wspd rad raeder räder roue roues rueda ruota ruote",
)
SPEED_WORDS = word_set(
    "speed speeds spd spds velocity velocities vel vlcty geschw geschwindigkeit drehzahl vitesse",
    "velocidad velocita rotation rot rpm wspd ws kmh kph angvel omega w",
)
PULSE_WORDS = word_set(
    "pulse pulses puls pul impuls impulse impulses imp tick ticks tooth teeth edge edges cnt count",
    "counts counter encoder encoders wegimpuls wegimpulse zaehler zähler rotat",
)
_JOINED = (
    WHEEL_WORDS
    | SPEED_WORDS
    | PULSE_WORDS
    | word_set(
        "v n weg sensor raw val meas",
    )
)
"""Words that names without capitals run together: ``wheelspeedfl``, ``radgeschw``."""

_WHOLE_WORD = 4
"""A comment's shorter words are not taken for an axle or a side: ``ant``, ``rt``. [letters]"""

_LONGEST_JOINED = 40
"""Longer runs of letters are not taken apart; no real name has one. [letters]"""

_VOCABULARY = _JOINED | _AXLES.keys() | _SIDES.keys() | _CORNERS.keys()

_DRIVEN = re.compile(r"(?P<not>non|not|un|nn|n)?[_ ]?dr(?:iv(?:en)?|vn)(?![a-z])", re.IGNORECASE)
"""A wheel's axle told by whether it is driven: ``Drvn``, ``NnDrvn``, ``non_driven``."""

T = TypeVar("T")

_WORD = re.compile(
    r"(?:FL|FR|RL|RR|LF|RF|LR|VL|VR|HL|HR)(?=speed|spd|wheel|whl|rad|vel|kmh|kph|pulse|count|cnt)"
    r"|[^\W\d_]?[a-zäöüßàâéèêëîïôûùçñ]+"
    r"|[A-ZÄÖÜ]+(?![a-zäöüß])"
    r"|[A-ZÄÖÜ]"
    r"|\d+"
)


@dataclass(frozen=True, slots=True)
class Position:
    """What a name says of the place on the car; None where it says nothing certain."""

    axle: Axle | None = None
    side: Side | None = None

    @property
    def corner(self) -> Corner | None:
        """The corner, when both are said."""
        if self.axle is None or self.side is None:
            return None
        return Corner(("F" if self.axle == "front" else "R") + self.side[0].upper())


@lru_cache(maxsize=1 << 14)
def words_in(name: str) -> tuple[str, ...]:
    """Take an identifier apart into lower-case words and numbers."""
    return tuple(part for word in _WORD.findall(name) for part in _taken_apart(word.lower()))


def position_in_name(name: str) -> Position:
    """Return what an identifier says of the place on the car."""
    return position_in_words(words_in(name))


def position_in_words(words: Sequence[str]) -> Position:
    """Return what an identifier's words say of the place on the car.

    Two words that stand together outweigh one, one that names a corner outweighs an axle and a
    side that stand apart. What could be two corners is none.
    """
    words = [word for word in words if not word.isdigit()]
    for corners in (_pairs(words), _singles(words), _apart(words)):
        if corners:
            return _position(corners)
    return Position(
        _only(_AXLES[word] for word in words if word in _AXLES),
        _only(_SIDES[word] for word in words if word in _SIDES),
    )


def driven_axle_side(name: str, driven: Axle) -> Position:
    """Return the place of a wheel that is named by whether it is driven: ``RtNonDriven``."""
    found = _DRIVEN.search(name)
    if found is None:
        return Position()
    rest = f"{name[: found.start()]}_{name[found.end() :]}"
    side = position_in_name(rest).side
    other: Axle = "rear" if driven == "front" else "front"
    return Position(other if found["not"] else driven, side)


def names_driven_axle(name: str) -> bool:
    """Whether a name tells a wheel's axle by whether it is driven."""
    return _DRIVEN.search(name) is not None


def position_in_comment(text: str) -> Position:
    """Return what a sentence says of the place on the car: whole words, or a code in capitals."""
    words = re.findall(r"[^\W\d_]+", text.lower())
    axle = _only(_AXLES[word] for word in words if word in _AXLES and len(word) >= _WHOLE_WORD)
    side = _only(_SIDES[word] for word in words if word in _SIDES and len(word) >= _WHOLE_WORD)
    if axle is not None and side is not None:
        return Position(axle, side)
    codes = {_CORNERS[code.lower()] for code in _CODE.findall(text)}
    return _position(codes) if codes else Position(axle, side)


def _pairs(words: Sequence[str]) -> set[Corner]:
    """Corners that an axle and a side next to each other make; the plainest pairs only.

    In ``V_Left_Rear`` both ``v left`` and ``left rear`` could be a corner: two whole words
    outweigh one, and one outweighs none.
    """
    by_whole_words: dict[int, set[Corner]] = {}
    for first, second in pairwise(words):
        for axle_word, side_word in ((first, second), (second, first)):
            axle = _AXLES.get(axle_word) or _PAIRED_AXLES.get(axle_word)
            side = _SIDES.get(side_word) or _PAIRED_SIDES.get(side_word)
            corner = Position(axle, side).corner
            if corner is not None:
                whole_words = (axle_word in _AXLES) + (side_word in _SIDES)
                by_whole_words.setdefault(whole_words, set()).add(corner)
    return by_whole_words[max(by_whole_words)] if by_whole_words else set()


def _singles(words: Sequence[str]) -> set[Corner]:
    """Corners that single words name."""
    return {_CORNERS[word] for word in words if word in _CORNERS}


def _apart(words: Sequence[str]) -> set[Corner]:
    """Return the corner that one axle word and one side word make, wherever they stand."""
    axle = _only(_AXLES[word] for word in words if word in _AXLES)
    sides = {**_SIDES, "l": "left", "r": "right"} if axle else {}
    side = _only(sides[word] for word in words if word in sides)
    corner = Position(axle, side).corner
    return set() if corner is None else {corner}


def _position(corners: set[Corner]) -> Position:
    """Return the only corner's place; of several, nothing."""
    if len(corners) != 1:
        return Position()
    corner = next(iter(corners))
    return Position(corner.axle, corner.side)


def _only(values: Iterable[T]) -> T | None:
    """Return the value when all are the same one, else None."""
    different = set(values)
    return different.pop() if len(different) == 1 else None


def _taken_apart(word: str) -> tuple[str, ...]:
    """Split a run of lower-case letters into known words, if it is made of nothing else."""
    if word in _VOCABULARY or len(word) > _LONGEST_JOINED:
        return (word,)
    # best[i]: fewest known words that make up the first i letters.
    best: list[tuple[str, ...] | None] = [()] + [None] * len(word)
    for end in range(1, len(word) + 1):
        for start in range(end):
            before, last = best[start], word[start:end]
            if before is not None and last in _VOCABULARY:
                longer = (*before, last)
                shortest = best[end]
                if shortest is None or len(longer) < len(shortest):
                    best[end] = longer
    return best[-1] or (word,)
