"""Open an adapter for asking a unit: unlike everywhere else in canwheel, one that may send."""

from typing import TYPE_CHECKING, Any

from canwheel.bus.adapters import (
    WITHOUT_BITRATE,
    AdapterSettings,
    check_complete,
    install_remedy,
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
    arguments: dict[str, Any] = {**settings.options, "interface": settings.interface}
    if settings.channel is not None:
        arguments["channel"] = settings.channel
    if settings.bitrate is not None and settings.interface not in WITHOUT_BITRATE:
        arguments["bitrate"] = settings.bitrate
    try:
        bus: can.BusABC = library.Bus(ignore_config=True, **arguments)
    except (library.CanInterfaceNotImplementedError, ImportError) as error:
        raise AdapterError(
            f"{settings.interface} cannot be used here: {_say(error)}",
            remedy=install_remedy(settings.interface),
        ) from error
    except Exception as error:  # drivers raise whatever their libraries do
        raise AdapterError(
            f"{settings.words} cannot be opened: {_say(error)}",
            remedy="check that it is plugged in and free, and its name; canwheel adapters lists "
            "what can be seen",
        ) from error
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
