"""A proposal of wheel speeds in words that a technician follows."""

from collections.abc import Sequence

from canwheel.corners import CORNERS, Corner
from canwheel.definitions.layout import BitField
from canwheel.discovery.hints import Hints
from canwheel.discovery.proposal import (
    Candidate,
    Discovery,
    FieldState,
    SetKind,
    SidesBy,
    WheelField,
)
from canwheel.plain_text import capital

KIND_WORDS: dict[SetKind, str] = {
    "wheel speeds": "wheel speeds",
    "copy": "a copy of the wheel speeds",
    "coarse copy": "a coarse copy of the wheel speeds",
    "pulse counters": "counters of the four rings' pulses",
}

STATE_WORDS: dict[FieldState, str] = {
    "live": "moves with the others",
    "faulty": "moves with the others at times only",
    "silent": "stands at rest while the others move",
    "frozen": "stuck at one value while the others move",
    "no value": "says “no value” all along",
}

CONFIRM = (
    (
        "This is a proposal, made of how numbers on the bus move. Confirm it before anyone buys a "
        "part on its word."
    ),
    (
        "With a known speed: hold a steady speed and compare. A dash may show up to a tenth and "
        "4 km/h more than the car drives, and never less (UN Regulation 39)."
    ),
    (
        "With a known turn: in a tight left turn the left wheels run slower than the right ones, "
        "and each front wheel faster than the rear one behind it."
    ),
    "One drives, another watches the screen.",
)


def corner_names(candidate: Candidate) -> tuple[str, str, str, str]:
    """What to call the four fields: corners where they are known, else what is known of them."""
    one, two, three, four = (_name(candidate, field) for field in candidate.fields)
    return one, two, three, four


def _name(candidate: Candidate, field: WheelField) -> str:
    if field.corner is not None:
        return field.corner.words
    place = field.place
    if knows_axles(candidate):
        return f"{place.axle} {1 if place.side == 'left' else 2}"
    if candidate.sides_by != "unknown":
        return f"{place.side} {1 if place.axle == 'front' else 2}"
    return f"wheel {place.position + 1}"


def knows_axles(candidate: Candidate) -> bool:
    """Whether front is told from rear."""
    return candidate.axles_by != "unknown"


def may_be(candidate: Candidate, field: WheelField) -> str:
    """Which corners a field can be: ``front left or front right``."""
    if field.corner is not None:
        return field.corner.words
    possible: Sequence[Corner] = CORNERS
    if knows_axles(candidate):
        possible = [corner for corner in possible if corner.axle == field.place.axle]
    if candidate.sides_by != "unknown":
        possible = [corner for corner in possible if corner.side == field.place.side]
    return "any corner" if len(possible) == len(CORNERS) else " or ".join(c.words for c in possible)


def say_unknown(candidate: Candidate) -> str:
    """What is not known of which corner is which, in a sentence; empty where all is known."""
    if candidate.is_complete:
        return ""
    if candidate.sides_by == "unknown" and knows_axles(candidate):
        return (
            "Mirror unknown: left and right may be the other way round. Wheels with the same "
            "number are on the same side of the car; which side that is, one known turn tells."
        )
    if candidate.sides_by != "unknown":
        return (
            "Front and rear may be the other way round: the drive had no turn tight enough to tell "
            "them apart. Wheels with the same number are on the same axle."
        )
    return (
        "Which corner is which is not known: the drive had no turn tight enough to tell front from "
        "rear, and nobody said which way the car turned."
    )


def say_word(discovery: Discovery) -> str:
    """The outcome in two or three words."""
    if not discovery.candidates:
        return "Nothing found"
    best = discovery.candidates[0]
    if best.is_complete:
        return "Wheel speeds found"
    mirrored = best.sides_by == "unknown" and knows_axles(best)
    return "Found, mirror unknown" if mirrored else "Found, corners unknown"


def headline(discovery: Discovery) -> str:
    """The outcome in one sentence."""
    if not discovery.candidates:
        return "no four numbers on this bus move as the wheel speeds of a car"
    best = discovery.candidates[0]
    names = list(dict.fromkeys(say_message(field) for field in best.fields))
    many = "message" if len(names) == 1 else "messages"
    still = [
        f"{name} {STATE_WORDS[field.state]}"
        for name, field in zip(corner_names(best), best.fields, strict=True)
        if field.state != "live"
    ]
    return "; ".join([f"{KIND_WORDS[best.kind]} in {many} {_join(names)}", *still])


def _join(names: Sequence[str]) -> str:
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)


def say_message(field: WheelField) -> str:
    """``1D0``, ``0CF3E521 (29-bit)``."""
    return f"{field.can_id:08X} (29-bit)" if field.extended else f"{field.can_id:03X}"


def say_bits(bits: BitField) -> str:
    """``from bit 7 on, 15 bits, highest byte first``."""
    order = "highest byte first" if bits.byte_order == "big_endian" else "lowest byte first"
    signed = ", signed" if bits.is_signed else ""
    return f"from bit {bits.start} on, {bits.length} bits, {order}{signed}"


_SIDES_BY: dict[SidesBy, str] = {
    "declared turn": "by the turn that was declared",
    "named field": "by the steering or yaw field that was named",
    "unknown": "not known",
}
_AXLES_BY = {
    "tight turns": "by the tight turns, in which a front wheel runs faster than the rear one",
    "place in the message": "by their places in the message only; confirm it",
    "unknown": "not known",
}


def say_corners_by(candidate: Candidate) -> list[tuple[str, str]]:
    """How front was told from rear and left from right: labels and words."""
    return [
        ("Front and rear", _AXLES_BY[candidate.axles_by]),
        ("Left and right", _SIDES_BY[candidate.sides_by]),
    ]


def say_figures(candidate: Candidate) -> list[tuple[str, str]]:
    """The figures of a candidate: labels and words."""
    figures = candidate.figures
    flag = figures.flag_residual_pct
    whole = all(field.state == "live" for field in candidate.fields)
    untold = "no turn to tell by" if whole else "not to be told with one of the four out"
    rows = [
        ("Straight on, the four differ by", f"{figures.straight_spread_pct:.2f} % of the speed"),
        ("In the sharpest turns the sides differ by", f"{figures.turn_pct:.1f} % of the speed"),
        (
            "Of that, not explained by a car's four wheels",
            untold if flag is None else f"{flag:.1f} %",
        ),
        ("Stood still together for", f"{figures.rest_s:.0f} s of the drive"),
        ("Moved for", f"{figures.moving_s:.0f} s"),
        ("Steps between rest and the fastest", f"{figures.steps:,}"),
        ("Other numbers at rest at the same times", f"{figures.others_at_rest}"),
    ]
    return rows + say_corners_by(candidate)


def say_hints(hints: Hints) -> list[str]:
    """What the person said beside the capture, in sentences."""
    said = [f"At {turn.time_s:g} s the car turned {turn.side}." for turn in hints.turns]
    said += [f"At {held.time_s:g} s the dash showed {held.kph:g} km/h." for held in hints.speeds]
    if hints.track is not None:
        said.append("Speeds over ground, from the satellite track named below.")
    if hints.steering is not None:
        field = hints.steering
        where = f"{field.can_id:08X}" if field.extended else f"{field.can_id:03X}"
        said.append(
            f"Message {where}, {say_bits(field.bits)}, is the steering or the yaw rate; it grows "
            f"to the {field.grows}."
        )
    return said


def say_state(field: WheelField) -> str:
    """``Moves with the others``."""
    return capital(STATE_WORDS[field.state])
