"""Whether the car stands, by its own wheel speeds on the bus."""

import time
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from canwheel.corners import CORNERS, Corner
from canwheel.definitions.columns import decode_signal
from canwheel.definitions.layout import SignalPlace, WheelLayout
from canwheel.errors import UnitError
from canwheel.fault_memory.gate import Gate
from canwheel.frames import FrameFlag, Frames

if TYPE_CHECKING:
    import can

STANDSTILL_S = 3.0
"""How long the wheels must read zero before anything is sent (our choice, no source: several
turns of the slowest usual wheel message, and longer than a car pauses while it rolls back). [s]"""

FRESH_S = 1.0
"""A wheel value older than this says nothing: ten of the slowest usual wheel messages, 100 ms.
[s]"""

CORNERS_NEEDED = 2
"""Corners that must have a value: one alone may be the dead one, which reads zero at any speed."""

_HALF_STEP = 0.5  # a value nearer to zero than this many steps of its raw number is zero

_MOVING_REMEDY = "stop the car, ignition on, and try again"
_ONE_ALONE_REMEDY = (
    f"{_MOVING_REMEDY}; where it stands and only this faulty corner says otherwise, leave --dbc out"
)


@dataclass(slots=True)
class _Seen:
    """What was seen of one corner."""

    first_s: float
    last_s: float
    raw: int


class WheelWatch:
    """Looks at the wheel frames as they pass.

    Parameters
    ----------
    layout : where the four wheel speeds stand.
    """

    def __init__(self, layout: WheelLayout) -> None:
        self._layout = layout
        self._seen: dict[Corner, _Seen] = {}
        self._moving: dict[Corner, str] = {}
        self._confirmed = False

    def see(self, message: "can.Message", now_s: float) -> None:
        """Look at a frame that was heard; others than the wheels' are passed over."""
        frames = _one_frame(message)
        for corner in CORNERS:
            place = self._layout.wheel(corner)
            if place.ids.matches(frames.can_id, frames.flags)[0]:
                self._see_wheel(corner, place, frames, now_s)

    def check(self, now_s: float) -> None:
        """Raise when the car moves, or when a confirmed standstill is no longer seen.

        Raises
        ------
        UnitError : nothing may be sent now.
        """
        if self._moving:
            still = self._seen.keys() - self._moving.keys()
            is_one_alone = len(self._moving) == 1 and len(still) >= CORNERS_NEEDED
            raise UnitError(
                f"the car moves ({next(iter(self._moving.values()))}), and nothing is sent to a "
                "moving car",
                remedy=_ONE_ALONE_REMEDY if is_one_alone else _MOVING_REMEDY,
            )
        if self._confirmed and len(self._fresh(now_s)) < CORNERS_NEEDED:
            raise UnitError(
                f"the wheel speeds stopped coming for {FRESH_S:g} s, so that nobody can tell "
                "whether the car stands",
                remedy="check the plug and the ignition, and try again",
            )

    def confirm(self, *, since_s: float, now_s: float) -> None:
        """Make sure that enough corners read zero all the time since `since_s`.

        Raises
        ------
        UnitError : the car moves, or too few corners have a value.
        """
        self.check(now_s)
        standing = [
            corner
            for corner in self._fresh(now_s)
            if self._seen[corner].first_s <= since_s + FRESH_S
        ]
        if len(standing) < CORNERS_NEEDED:
            found = ", ".join(corner.words for corner in standing) or "none"
            raise UnitError(
                f"too few wheel speeds were heard in {now_s - since_s:.1f} s to tell that the car "
                f"stands (needed {CORNERS_NEEDED} corners, heard: {found})",
                where=self._layout.file,
                remedy="check the ignition, the bit rate and the DBC file",
            )
        self._confirmed = True

    def _see_wheel(self, corner: Corner, place: SignalPlace, frames: Frames, now_s: float) -> None:
        column = decode_signal(frames, place)
        if not len(column) or np.isnan(column.value[0]):
            return
        raw, value = int(column.raw[0]), float(column.value[0])
        before = self._seen.get(corner)
        if self._layout.unit == "pulse count":
            if before is not None and raw != before.raw:
                self._moving.setdefault(corner, f"{corner.words}: its pulse counter runs")
        elif abs(value) > _HALF_STEP * abs(place.scale):
            unit = "" if self._layout.unit == "proportional" else f" {self._layout.unit}"
            self._moving.setdefault(corner, f"{corner.words}: {value:.3g}{unit}")
        first_s = now_s if before is None else before.first_s
        self._seen[corner] = _Seen(first_s=first_s, last_s=now_s, raw=raw)

    def _fresh(self, now_s: float) -> list[Corner]:
        return [corner for corner, seen in self._seen.items() if now_s - seen.last_s <= FRESH_S]


def wait_for_standstill(gate: Gate, watch: WheelWatch, *, seconds: float = STANDSTILL_S) -> None:
    """Listen until the wheels have read zero for a while; send nothing.

    Parameters
    ----------
    gate : on the bus, with the same watch.
    watch : what looks at the wheels.
    seconds : for how long. [s]

    Raises
    ------
    UnitError : the car moves, or too few corners have a value.
    """
    since_s = time.monotonic()
    gate.listen(seconds)
    watch.confirm(since_s=since_s, now_s=time.monotonic())


def _one_frame(message: "can.Message") -> Frames:
    flags = FrameFlag.EXTENDED if message.is_extended_id else FrameFlag(0)
    data = np.zeros((1, max(8, len(message.data))), np.uint8)
    data[0, : len(message.data)] = list(message.data)
    return Frames(
        time_ns=np.zeros(1, np.int64),
        can_id=np.array([message.arbitration_id], np.uint32),
        flags=np.array([flags], np.uint8),
        length=np.array([len(message.data)], np.uint8),
        data=data,
        channel=np.zeros(1, np.uint8),
        channels=(),
        index=np.zeros(1, np.int64),
    )
