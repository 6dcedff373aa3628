"""`Listener`: an open adapter that can be listened to and nothing else.

The library's bus object, which could send, stays inside this module: what is handed out has no
method that transmits. Each interface is opened in its own listen-only mode, in which a CAN
controller neither acknowledges frames nor reports errors on the wire (ISO 11898-1 calls it bus
monitoring). Where an interface has no such mode, or nobody can tell, it is opened only for a user
who said that acknowledging is all right.
"""

import contextlib
import dataclasses
import importlib
import json
import math
import socket
import subprocess
import time
from dataclasses import dataclass
from typing import Any, Literal, Protocol

import can

from canwheel.bus.adapters import (
    WITHOUT_HARDWARE,
    AdapterSettings,
    check_complete,
    drivers_told,
    find_port,
    port_identity,
)
from canwheel.bus.log_line import ChannelNames, one_word
from canwheel.errors import AdapterError, RequestError

Manner = Literal["listen only", "no hardware", "acknowledges"]
"""What the adapter does on the wire: nothing; there is no wire; it acknowledges frames."""

Clock = Literal["adapter", "system"]
"""Whose time stamps the frames carry: the adapter's (or its far end's) or this computer's."""

SERIAL_TIMEOUT_S = 0.05
"""How long one read of a serial port waits for its first byte. [s]"""

_RECEIVE_BUFFER_BYTES = 32 << 20
"""Asked of the kernel for network interfaces: several seconds of a full 1 Mbit/s bus."""

_MOST_RUBBISH = 2000
"""So many unreadable pieces in a row, without one frame, are no adapter any more."""

_LONGEST_REASON = 160  # some drivers put a whole traceback into the message

_RENEW_AFTER_S = 10.0  # a running car's bus is never silent for so long

_REACH_S = 3.0  # for a daemon on the local network to take a connection


class AdapterGoneError(AdapterError):
    """The open adapter cannot be read any more: pulled out, switched off, connection lost."""


class WouldAcknowledgeError(AdapterError):
    """The adapter would acknowledge frames, and nobody said that it may."""


@dataclass(frozen=True, slots=True)
class OpenedBus:
    """What an interface's opener hands to `Listener`."""

    bus: can.BusABC
    manner: Manner
    clock: Clock
    bitrate: int | None


class Listener:
    """An open adapter, to be read and closed.

    Parameters
    ----------
    opened : the library's bus and what is known of it.
    settings : how it was opened.

    Attributes
    ----------
    manner, clock, bitrate : see `OpenedBus`; bitrate in bit/s, None when nobody knows.
    rubbish : pieces received that were no frame.
    renew_after_s : silence after which opening it afresh is worth while; a serial adapter that
        was without power for a moment is there but closed. [s]
    channel_names : the words for the channel column of a log.
    """

    def __init__(self, opened: OpenedBus, settings: AdapterSettings) -> None:
        self.settings = settings
        self.manner = opened.manner
        self.clock = opened.clock
        self.bitrate = opened.bitrate
        self.renew_after_s = _RENEW_AFTER_S if settings.interface == "slcan" else math.inf
        self.channel_names = ChannelNames(_default_channel(settings))
        self._bus = opened.bus
        self._own_rubbish = 0
        self._rubbish_in_a_row = 0

    @property
    def rubbish(self) -> int:
        """Pieces received that were no frame: half lines, damaged packets."""
        driver_saw: int = getattr(self._bus, "rubbish", 0)
        return self._own_rubbish + driver_saw

    def receive(self, timeout_s: float) -> can.Message | None:
        """Return the next frame, None when none came in time or what came was none. [s]

        Raises
        ------
        AdapterGoneError : the adapter cannot be read any more.
        """
        try:
            message = self._bus.recv(timeout_s)
        except Exception as error:  # noqa: BLE001 - drivers let through whatever rubbish does
            self._judge(error)
            return None
        if message is None:
            if not _is_connected(self._bus):
                raise AdapterGoneError("the far end closed the connection")
            return None
        self._rubbish_in_a_row = 0
        stamp = message.timestamp
        if not stamp or not math.isfinite(stamp) or stamp < 0:
            message.timestamp = time.time()  # it came without one
        return message

    def _judge(self, error: Exception) -> None:
        """Count rubbish; tell a lost adapter.

        Raises
        ------
        AdapterGoneError : the system says so, or nothing but rubbish comes.
        """
        self._own_rubbish += 1
        self._rubbish_in_a_row += 1
        lost = _system_error(error)
        if lost is not None or self._rubbish_in_a_row > _MOST_RUBBISH:
            reason = _say(lost or error)
            raise AdapterGoneError(f"the adapter cannot be read any more: {reason}") from error

    def close(self) -> None:
        """Let go of the adapter; one that is gone already is no error."""
        with contextlib.suppress(Exception):
            self._bus.shutdown()


