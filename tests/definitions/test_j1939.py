"""The two wheel-speed groups of SAE J1939.

Frames and figures: worked from public transcriptions of the groups' layout, checked with cantools'
decode of the same frames where the plain decode is right.
"""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from canwheel.definitions.assign import assign_wheels, find_wheels
from canwheel.definitions.columns import SignalColumn, decode_signal
from canwheel.definitions.dbc import Definitions
from canwheel.definitions.j1939 import group_number, no_value_ranges
from canwheel.definitions.layout import BitField, RawRange, WheelLayout
from canwheel.frames import FrameFlag, Frames
from canwheel.vehicle import Vehicle, WheelSignals

EBC2 = """BO_ 2566831883 EBC2: 8 Vector__XXX
 SG_ FrontAxleSpeed : 0|16@1+ (0.00390625,0) [0|250.996] "km/h" Vector__XXX
 SG_ RelSpdFrontAxleLeftWheel : 16|8@1+ (0.0625,-7.8125) [-7.8125|7.8125] "km/h" Vector__XXX
 SG_ RelSpdFrontAxleRightWheel : 24|8@1+ (0.0625,-7.8125) [-7.8125|7.8125] "km/h" Vector__XXX
 SG_ RelSpdRearAxle1LeftWheel : 32|8@1+ (0.0625,-7.8125) [-7.8125|7.8125] "km/h" Vector__XXX
 SG_ RelSpdRearAxle1RightWheel : 40|8@1+ (0.0625,-7.8125) [-7.8125|7.8125] "km/h" Vector__XXX
 SG_ RelSpdRearAxle2LeftWheel : 48|8@1+ (0.0625,-7.8125) [-7.8125|7.8125] "km/h" Vector__XXX
 SG_ RelSpdRearAxle2RightWheel : 56|8@1+ (0.0625,-7.8125) [-7.8125|7.8125] "km/h" Vector__XXX

"""
HRW = """BO_ 2298375691 HRW: 8 Vector__XXX
 SG_ FrontAxleLeftWheelSpeed : 0|16@1+ (0.00390625,0) [0|250.996] "km/h" Vector__XXX
 SG_ FrontAxleRightWheelSpeed : 16|16@1+ (0.00390625,0) [0|250.996] "km/h" Vector__XXX
 SG_ RearAxleLeftWheelSpeed : 32|16@1+ (0.00390625,0) [0|250.996] "km/h" Vector__XXX
 SG_ RearAxleRightWheelSpeed : 48|16@1+ (0.00390625,0) [0|250.996] "km/h" Vector__XXX

"""
EBC2_ID, HRW_ID = 0x18FEBF0B, 0x08FE6E0B

MakeFrames = Callable[..., Frames]
Define = Callable[[str], Definitions]


def wheels(layout: WheelLayout, frames: Frames) -> list[SignalColumn]:
    return [decode_signal(frames, place) for place in layout.wheels]


def heard(frames_of: MakeFrames, data: str, can_id: int) -> Frames:
    return frames_of([bytes.fromhex(data)], can_id, FrameFlag.EXTENDED)


def test_group_numbers() -> None:
    assert group_number(EBC2_ID) == 65215
    assert group_number(HRW_ID) == 65134
    assert group_number(0x18EA0B00) == 0xEA00  # the destination is not part of the group


def test_ebc2_differences_are_added_to_the_front_axle(
    define: Define, frames_of: MakeFrames
) -> None:
    layout = find_wheels(define(EBC2), Vehicle())
    assert [place.signal for place in layout.wheels] == [
        "RelSpdFrontAxleLeftWheel",
        "RelSpdFrontAxleRightWheel",
        "RelSpdRearAxle1LeftWheel",
        "RelSpdRearAxle1RightWheel",
    ]
    columns = wheels(layout, heard(frames_of, "0032 7D 85 7D 7D FFFF", EBC2_ID))
    assert [column.value[0] for column in columns] == [50.0, 50.5, 50.0, 50.0]
    columns = wheels(layout, heard(frames_of, "003C 75 85 7D 81 FFFF", EBC2_ID))
    assert [column.value[0] for column in columns] == [59.5, 60.5, 60.0, 60.25]


def test_ebc2_says_that_it_is_clipped(define: Define, frames_of: MakeFrames) -> None:
    layout = find_wheels(define(EBC2), Vehicle())
    columns = wheels(layout, heard(frames_of, "0032 00 00 FA FE FFFF", EBC2_ID))
    assert [bool(column.clipped[0]) for column in columns] == [True, True, True, False]
    assert [bool(column.flagged[0]) for column in columns] == [False, False, False, True]
    assert np.isnan([column.value[0] for column in columns]).all()
    assert "7.8125 km/h" in layout.cautions[0]


def test_ebc2_without_a_front_axle_speed_has_no_wheel_speeds(
    define: Define, frames_of: MakeFrames
) -> None:
    layout = find_wheels(define(EBC2), Vehicle())
    columns = wheels(layout, heard(frames_of, "FFFF 7D 85 7D 7D FFFF", EBC2_ID))
    assert all(column.flagged[0] for column in columns)


