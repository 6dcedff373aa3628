"""The example files are what the layouts say, and other programs read them so."""

from pathlib import Path

import cantools
import pytest

from canwheel.corners import CORNERS, Corner
from canwheel.definitions.assign import find_wheels
from canwheel.definitions.dbc import read_definitions
from canwheel.roadtest.bus_layout import BusLayout, dbc_text
from canwheel.roadtest.layouts import BAKERY_VAN, READY_MADE, SCHOOL_MINIBUS
from canwheel.vehicle import read_vehicle

EXAMPLES = Path(__file__).parents[2] / "dbc_examples"


@pytest.mark.parametrize("layout", READY_MADE, ids=lambda layout: layout.name)
class TestExample:
    def test_files_are_those_of_the_layout(self, layout: BusLayout) -> None:
        dbc = EXAMPLES / f"{layout.name}.dbc"
        assert dbc.read_text(encoding="utf-8") == dbc_text(layout)
        vehicle = EXAMPLES / f"{layout.name}.toml"
        assert vehicle.read_text(encoding="utf-8") == layout.vehicle_toml

    def test_cantools_reads_every_signal_as_meant(self, layout: BusLayout) -> None:
        database = cantools.database.load_file(EXAMPLES / f"{layout.name}.dbc", strict=True)
        for message, signal in layout.signals():
            defined = database.get_message_by_name(message.name)
            read = defined.get_signal_by_name(signal.name)
            assert defined.frame_id == message.frame_id
            assert defined.is_extended_frame == message.extended
            assert defined.is_fd == message.fd
            assert defined.cycle_time == round(message.cycle_s * 1000)
            assert (read.start, read.length) == (signal.start, signal.length)
            assert (read.scale, read.offset) == pytest.approx((signal.scale, signal.offset))
            assert read.unit == (signal.unit or None)
            assert read.byte_order == signal.byte_order

    def test_the_program_finds_the_corners(self, layout: BusLayout) -> None:
        vehicle = read_vehicle(EXAMPLES / f"{layout.name}.toml")
        found = find_wheels(read_definitions(EXAMPLES / f"{layout.name}.dbc"), vehicle)
        for corner in CORNERS:
            assert found.wheel(corner).path == layout.path(corner)


def test_van_offers_every_helper() -> None:
    vehicle = read_vehicle(EXAMPLES / "bakery_van.toml")
    found = find_wheels(read_definitions(EXAMPLES / "bakery_van.dbc"), vehicle)
    for helper, place in found.helpers.items():
        assert place.path == BAKERY_VAN.path(helper)
    assert len(found.helpers) == 7


def test_quantity_that_nothing_tells_is_refused() -> None:
    front = BusLayout("front", tuple(BAKERY_VAN.messages[:2]))
    with pytest.raises(KeyError):
        front.path(Corner.FL)


def test_wheels_only_leaves_the_rest_out() -> None:
    assert [m.name for m in BAKERY_VAN.wheels_only().messages] == ["WHEELS"]
    assert SCHOOL_MINIBUS.wheels_only().messages == SCHOOL_MINIBUS.messages
