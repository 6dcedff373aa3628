"""The rest of the bus: messages that no DBC here describes, with contents as a car's have them."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canwheel.roadtest.motion import FloatColumn
from canwheel.roadtest.packing import Payloads
from canwheel.roadtest.simulation import Drive

_CYCLES_S = (0.01, 0.02, 0.02, 0.05, 0.1, 0.1, 0.2, 0.5, 1.0)
_CONTENTS = ("still", "still", "counter", "flags", "walk", "speed", "steer", "noise")


@dataclass(frozen=True, slots=True)
class Chatter:
    """One such message.

    Attributes
    ----------
    contents : what each byte holds.
    """

    frame_id: int
    cycle_s: float
    contents: tuple[str, ...]


def random_traffic(
    rng: np.random.Generator, *, ids: int, taken: frozenset[int], fastest_s: float = 0.0
) -> tuple[Chatter, ...]:
    """Draw messages with free identifiers; the low, urgent ones come more often.

    Parameters
    ----------
    ids : how many.
    taken : identifiers that are in use.
    fastest_s : none is sent more often. [s]
    """
    free = np.setdiff1d(np.arange(0x010, 0x7A0), np.fromiter(taken, int, len(taken)))
    chosen = np.sort(rng.choice(free, ids, replace=False))
    urgent = np.sort(np.maximum(rng.choice(_CYCLES_S, ids), fastest_s))
    return tuple(
        Chatter(
            int(frame_id),
            float(cycle_s),
            tuple(str(c) for c in rng.choice(_CONTENTS, int(rng.choice([2, 4, 6, 8, 8, 8])))),
        )
        for frame_id, cycle_s in zip(chosen, urgent, strict=True)
    )


def chatter_payloads(
    chatter: Chatter, drive: Drive, sent_s: FloatColumn, rng: np.random.Generator
) -> Payloads:
    """Contents of all sendings of one message. (k, 8)"""
    payloads = np.zeros((len(sent_s), 8), np.uint8)
    for byte, kind in enumerate(chatter.contents):
        payloads[:, byte] = _byte(kind, drive, sent_s, rng)
    return payloads


def _byte(
    kind: str, drive: Drive, sent_s: FloatColumn, rng: np.random.Generator
) -> NDArray[np.uint8]:
    """One byte of every sending."""
    lowest_byte = _numbers(kind, drive, sent_s, rng).astype(np.int64) & 0xFF
    return lowest_byte.astype(np.uint8)


def _numbers(
    kind: str, drive: Drive, sent_s: FloatColumn, rng: np.random.Generator
) -> NDArray[np.int64] | FloatColumn:
    count = len(sent_s)
    motion = drive.motion
    if kind == "speed":
        return motion.at(np.abs(motion.speed_mps), sent_s) * rng.uniform(1.0, 5.0)
    if kind == "steer":
        return 128 + motion.at(motion.curvature, sent_s) * rng.uniform(100, 600)
    return _idle_numbers(kind, count, rng)


def _idle_numbers(kind: str, count: int, rng: np.random.Generator) -> NDArray[np.int64]:
    """Numbers that have nothing to do with the driving."""
    if kind == "counter":
        return np.arange(count) % 16
    if kind == "flags":
        switched = rng.random(count) < 2.0 / max(count, 1)
        return np.cumsum(switched) % 2 << int(rng.integers(8))
    if kind == "walk":
        return 128 + np.cumsum(rng.choice((-1, 0, 0, 0, 0, 0, 0, 1), count))
    if kind == "noise":
        return rng.integers(0, 4, count) + int(rng.integers(256))
    return np.full(count, int(rng.integers(256)))
