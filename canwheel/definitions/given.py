"""The signals that a vehicle file names: ``Message.Signal``, looked up in the DBC."""

from collections.abc import Sequence
from difflib import get_close_matches

from canwheel.corners import CORNERS, Corner
from canwheel.definitions.dbc import DefinedMessage, DefinedSignal, Definitions
from canwheel.definitions.families import WheelSignal, given_unit
from canwheel.definitions.undecided import says_nothing
from canwheel.errors import VehicleError
from canwheel.vehicle import UNNAMED, Vehicle


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
            raise says_nothing(definitions, [signal.place])
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
