"""Random cases: every kind comes, each is as it says, and the same draw gives the same case."""

from collections import Counter

import cantools
import numpy as np
import pytest

from canwheel.outcome import FAULT_KINDS
from canwheel.roadtest.bus_layout import dbc_text
from canwheel.roadtest.cases import EVENT_OF, LOOK_ALIKES, random_case
from canwheel.roadtest.recording import record_frames

NAMES = (*FAULT_KINDS, *LOOK_ALIKES, "healthy", "two faults")


@pytest.mark.parametrize("name", NAMES)
def test_case_is_what_its_name_says(name: str) -> None:
    case = random_case(np.random.default_rng(3), name)
    assert case.name == name
    kinds = [effect.kind for effect in case.scenario.effects]
    if name in FAULT_KINDS:
        assert [fault.kind for fault in case.faults] == [name]
    elif name == "two faults":
        assert len(case.faults) == 2
        assert case.faults[0].corner != case.faults[1].corner
    else:
        assert not case.faults
        assert kinds == ([EVENT_OF[name]] if name in EVENT_OF else kinds)


@pytest.mark.parametrize("seed", range(12))
def test_case_can_be_driven_and_decoded(seed: int) -> None:
    case = random_case(np.random.default_rng(seed))
    frames = record_frames(case.drive(), case.layout)
    database = cantools.database.load_string(dbc_text(case.layout), "dbc")
    for message in case.layout.messages:
        row = frames.data[frames.can_id == message.frame_id][0]
        decoded = database.decode_message(message.frame_id, row[:8].tobytes())
        assert len(decoded) == len(message.signals)
    corners = {c for message in case.layout.messages for c in message.corners}
    assert len(corners) == 4


def test_same_draw_same_case() -> None:
    first, second = (random_case(np.random.default_rng(9), "dropout") for _ in range(2))
    assert first == second
    assert np.array_equal(first.drive().reading_kph, second.drive().reading_kph)


def test_every_name_is_drawn() -> None:
    rng = np.random.default_rng(0)
    drawn = Counter(random_case(rng).name for _ in range(600))
    assert set(drawn) == set(NAMES)
    assert drawn["healthy"] > 60


def test_layouts_vary_as_the_road_does() -> None:
    rng = np.random.default_rng(1)
    layouts = [random_case(rng, "healthy").layout for _ in range(150)]
    wheels = [layout.wheel_messages[0].signals[0] for layout in layouts]
    assert {len(layout.messages) for layout in layouts} == {1, 2}
    assert {layout.messages[0].cycle_s for layout in layouts} >= {0.01, 0.02, 0.05, 0.1}
    assert {wheel.byte_order for wheel in wheels} == {"little_endian", "big_endian"}
    assert {wheel.unit for wheel in wheels} == {"km/h", "mph", "m/s"}
    kph = [w.scale * {"km/h": 1, "mph": 1.609344, "m/s": 3.6}[w.unit] for w in wheels]
    assert min(kph) == pytest.approx(0.005)
    assert max(kph) == pytest.approx(1.0)


def test_unknown_name_is_refused() -> None:
    with pytest.raises(KeyError):
        random_case(np.random.default_rng(0), "gremlins")
