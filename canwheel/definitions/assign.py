"""`Definitions` and a vehicle file to a `WheelLayout`: which signal is which corner."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from difflib import get_close_matches
from typing import get_args

from canwheel.corners import CORNERS, Corner
from canwheel.definitions.dbc import DefinedMessage, DefinedSignal, Definitions
from canwheel.definitions.families import (
    Family,
    WheelSignal,
    families_of,
    given_unit,
    unnamed_sets,
    wheel_signals,
)
from canwheel.definitions.helpers import plain_helpers, steering_side
from canwheel.definitions.layout import HelperName, SignalPlace, SpeedUnit, WheelLayout
from canwheel.definitions.names import names_driven_axle
from canwheel.definitions.units import KPH_PER, speed_unit
from canwheel.definitions.validity import with_validity
from canwheel.errors import DefinitionsError, VehicleError
from canwheel.frames import IdPattern
from canwheel.vehicle import UNNAMED, Vehicle

FourPlaces = tuple[SignalPlace, SignalPlace, SignalPlace, SignalPlace]
"""One place a corner, in corner order."""

_SAME_STEP = 1.25
"""Families whose steps differ by less than this factor are equally good; a person would not
prefer one of them for it, so neither does the program."""

_MOST_LISTED = 12
"""Candidates listed in an error; more would hide the message. [lines]"""


class AmbiguousWheelsError(DefinitionsError):
    """The DBC has more than one set of wheel speeds, and nothing says which to take.

    Attributes
    ----------
    families : the sets that are equally good, at least two; empty when the corners are not named.
    """

    def __init__(
        self, what: str, *, where: str, remedy: str, details: str, families: Sequence[Family] = ()
    ) -> None:
        super().__init__(what, where=where, remedy=remedy, details=details)
        self.families = tuple(families)


@dataclass(frozen=True, slots=True)
class Assignment:
    """A layout and how it came about.

    Attributes
    ----------
    layout : the result.
    why : one plain phrase a corner, in corner order.
    runners_up : other sets of four that the DBC has, the better ones first.
    """

    layout: WheelLayout
    why: tuple[str, str, str, str]
    runners_up: tuple[Family, ...]


Heard = Callable[[IdPattern], bool]
"""Whether a recording holds frames of an identifier."""


def find_wheels(
    definitions: Definitions, vehicle: Vehicle, heard: Heard | None = None
) -> WheelLayout:
    """Find the four wheel signals and the helpers.

    What of the DBC was passed over stands among the layout's cautions.

    Parameters
    ----------
    definitions : of the DBC.
    vehicle : its ``[wheels]`` and ``[signals]`` come first.
    heard : what a recording holds, where that is known: of several sets of wheel speeds only
        those that were heard come into question, if any was.

    Raises
    ------
    VehicleError : the vehicle file names a message or signal that the DBC does not have.
    AmbiguousWheelsError : several answers are possible; its details hold the lines to paste.
    DefinitionsError : there are no four wheel signals.
    """
    layout = assign_wheels(definitions, vehicle, heard).layout
    if not definitions.passed_over:
        return layout
    first, *others = definitions.passed_over
    more = f", and {len(others)} more" if others else ""
    caution = f"Not all of {definitions.file} could be used: {first}{more}."
    return replace(layout, cautions=(*layout.cautions, caution))


def assign_wheels(
    definitions: Definitions, vehicle: Vehicle, heard: Heard | None = None
) -> Assignment:
    """Find the four wheel signals and the helpers, and say why.

    Raises
    ------
    VehicleError, AmbiguousWheelsError, DefinitionsError : as `find_wheels`.
    """
    given = given_wheels(definitions, vehicle)
    wheels = _signals(definitions, vehicle)
    families = _sets_of(wheels)
    in_question = _heard_of(families, heard) or families
    if given:
        chosen = _completed(definitions, given, in_question, wheels)
    else:
        chosen = _best(definitions, in_question, wheels)
    return Assignment(
        layout=WheelLayout(
            file=definitions.file,
            wheels=_with_validity(definitions, _places(chosen)),
            unit=chosen.unit,
            helpers=_helpers(definitions, vehicle),
            cautions=tuple(_cautions(chosen)),
        ),
        why=_reasons(chosen),
        runners_up=tuple(family for family in families if _places(family) != _places(chosen)),
    )


def wheel_sets(definitions: Definitions, vehicle: Vehicle) -> list[Family]:
    """Return all sets of four wheel signals that the DBC has, the better ones first."""
    return _sets_of(_signals(definitions, vehicle))


def _sets_of(wheels: Sequence[WheelSignal]) -> list[Family]:
    """Return the sets of four among wheel signals that say anything, the better ones first."""
    return sorted(families_of(wheel for wheel in wheels if wheel.place.scale), key=_rank)


def _signals(definitions: Definitions, vehicle: Vehicle) -> list[WheelSignal]:
    """Return every signal that can be a wheel's speed."""
    driven = vehicle.vehicle.driven
    return wheel_signals(definitions, None if driven == "all" else driven)


