"""What stands in which message: the simulated car's own definition of its bus, and its DBC text."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Literal

from canwheel.corners import Corner
from canwheel.definitions.layout import BitField, ByteOrder, HelperName

HelperQuantity = HelperName
OtherQuantity = Literal[
    "engine_speed", "pedal", "gear", "coolant", "fuel", "counter", "checksum", "odometer", "zero"
]
BusQuantity = Literal[
    # the car's motion
    "car_speed", "late_speed", "front_speed", "rear_speed", "distance", "lateral", "longitudinal",
    "steering_rate", "steering_torque",
    # engine, gearbox and brakes
    "torque", "air_mass", "throttle", "oil", "output_speed", "clutch", "brake_pressure",
    "wheel_pressure", "fuel_used",
    # body and dash
    "outside", "battery", "tyre_pressure", "tyre_temperature", "switch", "indicator", "clock",
    # what only the bus itself needs
    "constant", "walk", "noise", "random", "selector", "crc8", "xor",
]  # fmt: skip
"""What the rest of a car's bus talks about; see `background` for who says what."""
Quantity = Corner | HelperQuantity | OtherQuantity | BusQuantity
"""What a signal tells: a corner's speed, a helper, or what else a car talks about."""

_EXTENDED_IN_DBC = 1 << 31
"""A DBC marks a 29-bit identifier by this bit."""


@dataclass(frozen=True, slots=True)
class SentSignal:
    """One signal; value = raw * scale + offset, in `unit`.

    Attributes
    ----------
    quantity : what it tells.
    invalid_raw : raw value that says "invalid", None where it has none.
    page : it is there only in sendings whose selector holds this; None in all.
    """

    name: str
    quantity: Quantity
    start: int
    length: int
    scale: float = 1.0
    offset: float = 0.0
    unit: str = ""
    byte_order: ByteOrder = "little_endian"
    is_signed: bool = False
    minimum: float = 0.0
    maximum: float = 0.0
    invalid_raw: int | None = None
    comment: str = ""
    page: int | None = None

    @property
    def bits(self) -> BitField:
        """Where it stands."""
        return BitField(self.start, self.length, self.byte_order, self.is_signed)


@dataclass(frozen=True, slots=True)
class SentMessage:
    """One message, sent once every `cycle_s`."""

    name: str
    frame_id: int
    signals: tuple[SentSignal, ...]
    cycle_s: float = 0.02
    length: int = 8
    sender: str = "BRAKE_UNIT"
    extended: bool = False
    fd: bool = False
    comment: str = ""

    @property
    def corners(self) -> tuple[Corner, ...]:
        """The corners whose speed it carries."""
        return tuple(s.quantity for s in self.signals if isinstance(s.quantity, Corner))


@dataclass(frozen=True, slots=True)
class BusLayout:
    """All that a DBC file describes.

    Attributes
    ----------
    name : file name without its suffix.
    messages : in the order in which the file lists them.
    vehicle_toml : text of the vehicle file that goes with it.
    """

    name: str
    messages: tuple[SentMessage, ...]
    bitrate: int = 500_000
    vehicle_toml: str = field(default="", repr=False)
    comment: str = ""

    def signals(self) -> Iterator[tuple[SentMessage, SentSignal]]:
        """Every signal with its message."""
        return ((message, signal) for message in self.messages for signal in message.signals)

    def path(self, quantity: Quantity) -> str:
        """``Message.Signal`` of what tells a quantity.

        Raises
        ------
        KeyError : nothing does.
        """
        for message, signal in self.signals():
            if signal.quantity == quantity:
                return f"{message.name}.{signal.name}"
        raise KeyError(quantity)

    @property
    def wheel_messages(self) -> tuple[SentMessage, ...]:
        """Those that carry at least one corner."""
        return tuple(message for message in self.messages if message.corners)

    def wheels_only(self) -> "BusLayout":
        """The same without every other message."""
        return BusLayout(self.name, self.wheel_messages, self.bitrate, self.vehicle_toml)


