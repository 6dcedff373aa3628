"""Each interface is opened so that it only listens, or not at all."""

import contextlib
import json
import socket
import struct
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from typing import Any

import can
import pytest

from canwheel.bus import listening
from canwheel.bus.adapters import AdapterSettings, find_adapters, resolve_adapter
from canwheel.bus.listening import AdapterDoor, AdapterGoneError, open_listener, read_link
from canwheel.errors import AdapterError, RequestError

# naming an adapter


def test_the_librarys_own_resolution_is_used(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Any
) -> None:
    (tmp_path / "can.conf").write_text("[default]\ninterface = slcan\nchannel = /dev/ttyX\n")
    monkeypatch.setenv("CAN_BITRATE", "250000")
    settings = resolve_adapter(options={"tty_baudrate": "921600"})
    assert (settings.interface, settings.channel, settings.bitrate) == (
        "slcan",
        "/dev/ttyX",
        250_000,
    )
    assert settings.options == {"tty_baudrate": 921_600}
    assert resolve_adapter(interface="virtual", bitrate=125_000).bitrate == 125_000
    assert settings.words == "slcan on /dev/ttyX at 250 kbit/s"


def test_the_vehicle_files_rate_comes_last(monkeypatch: pytest.MonkeyPatch) -> None:
    assert resolve_adapter(interface="virtual", usual_bitrate=125_000).bitrate == 125_000
    monkeypatch.setenv("CAN_BITRATE", "250000")
    assert resolve_adapter(interface="virtual", usual_bitrate=125_000).bitrate == 250_000