def _heard_of(families: Sequence[Family], heard: Heard | None) -> list[Family]:
    """Return the families of which every corner was heard."""
    if heard is None:
        return []
    return [family for family in families if all(heard(wheel.place.ids) for wheel in family.wheels)]


def _with_validity(definitions: Definitions, places: FourPlaces) -> FourPlaces:
    """Return the places with the fields that say whether they count."""
    messages = {(message.name, message.frame_id): message for message in definitions.messages}
    fl, fr, rl, rr = (
        with_validity(messages[place.message, place.frame_id], place) for place in places
    )
    return fl, fr, rl, rr


def _helpers(definitions: Definitions, vehicle: Vehicle) -> dict[HelperName, SignalPlace]:
    """Return the helpers that the vehicle file names, and those about which the DBC is plain."""
    helpers = plain_helpers(definitions)
    for name in get_args(HelperName):
        path = getattr(vehicle.signals, name)
        if path is not None:
            place = find_signal(definitions, path, f"signals.{name}")[1].place
            side = steering_side(place) if name == "steering" else None
            helpers[name] = place if side is None else side
    return helpers


def find_signal(
    definitions: Definitions, path: str, key: str
) -> tuple[DefinedMessage, DefinedSignal]:
    """Look up ``Message.Signal`` as the vehicle file's `key` names it.

    Raises
    ------
    VehicleError : there is no such message or signal (the message says what comes near), or more
        than one.
    """
    message_name, _, signal_name = path.partition(".")
    messages = [message for message in definitions.messages if message.name == message_name]
    found = [
        (message, signal)
        for message in messages
        for signal in message.signals
        if signal.place.signal == signal_name
    ]
    if len(found) == 1:
        return found[0]
    if found:
        ids = " and ".join(f"0x{message.frame_id:X}" for message, _ in found)
        raise VehicleError(
            f"{path} stands for two signals of {definitions.file}, in {ids}",
            where=f"{UNNAMED}, {key}",
            remedy="give one of the messages another name in the DBC",
        )
    if messages:
        near = [signal.place.path for message in messages for signal in message.signals]
        what = f"message {message_name} of {definitions.file} has no signal {signal_name}"
    else:
        near = [signal.place.path for message in definitions.messages for signal in message.signals]
        what = f"{definitions.file} has no message {message_name}"
    raise VehicleError(what, where=f"{UNNAMED}, {key}", remedy=_near_miss(path, near))


def _near_miss(path: str, there: Sequence[str]) -> str:
    """Say which of the paths that are there the wrong one may have meant."""
    by_folded = {name.lower(): name for name in reversed(there)}
    near = get_close_matches(path.lower(), by_folded, n=3, cutoff=0.5)
    if not near:
        return "write it as the DBC does: Message.Signal"
    return f"did you mean {' or '.join(by_folded[name] for name in near)}"


def given_wheels(definitions: Definitions, vehicle: Vehicle) -> dict[Corner, WheelSignal]:
    """Return the wheels that the vehicle file names.

    Raises
    ------
    VehicleError : one is not in the DBC or stands twice, or they count in different units.
    DefinitionsError : one has a scale of zero.
    """
    given: dict[Corner, WheelSignal] = {}
    named: dict[str, Corner] = {}
    for corner in CORNERS:
        path = getattr(vehicle.wheels, corner.value)
        if path is None:
            continue
        key = f"wheels.{corner.value}"
        if path in named:
            raise VehicleError(
                f"{path} is already {named[path].words}",
                where=f"{UNNAMED}, {key}",
                remedy="each corner has a signal of its own",
            )
        named[path] = corner
        message, signal = find_signal(definitions, path, key)
        if not signal.place.scale:
            raise _says_nothing(definitions, [signal.place])
        unit = given_unit(message, signal)
        given[corner] = WheelSignal(signal.place, unit, corner, "named in the vehicle file")
    units = {wheel.unit for wheel in given.values()}
    if len(units) > 1:
        raise VehicleError(
            f"the wheel signals count in different units: {', '.join(sorted(units))}",
            where=f"{UNNAMED}, wheels",
            remedy="name signals of one unit, or write the four in one unit in the DBC file",
        )
    return given


