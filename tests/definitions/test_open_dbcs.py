"""Every DBC of the open data set `opendbc`: each signal's decode, and the corners.

Outside references: cantools' own decode; and, for the corners, a table made by reading the files.
"""

import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from cantools.database import DecodeError, Error
from cantools.database.can import Message, Signal

from canwheel.definitions.assign import assign_wheels, find_wheels
from canwheel.definitions.columns import decode_signal
from canwheel.definitions.dbc import DefinedMessage, define_message, read_definitions
from canwheel.definitions.layout import SignalPlace
from canwheel.definitions.library import load_database
from canwheel.definitions.mending import mend
from canwheel.definitions.undecided import AmbiguousWheelsError
from canwheel.errors import DefinitionsError
from canwheel.frames import FrameFlag, Frames, IdPattern
from canwheel.vehicle import Vehicle, VehicleFacts

ROWS = 4
"""Random payloads a message."""


def plain(place: SignalPlace) -> SignalPlace:
    """The place without what says that a number is no value, which cantools does not know."""
    ids = IdPattern.exactly(place.frame_id, extended=place.ids.extended)
    return replace(place, not_values=(), ids=ids)


@pytest.fixture(scope="module")
def messages(open_dbcs: dict[str, Path]) -> list[tuple[str, Message, DefinedMessage]]:
    """Every message of every file: the file's name, cantools' message and ours."""
    return [
        (name, message, define_message(message))
        for name, path in open_dbcs.items()
        for message in load_database(
            mend(path.read_bytes().decode("utf-8", "replace")).text
        ).messages
    ]


def random_frames(
    message: Message, size: int, frames_of: Callable[..., Frames], seed: int
) -> Frames:
    rng = np.random.default_rng(seed)
    payloads = [rng.bytes(size) for _ in range(ROWS)]
    flags = FrameFlag.EXTENDED if message.is_extended_frame else 0
    return frames_of(payloads, message.frame_id, flags)


def alone(signal: Signal, size: int) -> Message:
    """The signal in a message of its own: cantools goes wrong where signals overlap."""
    single = Signal(
        signal.name,
        signal.start,
        signal.length,
        signal.byte_order,
        signal.is_signed,
        conversion=signal.conversion,
    )
    return Message(0x123, "ALONE", size, [single], strict=False)


def equal(ours: float, theirs: Any) -> bool:
    number = float(theirs)
    return np.isnan(ours) if not np.isfinite(number) else abs(ours - number) <= 1e-12 * abs(number)


def test_every_signal_decodes_as_cantools_decodes_it(
    messages: list[tuple[str, Message, DefinedMessage]], frames_of: Callable[..., Frames]
) -> None:
    compared = 0
    for name, message, ours in messages:
        places = {defined.place.signal: defined.place for defined in ours.signals}
        needed = [place.bits.bytes_needed for place in places.values()]
        size = max([message.length, 8, *needed])
        frames = random_frames(message, size, frames_of, message.frame_id)
        payloads = [bytes(row) for row in frames.data]
        for signal in message.signals:
            if signal.name not in places:
                assert signal.length > 64
                continue
            place = replace(plain(places[signal.name]), multiplex=())
            column = decode_signal(frames, place)
            single = alone(signal, size)
            for value, payload in zip(column.value, payloads, strict=True):
                expected = single.decode(payload[:size], decode_choices=False)[signal.name]
                assert equal(value, expected), (name, place.path)
                compared += 1
    assert compared > 100_000


def comparable(message: Message) -> bool:
    """Whether cantools' own decode of a multiplexed message can be trusted.

    It goes wrong where signals overlap, and it leaves signals out whose selector the file does
    not mark as one (a small ``m`` for a capital one).
    """
    selectors = {signal.multiplexer_signal for signal in message.signals} - {None}
    marked = {signal.name for signal in message.signals if signal.is_multiplexer}
    if not selectors or not selectors <= marked:
        return False
    try:
        message.refresh(strict=True)
    except Error:
        return False
    return True


def selected_frames(
    message: Message, ours: DefinedMessage, frames_of: Callable[..., Frames]
) -> Frames:
    """Random payloads in which the selectors hold values that select something."""
    frames = random_frames(message, message.length, frames_of, message.frame_id)
    rng = np.random.default_rng(message.frame_id)
    for defined in ours.signals:
        for multiplex in defined.place.multiplex:
            for row in range(0, ROWS, 2):
                value = int(rng.choice(sorted(multiplex.values)))
                insert(frames.data[row], multiplex.selector, value)
    return frames


