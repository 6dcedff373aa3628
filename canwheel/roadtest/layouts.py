"""Ready-made layouts: three invented vehicles, as `dbc_examples/` shows them."""

from canwheel.corners import CORNERS, Corner
from canwheel.roadtest.bus_layout import BusLayout, SentMessage, SentSignal

VAN_REQUEST_ID, VAN_RESPONSE_ID = 0x7A0, 0x7A8
"""Where the van's brake unit listens for diagnostic requests, and answers."""

_VAN_TOML = f"""\
# The van of the demo. Every key is optional; what is known makes the answer sharper.
[vehicle]
name = "Bakery van 7"
drive_side = "right"
driven = "front"
wheelbase_m = 2.98
track_m = 1.60
tyre = "195/65 R15"
ring_teeth = 48

[signals]
speed = "DASH.DASH_SPEED"
steering = "STEERING.STEERING_WHEEL_ANGLE"
yaw_rate = "MOTION.YAW_RATE"
brake = "PEDALS.BRAKE_PRESSED"
lamp_abs = "WARNING_LAMPS.LAMP_ABS"
lamp_stability = "WARNING_LAMPS.LAMP_STABILITY"
lamp_brake = "WARNING_LAMPS.LAMP_BRAKE"

[bus]
bitrate = 500000

[fault_memory]
request_id = 0x{VAN_REQUEST_ID:X}
response_id = 0x{VAN_RESPONSE_ID:X}
"""

_WORDS = {"FL": "front left", "FR": "front right", "RL": "rear left", "RR": "rear right"}


def _van_wheel(corner: Corner, start: int) -> SentSignal:
    return SentSignal(
        name=f"WHEEL_SPEED_{corner}",
        quantity=corner,
        start=start,
        length=13,
        scale=0.03125,
        unit="km/h",
        maximum=250.0,
        invalid_raw=8191,
        comment=f"Speed of the {_WORDS[corner]} wheel",
    )


BAKERY_VAN = BusLayout(
    name="bakery_van",
    vehicle_toml=_VAN_TOML,
    comment="An invented delivery van; no real car has this bus.",
    messages=(
        SentMessage(
            "PEDALS",
            0x0E4,
            (
                SentSignal("PEDAL_POSITION", "pedal", 0, 8, 0.5, unit="%", maximum=100),
                SentSignal("BRAKE_PRESSED", "brake", 8, 1, maximum=1),
            ),
            cycle_s=0.2,
            length=2,
            sender="ENGINE_UNIT",
        ),
        SentMessage(
            "MOTION",
            0x14C,
            (
                SentSignal(
                    "YAW_RATE",
                    "yaw_rate",
                    0,
                    12,
                    0.1,
                    unit="deg/s",
                    is_signed=True,
                    minimum=-100,
                    maximum=100,
                    comment="Left positive",
                ),
            ),
            cycle_s=0.2,
            length=2,
        ),
        SentMessage(
            "WHEELS",
            0x1B2,
            tuple(_van_wheel(corner, 13 * corner.position) for corner in CORNERS),
            cycle_s=0.04,
            length=7,
            comment="The four wheel speeds; 8191 says that the unit has no value",
        ),
        SentMessage(
            "STEERING",
            0x1C6,
            (
                SentSignal(
                    "STEERING_WHEEL_ANGLE",
                    "steering",
                    7,
                    16,
                    0.5,
                    unit="deg",
                    byte_order="big_endian",
                    is_signed=True,
                    minimum=-780,
                    maximum=780,
                    comment="Left positive",
                ),
            ),
            cycle_s=0.2,
            length=2,
            sender="STEERING_UNIT",
        ),
        SentMessage(
            "ENGINE",
            0x2D0,
            (
                SentSignal("ENGINE_SPEED", "engine_speed", 0, 8, 32, unit="rpm", maximum=8000),
                SentSignal("GEAR", "gear", 8, 4, maximum=6),
                SentSignal("COOLANT", "coolant", 16, 8, 1, -40, "degC", minimum=-40, maximum=150),
            ),
            cycle_s=0.5,
            length=3,
            sender="ENGINE_UNIT",
        ),
        SentMessage(
            "DASH",
            0x3A8,
            (
                SentSignal("DASH_SPEED", "speed", 0, 8, unit="km/h", maximum=250),
                SentSignal("ODOMETER", "odometer", 8, 24, unit="km", maximum=999_999),
                SentSignal("FUEL", "fuel", 32, 8, 0.5, unit="%", maximum=100),
            ),
            cycle_s=1.0,
            length=5,
            sender="DASH_UNIT",
        ),
        SentMessage(
            "WARNING_LAMPS",
            0x3D1,
            (
                SentSignal("LAMP_ABS", "lamp_abs", 0, 1, maximum=1),
                SentSignal("LAMP_STABILITY", "lamp_stability", 1, 1, maximum=1),
                SentSignal("LAMP_BRAKE", "lamp_brake", 2, 1, maximum=1),
            ),
            cycle_s=1.0,
            length=1,
            comment="1 is lit",
        ),
    ),
)

