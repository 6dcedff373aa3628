"""Captures that are odd: short, still, garbled, of long frames. Nothing falls over."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from canwheel.discovery import discover_wheels
from canwheel.discovery.streams import streams_of
from canwheel.frames import FrameFlag, Frames


def random_frames(seed: int, count: int, ids: int, length: int) -> Frames:
    rng = np.random.default_rng(seed)
    kinds = (0, 0, 0, FrameFlag.EXTENDED, FrameFlag.REMOTE, FrameFlag.ERROR)
    return Frames(
        time_ns=np.sort(rng.integers(0, 40_000_000_000, count)),
        can_id=rng.integers(0, ids, count).astype(np.uint32),
        flags=rng.choice(np.array(kinds, np.uint8), count),
        length=rng.integers(0, length + 1, count).astype(np.uint8),
        data=np.cumsum(rng.integers(-1, 2, (count, max(8, length))), axis=0).astype(np.uint8),
        channel=rng.integers(0, 2, count).astype(np.uint8),
        channels=("can0", "can1"),
        index=np.arange(count),
    )


@given(st.integers(0, 1 << 30), st.integers(0, 3000), st.integers(1, 5), st.sampled_from([8, 64]))
@settings(max_examples=40, deadline=None)
def test_random_frames_show_no_wheels(seed: int, count: int, ids: int, length: int) -> None:
    frames = random_frames(seed, count, ids, length)
    assert discover_wheels(frames, 0).candidates == ()


def test_streams_hold_what_belongs_together() -> None:
    frames = random_frames(1, 6000, 3, 8)
    for stream in streams_of(frames, 0):
        rows = (frames.can_id == stream.can_id) & (frames.length == stream.data.shape[1])
        rows &= (frames.flags & FrameFlag.EXTENDED > 0) == stream.extended
        rows &= frames.channel == ("can0", "can1").index(stream.channel)
        rows &= frames.flags & (FrameFlag.REMOTE | FrameFlag.ERROR) == 0
        assert np.array_equal(frames.time_ns[rows] / 1e9, stream.time_s)
        assert np.array_equal(frames.data[rows][:, : stream.data.shape[1]], stream.data)


def test_a_clock_that_steps_back_loses_nothing(make_bus: Any) -> None:
    frames = make_bus()
    later = frames.time_ns.copy()
    later[len(later) // 2 :] -= 3_000_000_000_000
    best = discover_wheels(replace(frames, time_ns=later), int(later[0])).candidates[0]
    assert [field.bits.start for field in best.fields[:2]] == [7, 23]


def test_two_channels_with_one_car_propose_it_once_each(make_bus: Any) -> None:
    frames = make_bus()
    twice = Frames.concatenate(
        [
            replace(frames, channels=("can0", "can1")),
            replace(frames, channels=("can0", "can1"), channel=np.ones_like(frames.channel)),
        ]
    )
    twice = twice.select(np.argsort(twice.time_ns, kind="stable"))
    found = discover_wheels(twice, int(twice.time_ns[0])).candidates
    assert [(one.kind, one.fields[0].channel) for one in found] == [
        ("wheel speeds", "can0"),
        ("copy", "can1"),
    ]


@pytest.mark.parametrize("payload", [12, 64])
def test_long_frames(payload: int, make_bus: Any) -> None:
    starts = tuple(start + 8 * (payload - 8) for start in (0, 16, 32, 48))
    frames = make_bus(starts, 16, "little_endian", payload=payload)
    best = discover_wheels(frames, int(frames.time_ns[0])).candidates[0]
    assert sorted(field.bits.start for field in best.fields) == list(starts)
