"""Which adapter: named the way python-can names one, and what it can see of its own accord."""

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from typing import Any

from canwheel.errors import AdapterError, RequestError

USUAL_BITRATE = 500_000
"""The usual rate of the network that the brake unit is on (common practice, no source). [bit/s]"""

WITHOUT_HARDWARE = ("udp_multicast", "virtual")
"""Interfaces behind which there never is a wire."""

WITHOUT_BITRATE = (*WITHOUT_HARDWARE, "socketcan", "socketcand")
"""Interfaces whose bit rate is set elsewhere, or that have none."""

NEEDS_CHANNEL = ("slcan", "gs_usb", "socketcand")
"""Interfaces of those below that have no channel of their own to begin with."""

SHIPPED = ("slcan", "gs_usb", "socketcan", "socketcand", "udp_multicast", "virtual")
"""Interfaces whose listen-only mode is known here; the library's others are tried as they come."""

_SEARCH_S = 4.0  # one interface waits 3.1 s for a beacon sent every 3 s


@dataclass(frozen=True, slots=True)
class AdapterSettings:
    """How to open an adapter.

    Attributes
    ----------
    interface : the library's name of the driver.
    channel : port, network device, address or number; None for the driver's own default.
    bitrate : [bit/s], None where nobody said.
    options : everything else that the configuration says, as the driver takes it.
    """

    interface: str
    channel: str | int | None = None
    bitrate: int | None = None
    options: Mapping[str, Any] = field(default_factory=dict)

    def at(self, bitrate: int | None) -> "AdapterSettings":
        """Return the same at another bit rate. [bit/s]"""
        return replace(self, bitrate=bitrate)

    def arguments(self, **more: Any) -> dict[str, Any]:
        """Arguments for the driver's constructor; the configuration's own options come first."""
        arguments: dict[str, Any] = {**more, **self.options, "interface": self.interface}
        if self.channel is not None:
            arguments["channel"] = self.channel
        if self.bitrate is not None and self.interface not in WITHOUT_BITRATE:
            arguments["bitrate"] = self.bitrate
        return arguments

    @property
    def words(self) -> str:
        """``slcan on /dev/ttyACM0 at 500 kbit/s``."""
        words = self.interface
        if self.channel is not None:
            words += f" on {self.channel}"
        if self.bitrate is not None:
            words += f" at {self.bitrate / 1000:g} kbit/s"
        return words


def resolve_adapter(
    *,
    interface: str | None = None,
    channel: str | None = None,
    bitrate: int | None = None,
    options: Mapping[str, str] | None = None,
    usual_bitrate: int | None = None,
) -> AdapterSettings:
    """Complete what was said by python-can's own resolution: environment, configuration files.

    Parameters
    ----------
    interface, channel, bitrate, options : what the user said; it comes first.
    usual_bitrate : the vehicle file's rate, taken when nobody else says one. [bit/s]

    Raises
    ------
    RequestError : no adapter is named, or the configuration does not hold together.
    """
    import can  # noqa: PLC0415 - heavy, loaded only where an adapter is used

    said = {"interface": interface, "channel": channel, "bitrate": bitrate, **(options or {})}
    try:
        config: dict[str, Any] = dict(
            can.util.load_config(config={k: v for k, v in said.items() if v is not None})
        )
    except can.CanInterfaceNotImplementedError as error:
        raise _unknown_interface(interface) from error
    except Exception as error:  # the library lets through whatever its parsers raise
        raise RequestError(
            f"the adapter's configuration does not hold together: {str(error).rstrip(' .!')}",
            remedy="mend the options, CAN_INTERFACE, CAN_CHANNEL, CAN_BITRATE, CAN_CONFIG or the "
            "library's configuration file",
        ) from error
    rate = config.pop("bitrate", None)
    if rate is not None and (not isinstance(rate, int) or isinstance(rate, bool) or rate <= 0):
        raise RequestError(
            f"the bit rate is to be a number of bits a second, not {rate!r}",
            remedy=f"say it as {USUAL_BITRATE}",
        )
    if rate is None and "timing" not in config:
        rate = usual_bitrate
    return AdapterSettings(
        interface=config.pop("interface"),
        channel=config.pop("channel", None),
        bitrate=rate,
        options=config,
    )


