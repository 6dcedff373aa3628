"""Open an adapter for asking a unit: unlike everywhere else in canwheel, one that may send."""

from typing import TYPE_CHECKING

from canwheel.bus.adapters import (
    AdapterSettings,
    check_complete,
    drivers_told,
)
from canwheel.bus.listening import read_link
from canwheel.capture.library import import_can
from canwheel.errors import AdapterError, RequestError

if TYPE_CHECKING:
    import can

_LISTEN_ONLY_OPTION = "listen_only"
"""Name that python-can's drivers give to their listen-only mode."""


def open_for_diagnosis(settings: AdapterSettings) -> "can.BusABC":
    """Open an adapter that python-can's own resolution found, able to send.

    Parameters
    ----------
    settings : which, and how.

    Raises
    ------
    RequestError : channel or bit rate is missing, or it was told to listen only.
    AdapterError : no such adapter, no driver for it, or it is set to listen only.
    """
    library = import_can()
    check_complete(settings)
    _check_can_ask(settings)
    with drivers_told(settings, _say):
        bus: can.BusABC = library.Bus(ignore_config=True, **settings.arguments())
    return bus


def _check_can_ask(settings: AdapterSettings) -> None:
    """Refuse an adapter that only listens: it would swallow every question without a word."""
    if str(settings.options.get(_LISTEN_ONLY_OPTION, "")).lower() in {"true", "1", "yes", "on"}:
        raise RequestError(
            f"{settings.words} is told to listen only, and cannot ask the unit",
            remedy=f"take {_LISTEN_ONLY_OPTION} out of the options or the configuration",
        )
    if settings.interface == "socketcan":
        if settings.channel is None:
            raise RequestError(
                "nobody said which network device the unit is behind", remedy="say --channel can0"
            )
        link = read_link(str(settings.channel))
        if link.manner == "listen only":
            name = settings.channel
            raise AdapterError(
                f"the network device {name} is set to listen only, and cannot ask the unit",
                remedy=f"set it: ip link set {name} down; ip link set {name} type can "
                f"listen-only off; ip link set {name} up",
            )


def _say(error: BaseException) -> str:
    """Return what an error says on one line, or its name when it says nothing."""
    return " ".join(str(error).split()).rstrip(" .!") or type(error).__name__
