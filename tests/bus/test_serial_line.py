"""The slcan driver on a pseudo-terminal: speed, rubbish, cut lines, refusals, loss."""

import contextlib
import re
import time
from collections import deque
from collections.abc import Callable, Iterator
from queue import SimpleQueue
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from canwheel.bus.adapters import AdapterSettings
from canwheel.bus.listening import AdapterGoneError, Listener, open_listener
from canwheel.bus.serial_line import ListeningSlcanBus, is_frame
from canwheel.errors import AdapterError, RequestError


@pytest.fixture
def listen(no_sending: None) -> Iterator[Callable[..., Listener]]:  # noqa: ARG001 - a guard
    opened: list[Listener] = []

    def listen_to(adapter: Any, *, acknowledge: bool = False, bitrate: int = 500_000) -> Listener:
        settings = AdapterSettings(
            "slcan", str(adapter.path), bitrate, options={"sleep_after_open": 0}
        )
        opened.append(open_listener(settings, acknowledge=acknowledge))
        return opened[-1]

    yield listen_to
    for listener in opened:
        listener.close()


def drain(listener: Listener, for_s: float = 0.3) -> list[tuple[int, bytes]]:
    frames = []
    until = time.monotonic() + for_s
    while time.monotonic() < until:
        message = listener.receive(0.05)
        if message is not None:
            frames.append((message.arbitration_id, bytes(message.data)))
    return frames


def test_it_is_opened_to_listen_only_and_nothing_is_ever_sent(
    serial_adapter: Callable[..., Any], listen: Callable[..., Listener]
) -> None:
    adapter = serial_adapter()
    listener = listen(adapter)
    assert adapter.opened_with == b"L"
    assert adapter.rate == 500_000
    assert listener.manner == "listen only"
    adapter.hears(b"t1238AABBCCDDEEFF0011", b"T18FEBF0B2ABCD", b"r3214")
    assert drain(listener) == [
        (0x123, bytes.fromhex("AABBCCDDEEFF0011")),
        (0x18FEBF0B, bytes.fromhex("ABCD")),
        (0x321, b""),
    ]
    listener.close()
    assert adapter.sent == []
    assert b"O" not in adapter.commands


def test_an_adapter_that_refuses_is_left_alone_unless_it_may_acknowledge(
    serial_adapter: Callable[..., Any], listen: Callable[..., Listener]
) -> None:
    adapter = serial_adapter(listens=False)
    with pytest.raises(AdapterError, match="acknowledge") as refusal:
        listen(adapter)
    assert "--acknowledge" in str(refusal.value)
    assert adapter.opened_with is None
    assert listen(adapter, acknowledge=True).manner == "acknowledges"
    assert adapter.opened_with == b"O"


def test_an_adapter_that_may_acknowledge_but_need_not_only_listens(
    serial_adapter: Callable[..., Any], listen: Callable[..., Listener]
) -> None:
    adapter = serial_adapter()
    assert listen(adapter, acknowledge=True).manner == "listen only"
    assert adapter.opened_with == b"L"


def test_an_adapter_that_answers_nothing_is_listened_to(
    serial_adapter: Callable[..., Any], listen: Callable[..., Listener]
) -> None:
    adapter = serial_adapter()
    adapter.answers = False
    listener = listen(adapter)
    adapter.hears(b"t0010")
    assert drain(listener) == [(0x001, b"")]


def test_rubbish_between_frames_is_counted_and_costs_no_frame(
    serial_adapter: Callable[..., Any], listen: Callable[..., Listener]
) -> None:
    adapter = serial_adapter()
    listener = listen(adapter)
    adapter.raw(b"t1002AABB\r")
    adapter.raw(b"\xff\xfe\x00 rubbish \x80\r")  # no text at all
    adapter.raw(b"t1008AABB\r")  # cut short
    adapter.raw(b"t1002AABBCC\r")  # a byte too many
    adapter.raw(b"tFFF0\r")  # no identifier of eleven bits
    adapter.raw(b"t1009001122334455667788\r")  # no length of a classic frame
    adapter.raw(b"x" * 5000 + b"\r")  # no end
    adapter.raw(b"z\rZ\rV0102\r\a\r\r")  # answers, not rubbish
    adapter.raw(b"t200")  # half a line ...
    time.sleep(0.1)
    adapter.raw(b"1CC\r")  # ... and its other half
    assert drain(listener) == [(0x100, b"\xaa\xbb"), (0x200, b"\xcc")]
    assert listener.rubbish == 6


def test_the_adapters_own_clock_behind_a_frame_is_no_payload(
    serial_adapter: Callable[..., Any], listen: Callable[..., Listener]
) -> None:
    adapter = serial_adapter()
    listener = listen(adapter)
    adapter.hears(b"t1002AABB1F2E")
    assert drain(listener) == [(0x100, b"\xaa\xbb")]


