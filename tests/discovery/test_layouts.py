"""A few drives of the benchmark, small enough for every run: layouts, a dead corner, look-alikes.

The layouts are those of the PyPI package `opendbc`, an open data set (MIT licence): where its
files say that the four fields stand is what must be found. The whole benchmark is
``tests/benchmarks/discovery.py``.
"""

from collections.abc import Callable
from types import ModuleType

import numpy as np
import pytest

from canwheel.corners import Corner
from canwheel.roadtest.layouts import BAKERY_VAN
from canwheel.roadtest.not_wheels import LOOK_ALIKES, LookAlike
from canwheel.roadtest.unlabelled import (
    UnlabelledCapture,
    unlabelled_drive,
    without_wheels,
)

pytest.importorskip("opendbc", reason="the open data set opendbc is not installed (extra: test)")

SEED = 20_261_103

LAYOUTS = (
    "fca_giorgio:ABS_1",  # packed without a gap, highest byte first
    "tesla_model3_party:ESP_wheelSpeeds",  # packed without a gap, lowest byte first
    "_toyota_2017:WHEEL_SPEEDS",  # standstill is not raw zero
    "rivian_primary_actuator:ESP_WSpeed_Front",  # two messages
    "_honda_common:WHEEL_SPEEDS",  # packed, a checksum right below the last
    "hyundai_canfd:WHEEL_SPEEDS",  # CAN FD, counters above the numbers
    "gm_global_a_lowspeed:WheelSpeed",  # 29-bit identifier, corners in another order
)


@pytest.fixture(scope="module")
def benchmark(load_benchmark: Callable[[str], ModuleType]) -> ModuleType:
    return load_benchmark("discovery")


def drive(benchmark: ModuleType, name: str, *, dead: Corner | None = None) -> UnlabelledCapture:
    layout = next(one for one in benchmark.open_layouts(name.partition(":")[0]) if one.name == name)
    wheels = layout.messages(np.random.default_rng(SEED))
    trouble = None if dead is None else ("dead", dead)
    return unlabelled_drive(wheels, seed=SEED, trouble=trouble)  # type: ignore[arg-type]


@pytest.mark.parametrize("name", LAYOUTS)
def test_four_fields_come_first_with_their_bits_and_corners(
    name: str, benchmark: ModuleType
) -> None:
    capture = drive(benchmark, name)
    first = benchmark.discovered(capture)[0]
    fit, corners_are_right = benchmark.grade(capture, first)
    assert fit in {"exact", "near"}, first.fields
    assert corners_are_right, first.corners


DEAD = (Corner.RL, Corner.FR, Corner.FL, Corner.RR, Corner.RL, Corner.RL, Corner.FR)


@pytest.mark.parametrize(("name", "dead"), list(zip(LAYOUTS, DEAD, strict=True)))
def test_dead_corner_does_not_hide_the_other_three(
    name: str, dead: Corner, benchmark: ModuleType
) -> None:
    capture = drive(benchmark, name, dead=dead)
    first = benchmark.discovered(capture)[0]
    fit, _ = benchmark.grade(capture, first)
    assert fit != "wrong", first.fields


@pytest.mark.parametrize("look_alike", LOOK_ALIKES)
def test_nothing_is_proposed_where_there_are_no_four_wheels(
    look_alike: LookAlike, benchmark: ModuleType
) -> None:
    capture = without_wheels(look_alike, seed=SEED, wheels=BAKERY_VAN)
    assert benchmark.discovered(capture) == []


ONCE_PROPOSED: tuple[tuple[LookAlike, int], ...] = (
    ("temperatures", 200_024),  # two dash messages, and a checksum that goes with the speed
    ("torques", 200_027),
    ("two axle speeds", 200_073),  # two messages of different lengths
    ("seat switches", 200_078),  # four messages with a whole-number speed each
    ("late copies of one speed", 200_002),
    ("two axle speeds", 500_083),  # both twice
)


@pytest.mark.parametrize(("look_alike", "seed"), ONCE_PROPOSED)
def test_what_was_once_taken_for_wheels_is_not(
    look_alike: LookAlike, seed: int, benchmark: ModuleType
) -> None:
    assert benchmark.discovered(without_wheels(look_alike, seed=seed)) == []


def test_grade_tells_other_bits_from_the_right_ones(benchmark: ModuleType) -> None:
    """The measure itself: by hand, on a field of 13 bits of which the top two never move."""
    capture = drive(benchmark, "tesla_model3_party:ESP_wheelSpeeds")
    truth = capture.wheels[0]
    bits = truth.bits

    def graded(start: int, length: int, byte_order: str = "little_endian") -> str:
        place = benchmark.BitField(start, length, byte_order)
        found = benchmark.TrueField(truth.frame_id, truth.extended, place)
        return str(benchmark.fit(capture, found, truth))

    moving = max(benchmark._moved(capture, truth) & benchmark.bit_places(bits))  # noqa: SLF001
    top = bits.start + bits.length - 1
    assert moving < top  # nobody drove 160 km/h
    assert graded(bits.start, bits.length) == "exact"
    assert graded(bits.start, bits.length - 1) == "near"
    assert graded(bits.start + 1, bits.length - 1) == "near"
    assert graded(bits.start, moving - bits.start + 1) in {"near", "shown"}
    assert graded(bits.start, moving - bits.start - 1) == "wrong"
    assert graded(bits.start + 2, bits.length - 2) == "wrong"
    assert graded(7, bits.length, "big_endian") == "wrong"