def dbc_text(layout: BusLayout) -> str:
    """Write the layout as a DBC file."""
    senders = dict.fromkeys(message.sender for message in layout.messages)
    lines = ['VERSION ""', "", "NS_ :", "", "BS_:", "", f"BU_: {' '.join(senders)} TESTER", ""]
    for message in layout.messages:
        dbc_id = message.frame_id | (_EXTENDED_IN_DBC if message.extended else 0)
        lines.append(f"BO_ {dbc_id} {message.name}: {message.length} {message.sender}")
        lines += [_signal_line(signal) for signal in message.signals]
        lines.append("")
    if layout.comment:
        lines.append(f'CM_ "{layout.comment}";')
    for message in layout.messages:
        dbc_id = message.frame_id | (_EXTENDED_IN_DBC if message.extended else 0)
        if message.comment:
            lines.append(f'CM_ BO_ {dbc_id} "{message.comment}";')
        lines += [
            f'CM_ SG_ {dbc_id} {signal.name} "{signal.comment}";'
            for signal in message.signals
            if signal.comment
        ]
    lines += _attribute_lines(layout)
    for message, signal in layout.signals():
        if signal.invalid_raw is not None:
            dbc_id = message.frame_id | (_EXTENDED_IN_DBC if message.extended else 0)
            lines.append(f'VAL_ {dbc_id} {signal.name} {signal.invalid_raw} "invalid" ;')
    return "\n".join(lines) + "\n"


def _signal_line(signal: SentSignal) -> str:
    order = 1 if signal.byte_order == "little_endian" else 0
    sign = "-" if signal.is_signed else "+"
    place = f"{signal.start}|{signal.length}@{order}{sign}"
    figures = f"({signal.scale:.12g},{signal.offset:.12g}) "
    figures += f"[{signal.minimum:.12g}|{signal.maximum:.12g}]"
    page = "M " if signal.quantity == "selector" else ""
    page += "" if signal.page is None else f"m{signal.page} "
    return f' SG_ {signal.name} {page}: {place} {figures} "{signal.unit}" TESTER'


def _attribute_lines(layout: BusLayout) -> list[str]:
    lines = ['BA_DEF_ BO_ "GenMsgCycleTime" INT 0 65535;']
    has_fd = any(message.fd for message in layout.messages)
    if has_fd:
        lines.append(
            'BA_DEF_ BO_ "VFrameFormat" ENUM "StandardCAN","ExtendedCAN","reserved","J1939PG",'
            '"reserved","reserved","reserved","reserved","reserved","reserved","reserved",'
            '"reserved","reserved","reserved","StandardCAN_FD","ExtendedCAN_FD";'
        )
    lines.append('BA_DEF_DEF_ "GenMsgCycleTime" 0;')
    if has_fd:
        lines.append('BA_DEF_DEF_ "VFrameFormat" "StandardCAN";')
    for message in layout.messages:
        dbc_id = message.frame_id | (_EXTENDED_IN_DBC if message.extended else 0)
        lines.append(f'BA_ "GenMsgCycleTime" BO_ {dbc_id} {round(message.cycle_s * 1000)};')
        if has_fd:
            form = (14 if message.fd else 0) + message.extended
            lines.append(f'BA_ "VFrameFormat" BO_ {dbc_id} {form};')
    return lines


def unit_per_kph(unit: str, *, circumference_m: float, teeth: int) -> float:
    """How many of a wheel signal's unit one km/h is.

    Raises
    ------
    ValueError : a unit that no wheel speed is told in.
    """
    turns = 1 / 3.6 / circumference_m  # revolutions a second at one km/h
    table = {
        "km/h": 1.0,
        "mph": 1 / 1.609344,
        "m/s": 1 / 3.6,
        "rad/s": turns * 2 * 3.141592653589793,
        "rpm": turns * 60,
        "pulses/s": turns * teeth,
        "": 1.0,
    }
    if unit not in table:
        raise ValueError(f"{unit!r} is no unit of a wheel speed")
    return table[unit]
