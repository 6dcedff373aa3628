"""Status bytes, against udsoncan's own reading of them."""

import pytest
from udsoncan.common.dtc import Dtc

from canwheel.fault_memory.status import StatusBit, state_of, status_words

LIBRARY_NAMES = {
    StatusBit.FAILS_NOW: "test_failed",
    StatusBit.FAILED_THIS_CYCLE: "test_failed_this_operation_cycle",
    StatusBit.PENDING: "pending",
    StatusBit.CONFIRMED: "confirmed",
    StatusBit.UNTESTED_SINCE_CLEAR: "test_not_completed_since_last_clear",
    StatusBit.FAILED_SINCE_CLEAR: "test_failed_since_last_clear",
    StatusBit.UNTESTED_THIS_CYCLE: "test_not_completed_this_operation_cycle",
    StatusBit.LAMP_REQUESTED: "warning_indicator_requested",
}


@pytest.mark.parametrize("status", range(256))
def test_bits_are_the_library_s(status: int) -> None:
    library = Dtc.Status.from_byte(status)
    for bit, name in LIBRARY_NAMES.items():
        assert getattr(library, name) == bool(status & bit)
    assert len(status_words(status)) == status.bit_count()


@pytest.mark.parametrize(
    ("status", "state"),
    [
        (0x50, "not_yet_tested"),  # right after clearing: 0x10 + 0x40
        (0x10, "not_yet_tested"),
        (0x2F, "fails_now"),
        (0xAF, "fails_now"),
        (0x28, "stored"),
        (0x88, "stored"),
        (0x04, "pending"),
        (0x24, "pending"),
        (0x20, "failed_before"),
        (0x40, "passed"),
        (0x00, "passed"),
    ],
)
def test_states(status: int, state: str) -> None:
    assert state_of(status) == state


@pytest.mark.parametrize("status", range(256))
def test_a_fault_bit_is_never_called_untested_or_passed(status: int) -> None:
    assert (state_of(status) in ("not_yet_tested", "passed")) == (not status & 0xAF)