def open_listener(settings: AdapterSettings, *, acknowledge: bool = False) -> Listener:
    """Open an adapter to listen.

    Parameters
    ----------
    settings : which, and how.
    acknowledge : go on where the adapter cannot listen without acknowledging frames.

    Raises
    ------
    AdapterError : not there, not installed, or it would acknowledge and nobody said that it may.
    RequestError : channel or bit rate is missing, or it is none that the driver has.
    """
    check_complete(settings)
    opener = _OPENERS.get(settings.interface, _open_other)
    with drivers_told(settings, _say):
        opened = opener(settings, acknowledge=acknowledge)
    return Listener(opened, settings)


class AdapterDoor:
    """Opens one adapter, the first time and after each loss.

    Parameters
    ----------
    settings, acknowledge : see `open_listener`.
    """

    def __init__(self, settings: AdapterSettings, *, acknowledge: bool = False) -> None:
        self._settings = settings
        self._acknowledge = acknowledge
        self._identity: tuple[object, ...] | None = None

    def open(self) -> Listener:
        """Open it, also where a serial adapter came back under another port name.

        Raises
        ------
        CanwheelError : see `open_listener`.
        """
        settings = self._settings
        if self._identity is not None:
            port = find_port(self._identity) or settings.channel
            settings = dataclasses.replace(settings, channel=port)
        listener = open_listener(settings, acknowledge=self._acknowledge)
        if self._identity is None and settings.interface == "slcan":
            self._identity = port_identity(str(settings.channel))
        return listener


def _open_bus(settings: AdapterSettings, **more: Any) -> can.BusABC:
    """Open the library's own driver, with the configuration resolved already."""
    return can.Bus(ignore_config=True, **settings.arguments(**more))


def _refuse_to_acknowledge(
    settings: AdapterSettings, why: str, remedy: str = ""
) -> WouldAcknowledgeError:
    """Say that listening only is not to be had."""
    or_else = f"{remedy}, or " if remedy else ""
    return WouldAcknowledgeError(
        f"{settings.words} would acknowledge frames on the car's bus: {why}",
        remedy=f"{or_else}say --acknowledge if that is all right",
    )


def _open_slcan(settings: AdapterSettings, *, acknowledge: bool) -> OpenedBus:
    """Serial adapters with the open ASCII protocol: ``L`` is its listen-only command."""
    from canwheel.bus.serial_line import ListeningSlcanBus  # noqa: PLC0415 - needs pyserial

    arguments = settings.arguments(timeout=SERIAL_TIMEOUT_S)
    del arguments["interface"]
    bus = ListeningSlcanBus(**{**arguments, "listen_only": True})
    manner: Manner = "listen only"
    if bus.answer == "refused":
        bus.shutdown()
        if not acknowledge:
            raise _refuse_to_acknowledge(settings, "it refused the listen-only command")
        bus = ListeningSlcanBus(**{**arguments, "listen_only": False})
        manner = "acknowledges"
    return OpenedBus(bus, manner, "system", settings.bitrate)


def _open_gs_usb(settings: AdapterSettings, *, acknowledge: bool) -> OpenedBus:
    """USB adapters of the open gs_usb kind: started with their listen-only flag."""
    from canwheel.bus import usb_adapter  # noqa: PLC0415 - an extra

    usb_adapter.start_listening(acknowledge=acknowledge)
    try:
        bus = _open_bus(settings)
    except usb_adapter.CannotOnlyListenError as error:
        raise _refuse_to_acknowledge(settings, "its firmware has no listen-only mode") from error
    except usb_adapter.NoLibraryError as error:
        raise can.CanInterfaceNotImplementedError("the library libusb 1.0 is not there") from error
    device = usb_adapter.DeviceFacts.of(bus)
    manner: Manner = "listen only" if device.only_listens else "acknowledges"
    clock: Clock = "adapter" if device.stamps_time else "system"
    return OpenedBus(bus, manner, clock, settings.bitrate)


