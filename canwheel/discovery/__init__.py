"""Wheel speeds found without a DBC: captures to proposals, for a person to decide on."""

from canwheel.discovery.discover import discover_capture, discover_wheels
from canwheel.discovery.hints import (
    DeclaredTurn,
    HeldSpeed,
    Hints,
    SatelliteTrack,
    SteeringField,
)
from canwheel.discovery.proposal import Candidate, Discovery, WheelField

__all__ = [
    "Candidate",
    "DeclaredTurn",
    "Discovery",
    "HeldSpeed",
    "Hints",
    "SatelliteTrack",
    "SteeringField",
    "WheelField",
    "discover_capture",
    "discover_wheels",
]
