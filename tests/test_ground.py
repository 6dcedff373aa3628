"""Corners, errors and frames: what every station stands on."""

import numpy as np
import pytest

from canwheel.corners import CORNERS, Corner
from canwheel.errors import CanwheelError
from canwheel.frames import FrameFlag, Frames, IdPattern


def test_corners_stand_in_the_order_of_every_array() -> None:
    assert [corner.value for corner in CORNERS] == ["FL", "FR", "RL", "RR"]
    assert [corner.position for corner in CORNERS] == [0, 1, 2, 3]


@pytest.mark.parametrize(
    ("corner", "mirror", "same_side", "words"),
    [
        (Corner.FL, Corner.FR, Corner.RL, "front left"),
        (Corner.FR, Corner.FL, Corner.RR, "front right"),
        (Corner.RL, Corner.RR, Corner.FL, "rear left"),
        (Corner.RR, Corner.RL, Corner.FR, "rear right"),
    ],
)
def test_a_corner_knows_its_neighbours(
    corner: Corner, mirror: Corner, same_side: Corner, words: str
) -> None:
    assert corner.mirror is mirror
    assert corner.same_side is same_side
    assert corner.words == words


def test_left_is_the_drivers_side_where_the_wheel_is_on_the_left() -> None:
    assert Corner.RL.described("left") == "rear left (driver's side)"
    assert Corner.RL.described("right") == "rear left (passenger's side)"
    assert Corner.RL.described(None) == "rear left"


def test_an_error_is_one_line_of_what_where_and_what_to_do() -> None:
    error = CanwheelError("is\nempty", where="drive.log", remedy="record again")
    assert str(error) == "drive.log: is empty. Record again."
    assert str(CanwheelError("is empty")) == "is empty"


def frames_of(can_id: list[int], flags: list[int], width: int = 8) -> Frames:
    n = len(can_id)
    return Frames(
        time_ns=np.arange(n, dtype=np.int64),
        can_id=np.array(can_id, np.uint32),
        flags=np.array(flags, np.uint8),
        length=np.full(n, width, np.uint8),
        data=np.ones((n, width), np.uint8),
        channel=np.zeros(n, np.uint8),
        channels=("can0",),
        index=np.arange(n, dtype=np.int64),
    )


def test_one_identifier_is_not_the_same_number_of_the_other_kind() -> None:
    ids = np.array([0x1AA, 0x1AA, 0x1AA, 0x1AA], np.uint32)
    flags = np.array([0, FrameFlag.EXTENDED, FrameFlag.REMOTE, FrameFlag.FD], np.uint8)
    hit = IdPattern.exactly(0x1AA, extended=False).matches(ids, flags)
    assert hit.tolist() == [True, False, False, True]


def test_a_group_is_wanted_from_every_sender_at_every_priority() -> None:
    # Group 65134, 0xFE6E: any priority, any sender (SAE J1939-21, from memory); its neighbour not.
    ids = np.array([0x08FE6E0B, 0x18FE6E21, 0x08FE6F0B, 0x09FE6E0B], np.uint32)
    flags = np.full(4, FrameFlag.EXTENDED, np.uint8)
    hit = IdPattern.j1939_group(0x08FE6E0B).matches(ids, flags)
    assert hit.tolist() == [True, True, False, False]


def test_a_destination_is_no_part_of_a_group() -> None:
    # Below 240 (0xF0) the second byte is who it is for (SAE J1939-21, from memory).
    ids = np.array([0x18EA000B, 0x18EAFF0B, 0x18EB000B], np.uint32)
    flags = np.full(3, FrameFlag.EXTENDED, np.uint8)
    hit = IdPattern.j1939_group(0x18EA210B).matches(ids, flags)
    assert hit.tolist() == [True, True, False]


def test_parts_of_a_capture_join_whatever_their_width() -> None:
    classic, fd = frames_of([1, 2], [0, 0]), frames_of([3], [FrameFlag.FD], width=64)
    joined = Frames.concatenate([classic, fd])
    assert len(joined) == 3
    assert joined.data.shape == (3, 64)
    assert joined.data[0].sum() == 8
    assert joined.can_id.tolist() == [1, 2, 3]
    assert len(Frames.concatenate([])) == 0
    assert joined.select(joined.can_id > 1).can_id.tolist() == [2, 3]
