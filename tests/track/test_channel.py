"""The one channel that carries all wheel messages, or a clear refusal."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from canwheel.definitions.layout import BitField, SignalPlace, WheelLayout
from canwheel.errors import CaptureError, RequestError
from canwheel.frames import Frames, IdPattern
from canwheel.track.channel import choose_channel

FRONT, REAR, OTHER = 0x1A0, 0x1A2, 0x300


def place(message: str, can_id: int, start: int) -> SignalPlace:
    return SignalPlace(
        message=message,
        signal=f"SPEED_{start}",
        frame_id=can_id,
        ids=IdPattern.exactly(can_id, extended=False),
        bits=BitField(start, 16, "big_endian"),
        scale=0.01,
        offset=0.0,
        unit="km/h",
    )


LAYOUT = WheelLayout(
    file="van.dbc",
    wheels=(
        place("FRONT", FRONT, 7),
        place("FRONT", FRONT, 23),
        place("REAR", REAR, 7),
        place("REAR", REAR, 23),
    ),
    unit="km/h",
)


FOUR = replace(LAYOUT, wheels=tuple(place(f"WHEEL{k}", 0x1A0 + k, 7) for k in range(4)))
"""A message for each corner, 0x1A0 to 0x1A3."""


def heard(**by_channel: list[int]) -> Frames:
    """Frames with these identifiers on these channels."""
    ids = [can_id for ids in by_channel.values() for can_id in ids]
    channel = [n for n, ids in enumerate(by_channel.values()) for _ in ids]
    count = len(ids)
    return Frames(
        time_ns=np.arange(count, dtype=np.int64),
        can_id=np.array(ids, np.uint32),
        flags=np.zeros(count, np.uint8),
        length=np.full(count, 8, np.uint8),
        data=np.zeros((count, 8), np.uint8),
        channel=np.array(channel, np.uint8),
        channels=tuple(by_channel),
        index=np.arange(count, dtype=np.int64),
    )


@pytest.fixture
def file(tmp_path: Path) -> Path:
    """A recording with fourteen other identifiers, the first one heard twice."""
    path = tmp_path / "drive.log"
    ids = [0x300, *range(0x300, 0x30E)]
    path.write_text("".join(f"({n}.000000) can0 {can_id:03X}#00\n" for n, can_id in enumerate(ids)))
    return path


def test_the_only_channel_with_all_wheels_is_taken(file: Path) -> None:
    frames, name = choose_channel(
        heard(can0=[OTHER, FRONT], can1=[FRONT, REAR, OTHER]), LAYOUT, None, file
    )
    assert name == "can1"
    assert frames.can_id.tolist() == [FRONT, REAR, OTHER]


def test_several_channels_with_all_wheels_are_listed(file: Path) -> None:
    both = heard(can0=[FRONT, REAR], can1=[OTHER], can2=[FRONT, REAR])
    with pytest.raises(RequestError, match="channels can0, can2 all carry") as caught:
        choose_channel(both, LAYOUT, None, file)
    assert "--channel can0" in str(caught.value)
    assert choose_channel(both, LAYOUT, "can2", file)[1] == "can2"


def test_an_unknown_channel_is_answered_with_the_known_ones(file: Path) -> None:
    with pytest.raises(RequestError, match=r"'can7'. Choose one of these: can0, can1."):
        choose_channel(heard(can0=[FRONT, REAR], can1=[OTHER]), LAYOUT, "can7", file)
    with pytest.raises(RequestError, match="Leave --channel out"):
        choose_channel(heard(), LAYOUT, "can7", file)


def test_a_channel_that_lacks_a_wheel_message_is_refused(file: Path) -> None:
    split = heard(can0=[FRONT, OTHER], can1=[REAR])
    with pytest.raises(CaptureError) as caught:
        choose_channel(split, LAYOUT, None, file)
    assert "channel can0 has FRONT (0x1A0) but never REAR (0x1A2)" in str(caught.value)
    assert caught.value.details == "channel can1 has REAR (0x1A2)"
    with pytest.raises(CaptureError, match="channel can1 has REAR"):
        choose_channel(split, LAYOUT, "can1", file)


def test_a_message_that_no_channel_has_leaves_the_others(file: Path) -> None:
    for ids in ([0x1A0, 0x1A1, 0x1A3], [0x1A1, 0x1A2]):
        assert choose_channel(heard(can0=ids, can1=[OTHER]), FOUR, None, file)[1] == "can0"
        assert choose_channel(heard(can0=ids), FOUR, "can0", file)[1] == "can0"
    fuller = heard(can0=[0x1A0, 0x1A1], can1=[0x1A0, 0x1A1, 0x1A2])
    assert choose_channel(fuller, FOUR, None, file)[1] == "can1"
    three_of_four = replace(FOUR, wheels=(*LAYOUT.wheels[:2], LAYOUT.wheels[0], FOUR.wheels[3]))
    assert choose_channel(heard(can0=[FRONT]), three_of_four, None, file)[1] == "can0"


def test_one_message_of_several_is_too_few(file: Path) -> None:
    for layout in (FOUR, LAYOUT):
        with pytest.raises(CaptureError, match="if so, the sender is silent"):
            choose_channel(heard(can0=[0x1A0, OTHER]), layout, None, file)


def test_what_another_channel_has_is_not_missing(file: Path) -> None:
    split = heard(can0=[0x1A0, 0x1A1, 0x1A2], can1=[0x1A3])
    for channel in (None, "can0"):
        with pytest.raises(CaptureError, match=r"but never WHEEL3 \(0x1A3\)"):
            choose_channel(split, FOUR, channel, file)


def test_of_two_channels_that_lack_the_same_one_must_be_chosen(file: Path) -> None:
    both = heard(can0=[0x1A0, 0x1A1, 0x1A2], can1=[0x1A0, 0x1A1, 0x1A2])
    with pytest.raises(RequestError, match="channels can0, can1 all carry"):
        choose_channel(both, FOUR, None, file)
    assert choose_channel(both, FOUR, "can1", file)[1] == "can1"


def test_a_damaged_file_may_have_lost_the_message(file: Path) -> None:
    with pytest.raises(CaptureError, match="the file ends too early; channel can0 has WHEEL0"):
        choose_channel(
            heard(can0=[0x1A0, 0x1A1, 0x1A2]), FOUR, None, file, damage="the file ends too early"
        )


def test_a_recording_without_any_wheel_says_what_it_has(file: Path) -> None:
    with pytest.raises(CaptureError, match=r"not FRONT \(0x1A0\), REAR \(0x1A2\)") as caught:
        choose_channel(heard(can0=[OTHER]), LAYOUT, None, file)
    assert caught.value.details.startswith("it has 0x300 (2 times), 0x301 (1 times)")
    assert caught.value.details.endswith("and 2 more")


def test_only_a_few_identifiers_need_no_more(file: Path) -> None:
    file.write_text("(1.000000) can0 300#00\n")
    with pytest.raises(CaptureError) as caught:
        choose_channel(heard(can0=[OTHER]), LAYOUT, None, file)
    assert caught.value.details == "it has 0x300 (1 times)"


def test_a_channel_without_wheels_is_answered_with_the_one_that_has_them(file: Path) -> None:
    both = heard(can0=[FRONT, REAR], vcan3=[OTHER])
    with pytest.raises(RequestError) as caught:
        choose_channel(both, LAYOUT, "vcan3", file)
    assert str(caught.value).endswith(
        "channel vcan3 does not carry FRONT (0x1A0), REAR (0x1A2); can0 does. Give --channel can0."
    )


def test_identifiers_of_the_other_length_are_told(file: Path) -> None:
    file.write_text("(1.000000) can0 000001A0#00\n(1.100000) can0 300#00\n")
    with pytest.raises(CaptureError) as caught:
        choose_channel(heard(can0=[OTHER]), LAYOUT, None, file)
    assert caught.value.details == (
        "it has 0x300 (1 times), 0x1A0 (29 bits, 1 times); 0x1A0 has 29 bits in the recording and"
        " 11 in van.dbc: one of them is wrong"
    )


def test_a_recording_of_requests_alone_has_no_data(file: Path) -> None:
    file.write_text("(1.000000) can0 1A0#R\n")
    with pytest.raises(CaptureError) as caught:
        choose_channel(heard(can0=[OTHER]), LAYOUT, None, file)
    assert caught.value.details == "it has no frame with data"


def test_a_channel_with_hardly_a_wheel_frame_is_none(file: Path) -> None:
    frames = heard(can0=[FRONT, REAR] * 150, Dan0=[FRONT, REAR])
    assert choose_channel(frames, LAYOUT, None, file)[1] == "can0"
    assert choose_channel(frames, LAYOUT, "Dan0", file)[1] == "Dan0"


def test_channels_scrambled_by_damage_are_refused(file: Path) -> None:
    frames = heard(can0=[FRONT, REAR] * 150, Dan0=[FRONT, REAR], D7A0=[REAR, FRONT])
    damage = "the gz data is damaged"
    with pytest.raises(CaptureError) as caught:
        choose_channel(frames, LAYOUT, None, file, damage=damage)
    assert "the gz data is damaged; its lines are scrambled" in str(caught.value)
    assert "Dan0" not in str(caught.value)
    assert choose_channel(frames, LAYOUT, "can0", file, damage=damage)[1] == "can0"


def test_damage_is_named_where_no_channel_fits(file: Path) -> None:
    with pytest.raises(CaptureError, match="the file ends too early; channel can0 has FRONT"):
        choose_channel(heard(can0=[FRONT]), LAYOUT, None, file, damage="the file ends too early")
    two = heard(can0=[FRONT, REAR], can1=[FRONT, REAR])
    with pytest.raises(RequestError, match="the file ends too early; channels can0, can1"):
        choose_channel(two, LAYOUT, None, file, damage="the file ends too early")
