"""A bus made by hand: the town drive of the tests, packed by an outside library."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from canwheel.corners import CORNERS, Corner
from canwheel.frames import FrameFlag, Frames

Table = NDArray[np.float64]
MakeBus = Callable[..., Frames]

WHEEL_ID, DASH_ID, COUNTER_ID = 0x1A6, 0x3A0, 0x2F0
EPOCH_NS = 1_700_000_000_000_000_000


def packed(fields: Sequence[tuple[int, int, str, NDArray[np.int64]]], length: int) -> Any:
    """Payloads with these fields, (start, length, byte order, values), by cantools' packing."""
    from cantools.database.can import Message, Signal  # noqa: PLC0415 - heavy

    signals = [
        Signal(f"S{n}", start, bits, byte_order)  # type: ignore[arg-type]
        for n, (start, bits, byte_order, _) in enumerate(fields)
    ]
    message = Message(1, "M", length, signals)
    rows = range(len(fields[0][3]))
    return np.array(
        [
            list(message.encode({f"S{n}": int(field[3][row]) for n, field in enumerate(fields)}))
            for row in rows
        ],
        np.uint8,
    )


def frames_of(
    messages: Mapping[int, tuple[NDArray[np.float64], NDArray[np.uint8]]],
    *,
    extended: bool = False,
    channels: Sequence[str] = ("can0",),
) -> Frames:
    """Put messages, (times [s], payloads), on one bus; a message a channel in turn if several."""
    parts = []
    for number, (can_id, (time_s, data)) in enumerate(messages.items()):
        wide = np.zeros((len(data), max(8, data.shape[1])), np.uint8)
        wide[:, : data.shape[1]] = data
        parts.append(
            Frames(
                time_ns=EPOCH_NS + (time_s * 1e9).astype(np.int64),
                can_id=np.full(len(data), can_id, np.uint32),
                flags=np.full(len(data), FrameFlag.EXTENDED if extended else 0, np.uint8),
                length=np.full(len(data), data.shape[1], np.uint8),
                data=wide,
                channel=np.full(len(data), number % len(channels), np.uint8),
                channels=tuple(channels),
                index=np.zeros(len(data), np.int64),
            )
        )
    whole = Frames.concatenate(parts)
    return whole.select(np.argsort(whole.time_ns, kind="stable"))


@pytest.fixture(scope="session")
def make_bus(town: Any) -> MakeBus:
    """Pack the town drive: four wheels, a dash speed in whole km/h and a counter."""

    def make(
        starts: Sequence[int] = (7, 23, 39, 55),
        length: int = 16,
        byte_order: str = "big_endian",
        *,
        step_kph: float = 0.01,
        rest_raw: int = 0,
        kph: Table | None = None,
        order: Sequence[Corner] = CORNERS,
        dead: Mapping[Corner, int] | None = None,
        payload: int = 8,
    ) -> Frames:
        table = town.kph if kph is None else kph
        time_s = town.time_s[0] + 0.02 * np.arange(len(table))  # the period of the made drives
        raw = np.round(table / step_kph).astype(np.int64) + rest_raw
        for corner, value in (dead or {}).items():
            raw[:, corner.position] = value
        fields = [
            (start, length, byte_order, raw[:, corner.position])
            for start, corner in zip(starts, order, strict=True)
        ]
        dash = np.clip(np.round(table.mean(axis=1) * 1.02).astype(np.int64)[::5], 0, 255)
        count = np.arange(len(dash)) % 16
        return frames_of(
            {
                WHEEL_ID: (time_s, packed(fields, payload)),
                DASH_ID: (time_s[::5], packed([(0, 8, "little_endian", dash)], 8)),
                COUNTER_ID: (time_s[::5], packed([(0, 4, "little_endian", count)], 8)),
            }
        )

    return make