def check_complete(settings: AdapterSettings) -> None:
    """Make sure that nothing is missing that opening the adapter needs.

    Raises
    ------
    RequestError : the channel or the bit rate is missing.
    """
    if settings.channel is None and settings.interface in NEEDS_CHANNEL:
        raise RequestError(
            f"{settings.interface} needs a channel: nobody said which adapter",
            remedy="say --channel; canwheel adapters lists what can be seen",
        )
    has_rate = settings.bitrate is not None or "timing" in settings.options
    if not has_rate and settings.interface not in WITHOUT_BITRATE:
        raise RequestError(
            f"{settings.interface} needs the bus's bit rate",
            remedy=f"say --bitrate {USUAL_BITRATE} (usual where the brake unit is), or let [bus] "
            "in the vehicle file say it; record can look for it with --bitrate auto",
        )


@contextmanager
def drivers_told(settings: AdapterSettings, say: Callable[[BaseException], str]) -> Iterator[None]:
    """Open an adapter within: whatever its driver raises is told as what to do about it.

    Parameters
    ----------
    say : what an error says, on one line.

    Raises
    ------
    AdapterError : no driver for it, or the driver cannot open it.
    """
    import can  # noqa: PLC0415 - loaded only where adapters are used

    try:
        yield
    except (AdapterError, RequestError):
        raise
    except (can.CanInterfaceNotImplementedError, ImportError) as error:
        raise AdapterError(
            f"{settings.interface} cannot be used here: {say(error)}",
            remedy=install_remedy(settings.interface),
        ) from error
    except Exception as error:  # drivers raise whatever their libraries do
        raise AdapterError(
            f"{settings.words} cannot be opened: {say(error)}",
            remedy="check that it is plugged in and free, and its name; canwheel adapters lists "
            "what can be seen",
        ) from error


def _unknown_interface(interface: str | None) -> RequestError:
    if interface is None:
        return RequestError(
            "no adapter is named",
            remedy="say --interface and --channel; canwheel adapters lists what it can see",
        )
    return RequestError(
        f"python-can knows no interface {interface!r}",
        remedy=f"say one it knows, such as {', '.join(SHIPPED)}",
    )


@dataclass(frozen=True, slots=True)
class SeenAdapter:
    """An adapter that answered, or a place where one can be.

    Attributes
    ----------
    settings : how to open it.
    says : what it calls itself.
    """

    settings: AdapterSettings
    says: str = ""

    @property
    def option_line(self) -> str:
        """Return the options of ``canwheel record`` that open it."""
        settings = self.settings
        line = f"--interface {settings.interface}"
        if settings.channel is not None:
            line += f" --channel {settings.channel}"
        for key, value in settings.options.items():
            line += f" --option {key}={value}"
        if settings.interface not in WITHOUT_BITRATE:
            line += " --bitrate auto"
        return line


@dataclass(frozen=True, slots=True)
class MissingDriver:
    """An interface that cannot be used as things are, and what to do about it."""

    interface: str
    why: str
    remedy: str


@dataclass(frozen=True, slots=True)
class AdapterSurvey:
    """What `find_adapters` saw."""

    seen: tuple[SeenAdapter, ...]
    missing: tuple[MissingDriver, ...]


def find_adapters(interfaces: tuple[str, ...] = SHIPPED) -> AdapterSurvey:
    """Look for adapters without opening one; takes up to `_SEARCH_S` seconds.

    Parameters
    ----------
    interfaces : the library's names of those to look for.
    """
    import can  # noqa: PLC0415 - heavy, loaded only where an adapter is used

    missing = tuple(filter(None, (_missing(interface) for interface in interfaces)))
    usable = [i for i in interfaces if i not in {m.interface for m in missing} and i != "gs_usb"]
    seen: list[SeenAdapter] = []
    if "slcan" in usable:
        seen += _serial_ports()
        usable.remove("slcan")  # the library would list the same ports without their names
    if "gs_usb" in interfaces and not any(m.interface == "gs_usb" for m in missing):
        seen += _usb_adapters()
    for config in can.detect_available_configs(usable, timeout=_SEARCH_S):
        rest: dict[str, Any] = dict(config)
        seen.append(
            SeenAdapter(
                AdapterSettings(rest.pop("interface"), rest.pop("channel", None), options=rest)
            )
        )
    return AdapterSurvey(tuple(seen), missing)