def _completed(
    definitions: Definitions,
    given: dict[Corner, WheelSignal],
    families: Sequence[Family],
    wheels: Sequence[WheelSignal],
) -> Family:
    """Return the family that the vehicle file names, completed from the DBC where it is not whole.

    Raises
    ------
    AmbiguousWheelsError, DefinitionsError : the missing corners cannot be told.
    """
    fitting = [
        family
        for family in families
        if all(family.wheels[corner.position].place == given[corner].place for corner in given)
    ]
    if fitting and len(given) < len(CORNERS):
        chosen = _best(definitions, fitting, wheels)
        whole = {corner: chosen.wheels[corner.position] for corner in CORNERS}
    else:
        whole = {}
    whole.update(given)
    for corner in CORNERS:
        if corner not in whole:
            whole[corner] = _like_the_given(definitions, corner, given, wheels)
    fl, fr, rl, rr = (whole[corner] for corner in CORNERS)
    return Family((fl, fr, rl, rr))


def _like_the_given(
    definitions: Definitions,
    corner: Corner,
    given: dict[Corner, WheelSignal],
    wheels: Sequence[WheelSignal],
) -> WheelSignal:
    """Return the one signal of the given ones' kind that names a corner."""
    kinds = {wheel.kind for wheel in given.values()}
    alike = [wheel for wheel in wheels if wheel.corner == corner and wheel.kind in kinds]
    if len(alike) == 1:
        return alike[0]
    raise DefinitionsError(
        f"does not say which signal is {corner.words}, and neither does the vehicle file",
        where=definitions.where,
        remedy=f'add {corner.value} = "Message.Signal" to [wheels] of the vehicle file',
        details=_listed(alike or [wheel for wheel in wheels if wheel.corner in (corner, None)]),
    )


def _best(
    definitions: Definitions, families: Sequence[Family], wheels: Sequence[WheelSignal]
) -> Family:
    """Return the best family, if there is one that is better than the others.

    Raises
    ------
    AmbiguousWheelsError, DefinitionsError : there is none.
    """
    if not families:
        return _mixed(definitions, wheels)
    best = families[0]
    *class_of_best, step_of_best = _rank(best)
    rivals = [
        family
        for family in families
        if (rank := _rank(family))[:-1] == tuple(class_of_best)
        and rank[-1] < step_of_best * _SAME_STEP
    ]
    if len(rivals) == 1:
        return best
    alike = _alike_by_name([wheel for family in rivals for wheel in family.wheels])
    if alike is not None:
        raise _same_name(definitions, *alike)
    raise AmbiguousWheelsError(
        f"has {len(rivals)} sets of wheel speeds that are equally good",
        where=definitions.where,
        remedy="put the lines of the right one into a vehicle file and give it with --vehicle",
        details="\n\n".join(_to_paste(family) for family in rivals),
        families=rivals,
    )


def _rank(family: Family) -> tuple[bool, int, bool, float]:
    """Return what to order families by, the best first.

    Absolute speeds before differences; a speed with its unit before one without, and a pulse
    counter last; the brake unit's own before copies for show; then the finer step.
    """
    step = family.step_kph
    if step is None:
        step = 0.5 ** family.wheels[0].place.bits.length
    order: dict[SpeedUnit, int] = {"proportional": 1, "pulse count": 2}
    is_relative = family.wheels[0].place.relative_to is not None
    return is_relative, order.get(family.unit, 0), family.is_copy, step


