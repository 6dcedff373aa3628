"""Fields that guard a payload, against published check values and arithmetic by hand."""

import numpy as np

from canwheel.roadtest.bus_layout import SentMessage
from canwheel.roadtest.checks import check_column, crc8_column

MESSAGE = SentMessage("GUARDED", 0x1A5, (), length=4)
PAYLOADS = np.array([[1, 2, 3, 4, 0, 0, 0, 0], [0xFF, 0x0F, 0xF0, 0, 0, 0, 0, 0]], np.uint8)


def test_crc8_has_the_published_check_value() -> None:
    """0x4B for "123456789": the check value that catalogues give for CRC-8 SAE J1850 (memory)."""
    digits = np.frombuffer(b"123456789", np.uint8)[None, :]
    assert crc8_column(digits).tolist() == [0x4B]


def test_sum_and_exclusive_or_are_those_of_the_bytes_and_the_identifier() -> None:
    assert check_column("checksum", PAYLOADS, MESSAGE).tolist() == [10 + 0x1A5, 0x1FE + 0x1A5]
    assert check_column("xor", PAYLOADS, MESSAGE).tolist() == [4 ^ 0xA5, 0 ^ 0xA5]


def test_crc8_tells_every_single_bit_apart() -> None:
    one_bit = np.packbits(np.eye(32, 64, dtype=np.uint8), axis=1)
    assert len(set(check_column("crc8", one_bit, MESSAGE).tolist())) == 32