_NO_DESCRIPTION = (None, "", "n/a")  # the last one is pyserial's word for it


def _serial_ports() -> list[SeenAdapter]:
    """Serial ports; whether an adapter is behind one shows when it is opened."""
    from serial.tools import list_ports  # noqa: PLC0415 - loaded only where adapters are used

    return [
        SeenAdapter(
            AdapterSettings("slcan", port.device),
            says="" if port.description in _NO_DESCRIPTION else port.description,
        )
        for port in list_ports.comports()
    ]


def port_identity(device: str) -> tuple[object, ...] | None:
    """What tells a USB serial adapter from others, whatever port name it has; None if nothing."""
    from serial.tools import list_ports  # noqa: PLC0415 - loaded only where adapters are used

    for port in list_ports.comports():
        if port.device == device and port.serial_number:
            return (port.vid, port.pid, port.serial_number)
    return None


def find_port(identity: tuple[object, ...]) -> str | None:
    """Port name under which that adapter is to be found now, None when it is not."""
    from serial.tools import list_ports  # noqa: PLC0415 - loaded only where adapters are used

    for port in list_ports.comports():
        if (port.vid, port.pid, port.serial_number) == identity:
            return str(port.device)
    return None


def _usb_adapters() -> list[SeenAdapter]:
    """USB adapters of the open gs_usb kind."""
    from gs_usb.gs_usb import GsUsb  # noqa: PLC0415 - an extra, and loaded only where it is used

    return [
        SeenAdapter(AdapterSettings("gs_usb", number), says=str(device))
        for number, device in enumerate(GsUsb.scan())
    ]


def _missing(interface: str) -> MissingDriver | None:
    """Say what an interface lacks on this machine, None when it can be used."""
    try:
        _try_driver(interface)
    except ImportError as error:
        return MissingDriver(interface, f"{error}", install_remedy(interface))
    except OSError as error:
        return MissingDriver(interface, f"{error}", install_remedy(interface))
    return None


def _try_driver(interface: str) -> None:
    """Load what the interface needs.

    Raises
    ------
    ImportError : a Python package is missing.
    OSError : the system lacks something.
    """
    if interface == "slcan":
        import serial  # noqa: F401, PLC0415 - is it there?
    elif interface == "udp_multicast":
        import msgpack  # noqa: F401, PLC0415 - is it there?
    elif interface == "gs_usb":
        import gs_usb.gs_usb  # noqa: F401, PLC0415 - is it there?
        from usb.backend import libusb1  # noqa: PLC0415 - an extra

        if libusb1.get_backend() is None:
            raise OSError("the system library libusb 1.0 is not there")
    elif interface == "socketcan":
        import socket  # noqa: PLC0415 - only to ask the kernel

        if not hasattr(socket, "AF_CAN"):
            raise OSError("this system's kernel has no CAN sockets")
        try:
            socket.socket(socket.AF_CAN, socket.SOCK_RAW, socket.CAN_RAW).close()
        except OSError as error:
            raise OSError(f"this system's kernel has no CAN sockets ({error.strerror})") from error


_INSTALL = {
    "slcan": "pip install pyserial",
    "gs_usb": "pip install 'canwheel[usb]', and the system's libusb 1.0 package",
    "socketcan": "Linux only: load the kernel's CAN support (modprobe can_raw)",
    "udp_multicast": "pip install msgpack",
}


def install_remedy(interface: str) -> str:
    """Return what to install for an interface."""
    return _INSTALL.get(interface, "install what python-can's page on this interface names")