def test_a_burst_arrives_whole_and_in_order(
    serial_adapter: Callable[..., Any], listen: Callable[..., Listener]
) -> None:
    adapter = serial_adapter()
    listener = listen(adapter)
    count = 5000
    import threading  # noqa: PLC0415 - the terminal holds 4 kB, so somebody must read meanwhile

    lines = [b"t3214%08X" % number for number in range(count)]
    sender = threading.Thread(target=adapter.hears, args=lines)
    sender.start()
    heard: list[int] = []
    until = time.monotonic() + 10
    while len(heard) < count and time.monotonic() < until:
        message = listener.receive(0.1)
        if message is not None:
            heard.append(int.from_bytes(message.data, "big"))
    sender.join()
    assert heard == list(range(count))


def test_pulled_out_is_told(
    serial_adapter: Callable[..., Any], listen: Callable[..., Listener]
) -> None:
    adapter = serial_adapter()
    listener = listen(adapter)
    adapter.pull_out()
    with pytest.raises(AdapterGoneError):
        drain(listener, 2.0)
    listener.close()  # and closing what is gone is no error


def test_nothing_but_rubbish_for_long_is_no_adapter(
    serial_adapter: Callable[..., Any], listen: Callable[..., Listener]
) -> None:
    listener = listen(serial_adapter())

    class Babbling:
        def recv(self, timeout: float) -> None:
            raise ValueError(timeout)

        def shutdown(self) -> None:
            pass

    listener.close()
    listener._bus = Babbling()  # type: ignore[assignment]  # noqa: SLF001 - a driver gone mad
    with pytest.raises(AdapterGoneError):
        drain(listener, 30.0)


def test_a_port_that_is_not_there_is_one_clear_line() -> None:
    settings = AdapterSettings("slcan", "/dev/no-such-port", 500_000)
    with pytest.raises(AdapterError, match="no-such-port") as told:
        open_listener(settings)
    assert "\n" not in str(told.value)


def test_a_bit_rate_is_asked_for_and_must_be_one_the_adapter_has(
    serial_adapter: Callable[..., Any], listen: Callable[..., Listener]
) -> None:
    adapter = serial_adapter()
    with pytest.raises(RequestError, match="bit rate"):
        open_listener(AdapterSettings("slcan", str(adapter.path)))
    with pytest.raises(AdapterError, match="choose one of"):
        listen(adapter, bitrate=123_456)


class Wire(ListeningSlcanBus):
    """The driver's way from bytes to frames, without a port."""

    def __init__(self) -> None:
        self._lines = deque()
        self._buffer = bytearray()
        self._queue = SimpleQueue()
        self.rubbish = 0
        self._is_shutdown = True
        self._filters = None
        self.serialPortOrig = None

    def frames_from(self, *blocks: bytes) -> list[bytes]:
        for block in blocks:
            self._take_in(block)
        frames = []
        while self._lines:
            message, _ = self._recv_internal(0.0)
            assert message is not None
            frames.append(bytes(message.data))
        return frames


@given(st.lists(st.binary(max_size=40)), st.lists(st.integers(1, 30)))
def test_whatever_comes_between_costs_no_frame(junk: list[bytes], cuts: list[int]) -> None:
    junk = [piece for piece in junk if not any(map(is_frame, re.split(rb"[\r\a]", piece)))]
    lines = [b"t1A04%08X" % number for number in range(len(junk))]
    wire = b"".join(piece + b"\r" + line + b"\r" for piece, line in zip(junk, lines, strict=True))
    blocks = []
    for cut in cuts:
        blocks.append(wire[:cut])
        wire = wire[cut:]
    numbers = [int.from_bytes(data, "big") for data in Wire().frames_from(*blocks, wire)]
    assert numbers == list(range(len(junk)))


@given(
    st.sampled_from("trTRdDbBx"),
    st.integers(0, 0x7FF),
    st.integers(0, 8),
    st.binary(min_size=8, max_size=8),
)
def test_every_line_that_the_driver_sends_is_a_frame(
    kind: str, number: int, length: int, data: bytes
) -> None:
    """The driver's own writer of these lines is the outside check (python-can, slcan.py)."""
    import can  # noqa: PLC0415 - with its types only here

    written: list[str] = []

    class Writer(ListeningSlcanBus):
        def __init__(self) -> None:  # no port
            self.serialPortOrig = contextlib.nullcontext()
            self.serialPortOrig.write_timeout = None  # type: ignore[attr-defined]
            self._is_shutdown = True

        def _write(self, string: str) -> None:
            written.append(string)

    message = can.Message(
        arbitration_id=number,
        is_extended_id=kind in "TRDB",
        is_remote_frame=kind in "rR",
        is_fd=kind in "dDbB",
        bitrate_switch=kind in "bB",
        dlc=length,
        data=None if kind in "rR" else data[:length],
    )
    Writer().send(message)
    (line,) = written
    assert is_frame(line.encode())
    assert not is_frame(line.encode()[:-1]) or length == 0 or kind in "rR"