_PICKUP_TOML = """\
# A pickup whose DBC names the wheels by letters: [wheels] says which corner each one is.
[vehicle]
name = "Nursery pickup"
drive_side = "left"
driven = "rear"
tyre = "215/75 R15"

[wheels]
FL = "BRAKE_A.SPD_A"
FR = "BRAKE_A.SPD_B"
RL = "BRAKE_B.SPD_C"
RR = "BRAKE_B.SPD_D"

[signals]
lamp_abs = "LAMPS.AL"
"""


def _pickup_wheel(letter: str, corner: Corner, start: int) -> SentSignal:
    return SentSignal(
        name=f"SPD_{letter}",
        quantity=corner,
        start=start,
        length=16,
        scale=0.01,
        offset=-50.0,
        unit="mph",
        byte_order="big_endian",
        minimum=0.0,
        maximum=160.0,
        invalid_raw=65535,
    )


NURSERY_PICKUP = BusLayout(
    name="nursery_pickup",
    vehicle_toml=_PICKUP_TOML,
    comment="An invented pickup: front and rear wheels in two messages, miles an hour, an offset.",
    messages=(
        SentMessage(
            "BRAKE_A",
            0x0F5,
            (
                _pickup_wheel("A", Corner.FL, 7),
                _pickup_wheel("B", Corner.FR, 23),
                SentSignal("COUNT_A", "counter", 39, 4, byte_order="big_endian", maximum=15),
                SentSignal("CHECK_A", "checksum", 63, 8, byte_order="big_endian", maximum=255),
            ),
        ),
        SentMessage(
            "BRAKE_B",
            0x0F9,
            (
                _pickup_wheel("C", Corner.RL, 7),
                _pickup_wheel("D", Corner.RR, 23),
                SentSignal("COUNT_B", "counter", 39, 4, byte_order="big_endian", maximum=15),
                SentSignal("CHECK_B", "checksum", 63, 8, byte_order="big_endian", maximum=255),
            ),
        ),
        SentMessage("LAMPS", 0x4A0, (SentSignal("AL", "lamp_abs", 4, 1, maximum=1),), 0.5, 1),
    ),
)

_MINIBUS_TOML = """\
# A minibus that sends wrapped counts of ring pulses in one long CAN FD frame.
[vehicle]
name = "School minibus"
drive_side = "right"
driven = "rear"
rolling_circumference_m = 2.10
ring_teeth = 60
"""


def _minibus_wheel(corner: Corner, start: int) -> SentSignal:
    return SentSignal(
        name=f"WHEEL_PULSES_{_WORDS[corner].replace(' ', '_').upper()}",
        quantity=corner,
        start=start,
        length=16,
        unit="pulses",
        maximum=65535,
        comment="Ring pulses since the start, modulo 65536",
    )


SCHOOL_MINIBUS = BusLayout(
    name="school_minibus",
    vehicle_toml=_MINIBUS_TOML,
    comment="An invented minibus: 29-bit identifiers, CAN FD, pulse counters in place of speeds.",
    messages=(
        SentMessage(
            "CHASSIS",
            0x0CF3E521,
            (
                SentSignal("COUNT", "counter", 0, 8, maximum=255),
                *(_minibus_wheel(corner, 16 + 16 * corner.position) for corner in CORNERS),
                SentSignal("BRAKE_PRESSED", "brake", 80, 1, maximum=1),
                SentSignal("LAMP_ABS", "lamp_abs", 81, 1, maximum=1),
            ),
            cycle_s=0.02,
            length=12,
            extended=True,
            fd=True,
        ),
    ),
)

READY_MADE = (BAKERY_VAN, NURSERY_PICKUP, SCHOOL_MINIBUS)
