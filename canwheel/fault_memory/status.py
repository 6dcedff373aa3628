"""The status byte of a stored code (ISO 14229-1, bits as udsoncan's `Dtc.Status` has them)."""

from enum import IntFlag
from typing import Literal


class StatusBit(IntFlag):
    """Bits of the status byte."""

    FAILS_NOW = 0x01
    FAILED_THIS_CYCLE = 0x02
    PENDING = 0x04
    CONFIRMED = 0x08
    UNTESTED_SINCE_CLEAR = 0x10
    FAILED_SINCE_CLEAR = 0x20
    UNTESTED_THIS_CYCLE = 0x40
    LAMP_REQUESTED = 0x80


CodeState = Literal["fails_now", "stored", "pending", "failed_before", "not_yet_tested", "passed"]
"""A code's status in one word. ``stored`` is confirmed but not failing at this moment;
``not_yet_tested`` holds no fault, and no proof of a repair either."""

FAULT_STATES: frozenset[CodeState] = frozenset({"fails_now", "stored", "pending", "failed_before"})
"""States of a code that stands for a fault the unit has seen."""

STATE_WORDS: dict[CodeState, str] = {
    "fails_now": "fails now",
    "stored": "stored, not failing now",
    "pending": "pending, not yet confirmed",
    "failed_before": "failed before, not confirmed",
    "not_yet_tested": "not yet tested since clearing: drive to confirm",
    "passed": "no fault",
}

_BIT_WORDS = {
    StatusBit.FAILS_NOW: "test fails now",
    StatusBit.FAILED_THIS_CYCLE: "failed in this operation cycle",
    StatusBit.PENDING: "pending",
    StatusBit.CONFIRMED: "confirmed",
    StatusBit.UNTESTED_SINCE_CLEAR: "not tested since the last clearing",
    StatusBit.FAILED_SINCE_CLEAR: "failed since the last clearing",
    StatusBit.UNTESTED_THIS_CYCLE: "not tested in this operation cycle",
    StatusBit.LAMP_REQUESTED: "asks for the warning lamp",
}


def status_words(status: int) -> tuple[str, ...]:
    """Words for the bits that are set, lowest first."""
    return tuple(words for bit, words in _BIT_WORDS.items() if status & bit)


def state_of(status: int) -> CodeState:
    """Put a status byte into one word.

    Only bits that the unit supports may stand in it (its status availability mask).
    """
    faults: tuple[tuple[StatusBit, CodeState], ...] = (
        (StatusBit.FAILS_NOW, "fails_now"),
        (StatusBit.CONFIRMED | StatusBit.LAMP_REQUESTED, "stored"),
        (StatusBit.PENDING, "pending"),
        (StatusBit.FAILED_THIS_CYCLE | StatusBit.FAILED_SINCE_CLEAR, "failed_before"),
        (StatusBit.UNTESTED_SINCE_CLEAR, "not_yet_tested"),
    )
    return next((state for bits, state in faults if status & bits), "passed")
