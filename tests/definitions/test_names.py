"""Names and comments to corners, spellings as they stand in open and in imagined DBC files."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from canwheel.corners import Corner
from canwheel.definitions.names import (
    Position,
    driven_axle_side,
    position_in_comment,
    position_in_name,
    words_in,
)

FOUR_TIMES = [
    "WHL_SPD_FL WHL_SPD_FR WHL_SPD_RL WHL_SPD_RR",
    "WhlSpdLF WhlSpdRF WhlSpdLR WhlSpdRR",
    "WHL_SpdFLVal WHL_SpdFRVal WHL_SpdRLVal WHL_SpdRRVal",
    "FLWheelSpd FRWheelSpd RLWheelSpd RRWheelSpd",
    "wheelspeedfl wheelspeedfr wheelspeedrl wheelspeedrr",
    "wheelSpeedFrL wheelSpeedFrR wheelSpeedReL wheelSpeedReR",
    "vWhlFrtL vWhlFrtR vWhlRrL vWhlRrR",
    "FrontLeft FrontRight RearLeft RearRight",
    "LeftFront RightFront LeftRear RightRear",
    "front_left_speed front_right_speed back_left_speed back_right_speed",
    "FRONT_WHEEL_SPEED_LEFT FRONT_WHEEL_SPEED_RIGHT REAR_WHEEL_SPEED_LEFT REAR_WHEEL_SPEED_RIGHT",
    "Spd_F_L Spd_F_R Spd_R_L Spd_R_R",
    "V_Left_Front V_Right_Front V_Left_Rear V_Right_Rear",
    "Radgeschw_VL Radgeschw_VR Radgeschw_HL Radgeschw_HR",
    "radgeschwvl radgeschwvr radgeschwhl radgeschwhr",
    "Rad_vorne_links Rad_vorne_rechts Rad_hinten_links Rad_hinten_rechts",
    "RadVoLi RadVoRe RadHiLi RadHiRe",
    "VitesseRoueAvG VitesseRoueAvD VitesseRoueArG VitesseRoueArD",
    "roue_avant_gauche roue_avant_droite roue_arriere_gauche roue_arriere_droite",
    "VelRuotaAntSx VelRuotaAntDx VelRuotaPostSx VelRuotaPostDx",
    "delantera_izquierda delantera_derecha trasera_izquierda trasera_derecha",
    "ABS_Rad_1_VL_2 ABS_Rad_2_VR_2 ABS_Rad_3_HL_2 ABS_Rad_4_HR_2",
]


@pytest.mark.parametrize("names", FOUR_TIMES)
def test_four_names(names: str) -> None:
    assert [position_in_name(name).corner for name in names.split()] == list(Corner)


@pytest.mark.parametrize(
    ("name", "position"),
    [
        ("EBCMWheelSpdRear", Position("rear", None)),
        ("WHEEL_SPEED_LEFT", Position(None, "left")),
        ("WheelSpeedAvg", Position()),
        ("FL_TO_RR_DIFFERENCE", Position()),
        ("Front_Left_Rear_Right", Position()),
        ("YAW_RATE", Position()),
        ("VEHICLE_SPEED", Position()),
        ("", Position()),
        ("__", Position()),
        ("1234", Position()),
    ],
)
def test_what_names_no_corner_names_none(name: str, position: Position) -> None:
    assert position_in_name(name) == position


@pytest.mark.parametrize(
    ("text", "corner"),
    [
        ("Wheel speed left rear", Corner.RL),
        ("Radgeschwindigkeit vorne links", Corner.FL),
        ("Drehzahl rechtes Hinterrad", Corner.RR),
        ("speed of the FR wheel, 10 ms", Corner.FR),
        ("vitesse de la roue avant gauche", Corner.FL),
        ("Front left or front right, by variant", None),
        ("sent by the front module", None),
        ("difference of FL and FR", None),
        ("", None),
    ],
)
def test_comments(text: str, corner: Corner | None) -> None:
    assert position_in_comment(text).corner == corner


def test_the_driven_axle_in_a_name() -> None:
    assert driven_axle_side("WhlLftDrvn", "rear") == Position("rear", "left")
    assert driven_axle_side("WhlRtNnDrvn", "rear") == Position("front", "right")
    assert driven_axle_side("whl_spd_non_driven_left", "front") == Position("rear", "left")
    assert driven_axle_side("DriverDoor", "front") == Position()


@given(st.text(max_size=200))
def test_any_text_is_taken_apart_without_harm(text: str) -> None:
    assert all(word == word.lower() for word in words_in(text))
    position_in_name(text)
    position_in_comment(text)


@given(st.text(alphabet="flr", min_size=41, max_size=300))
def test_a_long_run_of_letters_costs_nothing(text: str) -> None:
    assert words_in(text) == (text,)
