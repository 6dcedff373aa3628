"""The section [fault_memory] of a vehicle file."""

from pathlib import Path

import pytest

from canwheel.errors import VehicleError
from canwheel.fault_memory.unit_address import UnitAddress, unit_address
from canwheel.vehicle import read_vehicle


def address(tmp_path: Path, text: str) -> UnitAddress:
    path = tmp_path / "van.toml"
    path.write_text(f"[fault_memory]\n{text}\n")
    return unit_address(read_vehicle(path).fault_memory, where="van.toml")


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("request_id = 0x7A0\nresponse_id = 0x7A8", UnitAddress(0x7A0, 0x7A8)),
        (
            "request_id = 0x18DA28F1\nresponse_id = 0x18DAF128",
            UnitAddress(0x18DA28F1, 0x18DAF128, is_29_bit=True),
        ),
        (
            "request_id = 0x7A0\nresponse_id = 0x7A8\nid_bits = 29",
            UnitAddress(0x7A0, 0x7A8, is_29_bit=True),
        ),
        (
            (
                'request_id = 0x6F1\nresponse_id = 0x629\naddressing = "extended"\n'
                "target_address = 0x29\nsource_address = 0xF1\npadding = 0"
            ),
            UnitAddress(0x6F1, 0x629, target=0x29, source=0xF1, padding=0),
        ),
        (
            'request_id = 0x7A0\nresponse_id = 0x7A8\npadding = "none"\nsession = 3',
            UnitAddress(0x7A0, 0x7A8, padding=None, session=3),
        ),
    ],
)
def test_addresses(text: str, expected: UnitAddress, tmp_path: Path) -> None:
    assert address(tmp_path, text) == expected


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "request_id is missing"),
        ("request_id = 0x7A0", "response_id is missing"),
        ("request_id = 0x7A0\nresponse_id = 0x7A0", "are the same"),
        ("request_id = 0x7DF\nresponse_id = 0x7A8", "every unit on the bus"),
        ("request_id = 0x18DB33F1\nresponse_id = 0x18DAF128", "every unit on the bus"),
        ("request_id = 0x7A0\nresponse_id = 0x8A8\nid_bits = 11", "0x8a8 does not fit 11 bits"),
        ('request_id = 1\nresponse_id = 2\naddressing = "extended"', "target_address"),
        (
            'request_id = 1\nresponse_id = 2\naddressing = "extended"\ntarget_address = 1',
            "source_address",
        ),
        ("request_id = 1\nresponse_id = 2\ntarget_address = 1", "addressing is normal"),
        ("request_id = 1\nresponse_id = 2\npadding = 256", "padding"),
        ("request_id = 1\nresponse_id = 2\nid_bits = 12", "id_bits"),
        ("request_id = 1\nresponse_id = 0x20000000", "response_id"),
        ("request_id = 1\nresponse_id = 2\nreset = true", "unknown key `reset`"),
        ("request_id = 1\nresponse_id = 2\nsecurity_key = 1", "unknown key `security_key`"),
    ],
)
def test_mistakes(text: str, words: str, tmp_path: Path) -> None:
    with pytest.raises(VehicleError, match=words) as caught:
        address(tmp_path, text)
    assert "\n" not in str(caught.value)


def test_how_a_unit_is_named() -> None:
    assert str(UnitAddress(0x7A0, 0x7A8)) == "unit 7A0/7A8"
    named = UnitAddress(0x18DA28F1, 0x18DAF128, is_29_bit=True, target=0x29, source=0xF1)
    assert str(named) == "unit 18DA28F1/18DAF128 (address 29/F1)"