def signals_there(message: Message, payload: bytes) -> set[str] | None:
    """The signals that cantools finds in a payload, None when it fails on it."""
    try:
        return set(message.decode(payload, decode_choices=False))
    except DecodeError:
        return None


def test_multiplexed_signals_are_there_when_cantools_says_so(
    messages: list[tuple[str, Message, DefinedMessage]], frames_of: Callable[..., Frames]
) -> None:
    compared = 0
    for name, message, ours in messages:
        if not comparable(message):
            continue
        frames = selected_frames(message, ours, frames_of)
        expected = [signals_there(message, bytes(row[: message.length])) for row in frames.data]
        for defined in ours.signals:
            there = set(decode_signal(frames, plain(defined.place)).rows.tolist())
            for row, names in enumerate(expected):
                if names is not None:
                    assert (row in there) == (defined.place.signal in names), name
                    compared += 1
    assert compared > 2000


def insert(row: np.ndarray[Any, np.dtype[np.uint8]], bits: Any, value: int) -> None:
    """Write a field into a payload, bit by bit, as the DBC format numbers them."""
    for i in range(bits.length):
        if bits.byte_order == "little_endian":
            position, weight = bits.start + i, i
        else:
            msb = 8 * (bits.start // 8) + 7 - bits.start % 8 + i
            position, weight = 8 * (msb // 8) + 7 - msb % 8, bits.length - 1 - i
        byte, bit = divmod(position, 8)
        row[byte] = row[byte] & ~np.uint8(1 << bit) | np.uint8((value >> weight & 1) << bit)


FOUR_NAMED = {
    # file: unit, what the four signals are in the order FL, FR, RL, RR
    "bmw_e9x_e8x.dbc": ("km/h", "WheelSpeeds.Wheel_{FL,FR,RL,RR}"),
    "cadillac_ct6_powertrain.dbc": (
        "km/h",
        (
            "EBCMWheelSpdFront.FLWheelSpd EBCMWheelSpdFront.FRWheelSpd "
            "EBCMWheelSpdRear.RLWheelSpd EBCMWheelSpdRear.RRWheelSpd"
        ),
    ),
    "gm_global_a_powertrain.dbc": (
        "km/h",
        (
            "EBCMWheelSpdFront.FLWheelSpd EBCMWheelSpdFront.FRWheelSpd "
            "EBCMWheelSpdRear.RLWheelSpd EBCMWheelSpdRear.RRWheelSpd"
        ),
    ),
    "chrysler_cusw.dbc": (
        "proportional",
        (
            "WHEEL_SPEEDS_FRONT.WHEEL_SPEED_FL WHEEL_SPEEDS_FRONT.WHEEL_SPEED_FR "
            "WHEEL_SPEEDS_REAR.WHEEL_SPEED_RL WHEEL_SPEEDS_REAR.WHEEL_SPEED_RR"
        ),
    ),
    "fca_giorgio.dbc": ("m/s", "ABS_1.WHEEL_SPEED_{FL,FR,RL,RR}"),
    "_stellantis_common.dbc": ("rpm", "ESP_6.WHEEL_SPEED_{FL,FR,RL,RR}"),
    "ford_cgea1_2_ptcan_2011.dbc": ("rad/s", "WheelSpeed_CG1.Whl{Fl,Fr,Rl,Rr}_W_Meas"),
    "ford_fusion_2018_pt.dbc": ("rad/s", "WheelSpeed_CG1.Whl{Fl,Fr,Rl,Rr}_W_Meas"),
    "ford_lincoln_base_pt.dbc": ("rad/s", "WheelSpeed.Whl{Fl,Fr,Rl,Rr}_W_Meas"),
    "_honda_common.dbc": ("km/h", "WHEEL_SPEEDS.WHEEL_SPEED_{FL,FR,RL,RR}"),
    "hyundai_canfd.dbc": ("km/h", "WHEEL_SPEEDS.WHL_Spd{FL,FR,RL,RR}Val"),
    "hyundai_palisade_2023.dbc": ("proportional", "WHL_SPD11.WHL_SPD_{FL,FR,RL,RR}"),
    "hyundai_2015_ccan.dbc": ("km/h", "WHL_SPD11.WHL_SPD_{FL,FR,RL,RR}"),
    "hyundai_i30_2014.dbc": ("km/h", "WHL_SPD.WHL_SPD_{FL,FR,RL,RR}"),
    "_subaru_global.dbc": ("km/h", "Wheel_Speeds.{FL,FR,RL,RR}"),
    "_subaru_preglobal_2015.dbc": ("km/h", "Wheel_Speeds.{FL,FR,RL,RR}"),
    "_toyota_2017.dbc": ("km/h", "WHEEL_SPEEDS.WHEEL_SPEED_{FL,FR,RL,RR}"),
    "toyota_iQ_2009_can.dbc": (
        "km/h",
        "WHEELS_SPEEDS.{FRONT_LEFT,FRONT_RIGHT,REAR_LEFT,REAR_RIGHT}_WHEEL_SPEED",
    ),
    "toyota_prius_2010_pt.dbc": ("mph", "WHEEL_SPEEDS.WHEEL_SPEED_{FL,FR,RL,RR}"),
    "gm_global_a_lowspeed.dbc": ("proportional", "WheelSpeed.WheelSpeed{FL,FR,RL,RR}"),
    "gwm_haval_h6_phev_2024.dbc": (
        "km/h",
        "WHEEL_SPEEDS.{FRONT_LEFT,FRONT_RIGHT,REAR_LEFT,REAR_RIGHT}_WHEEL_SPEED",
    ),
    "hongqi_hs5.dbc": (
        "km/h",
        "ABS_1.FRONT_LEFT ABS_1.FRONT_RIGHT ABS_2.REAR_LEFT ABS_2.REAR_RIGHT",
    ),
    "luxgen_s5_2015.dbc": ("proportional", "WHEEL_RPM_STATUS.WHEEL_{FL,FR,RL,RR}_SPEED"),
    "mazda_2017.dbc": ("km/h", "WHEEL_SPEEDS.{FL,FR,RL,RR}"),
    "mazda_3_2019.dbc": ("proportional", "WHEEL_SPEEDS.{FL,FR,RL,RR}"),
    "mazda_rx8.dbc": ("km/h", "wheel_speed.WheelSpeed{FL,FR,RL,RR}"),
    "mercedes_benz_e350_2010.dbc": ("mph", "WHEEL_SPEEDS.WHEEL_SPEED_{FL,FR,RL,RR}"),
    "opel_omega_2001.dbc": (
        "km/h",
        "ABS_WheelSpeed.{FrontLeft,FrontRight,RearLeft,RearRight}WheelSpeed",
    ),
    "psa_aee2010_r3.dbc": (
        "km/h",
        (
            "Dyn4_FRE.P263_VehV_VPsvValWhlFrtL Dyn4_FRE.P264_VehV_VPsvValWhlFrtR "
            "Dyn4_FRE.P265_VehV_VPsvValWhlBckL Dyn4_FRE.P266_VehV_VPsvValWhlBckR"
        ),
    ),
    "rivian_primary_actuator.dbc": (
        "km/h",
        (
            "ESP_WSpeed_Front.ESP_Wheel_Speed_Left_Front "
            "ESP_WSpeed_Front.ESP_Wheel_Speed_Right_Front "
            "ESP_WSpeed_Rear.ESP_Wheel_Speed_Left_Rear ESP_WSpeed_Rear.ESP_Wheel_Speed_Right_Rear"
        ),
    ),
    "tesla_can.dbc": ("pulse count", "ESP_B.ESP_wheelPulseCount{FrL,FrR,ReL,ReR}"),
    "tesla_model3_party.dbc": ("km/h", "ESP_wheelSpeeds.ESP_wheelSpeed{FrL,FrR,ReL,ReR}"),
    "volvo_v40_2017_pt.dbc": (
        "proportional",
        "wheelspeed0.WhlSpdLF wheelspeed0.WhlSpdRF wheel_speed1.WhlSpdLR wheel_speed1.WhlSpdRR",
    ),
    "volvo_v60_2015_pt.dbc": (
        "proportional",
        "wheelspeed0.WhlSpdLF wheelspeed0.WhlSpdRF wheelspeed1.WhlSpdLR wheelspeed1.WhlSpdRR",
    ),
    "vw_meb.dbc": ("km/h", "ESC_51.{VL,VR,HL,HR}_Radgeschw"),
    "vw_mlb.dbc": ("km/h", "ESP_03.ESP_{VL,VR,HL,HR}_Radgeschw"),
    "vw_mqb.dbc": ("km/h", "ESP_19.ESP_{VL,VR,HL,HR}_Radgeschw_02"),
    "vw_mqbevo.dbc": ("km/h", "ESP_19.ESP_{VL,VR,HL,HR}_Radgeschw_02"),
    "vw_pq.dbc": ("km/h", "Bremse_3.Radgeschw__{VL,VR,HL,HR}_4_1"),
}
"""39 files whose names say which corner is which, read by eye."""

AMBIGUOUS = {
    # two sets of equal resolution, in messages of two brake units
    "hyundai_santafe_2007.dbc": ("ESP_WheelSpeed.FrontLeftWheelSpeed", "ABS_WheelSpeed"),
    "hyundai_kia_generic.dbc": ("WHL_SPD11.WHL_SPD_FL", "WHL_SPD12_FS.WHL_SPD_FL"),
    # two pulse counters of equal width
    "ford_cgea1_2_bodycan_2011.dbc": ("BCM_m_FrP28", "ACM_NAV_WHEEL_INFO"),
    # numbered 1 to 4, no comments
    "nissan_xterra_2011.dbc": ("ABS_1.WHEEL_1", "ABS_2.WHEEL_4"),
    # told by driven and not driven axle
    "gm_global_a_lowspeed_1818125.dbc": ("WhlGrndVlctyLftDrvn", "WhlGrndVlctyRtNnDrvn"),
}
"""5 files with four wheel speeds or more that leave the choice to a person."""

HALF = {
    "_nissan_common.dbc": "front left and front right",
    "nissan_leaf_2018.dbc": "rear left and rear right",
    "nissan_x_trail_2017.dbc": "rear left and rear right",
}
"""Parts of DBC files, with the wheels of one axle."""


def expanded(pattern: str) -> list[str]:
    found = re.fullmatch(r"(.*)\{(.*)\}(.*)", pattern)
    if found is None:
        return pattern.split()
    return [f"{found[1]}{part}{found[3]}" for part in found[2].split(",")]


@pytest.mark.parametrize("name", FOUR_NAMED)
def test_named_corners(name: str, open_dbcs: dict[str, Path]) -> None:
    unit, pattern = FOUR_NAMED[name]
    layout = find_wheels(read_definitions(open_dbcs[name]), Vehicle())
    assert [place.path for place in layout.wheels] == expanded(pattern)
    assert layout.unit == unit


@pytest.mark.parametrize("name", AMBIGUOUS)
def test_ambiguity_is_told_with_lines_to_paste(name: str, open_dbcs: dict[str, Path]) -> None:
    with pytest.raises(AmbiguousWheelsError) as caught:
        find_wheels(read_definitions(open_dbcs[name]), Vehicle())
    assert "[wheels]" in caught.value.details
    for part in AMBIGUOUS[name]:
        assert part in caught.value.details


def test_no_other_file_gets_an_assignment(open_dbcs: dict[str, Path]) -> None:
    for name in open_dbcs.keys() - FOUR_NAMED.keys() - AMBIGUOUS.keys():
        with pytest.raises(DefinitionsError) as caught:
            find_wheels(read_definitions(open_dbcs[name]), Vehicle())
        assert not isinstance(caught.value, AmbiguousWheelsError), name
        if name in HALF:
            assert HALF[name] in str(caught.value)
        else:
            assert "has no wheel speeds" in str(caught.value), name


def test_driven_axle_of_the_vehicle_file_names_the_corners(open_dbcs: dict[str, Path]) -> None:
    definitions = read_definitions(open_dbcs["gm_global_a_lowspeed_1818125.dbc"])
    names = ["LftDrvn", "RtDrvn", "LftNnDrvn", "RtNnDrvn"]
    for driven, order in (("front", names), ("rear", [*names[2:], *names[:2]])):
        layout = find_wheels(definitions, Vehicle(vehicle=VehicleFacts(driven=driven)))  # type: ignore[arg-type]
        assert [place.signal.removeprefix("WhlGrndVlcty") for place in layout.wheels] == order


def test_a_recording_can_settle_what_the_dbc_leaves_open(open_dbcs: dict[str, Path]) -> None:
    definitions = read_definitions(open_dbcs["hyundai_santafe_2007.dbc"])
    assigned = assign_wheels(definitions, Vehicle(), heard=lambda ids: ids.value == 0x580)
    assert {place.message for place in assigned.layout.wheels} == {"ABS_WheelSpeed"}
    assert len(assigned.runners_up) == 2


def test_a_better_set_is_preferred_and_the_others_are_named(open_dbcs: dict[str, Path]) -> None:
    assigned = assign_wheels(read_definitions(open_dbcs["hyundai_i30_2014.dbc"]), Vehicle())
    assert [family.messages for family in assigned.runners_up] == [("TCS5",), ("WHL_PUL",)]
