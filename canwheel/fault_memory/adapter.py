"""Open an adapter for asking a unit: unlike everywhere else in canwheel, one that may send."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from canwheel.capture.library import import_can
from canwheel.errors import RequestError

if TYPE_CHECKING:
    import can

_NOTHING_NAMED = 'interface type "None"'
"""How python-can's message ends when its resolution found no interface at all."""

_REMEDY = (
    "name the adapter with --interface and --channel, or in python-can's own configuration file "
    "or environment"
)


@dataclass(frozen=True, slots=True)
class AdapterChoice:
    """What was said of the adapter; None leaves it to python-can's own configuration."""

    interface: str | None = None
    channel: str | None = None
    bitrate: int | None = None


def open_for_diagnosis(choice: AdapterChoice) -> "can.BusABC":
    """Open the adapter that python-can's own resolution finds, able to send.

    Raises
    ------
    RequestError : no such interface, no driver for it, or no such adapter.
    """
    library = import_can()
    given: dict[str, Any] = {
        name: value
        for name, value in (
            ("interface", choice.interface),
            ("channel", choice.channel),
            ("bitrate", choice.bitrate),
        )
        if value is not None
    }
    try:
        bus: can.BusABC = library.Bus(**given)
    except (
        library.CanError,
        OSError,
        ValueError,
        TypeError,
        ImportError,
        NotImplementedError,
    ) as error:
        named = " ".join(str(value) for value in given.values())
        why = str(error) or type(error).__name__
        if why.endswith(_NOTHING_NAMED):
            why = "nobody named it"
        raise RequestError(
            f"cannot open the adapter: {why}",
            where=named,
            remedy=_REMEDY,
        ) from error
    return bus