def _open_socketcan(settings: AdapterSettings, *, acknowledge: bool) -> OpenedBus:
    """Network devices of the kernel: listen-only is the device's setting, and root's to make."""
    link = read_link(str(settings.channel or ""))
    manner = link.manner
    if manner == "acknowledges" and not acknowledge:
        name = settings.channel or "can0"
        rate = settings.bitrate or "500000"
        raise _refuse_to_acknowledge(
            settings,
            "the network device is not set to listen only",
            f"set it: ip link set {name} down; ip link set {name} type can bitrate {rate} "
            f"listen-only on; ip link set {name} up",
        )
    bus = _open_bus(settings, fd=True)  # harmless on a classic bus; without it FD frames are lost
    _widen_buffer(getattr(bus, "socket", None))
    return OpenedBus(bus, manner, "system", link.bitrate or settings.bitrate)


def _open_socketcand(settings: AdapterSettings, *, acknowledge: bool) -> OpenedBus:
    """Listen to a daemon that serves a far computer's device, whose mode it does not tell."""
    if not acknowledge:
        raise _refuse_to_acknowledge(
            settings,
            "the daemon does not tell whether the far device only listens",
            "set the far device to listen only",
        )
    host, port = settings.options.get("host"), settings.options.get("port")
    if host is None or port is None:
        raise RequestError(
            "socketcand needs the daemon's address",
            remedy="say --option host=ADDRESS --option port=29536",
        )
    # the driver would try a dead address without a pause for ten seconds
    with socket.create_connection((host, int(port)), timeout=_REACH_S) as probe:
        if not probe.recv(256).startswith(b"< hi"):
            raise AdapterError(
                f"what answers at {host}:{port} is no socketcand",
                remedy="check the daemon's address",
            )
    usual = socket.getdefaulttimeout()
    socket.setdefaulttimeout(_REACH_S)  # nor does it give up on a daemon that says nothing
    try:
        bus = _open_bus(settings)
    finally:
        socket.setdefaulttimeout(usual)
    return OpenedBus(bus, "acknowledges", "adapter", settings.bitrate)


def _open_without_hardware(settings: AdapterSettings, *, acknowledge: bool) -> OpenedBus:  # noqa: ARG001 - as the others
    """Open a loopback bus: there is no wire to acknowledge on."""
    bus = _open_bus(settings)
    _widen_buffer(getattr(getattr(bus, "_multicast", None), "_socket", None))
    return OpenedBus(bus, "no hardware", "system", settings.bitrate)


def _open_other(settings: AdapterSettings, *, acknowledge: bool) -> OpenedBus:
    """Any other driver of the library: its passive state, where it has one.

    A driver without one is not opened at all unless it may acknowledge. The state can only be set
    for certain on an open bus; a driver that takes it while opening gets it there as well.
    """
    driver = _driver_class(settings.interface)
    has_state = driver.state is not can.BusABC.state
    if not has_state and not acknowledge:
        raise _refuse_to_acknowledge(settings, "python-can's driver has no passive state for it")
    bus = _open_bus(settings, **({"state": can.BusState.PASSIVE} if has_state else {}))
    passive = False
    if has_state:
        with contextlib.suppress(Exception):  # whatever it is, the adapter is not passive then
            bus.state = can.BusState.PASSIVE
            passive = bus.state == can.BusState.PASSIVE
    if not passive and not acknowledge:
        bus.shutdown()
        raise _refuse_to_acknowledge(settings, "it did not go into its passive state")
    manner: Manner = "listen only" if passive else "acknowledges"
    return OpenedBus(bus, manner, "adapter", settings.bitrate)


def _driver_class(interface: str) -> type[can.BusABC]:
    """Load the library's driver.

    Raises
    ------
    CanInterfaceNotImplementedError : unknown, or what it needs is not installed.
    """
    try:
        module, name = can.interfaces.BACKENDS[interface]
        driver: type[can.BusABC] = getattr(importlib.import_module(module), name)
    except (KeyError, ImportError, AttributeError, OSError) as error:
        raise can.CanInterfaceNotImplementedError(str(error)) from error
    return driver


class _Opener(Protocol):
    """Opens one kind of adapter; raises what `open_listener` says, or whatever the driver does."""

    def __call__(self, settings: AdapterSettings, *, acknowledge: bool) -> OpenedBus:
        """Open it."""


