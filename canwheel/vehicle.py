"""The vehicle file: what is known of the car beside its DBC. TOML, every key optional.

Tyre sizes become rolling circumferences by the ETRTO rule C = F · d: d the free diameter by the
size marking (ISO 4000-1), F = 3.05 for radial and 2.99 for bias-ply tyres (seen second-hand).
"""

import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated, Literal

import msgspec

from canwheel.corners import Side
from canwheel.errors import VehicleError
from canwheel.toml_file import read_toml

Positive = Annotated[float, msgspec.Meta(gt=0)]
CanId = Annotated[int, msgspec.Meta(ge=0, lt=1 << 29)]
Byte = Annotated[int, msgspec.Meta(ge=0, le=0xFF)]
SignalPath = Annotated[str, msgspec.Meta(pattern=r"^[^.\s]+\.[^.\s]+$")]

ASSUMED_CIRCUMFERENCE_M = 1.94
"""Taken when nobody gives a tyre; ratios between corners do not depend on it. [m]"""

UNNAMED = "vehicle file"
"""Where an error stands about what a vehicle file says, for whoever does not know its path."""

_BOUNDS_M = {
    "rolling_circumference_m": (0.5, 5.0),
    "wheelbase_m": (0.5, 10.0),
    "track_m": (0.3, 4.0),
}
"""Least and most that each length can be, from a go-kart to a heavy lorry; our choice. [m]"""

_ETRTO_FACTOR = {"R": 3.05, "": 2.99, "-": 2.99, "D": 2.99, "B": 2.99}
_TYRE = re.compile(
    r"^\s*(?:P|LT)?\s*(?P<width>\d{3})\s*/\s*(?P<aspect>\d{2,3})\s*"
    r"Z?(?P<build>[RDB-]?)F?\s*(?P<rim>\d{2}(?:\.5)?)(?:C|\b)",
    re.IGNORECASE,
)


class VehicleFacts(msgspec.Struct, forbid_unknown_fields=True, frozen=True):
    """Section ``[vehicle]``."""

    name: str | None = None
    drive_side: Side | None = None
    driven: Literal["front", "rear", "all"] | None = None
    wheelbase_m: Positive | None = None
    track_m: Positive | None = None
    tyre: str | None = None
    rolling_circumference_m: Positive | None = None
    ring_teeth: Annotated[int, msgspec.Meta(ge=8, le=256)] | None = None


class WheelSignals(msgspec.Struct, forbid_unknown_fields=True, frozen=True):
    """Section ``[wheels]``: ``Message.Signal`` for the corners whose names do not say it."""

    FL: SignalPath | None = None
    FR: SignalPath | None = None
    RL: SignalPath | None = None
    RR: SignalPath | None = None


class HelperSignals(msgspec.Struct, forbid_unknown_fields=True, frozen=True):
    """Section ``[signals]``: optional helpers, ``Message.Signal``."""

    speed: SignalPath | None = None
    steering: SignalPath | None = None
    yaw_rate: SignalPath | None = None
    brake: SignalPath | None = None
    lamp_abs: SignalPath | None = None
    lamp_stability: SignalPath | None = None
    lamp_brake: SignalPath | None = None


class BusFacts(msgspec.Struct, forbid_unknown_fields=True, frozen=True):
    """Section ``[bus]``."""

    bitrate: Annotated[int, msgspec.Meta(gt=0)] | None = None


class FaultMemoryFacts(msgspec.Struct, forbid_unknown_fields=True, frozen=True):
    """Section ``[fault_memory]``: only for reading and clearing stored codes.

    Attributes
    ----------
    request_id, response_id : identifiers that the brake control unit listens to and answers on.
    id_bits : their width; without it 11 where both fit, else 29.
    addressing : ``extended`` when a byte in front of every payload says whom it is for
        (ISO 15765-2); `target_address` is the unit's byte, `source_address` the tester's.
    padding : byte that fills a request up to eight bytes, or ``none`` for short frames. 0xCC is
        what ISO 15765-2 proposes (from memory).
    session : the diagnostic session in which this unit is said to answer. It is only told when the
        unit refuses; no session is ever opened, whatever stands here.
    """

    request_id: CanId | None = None
    response_id: CanId | None = None
    id_bits: Literal[11, 29] | None = None
    addressing: Literal["normal", "extended"] = "normal"
    target_address: Byte | None = None
    source_address: Byte | None = None
    padding: Byte | Literal["none"] = 0xCC
    session: Byte | None = None