def test_a_slip_in_a_copied_offset_does_not_matter(define: Define, frames_of: MakeFrames) -> None:
    layout = find_wheels(define(EBC2.replace("-7.8125)", "-7.18125)")), Vehicle())
    columns = wheels(layout, heard(frames_of, "0032 7D 85 7D 7D FFFF", EBC2_ID))
    assert [column.value[0] for column in columns] == [50.0, 50.5, 50.0, 50.0]


def test_hrw_valid_nought_error_and_not_available(define: Define, frames_of: MakeFrames) -> None:
    layout = find_wheels(define(HRW), Vehicle())
    columns = wheels(layout, heard(frames_of, "0032 0032 0032 0000", HRW_ID))
    assert [column.value[0] for column in columns] == [50.0, 50.0, 50.0, 0.0]
    columns = wheels(layout, heard(frames_of, "0032 00FE 00FF FFFA", HRW_ID))
    assert [bool(column.flagged[0]) for column in columns] == [False, True, True, False]
    assert columns[3].value[0] == pytest.approx(250.996, abs=5e-4)
    assert [column.raw[0] for column in columns] == [0x3200, 0xFE00, 0xFF00, 0xFAFF]


def test_any_sender_and_priority_counts_and_no_11_bit_identifier(
    define: Define, frames_of: MakeFrames
) -> None:
    layout = find_wheels(define(HRW), Vehicle())
    data = "0032 0032 0032 0032"
    for can_id in (HRW_ID, 0x18FE6E0B, 0x08FE6E31, 0x0CFE6E00):
        assert len(wheels(layout, heard(frames_of, data, can_id))[0]) == 1
    for can_id in (0x08FE6F0B, 0x08FF6E0B, 0x0AFE6E0B):
        assert len(wheels(layout, heard(frames_of, data, can_id))[0]) == 0
    assert len(wheels(layout, frames_of([bytes(8)], HRW_ID & 0x7FF))[0]) == 0


def test_absolute_speeds_are_preferred(define: Define) -> None:
    assigned = assign_wheels(define(EBC2 + HRW), Vehicle())
    assert {place.message for place in assigned.layout.wheels} == {"HRW"}
    assert assigned.layout.cautions == ()
    assert [family.messages for family in assigned.runners_up] == [("EBC2",)]


def test_names_do_not_matter_in_a_standard_group(define: Define) -> None:
    text = HRW
    for number, name in enumerate(
        ("FrontAxleLeft", "FrontAxleRight", "RearAxleLeft", "RearAxleRight")
    ):
        text = text.replace(f"{name}WheelSpeed", f"SPN{1592 + number}")
    layout = find_wheels(define(text), Vehicle())
    assert [place.signal for place in layout.wheels] == ["SPN1592", "SPN1593", "SPN1594", "SPN1595"]


def test_a_person_can_still_say_otherwise(define: Define) -> None:
    given = WheelSignals(FL="HRW.FrontAxleRightWheelSpeed", FR="HRW.FrontAxleLeftWheelSpeed")
    layout = find_wheels(define(HRW), Vehicle(wheels=given))
    assert layout.wheels[0].signal == "FrontAxleRightWheelSpeed"
    assert layout.wheels[2].signal == "RearAxleLeftWheelSpeed"


def test_ranges_by_width() -> None:
    # 16 bits: 0xFB00 reserved, 0xFE00 to 0xFEFF error, 0xFF00 to 0xFFFF not available (ISO 11783,
    # second-hand); 8 bits from memory of SAE J1939-71 table 1.
    assert no_value_ranges(BitField(0, 16, "little_endian")) == (
        RawRange(0xFB00, 0xFDFF, "reserved"),
        RawRange(0xFE00, 0xFEFF, "error"),
        RawRange(0xFF00, 0xFFFF, "not available"),
    )
    assert no_value_ranges(BitField(0, 8, "little_endian"))[1:] == (
        RawRange(0xFE, 0xFE, "error"),
        RawRange(0xFF, 0xFF, "not available"),
    )
    assert no_value_ranges(BitField(0, 12, "little_endian")) == ()
    assert no_value_ranges(BitField(0, 32, "little_endian", is_float=True)) == ()


def test_other_groups_of_a_j1939_file_match_any_sender_too(define: Define) -> None:
    text = (
        "BO_ 2566844672 CCVS: 8 Vector__XXX\n"
        ' SG_ WheelBasedSpeed : 8|16@1+ (0.00390625,0) [0|250.996] "km/h" Vector__XXX\n\n'
        'BA_DEF_ BO_ "VFrameFormat" ENUM "StandardCAN","ExtendedCAN","reserved","J1939PG";\n'
        'BA_DEF_DEF_ "VFrameFormat" "J1939PG";\n'
        'BA_ "VFrameFormat" BO_ 2566844672 3;\n'
    )
    place = define(text).messages[0].signals[0].place
    assert place.ids.mask == 0x03FF_FF00
    assert place.not_values[-1] == RawRange(0xFF00, 0xFFFF, "not available")


def test_frames_from_two_senders_are_one_column(define: Define, frames_of: MakeFrames) -> None:
    layout = find_wheels(define(HRW), Vehicle())
    frames = heard(frames_of, "0032 0032 0032 0032", HRW_ID)
    other = replace(frames, can_id=frames.can_id ^ np.uint32(1))
    both = Frames.concatenate([frames, other])
    assert wheels(layout, both)[0].rows.tolist() == [0, 1]
