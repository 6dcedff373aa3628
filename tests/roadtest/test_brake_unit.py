"""The brake unit double on a loopback bus, asked by canwheel and by udsoncan alone."""

import itertools
import socket
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import can
import isotp
import pytest
from udsoncan.client import Client
from udsoncan.connections import PythonIsoTpConnection
from udsoncan.exceptions import NegativeResponseException

from canwheel.corners import CORNERS, Corner
from canwheel.errors import RequestError, UnitError
from canwheel.fault_memory.clearing import clear_codes
from canwheel.fault_memory.documents import StoredCode
from canwheel.fault_memory.reading import read_codes
from canwheel.fault_memory.timing import Timing
from canwheel.fault_memory.unit_address import UnitAddress
from canwheel.outcome import FAULT_KINDS, FaultKind
from canwheel.roadtest.brake_unit import (
    BrakeUnit,
    DoubleAddress,
    Fault,
    Memory,
    Misbehaviour,
    faults_of,
)

REQUEST_ID, RESPONSE_ID = 0x7A0, 0x7A8
QUICK = Timing(
    listen_first_s=0.02, p2_s=0.3, p2_star_s=0.6, request_s=1.5, frame_s=0.3, busy_pause_s=0.02
)
FAULTS = (Fault(0x403111, 0x2F), Fault(0x40341F, 0x28), Fault(0xC12187, 0x08))
channels = itertools.count()


@contextmanager
def loopback() -> Iterator[Callable[[], can.BusABC]]:
    """Yield a way to open buses that hear one another; what is left open is closed."""
    channel = f"brake unit {next(channels)}"
    opened = []

    def connect() -> can.BusABC:
        opened.append(can.Bus(interface="virtual", channel=channel))
        return opened[-1]

    yield connect
    for bus in opened:
        bus.shutdown()


def unit(address: DoubleAddress) -> UnitAddress:
    return UnitAddress(
        address.request_id,
        address.response_id,
        is_29_bit=address.is_29_bit,
        target=address.target,
        source=address.source,
        padding=0xAA,
    )


NORMAL = DoubleAddress(REQUEST_ID, RESPONSE_ID)
ADDRESSES = [
    NORMAL,
    DoubleAddress(0x18DA28F1, 0x18DAF128, is_29_bit=True),
    DoubleAddress(0x6F1, 0x629, target=0x29, source=0xF1),
    DoubleAddress(0x18DA28F1, 0x18DAF128, is_29_bit=True, target=0x29, source=0xF1),
]


@pytest.mark.parametrize("address", ADDRESSES, ids=str)
def test_read_clear_and_read(address: DoubleAddress) -> None:
    with loopback() as connect, BrakeUnit(connect(), address, FAULTS):
        saved = read_codes(connect(), unit(address), timing=QUICK)
        assert [code.code for code in saved.codes] == ["C0031-11", "C0034-1F", "U0121-87"]
        assert saved.extended_data == "read"
        cleared = clear_codes(connect(), unit(address), saved, standing="", timing=QUICK)
        assert cleared.verdict == "cleared"
        assert {code.status for code in cleared.after.codes} == {0x50}
        again = read_codes(connect(), unit(address), timing=QUICK)
        assert {code.state for code in again.codes} == {"not_yet_tested"}


def test_the_worked_exchange() -> None:
    """Identifiers 760 and 768, padding AA: the bytes of a run of can-isotp's own two stacks."""
    with loopback() as connect:
        witness = connect()
        with BrakeUnit(connect(), DoubleAddress(0x760, 0x768), FAULTS):
            read_codes(connect(), UnitAddress(0x760, 0x768, padding=0xAA), timing=QUICK)
        heard = [
            f"{message.arbitration_id:X} {bytes(message.data).hex(' ').upper()}"
            for message in iter(lambda: witness.recv(0), None)
        ]
    assert heard[:5] == [
        "760 03 19 02 FF AA AA AA AA",
        "768 10 0F 59 02 FF 40 31 11",
        "760 30 08 05 AA AA AA AA AA",
        "768 21 2F 40 34 1F 28 C1 21",
        "768 22 87 08 AA AA AA AA AA",
    ]


@contextmanager
def library_client(bus: can.BusABC) -> Iterator[Client]:
    """The client of udsoncan on can-isotp's stack, as their own documentation joins them."""
    address = isotp.Address(rxid=RESPONSE_ID, txid=REQUEST_ID)
    stack = isotp.CanStack(bus, address=address, params={"tx_padding": 0xCC})
    with Client(PythonIsoTpConnection(stack), request_timeout=2) as client:
        yield client


def test_the_libraries_understand_the_double() -> None:
    with (
        loopback() as connect,
        BrakeUnit(connect(), NORMAL, FAULTS),
        library_client(connect()) as client,
    ):
        data = client.get_dtc_by_status_mask(0xFF).service_data
        assert [(dtc.id, dtc.status.get_byte_as_int()) for dtc in data.dtcs] == [
            (fault.number, fault.status) for fault in FAULTS
        ]
        confirmed = client.get_dtc_by_status_mask(0x01).service_data
        assert [dtc.id for dtc in confirmed.dtcs] == [0x403111]
        extended = client.get_dtc_extended_data_by_dtc_number(0x403111, data_size=1).service_data
        assert extended.dtcs[0].extended_data[0].raw_data == b"\x01"
        for request, code in (
            (lambda: client.change_session(3), 0x11),
            (client.get_supported_dtc, 0x12),
            (lambda: client.clear_dtc(0x400000), 0x31),
            (lambda: client.get_dtc_extended_data_by_dtc_number(0x111111, data_size=1), 0x31),
        ):
            with pytest.raises(NegativeResponseException) as caught:
                request()
            assert caught.value.response.code == code
        client.clear_dtc()
        after = client.get_dtc_by_status_mask(0xFF).service_data
        assert {dtc.status.get_byte_as_int() for dtc in after.dtcs} == {0x50}