@pytest.mark.parametrize(
    ("said", "environment", "words"),
    [
        ({}, {}, "no adapter is named"),
        ({"interface": "nonesuch"}, {}, "no interface 'nonesuch'"),
        ({"interface": "virtual"}, {"CAN_BITRATE": "fast"}, "bit rate"),
        ({"interface": "virtual"}, {"CAN_CONFIG": "{"}, "does not hold together"),
        ({"interface": "virtual", "options": {"port": "99999"}}, {}, "does not hold together"),
    ],
)
def test_a_configuration_that_cannot_be_is_one_clear_line(
    said: dict[str, Any],
    environment: dict[str, str],
    words: str,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    for name, value in environment.items():
        monkeypatch.setenv(name, value)
    with pytest.raises(RequestError, match=words) as told:
        resolve_adapter(**said)
    assert "\n" not in str(told.value)


def test_a_serial_adapter_is_found_again_under_another_port_name(
    monkeypatch: pytest.MonkeyPatch, serial_adapter: Callable[..., Any]
) -> None:
    """USB hands out port names anew when an adapter is plugged in again."""
    from serial.tools import list_ports  # noqa: PLC0415 - only here
    from serial.tools.list_ports_common import ListPortInfo  # noqa: PLC0415

    def plugged_in_at(adapter: Any) -> None:
        port = ListPortInfo(str(adapter.path))
        port.vid, port.pid, port.serial_number = 0x1209, 0x0001, "A7"
        other = ListPortInfo("/dev/other")
        monkeypatch.setattr(list_ports, "comports", lambda: [other, port])

    first, second = serial_adapter(), serial_adapter()
    options = {"sleep_after_open": 0}
    door = AdapterDoor(AdapterSettings("slcan", str(first.path), 500_000, options))
    plugged_in_at(first)
    door.open().close()
    first.pull_out()
    plugged_in_at(second)
    listener = door.open()
    assert listener.settings.channel == str(second.path)
    assert second.opened_with == b"L"
    listener.close()


# network devices of the kernel, through the words of `ip` (iproute2, ip/iplink_can.c)


def ip_says(monkeypatch: pytest.MonkeyPatch, links: object) -> list[list[str]]:
    asked: list[list[str]] = []

    def run(command: list[str], **_: object) -> subprocess.CompletedProcess[bytes]:
        asked.append(command)
        return subprocess.CompletedProcess(command, 0, json.dumps(links).encode(), b"")

    monkeypatch.setattr(listening.subprocess, "run", run)
    return asked


def can_link(*modes: str) -> dict[str, object]:
    data = {"ctrlmode": list(modes), "bittiming": {"bitrate": 500_000}} if modes else {}
    return {"ifname": "can0", "linkinfo": {"info_kind": "can", "info_data": data}}


@pytest.mark.parametrize(
    ("links", "manner", "bitrate"),
    [
        ([can_link("LISTEN-ONLY")], "listen only", 500_000),
        ([can_link("LOOPBACK", "LISTEN-ONLY", "FD")], "listen only", 500_000),
        ([can_link("BERR-REPORTING")], "acknowledges", 500_000),
        ([can_link()], "acknowledges", None),
        ([{"ifname": "vcan0", "linkinfo": {"info_kind": "vcan"}}], "no hardware", None),
        ([can_link("LISTEN-ONLY"), can_link()], "acknowledges", None),
        ([{}], "acknowledges", None),
        ("rubbish", "acknowledges", None),
        ([], "acknowledges", None),
    ],
)
def test_a_network_devices_own_setting_is_read(
    monkeypatch: pytest.MonkeyPatch, links: object, manner: str, bitrate: int | None
) -> None:
    ip_says(monkeypatch, links)
    link = read_link("can0")
    assert (link.manner, link.bitrate) == (manner, bitrate)


def test_a_network_device_that_is_not_there_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    def run(command: list[str], **_: object) -> None:
        raise subprocess.CalledProcessError(1, command, stderr=b'Device "can7" does not exist.')

    monkeypatch.setattr(listening.subprocess, "run", run)
    with pytest.raises(AdapterError, match="no CAN network device 'can7'"):
        open_listener(AdapterSettings("socketcan", "can7"))


def test_without_the_program_that_tells_a_device_counts_as_acknowledging(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def run(*_: object, **__: object) -> None:
        raise FileNotFoundError("ip")

    monkeypatch.setattr(listening.subprocess, "run", run)
    assert read_link("can0").manner == "acknowledges"


def test_a_network_device_that_would_acknowledge_is_not_opened(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    ip_says(monkeypatch, [can_link("FD")])
    monkeypatch.setattr(listening.can, "Bus", lambda **_: pytest.fail("it was opened"))
    with pytest.raises(AdapterError, match="listen-only on") as told:
        open_listener(AdapterSettings("socketcan", "can0"))
    assert "--acknowledge" in str(told.value)


def test_a_network_device_is_opened_for_fd_frames_as_well(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    ip_says(monkeypatch, [can_link("LISTEN-ONLY")])
    opened: dict[str, object] = {}

    def bus(**arguments: object) -> can.BusABC:
        opened.update(arguments)
        return can.interfaces.virtual.VirtualBus("stands in")

    monkeypatch.setattr(listening.can, "Bus", bus)
    listener = open_listener(AdapterSettings("socketcan", "can0"))
    listener.close()
    assert opened["fd"] is True
    assert "bitrate" not in opened
    assert (listener.manner, listener.bitrate) == ("listen only", 500_000)


# any other driver of the library


def test_a_driver_with_a_passive_state_is_made_passive(silent_bus: Any) -> None:
    listener = open_listener(AdapterSettings("silent", "x", 500_000))
    assert listener.manner == "listen only"
    assert silent_bus.opened[0].state == can.BusState.PASSIVE
    assert silent_bus.opened[0].given["state"] == can.BusState.PASSIVE
    listener.close()


def test_a_driver_without_one_is_not_even_opened(silent_bus: Any) -> None:
    with pytest.raises(AdapterError, match="--acknowledge"):
        open_listener(AdapterSettings("stubborn", "x", 500_000))
    assert silent_bus.opened == []
    listener = open_listener(AdapterSettings("stubborn", "x", 500_000), acknowledge=True)
    assert listener.manner == "acknowledges"
    listener.close()


def test_a_driver_that_does_not_go_passive_is_closed_again(
    silent_bus: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(silent_bus, "passive_works", False)
    with pytest.raises(AdapterError, match="passive"):
        open_listener(AdapterSettings("silent", "x", 500_000))
    assert silent_bus.opened[0]._is_shutdown  # noqa: SLF001 - the library's own mark


def test_a_frame_without_a_time_stamp_gets_the_systems(silent_bus: Any) -> None:
    silent_bus.frames = [can.Message(timestamp=0.0), can.Message(timestamp=12.5)]
    listener = open_listener(AdapterSettings("silent", "x", 500_000))
    first, second = listener.receive(0.1), listener.receive(0.1)
    assert first is not None
    assert second is not None
    assert first.timestamp > 1_500_000_000
    assert second.timestamp == 12.5
    listener.close()


@pytest.mark.parametrize(
    ("error", "is_gone"),
    [
        (OSError(5, "Input/output error"), True),
        (can.CanOperationError("wrapped"), False),
        (TimeoutError(), False),
        (IndexError(), False),
    ],
)
def test_the_systems_errors_mean_gone_and_others_rubbish(
    silent_bus: Any, error: Exception, *, is_gone: bool
) -> None:
    silent_bus.frames = [error]
    listener = open_listener(AdapterSettings("silent", "x", 500_000))
    if is_gone:
        with pytest.raises(AdapterGoneError):
            listener.receive(0.1)
    else:
        assert listener.receive(0.1) is None
        assert listener.rubbish == 1
    listener.close()


def test_a_driver_that_is_not_installed_says_what_to_install(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setitem(sys.modules, "canwheel.bus.usb_adapter", None)
    with pytest.raises(AdapterError, match=r"canwheel\[usb\]"):
        open_listener(AdapterSettings("gs_usb", 0, 500_000))


def test_the_survey_names_what_is_missing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "gs_usb", None)
    survey = find_adapters(("gs_usb", "udp_multicast", "virtual"))
    (missing,) = survey.missing
    assert missing.interface == "gs_usb"
    assert "canwheel[usb]" in missing.remedy
    lines = [adapter.option_line for adapter in survey.seen]
    assert any(line.startswith("--interface udp_multicast --channel 239.") for line in lines)


# USB adapters: the real driver and package on a device that exists in memory only


class UsbDevice:
    """A gs_usb device as the package talks to it: control requests, one endpoint each way.

    Request numbers and layouts: linux, drivers/net/can/usb/gs_usb.c (from memory), and as the
    PyPI package gs_usb has them.
    """

    idVendor, idProduct, bus, address = 0x1D50, 0x606F, 1, 2  # noqa: N815 - USB's own names

    def __init__(self, features: int) -> None:
        self.features = features
        self.modes: list[tuple[int, int]] = []
        self.frames: list[bytes] = []
        self.gone = False
        self.product = "adapter in memory"

    def reset(self) -> None:
        pass

    def is_kernel_driver_active(self, _number: int) -> bool:
        return False

    def ctrl_transfer(self, _kind: int, request: int, _value: int, _index: int, data: Any) -> bytes:
        if request == 4:  # bit timing constants; 48 MHz clock
            return struct.pack("<10I", self.features, 48_000_000, 1, 16, 1, 8, 4, 1, 1024, 1)
        if request == 2:
            self.modes.append(struct.unpack("<2I", data))
        return b""

    def read(self, _endpoint: int, size: int, _timeout_ms: int) -> bytes:
        import usb.core  # noqa: PLC0415 - an extra

        if self.gone:
            raise usb.core.USBError("No such device", errno=19)
        if not self.frames:
            raise usb.core.USBTimeoutError("timed out", errno=110)
        return self.frames.pop(0)[:size]

    def write(self, *_: object) -> None:
        pytest.fail("a frame was sent")


@pytest.fixture
def usb_device(monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[[int], UsbDevice]]:
    usb_core = pytest.importorskip("usb.core", reason="the extra [usb] is not installed")
    package = pytest.importorskip("gs_usb.gs_usb", reason="the extra [usb] is not installed")
    original = package.GsUsb.start, package.GsUsb.read

    def plug_in(features: int) -> UsbDevice:
        device = UsbDevice(features)
        monkeypatch.setattr(usb_core, "find", lambda **_: [device])
        return device

    yield plug_in
    package.GsUsb.start, package.GsUsb.read = original


LISTENS, STAMPS = 1, 16  # feature and mode bits of the protocol


def test_a_usb_adapter_is_only_ever_started_to_listen(
    usb_device: Callable[[int], UsbDevice],
) -> None:
    device = usb_device(LISTENS | STAMPS)
    listener = open_listener(AdapterSettings("gs_usb", 0, 500_000))
    assert (listener.manner, listener.clock) == ("listen only", "adapter")
    device.frames = [
        struct.pack("<2I12BI", 0xFFFFFFFF, 0x98FEBF0B, 2, 0, 0, 0, 1, 2, *[0] * 6, 2_500_000),
        struct.pack("<2I12BI", 0xFFFFFFFF, 0x20000004, 8, 0, 0, 0, 0, 4, *[0] * 6, 2_600_000),
    ]
    frame, error = listener.receive(0.1), listener.receive(0.1)
    assert frame is not None
    assert error is not None
    assert (frame.arbitration_id, frame.is_extended_id) == (0x18FEBF0B, True)
    assert (bytes(frame.data), frame.timestamp) == (b"\x01\x02", 2.5)
    assert error.is_error_frame
    assert listener.receive(0.01) is None
    listener.close()  # the driver starts it once more here
    started = [flags for mode, flags in device.modes if mode == 1]
    assert len(started) >= 2
    assert all(flags & LISTENS for flags in started)


def test_a_usb_adapter_without_that_mode_is_not_started(
    usb_device: Callable[[int], UsbDevice],
) -> None:
    device = usb_device(0)
    with pytest.raises(AdapterError, match="--acknowledge"):
        open_listener(AdapterSettings("gs_usb", 0, 500_000))
    assert [mode for mode, _ in device.modes if mode == 1] == []
    listener = open_listener(AdapterSettings("gs_usb", 0, 500_000), acknowledge=True)
    assert (listener.manner, listener.clock) == ("acknowledges", "system")
    listener.close()


def test_a_usb_adapter_that_is_pulled_out_is_told(
    usb_device: Callable[[int], UsbDevice],
) -> None:
    device = usb_device(LISTENS | STAMPS)
    listener = open_listener(AdapterSettings("gs_usb", 0, 500_000))
    device.gone = True
    with pytest.raises(AdapterGoneError):
        listener.receive(0.1)
    listener.close()


def test_without_the_systems_usb_library_it_is_said_what_to_install(
    usb_device: Callable[[int], UsbDevice], monkeypatch: pytest.MonkeyPatch
) -> None:
    import usb.core  # noqa: PLC0415 - an extra

    usb_device(0)

    def find(**_: object) -> None:
        raise usb.core.NoBackendError("No backend available")

    monkeypatch.setattr("usb.core.find", find)
    with pytest.raises(AdapterError, match=r"libusb 1.0 is not there.*canwheel\[usb\]"):
        open_listener(AdapterSettings("gs_usb", 0, 500_000))


def test_no_usb_adapter_is_one_clear_line(
    usb_device: Callable[[int], UsbDevice], monkeypatch: pytest.MonkeyPatch
) -> None:
    usb_device(0)
    monkeypatch.setattr("usb.core.find", lambda **_: [])
    with pytest.raises(AdapterError, match="Cannot find device 0"):
        open_listener(AdapterSettings("gs_usb", 0, 500_000))


# the daemon of a far computer


@pytest.fixture
def daemon() -> Iterator[tuple[int, threading.Event]]:
    """A daemon that speaks socketcand's greeting, sends two frames and hangs up when told."""
    server = socket.create_server(("127.0.0.1", 0))
    hang_up = threading.Event()

    def serve() -> None:
        while True:
            try:
                line, _ = server.accept()
            except OSError:
                return
            with line, contextlib.suppress(ConnectionError):  # somebody may only have looked
                line.sendall(b"< hi >")
                line.recv(100)
                line.sendall(b"< ok >")
                line.recv(100)
                line.sendall(b"< ok >")
                line.sendall(b"< frame 123 23.424242 1122 >< frame 18FEBF0B 24.5 AA >")
                hang_up.wait(10)

    thread = threading.Thread(target=serve, daemon=True)
    thread.start()
    yield server.getsockname()[1], hang_up
    hang_up.set()
    server.shutdown(socket.SHUT_RDWR)
    server.close()
    thread.join()


def test_a_far_daemon_is_listened_to_and_its_end_is_noticed(
    daemon: tuple[int, threading.Event],
) -> None:
    port, hang_up = daemon
    settings = AdapterSettings("socketcand", "can0", options={"host": "127.0.0.1", "port": port})
    with pytest.raises(AdapterError, match="--acknowledge"):
        open_listener(settings)
    listener = open_listener(settings, acknowledge=True)
    frames = [listener.receive(0.5), listener.receive(0.5)]
    assert [frame and frame.arbitration_id for frame in frames] == [0x123, 0x18FEBF0B]
    assert listener.receive(0.05) is None
    hang_up.set()
    with pytest.raises(AdapterGoneError):
        _ = [listener.receive(0.1) for _ in range(20)]
    listener.close()


def test_a_daemon_that_says_nothing_is_given_up(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(listening, "_REACH_S", 0.2)
    with socket.create_server(("127.0.0.1", 0)) as mute:
        port = mute.getsockname()[1]
        settings = AdapterSettings(
            "socketcand", "can0", options={"host": "127.0.0.1", "port": port}
        )
        with pytest.raises(AdapterError, match="cannot be opened"):
            open_listener(settings, acknowledge=True)


def test_a_daemon_that_is_not_there_is_told_at_once() -> None:
    with socket.create_server(("127.0.0.1", 0)) as nobody:
        port = nobody.getsockname()[1]
    settings = AdapterSettings("socketcand", "can0", options={"host": "127.0.0.1", "port": port})
    with pytest.raises(AdapterError, match="cannot be opened"):
        open_listener(settings, acknowledge=True)
    with pytest.raises(RequestError, match="host="):
        open_listener(AdapterSettings("socketcand", "can0"), acknowledge=True)
