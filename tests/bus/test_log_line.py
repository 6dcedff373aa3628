"""Lines as the recorder writes them, against the library's own reader of the format."""

import io
import math

import can
import pytest
from can.io.canutils import CanutilsLogReader
from hypothesis import given
from hypothesis import strategies as st

from canwheel.bus.log_line import ChannelNames, log_line

_LENGTHS = st.sampled_from([0, 1, 5, 8])
_FD_LENGTHS = st.sampled_from([0, 8, 12, 48, 64])


@st.composite
def messages(draw: st.DrawFn) -> can.Message:
    extended = draw(st.booleans())
    is_fd = draw(st.booleans())
    remote = not is_fd and draw(st.booleans())
    length = draw(_FD_LENGTHS if is_fd else _LENGTHS)
    return can.Message(
        # doubles resolve a quarter of a microsecond at today's time since the epoch
        timestamp=draw(st.integers(0, 2_000_000_000_000_000)) / 1e6,
        arbitration_id=draw(st.integers(0, 0x1FFF_FFFF if extended else 0x7FF)),
        is_extended_id=extended,
        is_remote_frame=remote,
        is_fd=is_fd,
        bitrate_switch=is_fd and draw(st.booleans()),
        error_state_indicator=is_fd and draw(st.booleans()),
        is_rx=draw(st.booleans()),
        dlc=length,
        data=None if remote else draw(st.binary(min_size=length, max_size=length)),
        channel="can0",
        check=True,
    )


@given(st.lists(messages(), max_size=20))
def test_the_library_reads_back_every_frame_in_the_order_it_came(sent: list[can.Message]) -> None:
    text = "".join(log_line(message, "can0") for message in sent)
    back = list(CanutilsLogReader(io.StringIO(text)))
    assert len(back) == len(sent)
    for one, other in zip(sent, back, strict=True):
        assert one.equals(other), text  # time to the microsecond, backwards or not


def test_a_time_stamp_that_steps_back_stays_as_it_is() -> None:
    stamps = [100.5, 99.25, 99.25, 0.000001, 1_700_000_000.123456]
    text = "".join(log_line(can.Message(timestamp=t, channel="c"), "c") for t in stamps)
    assert [m.timestamp for m in CanutilsLogReader(io.StringIO(text))] == stamps


def test_an_error_frame_keeps_its_class_and_data() -> None:
    # linux/can/error.h: class 0x4 controller, data[1] = 0x04 warning level of received errors
    error = can.Message(
        timestamp=1.0,
        arbitration_id=0x4,
        is_error_frame=True,
        data=[0, 4, 0, 0, 0, 0, 0, 0],
    )
    assert log_line(error, "can0") == "(1.000000) can0 20000004#0004000000000000\n"


def test_an_error_frame_without_a_class_is_read_as_one_by_the_library() -> None:
    line = log_line(can.Message(timestamp=1.0, is_error_frame=True), "can0")
    (back,) = CanutilsLogReader(io.StringIO(line))
    assert back.is_error_frame


@pytest.mark.parametrize(
    ("channel", "word"),
    [
        (None, "slcan0"),
        (0, "can0"),
        ("1", "can1"),
        ("vcan0", "vcan0"),
        ("/dev/ttyACM0", "slcan0"),
        ("two words", "slcan0"),
        ("", "slcan0"),
        ("x" * 99, "slcan0"),
        (["rubbish"], "slcan0"),
        (math.inf, "slcan0"),
    ],
)
def test_the_channel_is_one_plain_word(channel: object, word: str) -> None:
    assert ChannelNames("slcan0").name(channel) == word


def test_a_flood_of_channel_names_is_not_kept() -> None:
    names = ChannelNames("can0")
    for number in range(1000):
        assert names.name(f"c{number}") == f"c{number}"
    assert len(names._names) <= 250  # noqa: SLF001 - that it does not grow is the point