class Vehicle(msgspec.Struct, forbid_unknown_fields=True, frozen=True):
    """The whole vehicle file; an empty one is a valid one."""

    vehicle: VehicleFacts = VehicleFacts()
    wheels: WheelSignals = WheelSignals()
    signals: HelperSignals = HelperSignals()
    bus: BusFacts = BusFacts()
    fault_memory: FaultMemoryFacts = FaultMemoryFacts()

    @property
    def drive_side(self) -> Side | None:
        """Side the steering wheel is on, where it is known."""
        return self.vehicle.drive_side

    @property
    def circumference_m(self) -> float:
        """Rolling circumference: as given, by tyre size, or the assumed one. [m]"""
        if self.vehicle.rolling_circumference_m is not None:
            return self.vehicle.rolling_circumference_m
        if self.vehicle.tyre is not None:
            return rolling_circumference_m(self.vehicle.tyre)
        return ASSUMED_CIRCUMFERENCE_M

    @property
    def circumference_is_known(self) -> bool:
        """Whether somebody gave a circumference or a tyre size."""
        facts = self.vehicle
        return facts.rolling_circumference_m is not None or facts.tyre is not None


def rolling_circumference_m(tyre: str) -> float:
    """Rolling circumference of a tyre by its size marking, ``195/65 R15``. [m]

    Raises
    ------
    ValueError : no size marking, or one of a tyre that fits nothing on wheels.
    """
    size = _TYRE.match(tyre)
    if size is None:
        raise ValueError(f"{tyre!r} is no tyre size like '195/65 R15'")
    side_wall_mm = float(size["width"]) * float(size["aspect"]) / 100
    diameter_mm = 25.4 * float(size["rim"]) + 2 * side_wall_mm
    circumference_m = _ETRTO_FACTOR[size["build"].upper()] * diameter_mm / 1000
    least_m, most_m = _BOUNDS_M["rolling_circumference_m"]
    if not least_m <= circumference_m <= most_m:
        raise ValueError(
            f"a tyre {tyre!r} would roll {circumference_m:.2f} m a turn, as no tyre does"
        )
    return circumference_m


_ALLOWED = {
    "vehicle.drive_side": '"left" or "right"',
    "vehicle.driven": '"front", "rear" or "all"',
    "fault_memory.id_bits": "11 or 29",
    "fault_memory.addressing": '"normal" or "extended"',
    "fault_memory.padding": 'a byte, 0 to 255, or "none"',
}
"""What may stand under keys of which the library would say less."""


def read_vehicle(path: Path) -> Vehicle:
    """Read and check a vehicle file.

    Raises
    ------
    VehicleError : unreadable, no TOML, an unknown key, a wrong type or an impossible value; the
        message names the line or the key.
    """
    vehicle = read_toml(path, Vehicle, VehicleError, "a vehicle file", allowed=_ALLOWED)
    try:
        if vehicle.vehicle.tyre is not None:
            rolling_circumference_m(vehicle.vehicle.tyre)
    except ValueError as error:
        raise VehicleError(
            str(error), where=f"{path}, vehicle.tyre", remedy="write the size on the side wall"
        ) from error
    _check_lengths(vehicle.vehicle, path)
    return vehicle


@contextmanager
def naming(path: Path | None) -> Iterator[None]:
    """Have errors about what a vehicle file says name the file.

    Parameters
    ----------
    path : of the file, None where there is none.

    Raises
    ------
    VehicleError : what came out, with the path in `where`.
    """
    try:
        yield
    except VehicleError as error:
        if path is not None and error.where.startswith(UNNAMED):
            error.where = f"{path}{error.where.removeprefix(UNNAMED)}"
        raise


def _check_lengths(facts: VehicleFacts, path: Path) -> None:
    """Refuse lengths that are none in metres: corners would be accused by them.

    Raises
    ------
    VehicleError : one is too short or too long, or not finite.
    """
    for key, (least_m, most_m) in _BOUNDS_M.items():
        length: float | None = getattr(facts, key)
        if length is None or least_m <= length <= most_m:
            continue
        meant_m = next(
            (length / parts for parts in (1000, 100) if least_m <= length / parts <= most_m), None
        )
        raise VehicleError(
            f"{length:g} is no length in metres that this can be",
            where=f"{path}, vehicle.{key}",
            remedy=(
                f"give it in metres, {least_m:g} to {most_m:g}"
                if meant_m is None
                else f"write {meant_m:g}, if that is what it is in metres"
            ),
        )