_OPENERS: dict[str, _Opener] = {
    "slcan": _open_slcan,
    "gs_usb": _open_gs_usb,
    "socketcan": _open_socketcan,
    "socketcand": _open_socketcand,
    **dict.fromkeys(WITHOUT_HARDWARE, _open_without_hardware),
}


@dataclass(frozen=True, slots=True)
class LinkFacts:
    """What the kernel says of a CAN network device. bitrate in bit/s, None when it has none."""

    manner: Manner
    bitrate: int | None = None


def read_link(name: str) -> LinkFacts:
    """Ask the kernel whether a network device listens only, through ``ip`` (iproute2).

    Its JSON form has the control modes that are on as ``linkinfo.info_data.ctrlmode``, with
    ``LISTEN-ONLY`` among them (iproute2, ip/iplink_can.c). A device of kind vcan or vxcan has no
    wire. What cannot be found out counts as acknowledging.

    Raises
    ------
    AdapterError : there is no such device.
    """
    command = ["ip", "-details", "-json", "link", "show"]
    command += ["dev", name] if name else ["type", "can"]
    try:
        answer = subprocess.run(command, capture_output=True, timeout=5, check=True).stdout  # noqa: S603
        links = [link for link in json.loads(answer) if link]
        facts = [_link_facts(link.get("linkinfo", {})) for link in links]
    except subprocess.CalledProcessError as error:
        raise AdapterError(
            f"there is no CAN network device {name!r}",
            remedy="plug the adapter in; ip link shows the devices there are",
        ) from error
    except (OSError, subprocess.TimeoutExpired, ValueError, AttributeError, TypeError):
        return LinkFacts("acknowledges")
    if not facts:
        return LinkFacts("acknowledges")
    # of several, the one that does the most on the wire counts
    manners: tuple[Manner, ...] = ("acknowledges", "listen only", "no hardware")
    return min(facts, key=lambda link: manners.index(link.manner))


def _link_facts(info: dict[str, Any]) -> LinkFacts:
    if info.get("info_kind") in {"vcan", "vxcan"}:
        return LinkFacts("no hardware")
    data = info.get("info_data", {})
    listens = "LISTEN-ONLY" in data.get("ctrlmode", ())
    bitrate = data.get("bittiming", {}).get("bitrate")
    return LinkFacts("listen only" if listens else "acknowledges", bitrate)


def _default_channel(settings: AdapterSettings) -> str:
    """Return the word for frames that come without a channel of their own."""
    return one_word(settings.channel, f"{settings.interface}0")


def _widen_buffer(receiver: socket.socket | None) -> None:
    """Ask the kernel to hold more frames while this process waits its turn."""
    if receiver is None:
        return
    force = getattr(socket, "SO_RCVBUFFORCE", 33)  # linux/socket.h; root may pass the limit
    for option in (force, socket.SO_RCVBUF):
        with contextlib.suppress(OSError):
            receiver.setsockopt(socket.SOL_SOCKET, option, _RECEIVE_BUFFER_BYTES)
            return


def _say(error: BaseException) -> str:
    """Return the first line of what an error says, or its name when it says nothing."""
    lines = str(error).strip().splitlines()
    return lines[0][:_LONGEST_REASON].rstrip(" .!") if lines else type(error).__name__


def _system_error(error: BaseException) -> OSError | None:
    """Return the system's own error behind a driver's, if there is one.

    Serial and USB libraries derive theirs from OSError; a time-out is none.
    """
    link: BaseException | None = error
    while link is not None:
        if isinstance(link, OSError) and not isinstance(link, TimeoutError):
            return link
        link = link.__cause__ or link.__context__
    return None


def _is_connected(bus: can.BusABC) -> bool:
    """Whether a stream socket behind the bus is still open at the far end.

    The socketcand driver takes a closed connection for silence, for ever.
    """
    stream = getattr(bus, "_SocketCanDaemonBus__socket", None)
    if stream is None:
        return True
    try:
        stream.setblocking(False)  # noqa: FBT003 - the socket's own signature
        return bool(stream.recv(1, socket.MSG_PEEK))
    except BlockingIOError:
        return True
    except OSError:
        return False
    finally:
        with contextlib.suppress(OSError):
            stream.setblocking(True)  # noqa: FBT003 - the socket's own signature
