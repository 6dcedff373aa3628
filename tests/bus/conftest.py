"""Doubles: a serial adapter on a pseudo-terminal, and a bus that fails when it is sent on."""

import contextlib
import os
import pty
import select
import threading
import time
import tty
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import can
import pytest
from can.interfaces.slcan import slcanBus
from can.interfaces.udp_multicast import UdpMulticastBus
from can.interfaces.virtual import VirtualBus

# The open ASCII protocol, as python-can's own driver speaks it: C close, S0 to S8 rate, O open,
# L open to listen only; answers are a carriage return for yes and a bell for no.
_RATES = {b"S4": 125_000, b"S5": 250_000, b"S6": 500_000, b"S8": 1_000_000, b"S3": 100_000}
_SENDING = (b"t", b"T", b"r", b"R", b"d", b"D", b"b", b"B", b"x")


class SerialAdapter:
    """A serial CAN adapter on a pseudo-terminal, with a bus of its own behind it.

    `path` is a link that stays, as a port name does; `pull_out` and `plug_in` take the terminal
    behind it away and make another.
    """

    def __init__(self, path: Path, *, bus_rate: int = 500_000, listens: bool = True) -> None:
        self.path = path
        self.bus_rate = bus_rate
        self.listens = listens
        self.answers = True
        self.commands: list[bytes] = []
        self.opened_with: bytes | None = None
        self.rate: int | None = None
        self._master = self._slave = -1
        self._thread: threading.Thread | None = None
        self.plug_in()

    def plug_in(self) -> None:
        self._master, self._slave = pty.openpty()
        tty.setraw(self._master)
        tty.setraw(self._slave)
        link = self.path.with_name(self.path.name + ".new")
        link.symlink_to(os.ttyname(self._slave))
        link.replace(self.path)
        self.opened_with = self.rate = None
        self._thread = threading.Thread(target=self._serve, args=(self._master,), daemon=True)
        self._thread.start()

    def pull_out(self) -> None:
        master, slave, self._master, self._slave = self._master, self._slave, -1, -1
        self.path.unlink(missing_ok=True)
        self.opened_with = None
        if self._thread is not None:
            self._thread.join()
        os.close(slave)
        os.close(master)

    def _serve(self, master: int) -> None:
        pending = b""
        with contextlib.suppress(OSError):
            while master == self._master:  # a read under way would keep the terminal alive
                if not select.select([master], [], [], 0.01)[0]:
                    continue
                *commands, pending = (pending + os.read(master, 256)).split(b"\r")
                for command in commands:
                    self._obey(master, command)

    def _obey(self, master: int, command: bytes) -> None:
        self.commands.append(command)
        agreed = True
        if command in _RATES and self.opened_with is None:
            self.rate = _RATES[command]
        elif command == b"C":
            self.opened_with = None
        elif command == b"O" or (command == b"L" and self.listens):
            agreed = self.opened_with is None
            self.opened_with = self.opened_with or command
        else:
            agreed = command == b""
        if self.answers:
            os.write(master, b"\r" if agreed else b"\a")

    @property
    def sent(self) -> list[bytes]:
        """Commands that would have put something on the bus."""
        return [command for command in self.commands if command.startswith(_SENDING)]

    def hears(self, *lines: bytes) -> None:
        """Put lines on the wire to the computer, when the channel is open at the right rate."""
        if self.opened_with and self.rate in {None, self.bus_rate}:
            self.raw(b"".join(line + b"\r" for line in lines))

    def raw(self, block: bytes) -> None:
        """Put bytes on the wire to the computer, whatever they are."""
        while block:
            block = block[os.write(self._master, block[:1024]) :]

    def wait_open(self, timeout_s: float = 5.0) -> None:
        wait_for(lambda: self.opened_with is not None, timeout_s)
        time.sleep(0.05)  # for the driver to read the answer


def wait_for(condition: Callable[[], bool], timeout_s: float = 5.0) -> None:
    until = time.monotonic() + timeout_s
    while not condition():
        assert time.monotonic() < until, "it did not happen in time"
        time.sleep(0.005)


@pytest.fixture
def wait() -> Callable[..., None]:
    return wait_for


@pytest.fixture
def serial_adapter(tmp_path: Path) -> Iterator[Callable[..., SerialAdapter]]:
    """Make serial adapters; each is pulled out at the end."""
    made: list[SerialAdapter] = []

    def make(**facts: Any) -> SerialAdapter:
        made.append(SerialAdapter(tmp_path / f"port{len(made)}", **facts))
        return made[-1]

    yield make
    for adapter in made:
        with contextlib.suppress(OSError):
            adapter.pull_out()


class SilentBus(can.BusABC):
    """A bus double that hands out what it is given, and fails on anything that would send.

    It can be made passive, as some of the library's drivers can, unless `passive_works` is off.
    """

    frames: list[can.Message | BaseException] = []  # noqa: RUF012 - set by the test
    passive_works = True
    opened: list["SilentBus"] = []  # noqa: RUF012 - looked at by the test

    def __init__(self, channel: Any, **kwargs: Any) -> None:
        self.channel_info = f"double {channel}"
        self.given = kwargs
        self._state = can.BusState.ACTIVE
        self._left = list(type(self).frames)
        type(self).opened.append(self)
        super().__init__(channel)

    def _recv_internal(self, timeout: float | None) -> tuple[can.Message | None, bool]:
        if not self._left:
            time.sleep(min(timeout or 0.0, 0.01))
            return None, False
        head = self._left.pop(0)
        if isinstance(head, BaseException):
            raise head
        return head, False

    def send(self, msg: can.Message, timeout: float | None = None) -> None:
        del msg, timeout
        pytest.fail("a frame was sent")

    @property
    def state(self) -> can.BusState:
        return self._state

    @state.setter
    def state(self, new_state: can.BusState) -> None:
        if not self.passive_works:
            raise NotImplementedError
        self._state = new_state


class StubbornBus(SilentBus):
    """The same without a passive state."""

    state = can.BusABC.state  # type: ignore[assignment]


@pytest.fixture
def silent_bus(monkeypatch: pytest.MonkeyPatch) -> type[SilentBus]:
    """Make the doubles known to python-can as interfaces ``silent`` and ``stubborn``."""
    monkeypatch.setattr(SilentBus, "frames", [])
    monkeypatch.setattr(SilentBus, "opened", [])
    for name, double in (("silent", SilentBus), ("stubborn", StubbornBus)):
        monkeypatch.setitem(can.interfaces.BACKENDS, name, (__name__, double.__name__))
    names = can.interfaces.VALID_INTERFACES | {"silent", "stubborn"}
    monkeypatch.setattr(can.util, "VALID_INTERFACES", names)
    return SilentBus


@pytest.fixture
def no_sending(monkeypatch: pytest.MonkeyPatch) -> None:
    """Have every way to send of the library's drivers fail the test."""

    def fail(*_args: object, **_kwargs: object) -> None:
        pytest.fail("a frame was sent")

    for driver in (slcanBus, UdpMulticastBus, VirtualBus):
        monkeypatch.setattr(driver, "send", fail)
    monkeypatch.setattr(can.BusABC, "send_periodic", fail)


@pytest.fixture(autouse=True)
def no_configuration(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Keep the machine's own adapter configuration out of the tests."""
    for name in ("CAN_INTERFACE", "CAN_CHANNEL", "CAN_BITRATE", "CAN_CONFIG"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setattr(can.util, "CONFIG_FILES", [str(tmp_path / "can.conf")])
    monkeypatch.setattr(can, "rc", {})