@pytest.mark.parametrize(
    ("misbehaviour", "words"),
    [
        ("silent", "no answer within"),
        ("pending_for_ever", "asked for more time"),
        ("busy_for_ever", "busy"),
        ("wrong_sequence", "missing or out of order"),
        ("oversize", "longer than 4095 bytes"),
        ("two_units", "two answers|mixed up|out of order|without its beginning"),
        ("other_session", "opens none"),
    ],
)
def test_misbehaviour_is_told_in_time(misbehaviour: Misbehaviour, words: str) -> None:
    with (
        loopback() as connect,
        BrakeUnit(connect(), NORMAL, FAULTS, misbehaviour=misbehaviour),
    ):
        begun_s = time.monotonic()
        with pytest.raises(UnitError, match=words):
            read_codes(connect(), unit(NORMAL), timing=QUICK)
        assert time.monotonic() - begun_s < QUICK.longest_request_s


@pytest.mark.parametrize("misbehaviour", ["busy", "slow"])
def test_patience_is_rewarded(misbehaviour: Misbehaviour) -> None:
    with (
        loopback() as connect,
        BrakeUnit(connect(), NORMAL, FAULTS[:1], misbehaviour=misbehaviour),
    ):
        assert len(read_codes(connect(), unit(NORMAL), timing=QUICK).codes) == 1


def test_clearing_refused_and_coming_back() -> None:
    with loopback() as connect, BrakeUnit(connect(), NORMAL, FAULTS) as double:
        saved = read_codes(connect(), unit(NORMAL), timing=QUICK)
        double.memory.misbehaviour = "refuses_clearing"
        with pytest.raises(UnitError, match="conditions are not correct"):
            clear_codes(connect(), unit(NORMAL), saved, standing="", timing=QUICK)
        double.memory.misbehaviour = None
        double.memory.speed_kph = lambda: 3.0
        with pytest.raises(UnitError, match="vehicle speed is too high"):
            clear_codes(connect(), unit(NORMAL), saved, standing="", timing=QUICK)
        double.memory.speed_kph = lambda: 0.0
        double.memory.misbehaviour = "comes_back"
        document = clear_codes(connect(), unit(NORMAL), saved, standing="", timing=QUICK)
        assert document.verdict == "came_back"


def test_a_bus_that_could_be_real_is_refused() -> None:
    class Real:
        pass

    with pytest.raises(RequestError, match="loopback bus only"):
        BrakeUnit(Real(), NORMAL)  # type: ignore[arg-type]


@pytest.mark.parametrize("kind", FAULT_KINDS)
@pytest.mark.parametrize("corner", CORNERS)
def test_codes_of_a_simulated_fault_name_its_corner(kind: FaultKind, corner: Corner) -> None:
    failing, stored = faults_of(kind, corner), faults_of(kind, corner, repaired=True)
    assert [fault.number for fault in failing] == [fault.number for fault in stored]
    for fault in failing:
        code = StoredCode.reported(fault.number, fault.status)
        assert (code.corner, code.state) == (corner, "fails_now")
    assert all(StoredCode.reported(f.number, f.status).state == "stored" for f in stored)
    assert bool(failing) == (kind not in ("crossed", "copied", "message_missing"))


@pytest.mark.parametrize(
    ("request_", "answer"),
    [
        ("1902FF", "5902FF403111 2F"),
        ("190200", "5902FF"),
        ("1902", "7F1913"),
        ("1902FFFF", "7F1913"),
        ("19", "7F1913"),
        ("1901FF", "7F1912"),
        ("1906403111FF", "5906403111 2F 0101"),
        ("1906403112FF", "7F1931"),
        ("1906403111", "7F1913"),
        ("14FFFFFF", "54"),
        ("14FFFF", "7F1413"),
        ("14FFFF33", "7F1431"),
        ("1003", "7F1011"),
        ("3E00", "7F3E11"),
    ],
)
def test_answers_without_a_bus(request_: str, answer: str) -> None:
    memory = Memory([Fault(0x403111, 0x2F)])
    assert memory.answer(bytes.fromhex(request_)) == bytes.fromhex(answer)


def multicast_works() -> bool:
    try:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
            probe.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_TTL, 0)
            probe.sendto(b"", ("239.74.163.2", 43_199))
    except OSError:
        return False
    return True


@pytest.mark.skipif(not multicast_works(), reason="no multicast route on this machine")
def test_over_udp_multicast() -> None:
    pytest.importorskip("msgpack", reason="what python-can packs multicast frames with")

    def connect() -> can.BusABC:
        return can.Bus(
            interface="udp_multicast", channel="239.74.163.2", port=43_199, hop_limit=0, fd=False
        )

    with BrakeUnit(connect(), NORMAL, FAULTS):
        document = read_codes(connect(), unit(NORMAL), timing=QUICK)
    assert len(document.codes) == 3
