"""What may pass, and that nothing else does."""

import ast
from pathlib import Path
from typing import Any

import can
import pytest
from hypothesis import given
from hypothesis import strategies as st
from udsoncan import services as library

import canwheel
from canwheel.errors import UnitError
from canwheel.fault_memory.gate import (
    ALLOWED_SERVICES,
    READING_ONLY,
    ForbiddenError,
    Gate,
    check_frame,
)
from canwheel.fault_memory.unit_address import UnitAddress

FORMS = {  # the three requests there are, with everything that may vary in them set to 0x5A
    "1902 5A": 0x19,
    "1906 5A5A5A 5A": 0x19,
    "14 FFFFFF": 0x14,
}


def frame(request: bytes, *, prefix: bytes = b"", pad: int = 0xCC) -> bytes:
    return (prefix + bytes([len(request)]) + request).ljust(8, bytes([pad]))


@pytest.mark.parametrize("services", [ALLOWED_SERVICES, READING_ONLY])
@pytest.mark.parametrize("prefix", [b"", b"\x10"])
@pytest.mark.parametrize("service", range(256))
def test_all_services(service: int, prefix: bytes, services: frozenset[int], bench: Any) -> None:
    """Every service id, in every length, through a gate: only the two named ever pass."""
    unit = UnitAddress(0x760, 0x768, target=prefix[0] if prefix else None, source=0xF1)
    gate = Gate(bench.bus, unit, services=services)
    longest = 7 - len(prefix)
    for length in range(1, longest + 1):
        for fill in (0x00, 0x01, 0x02, 0x03, 0x06, 0x5A, 0xFF):
            data = frame(bytes([service]) + bytes([fill] * (length - 1)), prefix=prefix)
            try:
                gate.send(0x760, data, is_29_bit=False)
            except ForbiddenError:
                continue
    passed = {bytes(message.data)[len(prefix) + 1] for message in bench.bus.sent}
    assert passed == ({service} if service in services else set())


def test_the_list_is_the_two_services_that_were_named() -> None:
    """ISO 14229-1 ReadDTCInformation and ClearDiagnosticInformation, as udsoncan numbers them."""
    assert {
        library.ReadDTCInformation.request_id(),
        library.ClearDiagnosticInformation.request_id(),
    } == ALLOWED_SERVICES


@pytest.mark.parametrize(("text", "service"), FORMS.items())
def test_the_three_requests_pass(text: str, service: int) -> None:
    request = bytes.fromhex(text)
    check_frame(frame(request), prefix=b"", services=ALLOWED_SERVICES)
    if service not in READING_ONLY:
        with pytest.raises(ForbiddenError):
            check_frame(frame(request), prefix=b"", services=READING_ONLY)


@pytest.mark.parametrize("subfunction", range(256))
def test_sub_functions(subfunction: int) -> None:
    request = bytes([0x19, subfunction, 0xFF])
    if subfunction == 0x02:
        check_frame(frame(request), prefix=b"", services=ALLOWED_SERVICES)
    else:
        with pytest.raises(ForbiddenError):
            check_frame(frame(request), prefix=b"", services=ALLOWED_SERVICES)


@pytest.mark.parametrize("group", [0x000000, 0x400000, 0xFFFF33, 0xFF0000, 0xFFFFFE])
def test_only_all_codes_are_cleared(group: int) -> None:
    with pytest.raises(ForbiddenError):
        check_frame(
            frame(b"\x14" + group.to_bytes(3, "big")), prefix=b"", services=ALLOWED_SERVICES
        )


@pytest.mark.parametrize("first", range(256))
def test_every_first_byte(first: int) -> None:
    """A frame's first byte: only single frames of the right length and flow control pass."""
    data = bytes([first]) + bytes.fromhex("1902FF AAAAAAAA")
    allowed = {0x03, 0x30, 0x31, 0x32}
    if first in allowed:
        check_frame(data, prefix=b"", services=ALLOWED_SERVICES)
    else:
        with pytest.raises(ForbiddenError):
            check_frame(data, prefix=b"", services=ALLOWED_SERVICES)


@given(st.binary(max_size=64))
def test_whatever_passes_is_one_of_the_forms(data: bytes) -> None:
    try:
        check_frame(data, prefix=b"", services=ALLOWED_SERVICES)
    except ForbiddenError:
        return
    assert len(data) <= 8
    if data[0] >> 4 == 3:
        assert data[0] & 0xF <= 2
        return
    request = data[1 : 1 + data[0]]
    assert request[:2] in (b"\x19\x02", b"\x19\x06", b"\x14\xff")


@pytest.mark.parametrize(
    ("can_id", "is_29_bit"), [(0x761, False), (0x7DF, False), (0x760, True), (0x768, False)]
)
def test_other_identifiers_are_refused(can_id: int, *, is_29_bit: bool, bench: Any) -> None:
    gate = Gate(bench.bus, bench.unit)
    with pytest.raises(ForbiddenError):
        gate.send(can_id, frame(bytes.fromhex("1902FF")), is_29_bit=is_29_bit)
    assert bench.bus.sent == []


def test_extended_addressing_needs_the_units_byte() -> None:
    data = frame(bytes.fromhex("1902FF"), prefix=b"\x11")
    with pytest.raises(ForbiddenError):
        check_frame(data, prefix=b"\x10", services=ALLOWED_SERVICES)


def test_a_gate_for_other_services_cannot_be_made(bench: Any) -> None:
    with pytest.raises(ForbiddenError):
        Gate(bench.bus, bench.unit, services=frozenset({0x10}))


def test_somebody_elses_request_stops_it(bench: Any) -> None:
    bench.bus.add(bench.clock.now_s + 0.1, 0x760, bytes.fromhex("0210030000000000"))
    with pytest.raises(UnitError, match="somebody else"):
        Gate(bench.bus, bench.unit).listen(1.0)


def test_own_frames_may_come_back(bench: Any) -> None:
    """Some adapters, and a multicast bus, return what was sent."""
    gate = Gate(bench.bus, bench.unit)
    data = frame(bytes.fromhex("1902FF"))
    gate.send(0x760, data, is_29_bit=False)
    bench.bus.add(bench.clock.now_s + 0.01, 0x760, data)
    gate.listen(0.1)
    bench.bus.add(bench.clock.now_s + 0.01, 0x760, data)
    with pytest.raises(UnitError, match="somebody else"):
        gate.listen(0.1)


def test_a_failing_adapter_is_told(bench: Any) -> None:
    def fail(_frame: bytes) -> list:
        raise can.CanOperationError("no buffer space")

    bench.bus.respond = fail
    with pytest.raises(UnitError, match="adapter failed: no buffer space"):
        Gate(bench.bus, bench.unit).send(0x760, frame(b"\x19\x02\xff"), is_29_bit=False)


def test_nothing_but_the_gate_reaches_a_bus() -> None:
    """In the whole fault memory only the gate calls `send` on a bus, `recv`, or `can.Message`."""
    folder = Path(canwheel.__file__).parent / "fault_memory"
    holders = set()
    for path in folder.glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.Call) and ast.unparse(node.func) in (
                "self._bus.send",
                "bus.send",
                "can.Message",
                "bus.recv",
                "self._bus.recv",
                "bus.send_periodic",
            ):
                holders.add(path.name)
    assert holders == {"gate.py"}
