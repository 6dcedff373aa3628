"""A stored code's number in words: letter form, failure type, and the wheel it names.

The letter form and the failure types are those of ISO 15031-6 and SAE J2012, the wheel codes the
current generic ones of SAE J2012; both known from public transcriptions, not from the documents.
"""

from dataclasses import dataclass
from typing import Literal

from canwheel.corners import Corner

WheelPart = Literal["ring", "sensor", "supply"]

_LETTERS = "PCBU"  # the two highest bits: powertrain, chassis, body, network

_PART_WORDS: dict[WheelPart, str] = {
    "ring": "wheel-speed ring",
    "sensor": "wheel-speed sensor",
    "supply": "wheel-speed sensor supply",
}

_WHEEL_CODES: dict[int, tuple[Corner, WheelPart]] = {
    0x4030: (Corner.FL, "ring"),
    0x4031: (Corner.FL, "sensor"),
    0x4032: (Corner.FL, "supply"),
    0x4033: (Corner.FR, "ring"),
    0x4034: (Corner.FR, "sensor"),
    # 0x4035, the front right supply of this list, is one of AMBIGUOUS_CODES
    0x4036: (Corner.RL, "ring"),
    0x4037: (Corner.RL, "sensor"),
    0x4038: (Corner.RL, "supply"),
    0x4039: (Corner.RR, "ring"),
    0x403A: (Corner.RR, "sensor"),
    0x403B: (Corner.RR, "supply"),
}

_REAR_AXLE_CODES: dict[int, WheelPart] = {0x403C: "ring", 0x403D: "sensor", 0x403E: "supply"}

AMBIGUOUS_CODES = frozenset({0x4035, 0x4040, 0x4045, 0x4050})
"""Codes to which an older and the current list give different meanings: C0035 is the left front
sensor in one and the right front supply in the other. They are never turned into a corner."""

_AMBIGUITY = (
    "an older and the current code list give this number different meanings, and different wheels; "
    "only the service information of this vehicle can say which wheel it names"
)

BRAKE_UNIT_LOST = 0xC121
"""U0121: other units no longer hear the brake control unit."""

_FAILURE_CATEGORIES = {
    0x1: "electrical failure",
    0x2: "signal failure",
    0x3: "frequency or pulse-width failure",
    0x4: "internal failure of the unit",
    0x5: "programming failure",
    0x6: "algorithm failure",
    0x7: "mechanical failure",
    0x8: "bus signal or message failure",
    0x9: "component failure",
}

_FAILURE_TYPES = {
    0x00: "no further failure type given",
    0x01: "general electrical failure",
    0x02: "general signal failure",
    0x03: "frequency or pulse-width failure",
    0x04: "internal failure of the unit",
    0x05: "programming failure",
    0x06: "algorithm failure",
    0x07: "mechanical failure",
    0x08: "bus signal or message failure",
    0x09: "component failure",
    0x11: "circuit short to ground",
    0x12: "circuit short to battery",
    0x13: "circuit open",
    0x14: "circuit short to ground or open",
    0x15: "circuit short to battery or open",
    0x16: "circuit voltage below threshold",
    0x17: "circuit voltage above threshold",
    0x18: "circuit current below threshold",
    0x19: "circuit current above threshold",
    0x1A: "circuit resistance below threshold",
    0x1B: "circuit resistance above threshold",
    0x1C: "circuit voltage out of range",
    0x1D: "circuit current out of range",
    0x1E: "circuit resistance out of range",
    0x1F: "circuit intermittent",
    0x21: "signal amplitude below minimum",
    0x22: "signal amplitude above maximum",
    0x23: "signal stuck low",
    0x24: "signal stuck high",
    0x25: "signal shape or waveform failure",
    0x26: "signal rate of change below threshold",
    0x27: "signal rate of change above threshold",
    0x28: "signal bias or zero adjustment failure",
    0x29: "signal invalid",
    0x2F: "signal erratic",
    0x31: "no signal",
    0x32: "signal low time below minimum",
    0x33: "signal low time above maximum",
    0x34: "signal high time below minimum",
    0x35: "signal high time above maximum",
    0x36: "signal frequency too low",
    0x37: "signal frequency too high",
    0x38: "signal frequency incorrect",
    0x39: "too few pulses",
    0x3A: "too many pulses",
    0x4A: "incorrect component installed",
    0x61: "signal calculation failure",
    0x62: "signal compare failure",
    0x64: "signal plausibility failure",
    0x65: "signal has too few transitions",
    0x66: "signal has too many transitions",
    0x76: "wrong mounting position",
    0x81: "invalid serial data received",
    0x82: "message counter incorrect",
    0x83: "message checksum incorrect",
    0x84: "bus signal below allowable range",
    0x85: "bus signal above allowable range",
    0x86: "bus signal invalid",
    0x87: "missing message",
    0x88: "bus off",
}


@dataclass(frozen=True, slots=True)
class CodeMeaning:
    """What a code's number says by the open lists, and no more.

    Attributes
    ----------
    text : letter form with the failure type, ``C0034-1F``.
    failure : the failure type in words.
    meaning : what it names, None where the open lists do not say or contradict one another.
    corner, part : for a generic wheel-speed code that is not ambiguous.
    note : what the reader must know of this number, empty for most.
    """

    text: str
    failure: str
    meaning: str | None = None
    corner: Corner | None = None
    part: WheelPart | None = None
    note: str = ""


def code_text(number: int) -> str:
    """Letter form of a three-byte code, ``C0034-1F`` for 0x40341F."""
    high = number >> 8
    return f"{_LETTERS[high >> 14]}{high >> 12 & 0x3}{high & 0xFFF:03X}-{number & 0xFF:02X}"


def failure_words(failure_type: int) -> str:
    """Failure type byte in words; a type without words of its own is told by its category."""
    words = _FAILURE_TYPES.get(failure_type)
    if words is not None:
        return words
    category = _FAILURE_CATEGORIES.get(failure_type >> 4)
    if category is None:
        return f"failure type {failure_type:02X}, not in the open list"
    return f"{category}, type {failure_type:02X} not in the open list"


def describe_code(number: int) -> CodeMeaning:
    """Say what a three-byte code means by the open lists.

    Raises
    ------
    ValueError : no three-byte number.
    """
    if number >> 24:
        raise ValueError(f"{number:#x} is no three-byte code")
    high = number >> 8
    text, failure = code_text(number), failure_words(number & 0xFF)
    if high in AMBIGUOUS_CODES:
        return CodeMeaning(text, failure, note=_AMBIGUITY)
    if high in _WHEEL_CODES:
        corner, part = _WHEEL_CODES[high]
        return CodeMeaning(text, failure, f"{corner.words} {_PART_WORDS[part]}", corner, part)
    if high in _REAR_AXLE_CODES:
        part = _REAR_AXLE_CODES[high]
        return CodeMeaning(text, failure, f"rear axle {_PART_WORDS[part]}", part=part)
    if high == BRAKE_UNIT_LOST:
        return CodeMeaning(text, failure, "communication with the brake control unit lost")
    return CodeMeaning(text, failure)
