"""`Definitions` and a vehicle file to a `WheelLayout`: which signal is which corner."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import get_args

from canwheel.corners import CORNERS, Corner
from canwheel.definitions.dbc import Definitions
from canwheel.definitions.families import Family, WheelSignal, families_of, wheel_signals
from canwheel.definitions.given import find_signal, given_wheels
from canwheel.definitions.helpers import plain_helpers, steering_side
from canwheel.definitions.layout import HelperName, SignalPlace, SpeedUnit, WheelLayout
from canwheel.definitions.undecided import corner_not_named, equally_good, no_four
from canwheel.definitions.units import speed_unit
from canwheel.definitions.validity import with_validity
from canwheel.frames import IdPattern
from canwheel.vehicle import Vehicle

FourPlaces = tuple[SignalPlace, SignalPlace, SignalPlace, SignalPlace]
"""One place a corner, in corner order."""

_SAME_STEP = 1.25
"""Families whose steps differ by less than this factor are equally good; a person would not
prefer one of them for it, so neither does the program."""


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
        those that were heard the most of come into question, if any was.

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
    """Return the families of which the most corners were heard: all, unless a sender is silent."""
    if heard is None:
        return []
    counts = [sum(heard(wheel.place.ids) for wheel in family.wheels) for family in families]
    most = max(counts, default=0)
    return [family for family, count in zip(families, counts, strict=True) if count == most > 0]


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
    raise corner_not_named(definitions, corner, alike or wheels)


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
    raise equally_good(definitions, rivals)


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
    raise no_four(definitions, wheels)


def _named(wheel: WheelSignal) -> Corner:
    """Return the corner of a signal that names one."""
    if wheel.corner is None:
        raise ValueError(f"{wheel.place.path} names no corner")
    return wheel.corner


def _places(family: Family) -> FourPlaces:
    """Return the four places, in corner order."""
    fl, fr, rl, rr = family.wheels
    return fl.place, fr.place, rl.place, rr.place


def _reasons(family: Family) -> tuple[str, str, str, str]:
    """Return what said each corner, in corner order."""
    fl, fr, rl, rr = family.wheels
    return fl.why, fr.why, rl.why, rr.why


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