def _mixed(definitions: Definitions, wheels: Sequence[WheelSignal]) -> Family:
    """Return the only signal of each corner, where the four are not of one kind but of one unit.

    Raises
    ------
    AmbiguousWheelsError : a corner has several, or none of the signals names a corner.
    DefinitionsError : a corner has none.
    """
    for unit in dict.fromkeys(wheel.unit for wheel in wheels):
        of_unit = [
            wheel
            for wheel in wheels
            if wheel.unit == unit and wheel.corner is not None and wheel.place.scale
        ]
        if len(of_unit) == len(CORNERS) == len({wheel.corner for wheel in of_unit}):
            fl, fr, rl, rr = sorted(of_unit, key=lambda wheel: CORNERS.index(_named(wheel)))
            return Family((fl, fr, rl, rr))
    raise _no_family(definitions, wheels)


def _named(wheel: WheelSignal) -> Corner:
    """Return the corner of a signal that names one."""
    if wheel.corner is None:
        raise ValueError(f"{wheel.place.path} names no corner")
    return wheel.corner


def _no_family(definitions: Definitions, wheels: Sequence[WheelSignal]) -> DefinitionsError:
    """Say why there are no four wheel signals."""
    labelled = [wheel for wheel in wheels if wheel.corner is not None]
    unusable = _unusable(definitions, labelled)
    if unusable is not None:
        return unusable
    there = {wheel.corner for wheel in labelled}
    missing = [corner.words for corner in CORNERS if corner not in there]
    unnamed = unnamed_sets(wheels)
    if unnamed and missing:
        by_drive = all(names_driven_axle(wheel.place.signal) for wheel in unnamed[0])
        return AmbiguousWheelsError(
            "has wheel speeds whose names do not say which corner is which",
            where=definitions.where,
            remedy=(
                'say driven = "front" or "rear" under [vehicle] in a vehicle file and give it '
                "with --vehicle"
                if by_drive
                else "put four of these signals in the right order into a vehicle file and give it "
                "with --vehicle"
            ),
            details="\n\n".join(_to_fill_in(signals) for signals in unnamed),
        )
    if not missing:
        return AmbiguousWheelsError(
            "has several wheel speeds for a corner and nothing says which belong together",
            where=definitions.where,
            remedy="put the right four into a vehicle file and give it with --vehicle",
            details=_listed(labelled),
        )
    remedy = (
        'name the signals under [wheels] in a vehicle file, as in FL = "Message.Signal", or use '
        "another DBC file"
    )
    passed_over = [f"not used, {each}" for each in definitions.passed_over[:_MOST_LISTED]]
    if not labelled:
        return DefinitionsError(
            "has no wheel speeds",
            where=definitions.where,
            remedy=remedy,
            details="\n".join([*_other_speeds(definitions), *passed_over]),
        )
    return DefinitionsError(
        f"has no wheel speed for {' and '.join(missing)}",
        where=definitions.where,
        remedy=remedy,
        details="\n".join([_listed(labelled), *passed_over]),
    )


def _other_speeds(definitions: Definitions) -> list[str]:
    """Return the signals in a unit of speed, a line each: a person may know words for wheels."""
    places = [signal.place for message in definitions.messages for signal in message.signals]
    speeds = [place for place in places if speed_unit(place.unit) in KPH_PER]
    lines = [f"{place.path} ({place.unit})" for place in speeds[:_MOST_LISTED]]
    more = len(speeds) - len(lines)
    heading = "its signals in a unit of speed, none of them named for a wheel:"
    return [heading, *lines, *([f"and {more} more"] if more else [])] if speeds else []


def _unusable(definitions: Definitions, labelled: Sequence[WheelSignal]) -> DefinitionsError | None:
    """Say what is wrong with the named corners' signals that no vehicle file can put right."""
    useless = [wheel.place for wheel in labelled if not wheel.place.scale]
    if useless:
        return _says_nothing(definitions, useless)
    is_whole = len({wheel.corner for wheel in labelled}) == len(CORNERS)
    alike = _alike_by_name(labelled)
    if is_whole and alike is not None:
        return _same_name(definitions, *alike)
    if is_whole and len(labelled) == len(CORNERS):
        units = ", ".join(
            f"{wheel.place.path} {wheel.place.unit or 'without one'}" for wheel in labelled
        )
        return DefinitionsError(
            f"gives the four wheel speeds different units: {units}",
            where=definitions.where,
            remedy="write them in one unit there, with the scale that goes with it",
        )
    return None


