"""Drives packed by DBC files that were not made for them, decoded by cantools.

The files are those of the PyPI package `opendbc`, an open data set (MIT licence).
"""

from dataclasses import replace
from pathlib import Path

import cantools
import numpy as np
import opendbc
import pytest

from canwheel.corners import CORNERS
from canwheel.definitions.assign import find_wheels
from canwheel.definitions.dbc import read_definitions
from canwheel.errors import CanwheelError
from canwheel.pipeline import check
from canwheel.roadtest.adopt import adopt_layout
from canwheel.roadtest.bus_layout import BusLayout, unit_per_kph
from canwheel.roadtest.faults import NoSignal
from canwheel.roadtest.recording import record_frames, write_log
from canwheel.roadtest.simulation import Drive, Scenario, simulate
from canwheel.vehicle import Vehicle

OPEN_DBCS = sorted(Path(opendbc.__file__).parent.rglob("*.dbc"))[::3]
"""Every third file: all of them take half a minute and show no more."""


Adopted = list[tuple[Path, BusLayout]]


@pytest.fixture(scope="module")
def adopted() -> Adopted:
    found = []
    for path in OPEN_DBCS:
        try:
            definitions = read_definitions(path)
            layout = adopt_layout(definitions, find_wheels(definitions, Vehicle()))
        except (CanwheelError, ValueError):
            continue
        found.append((path, layout))
    return found


def cantools_reading(path: Path) -> cantools.database.Database | None:
    """What cantools makes of the file; None for the few that it cannot load."""
    try:
        return cantools.database.load_file(path, strict=False, encoding="utf-8")
    except cantools.database.Error:
        return None


def test_open_dbcs_carry_the_drive(healthy: Drive, adopted: Adopted) -> None:
    readable = [(path, layout, cantools_reading(path)) for path, layout in adopted]
    assert sum(database is not None for _, _, database in readable) >= 5
    for path, layout, database in readable:
        if database is None:
            continue
        frames = record_frames(healthy, layout.wheels_only())
        for message in layout.wheel_messages:
            mine = frames.select(frames.can_id == message.frame_id)
            rows = np.arange(500, len(mine), 997)
            defined = database.get_message_by_name(message.name)
            for signal in message.signals:
                if signal.quantity not in CORNERS or signal.unit == "pulses":
                    continue
                read = [
                    defined.decode(
                        mine.data[row, : message.length].tobytes(),
                        decode_choices=False,
                        allow_truncated=True,
                    )[signal.name]
                    for row in rows
                ]
                per_kph = unit_per_kph(signal.unit, circumference_m=1.935, teeth=48)
                sent_s = mine.time_ns[rows] / 1e9 - 1_790_000_000
                near = np.searchsorted(healthy.time_s, sent_s)[:, None] - np.arange(1, 4)
                truth = healthy.reading_kph[near, signal.quantity.position] * per_kph
                error = np.abs(truth - np.array(read)[:, None]).min(axis=1)
                assert error.max() <= signal.scale / 2 + 1e-6, (path.name, signal.name)


def test_dead_corner_is_found_through_every_open_dbc(
    scenario: Scenario, adopted: Adopted, tmp_path: Path
) -> None:
    """The whole way: a drive with a dead corner, packed, recorded, read, decoded and judged."""
    capture = tmp_path / "drive.log"
    for number, (path, layout) in enumerate(adopted):
        corner = CORNERS[number % len(CORNERS)]
        drive = simulate(replace(scenario, effects=(NoSignal(corner),)), seed=number)
        write_log(record_frames(drive, layout.wheels_only()), capture)
        judged = check(capture, path).judgement.corners
        faulty = {c.corner: [f.kind for f in c.findings] for c in judged if c.verdict == "faulty"}
        assert faulty == {corner: ["no_signal"]}, path.name


def test_field_that_says_valid_is_filled_in(healthy: Drive, tmp_path: Path) -> None:
    lines = ['VERSION ""', "NS_ :", "BS_:", "BU_: A B", "BO_ 100 WHEELS: 8 A"]
    for n, corner in enumerate(CORNERS):
        lines.append(f' SG_ WHEEL_SPEED_{corner} : {n * 16}|13@1+ (0.05,0) [0|300] "km/h" B')
        lines.append(f' SG_ WHEEL_SPEED_{corner}_VALID : {n * 16 + 14}|1@1+ (1,0) [0|1] "" B')
    values = [f'VAL_ 100 WHEEL_SPEED_{c}_VALID 1 "valid" 0 "invalid" ;' for c in CORNERS]
    path = tmp_path / "valid.dbc"
    path.write_text("\n".join([*lines, *values]) + "\n")
    definitions = read_definitions(path)
    layout = adopt_layout(definitions, find_wheels(definitions, Vehicle()))
    frames = record_frames(healthy, layout)
    database = cantools.database.load_file(path)
    decoded = database.decode_message(100, frames.data[2000].tobytes(), decode_choices=False)
    assert [decoded[f"WHEEL_SPEED_{corner}_VALID"] for corner in CORNERS] == [1, 1, 1, 1]


def test_multiplexed_wheels_are_refused(tmp_path: Path) -> None:
    lines = ['VERSION ""', "NS_ :", "BS_:", "BU_: A B", "BO_ 100 WHEELS: 8 A"]
    lines.append(' SG_ SELECT M : 0|8@1+ (1,0) [0|3] "" B')
    lines += [
        f' SG_ WHEEL_SPEED_{corner} m{n} : 8|16@1+ (0.01,0) [0|300] "km/h" B'
        for n, corner in enumerate(CORNERS)
    ]
    path = tmp_path / "mux.dbc"
    path.write_text("\n".join(lines) + "\n")
    definitions = read_definitions(path)
    with pytest.raises(ValueError, match="multiplexed"):
        adopt_layout(definitions, find_wheels(definitions, Vehicle()))
