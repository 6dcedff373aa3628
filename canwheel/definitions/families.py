"""Wheel signals gathered into families: four of one kind, one a corner."""

import re
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from canwheel.corners import CORNERS, Corner
from canwheel.definitions.dbc import DefinedMessage, DefinedSignal, Definitions
from canwheel.definitions.j1939 import is_wheel_group, standard_corner
from canwheel.definitions.layout import SignalPlace, SpeedUnit
from canwheel.definitions.names import (
    PLACE_WORDS,
    PULSE_WORDS,
    SPEED_WORDS,
    WHEEL_WORDS,
    Axle,
    Position,
    driven_axle_side,
    position_in_comment,
    position_in_name,
    word_set,
    words_in,
)
from canwheel.definitions.units import KPH_PER, speed_unit

_SHORTEST_SPEED = 7
"""A shorter field cannot hold a road speed in steps that are worth judging. [bits]"""

_SHORTEST_COUNTER, _LONGEST_COUNTER = 4, 32

_OTHER_QUANTITIES = word_set(
    # what a wheel has beside its speed
    "torque tq trq mom moment force press pressure prs druck temp temperature height level",
    "angle ang ank slip slipping schlupf accel acc acceleration beschl susp dist distance",
    # what goes with a speed and is none
    "dir direction fahrtrichtung valid validity vld invalid qual quality qf qbit q status stat",
    "sts state flag fault flt err error fehler checksum chksum chk crc cs alive rolling",
    "timestamp tstmp tstm tmstm tmstmp time ts req request cmd command limit lim tolerance",
    "group grp",
)
"""Words in a signal's name by which it is no wheel speed."""

_OTHER_THINGS = word_set(
    "door window seat mirror belt steer steering strg str lenk lenkrad sas tire tyre tires tyres",
    "tpms tpm radar object obj track trk target tgt lane camera srr engine motor gear",
)
"""Words in a signal's or its message's name by which it belongs to another thing on the car."""

_COPY_WORDS = word_set(
    "display displayed disp dsp dash dashboard cluster clu ipc ic kombi hud anzeige copy",
    "rough coarse gateway gw gwm",
)
"""Words in a signal's or message's name by which it is a copy for show."""


@dataclass(frozen=True, slots=True)
class WheelSignal:
    """A signal that can be a wheel's speed, and the place on the car that it names.

    Attributes
    ----------
    place : where it stands.
    unit : what it counts in.
    corner : the corner, None when nothing says it.
    why : what says it, in plain words.
    """

    place: SignalPlace
    unit: SpeedUnit
    corner: Corner | None
    why: str

    @property
    def kind(self) -> tuple[object, ...]:
        """What the four corners of one car have in common."""
        place = self.place
        return (
            self.unit,
            place.unit,
            abs(place.scale),
            place.bits.length,
            place.relative_to is not None,
        )


@dataclass(frozen=True, slots=True)
class Family:
    """Four wheel signals of one kind, in corner order."""

    wheels: tuple[WheelSignal, WheelSignal, WheelSignal, WheelSignal]

    @property
    def unit(self) -> SpeedUnit:
        """What all four count in."""
        return self.wheels[0].unit

    @property
    def step_kph(self) -> float | None:
        """One raw step, roughly; None for a counter or an unknown unit. [km/h]"""
        size = KPH_PER.get(self.unit)
        return None if size is None else abs(self.wheels[0].place.scale) * size

    @property
    def is_copy(self) -> bool:
        """Whether a name says that it is a copy for show."""
        return any(
            not _COPY_WORDS.isdisjoint(
                (*words_in(wheel.place.message), *words_in(wheel.place.signal))
            )
            for wheel in self.wheels
        )

    @property
    def messages(self) -> tuple[str, ...]:
        """The messages that carry it, each once."""
        return tuple(dict.fromkeys(wheel.place.message for wheel in self.wheels))


def wheel_signals(definitions: Definitions, driven: Axle | None = None) -> list[WheelSignal]:
    """Return every signal that can be a wheel's speed, in the DBC's order.

    Parameters
    ----------
    definitions : of the DBC.
    driven : the one driven axle, where it is known; some names tell a wheel's axle by it.
    """
    return [
        wheel
        for message in definitions.messages
        for signal in message.signals
        if (wheel := wheel_signal(message, signal, driven)) is not None
    ]


def wheel_signal(
    message: DefinedMessage, signal: DefinedSignal, driven: Axle | None = None
) -> WheelSignal | None:
    """Return what a signal says as a wheel's speed, None when it is none."""
    place = signal.place
    if is_wheel_group(place.frame_id, extended=message.extended):
        corner = standard_corner(place)
        if corner is None:
            return None
        return WheelSignal(place, "km/h", corner, "field of a J1939 group")
    unit = _wheel_unit(message, signal)
    if unit is None:
        return None
    corner, why = _corner(message, place, driven)
    return WheelSignal(place, unit, corner, why)


def families_of(wheels: Iterable[WheelSignal]) -> list[Family]:
    """Gather wheel signals into families, each of one kind and with one signal a corner.

    Where several signals of a kind name one corner, those belong together whose own names, or
    whose messages' names, are alike but for the corner.
    """
    by_kind: dict[tuple[object, ...], list[WheelSignal]] = defaultdict(list)
    for wheel in wheels:
        if wheel.corner is not None:
            by_kind[wheel.kind].append(wheel)
    families = [family for alike in by_kind.values() for family in _families_of_kind(alike)]
    return list(dict.fromkeys(families))


