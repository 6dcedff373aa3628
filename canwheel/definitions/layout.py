"""`WheelLayout`: where the four wheel speeds and the helpers stand on the bus.

Plain facts, free of the library that read them, so that the stations after this one need no DBC.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from canwheel.corners import CORNERS, Corner
from canwheel.frames import IdPattern, Wanted

ByteOrder = Literal["little_endian", "big_endian"]

SpeedUnit = Literal["km/h", "mph", "m/s", "rad/s", "rpm", "pulses/s", "pulse count", "proportional"]
"""What a wheel signal counts in. ``pulse count`` is a wrapped counter of ring pulses;
``proportional`` is a speed in a unit that the DBC does not say."""

HelperName = Literal[
    "speed", "steering", "yaw_rate", "brake", "lamp_abs", "lamp_stability", "lamp_brake"
]


@dataclass(frozen=True, slots=True)
class RawRange:
    """Raw values, both ends included, that mean something else than a value."""

    low: int
    high: int
    meaning: str  # what the DBC or the standard calls it: "error", "not available", ...


@dataclass(frozen=True, slots=True)
class BitField:
    """Where a number stands in a payload, as a DBC tells it.

    `start` is the DBC's own start bit: the least significant bit of a little-endian field, the
    most significant one of a big-endian field, counted byte * 8 + bit with bit 0 the lowest.
    """

    start: int
    length: int
    byte_order: ByteOrder
    is_signed: bool = False
    is_float: bool = False

    @property
    def bytes_needed(self) -> int:
        """Shortest payload that holds the whole field."""
        if self.byte_order == "little_endian":
            return (self.start + self.length - 1) // 8 + 1
        first_byte_bits = self.start % 8 + 1
        return self.start // 8 + 1 + max(0, -(-(self.length - first_byte_bits) // 8))


@dataclass(frozen=True, slots=True)
class Multiplex:
    """The signal is there only when the selector field holds one of these raw values."""

    selector: BitField
    values: frozenset[int]


@dataclass(frozen=True, slots=True)
class ValidityField:
    """A field beside a signal, in the same frame, that says whether the signal counts.

    It does while the field holds one of the raw values in `valid`.
    """

    signal: str
    bits: BitField
    valid: frozenset[int]


@dataclass(frozen=True, slots=True)
class SignalPlace:
    """One signal: which message, which bits, what they mean.

    Value = raw * scale + offset, in `unit` as the DBC spells it. A signal that is `relative_to`
    another one of the same frame is the difference from it, and its value the sum of the two; at
    `minimum` and `maximum` such a signal is clipped, and then says nothing but "at least" or "at
    most".
    """

    message: str
    signal: str
    frame_id: int
    ids: IdPattern
    bits: BitField
    scale: float
    offset: float
    unit: str
    minimum: float | None = None
    maximum: float | None = None
    multiplex: tuple[Multiplex, ...] = ()  # nested selectors, all must hold
    not_values: tuple[RawRange, ...] = ()
    validity: tuple[ValidityField, ...] = ()
    relative_to: "SignalPlace | None" = None
    cycle_s: float | None = None
    comment: str = ""

    @property
    def path(self) -> str:
        """``Message.Signal``, as a vehicle file names it."""
        return f"{self.message}.{self.signal}"

    @property
    def counter_modulus(self) -> int:
        """How many values a counter here goes through before it starts again.

        All that its bits can hold, unless the DBC states a maximum that leaves a few of the
        highest out: those are then kept for marks such as "invalid".
        """
        full = 1 << self.bits.length
        if self.maximum is None or self.scale <= 0:
            return full
        stated = round((self.maximum - self.offset) / self.scale) + 1
        return stated if full // 2 < stated < full else full


@dataclass(frozen=True, slots=True)
class WheelLayout:
    """The four corners' signals and the helpers of one vehicle.

    Attributes
    ----------
    file : name of the DBC file.
    wheels : one place a corner, in corner order.
    unit : what all four count in.
    helpers : the optional signals that the vehicle file or the DBC offers.
    cautions : what to bear in mind of this layout, in plain sentences.
    """

    file: str
    wheels: tuple[SignalPlace, SignalPlace, SignalPlace, SignalPlace]
    unit: SpeedUnit
    helpers: Mapping[HelperName, SignalPlace] = field(default_factory=dict)
    cautions: tuple[str, ...] = ()

    def wheel(self, corner: Corner) -> SignalPlace:
        """Place of one corner's signal."""
        return self.wheels[corner.position]

    @property
    def wheel_ids(self) -> Wanted:
        """The identifiers that carry a wheel, each once."""
        return tuple(dict.fromkeys(self.wheel(corner).ids for corner in CORNERS))

    @property
    def wanted(self) -> Wanted:
        """The identifiers that carry a wheel or a helper, each once."""
        return tuple(dict.fromkeys((*self.wheel_ids, *(h.ids for h in self.helpers.values()))))
