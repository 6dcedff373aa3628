"""Random cases: every kind comes, each is as it says, and the same draw gives the same case."""

from collections import Counter
from dataclasses import replace
from pathlib import Path
from typing import get_args

import cantools
import numpy as np
import pytest

from canwheel.outcome import FAULT_KINDS, EventKind
from canwheel.roadtest.bus_layout import dbc_text
from canwheel.roadtest.cases import LOOK_ALIKES, random_case
from canwheel.roadtest.recording import record_frames
from canwheel.vehicle import read_vehicle

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
        events = [kind for kind in kinds if kind is not None]
        assert events == ([name] if name in get_args(EventKind) else [])


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
    layouts = [random_case(rng, "healthy").layout for _ in range(250)]
    wheels = [layout.wheel_messages[0].signals[0] for layout in layouts]
    assert {len(layout.wheel_messages) for layout in layouts} == {1, 2}
    assert {layout.messages[0].cycle_s for layout in layouts} >= {0.01, 0.02, 0.05, 0.1}
    assert {wheel.byte_order for wheel in wheels} == {"little_endian", "big_endian"}
    assert {wheel.unit for wheel in wheels} == {"km/h", "mph", "m/s", "rpm", "rad/s", "pulses"}
    plain = {"km/h": 1.0, "mph": 1.609344, "m/s": 3.6}
    kph = [w.scale * plain[w.unit] for w in wheels if w.unit in plain]
    assert min(kph) == pytest.approx(0.005)
    assert max(kph) == pytest.approx(1.0)


def test_twin_is_the_same_drive_without_the_fault() -> None:
    case = random_case(np.random.default_rng(2), "no_signal")
    (fault,) = case.faults
    drive, twin = case.drive(), case.twin()
    others = [n for n in range(4) if n != fault.corner.position]
    assert np.array_equal(drive.reading_kph[:, others], twin.reading_kph[:, others])
    assert twin.reading_kph[:, fault.corner.position].max() > 10


def test_shown_time_is_that_of_the_fault() -> None:
    case = random_case(np.random.default_rng(2), "no_signal")
    (shown_s,) = case.shown_s()
    drive = case.drive()
    (((begin, end),),) = drive.windows
    moving = np.abs(drive.motion.speed_mps[drive.motion.time_s > begin]) > 0.6
    assert shown_s == pytest.approx(np.sum(moving) * 0.004, rel=0.05)
    assert end == pytest.approx(drive.motion.duration_s)


def test_fault_that_the_drive_never_brings_out_is_not_shown() -> None:
    case = random_case(np.random.default_rng(2), "dropout")
    parked = replace(case, scenario=replace(case.scenario, route=case.scenario.route[:1]))
    assert parked.shown_s() == (0.0,)


def test_vehicle_files_can_be_read(tmp_path: Path) -> None:
    rng = np.random.default_rng(4)
    known = 0
    for _ in range(40):
        case = random_case(rng)
        path = tmp_path / "car.toml"
        path.write_text(case.layout.vehicle_toml)
        vehicle = read_vehicle(path)
        if "rolling_circumference_m" in case.layout.vehicle_toml:
            known += 1
            assert vehicle.circumference_m == pytest.approx(
                case.scenario.car.circumference_m, abs=1e-3
            )
    assert 8 < known < 38


def test_unknown_name_is_refused() -> None:
    with pytest.raises(KeyError):
        random_case(np.random.default_rng(0), "gremlins")