def _alike_by_name(wheels: Sequence[WheelSignal]) -> tuple[str, list[int]] | None:
    """Return the first message name that stands for several messages, and their identifiers."""
    ids: dict[str, list[int]] = {}
    for path, frame_id in dict.fromkeys((each.place.path, each.place.frame_id) for each in wheels):
        ids.setdefault(path, []).append(frame_id)
    return next(
        ((path.partition(".")[0], several) for path, several in ids.items() if len(several) > 1),
        None,
    )


def _same_name(definitions: Definitions, name: str, ids: Sequence[int]) -> AmbiguousWheelsError:
    """Say that a vehicle file could not tell between messages of one name."""
    listed = " and ".join(f"0x{each:X}" for each in ids)
    return AmbiguousWheelsError(
        f"has several messages {name} with wheel speeds, in {listed}",
        where=definitions.where,
        remedy="give each of them a name of its own in the DBC file",
        details="",
    )


def _says_nothing(definitions: Definitions, places: Sequence[SignalPlace]) -> DefinitionsError:
    """Say that a scale of zero makes every value the same."""
    paths = ", ".join(place.path for place in places[:_MOST_LISTED])
    return DefinitionsError(
        f"gives a scale of 0, by which every value is the same, to {paths}",
        where=definitions.where,
        remedy="put the right scale into the DBC file",
    )


def _places(family: Family) -> FourPlaces:
    """Return the four places, in corner order."""
    fl, fr, rl, rr = family.wheels
    return fl.place, fr.place, rl.place, rr.place


def _reasons(family: Family) -> tuple[str, str, str, str]:
    """Return what said each corner, in corner order."""
    fl, fr, rl, rr = family.wheels
    return fl.why, fr.why, rl.why, rr.why


def _to_paste(family: Family) -> str:
    """Return the lines of a vehicle file that choose a family."""
    place = family.wheels[0].place
    kind = f"{place.bits.length} bits, steps of {place.scale:g} {place.unit or 'without a unit'}"
    lines = [f"# {' and '.join(family.messages)}: {kind}", "[wheels]"]
    for corner, wheel in zip(CORNERS, family.wheels, strict=True):
        lines.append(f'{corner.value} = "{wheel.place.path}"')
    return "\n".join(lines)


def _to_fill_in(signals: Sequence[WheelSignal]) -> str:
    """Return the lines of a vehicle file for signals whose corners only a person can tell."""
    lines = ["# in the order of the DBC file, which may be wrong", "[wheels]"]
    for corner, wheel in zip(CORNERS, signals, strict=False):
        lines.append(f'{corner.value} = "{wheel.place.path}"')
    lines += [f"# also: {wheel.place.path}" for wheel in signals[len(CORNERS) : _MOST_LISTED]]
    return "\n".join(lines)


def _listed(wheels: Sequence[WheelSignal]) -> str:
    """Return candidates, one a line."""
    lines = [
        f"{wheel.place.path} ({wheel.corner.words if wheel.corner else 'no corner named'}, "
        f"{wheel.place.unit or 'no unit'})"
        for wheel in wheels[:_MOST_LISTED]
    ]
    more = len(wheels) - len(lines)
    return "\n".join([*lines, f"and {more} more"] if more > 0 else lines)


def _cautions(family: Family) -> list[str]:
    """Return what to bear in mind of a family."""
    cautions = []
    places = _places(family)
    first = places[0]
    if first.relative_to is not None:
        cautions.append(
            "These wheel speeds are differences from the mean of the front wheels and end at "
            f"{first.maximum:g} km/h: a corner that is further off shows only that it is, and a "
            "faulty front wheel shifts all four. Above about 15 km/h a dead wheel cannot be told "
            "from this group."
        )
    if len({place.offset for place in places}) > 1:
        offsets = ", ".join(f"{place.signal} {place.offset:g}" for place in places)
        cautions.append(f"The DBC gives the corners different offsets ({offsets}); check it.")
    if len({place.scale for place in places}) > 1:
        scales = ", ".join(f"{place.signal} {place.scale:g}" for place in places)
        cautions.append(f"The DBC gives the corners different scales ({scales}); check it.")
    if family.unit == "proportional" and speed_unit(first.unit) is None:
        cautions.append(
            f"The DBC's unit {first.unit!r} is not known here: speeds are judged by their ratios."
        )
    return cautions