def _families_of_kind(wheels: Sequence[WheelSignal]) -> list[Family]:
    """Return the families in signals of one kind."""
    whole = _family(wheels)
    if whole is not None:
        return [whole]
    families = []
    for by_signal, by_message in ((True, True), (False, True), (True, False)):
        groups: dict[tuple[object, ...], list[WheelSignal]] = defaultdict(list)
        for wheel in wheels:
            key = (
                by_signal and name_pattern(wheel.place.signal),
                by_message and name_pattern(wheel.place.message),
            )
            groups[key].append(wheel)
        families += [family for group in groups.values() if (family := _family(group))]
    return families


def _family(wheels: Sequence[WheelSignal]) -> Family | None:
    """Return the family that these signals are, None unless there is one for each corner."""
    by_corner = {wheel.corner: wheel for wheel in wheels}
    if len(wheels) != len(CORNERS) or len(by_corner) != len(CORNERS):
        return None
    fl, fr, rl, rr = (by_corner[corner] for corner in CORNERS)
    return Family((fl, fr, rl, rr))


def name_pattern(name: str) -> tuple[str, ...]:
    """Return a name's words without those that tell a place on the car, and without numbers."""
    return tuple(word for word in words_in(name) if not word.isdigit() and word not in PLACE_WORDS)


def _wheel_unit(message: DefinedMessage, signal: DefinedSignal) -> SpeedUnit | None:
    """Return what a signal counts in if it can be a wheel's speed, else None."""
    place = signal.place
    own = set(words_in(place.signal))
    names = own.union(words_in(message.name))
    if not own.isdisjoint(_OTHER_QUANTITIES) or not names.isdisjoint(_OTHER_THINGS):
        return None
    of_wheel = not names.isdisjoint(WHEEL_WORDS) or _speaks_of_wheel(message, place)
    speed, pulse = not names.isdisjoint(SPEED_WORDS), not names.isdisjoint(PULSE_WORDS)
    unit = speed_unit(place.unit)
    if unit is None and of_wheel and not own.isdisjoint(SPEED_WORDS):
        unit = "proportional"  # a unit that nobody knows, beside a name that is plain
    counts = not own.isdisjoint(PULSE_WORDS) or (pulse and own.isdisjoint(SPEED_WORDS))
    if of_wheel and (unit == "pulse count" or (unit == "proportional" and counts)):
        fits = _SHORTEST_COUNTER <= place.bits.length <= _LONGEST_COUNTER
        return "pulse count" if fits and not place.bits.is_float else None
    if unit in (None, "pulse count") or place.bits.length < _SHORTEST_SPEED:
        return None
    if unit == "proportional":
        return unit if of_wheel and speed else None
    # a speed in its own unit that one corner of the car has is its wheel's, with no word for it
    names_corner = position_in_name(place.signal).corner is not None
    return unit if of_wheel or speed or names_corner else None


def _speaks_of_wheel(message: DefinedMessage, place: SignalPlace) -> bool:
    """Whether a comment names a wheel."""
    return any(
        not WHEEL_WORDS.isdisjoint(re.findall(r"[^\W\d_]+", comment.lower()))
        for comment in (place.comment, message.comment)
    )


def _corner(
    message: DefinedMessage, place: SignalPlace, driven: Axle | None
) -> tuple[Corner | None, str]:
    """Return the corner that a signal is, and what says it."""
    own, of_message = position_in_name(place.signal), position_in_name(message.name)
    if own.corner is not None:
        return own.corner, "named in the signal"
    both = Position(own.axle or of_message.axle, own.side or of_message.side)
    if both.corner is not None:
        return both.corner, "named in the signal and its message"
    by_drive = Position() if driven is None else driven_axle_side(place.signal, driven)
    if by_drive.corner is not None:
        return by_drive.corner, f"named in the signal, with the {driven} axle driven"
    said = position_in_comment(place.comment)
    both = Position(own.axle or said.axle, own.side or said.side)
    if both.corner is not None:
        return both.corner, "named in the comment"
    return None, "no corner named"


def given_unit(message: DefinedMessage, signal: DefinedSignal) -> SpeedUnit:
    """Return what a signal counts in that a person has named as a wheel's."""
    wheel = wheel_signal(message, signal)
    if wheel is not None:
        return wheel.unit
    unit = speed_unit(signal.place.unit) or "proportional"
    counts = not PULSE_WORDS.isdisjoint(words_in(signal.place.signal))
    return "pulse count" if unit == "proportional" and counts else unit


def unnamed_sets(wheels: Iterable[WheelSignal]) -> list[list[WheelSignal]]:
    """Return sets of wheel signals of one kind whose names tell no corner.

    Four or more whose names speak of wheels, in whatever words beside; else four of one pattern.
    """
    sets: dict[tuple[object, ...], list[WheelSignal]] = defaultdict(list)
    for wheel in wheels:
        if wheel.corner is None:
            pattern = tuple(word for word in name_pattern(wheel.place.signal) if len(word) > 1)
            sets[*wheel.kind, None if _of_wheel(wheel) else pattern].append(wheel)
    return [
        alike
        for (*_, pattern), alike in sets.items()
        if len(alike) == len(CORNERS) or (len(alike) > len(CORNERS) and pattern is None)
    ]


def _of_wheel(wheel: WheelSignal) -> bool:
    """Whether the names speak of a wheel."""
    names = (*words_in(wheel.place.message), *words_in(wheel.place.signal))
    return not WHEEL_WORDS.isdisjoint(names)
