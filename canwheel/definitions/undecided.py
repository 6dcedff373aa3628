"""Why a DBC leaves open, or does not have, the four wheel signals: the errors that say so.

Each lists the candidates, with the lines to paste into a vehicle file where that would settle it.
"""

from collections.abc import Sequence

from canwheel.corners import CORNERS, Corner
from canwheel.definitions.dbc import Definitions
from canwheel.definitions.families import Family, WheelSignal, unnamed_sets
from canwheel.definitions.layout import SignalPlace
from canwheel.definitions.names import names_driven_axle
from canwheel.definitions.units import KPH_PER, speed_unit
from canwheel.errors import DefinitionsError

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


def equally_good(definitions: Definitions, rivals: Sequence[Family]) -> AmbiguousWheelsError:
    """Say that nothing tells which of several sets to take."""
    alike = _alike_by_name([wheel for family in rivals for wheel in family.wheels])
    if alike is not None:
        return _same_name(definitions, *alike)
    return AmbiguousWheelsError(
        f"has {len(rivals)} sets of wheel speeds that are equally good",
        where=definitions.where,
        remedy="put the lines of the right one into a vehicle file and give it with --vehicle",
        details="\n\n".join(_to_paste(family) for family in rivals),
        families=rivals,
    )


def corner_not_named(
    definitions: Definitions, corner: Corner, wheels: Sequence[WheelSignal]
) -> DefinitionsError:
    """Say that a vehicle file which names some of the corners must name this one as well."""
    return DefinitionsError(
        f"does not say which signal is {corner.words}, and neither does the vehicle file",
        where=definitions.where,
        remedy=f'add {corner.value} = "Message.Signal" to [wheels] of the vehicle file',
        details=_listed([wheel for wheel in wheels if wheel.corner in (corner, None)]),
    )


def no_four(definitions: Definitions, wheels: Sequence[WheelSignal]) -> DefinitionsError:
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
        return says_nothing(definitions, useless)
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


def says_nothing(definitions: Definitions, places: Sequence[SignalPlace]) -> DefinitionsError:
    """Say that a scale of zero makes every value the same."""
    paths = ", ".join(place.path for place in places[:_MOST_LISTED])
    return DefinitionsError(
        f"gives a scale of 0, by which every value is the same, to {paths}",
        where=definitions.where,
        remedy="put the right scale into the DBC file",
    )


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
