"""The corners as a DBC, a vehicle file and a recording together tell them."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from canwheel.capture import read_capture
from canwheel.capture.source import Progress
from canwheel.definitions.assign import Assignment, assign_wheels, wheel_sets
from canwheel.definitions.dbc import Definitions
from canwheel.definitions.layout import SignalPlace
from canwheel.frames import IdPattern
from canwheel.vehicle import Vehicle


@dataclass(frozen=True, slots=True)
class Survey:
    """Which signal is which corner, and how often each was heard.

    Attributes
    ----------
    definitions : what the DBC defines, and what of it was passed over.
    assignment : the corners, and why.
    capture : name of the recording, None without one.
    per_second : frames a second in the recording, by identifier; empty without one. [1/s]
    """

    definitions: Definitions
    assignment: Assignment
    capture: str | None
    per_second: Mapping[IdPattern, float]

    def rate(self, place: SignalPlace) -> float | None:
        """How often a signal's message came, None when nobody listened. [1/s]"""
        return self.per_second.get(place.ids)


def survey_corners(
    definitions: Definitions,
    vehicle: Vehicle,
    capture: Path | None = None,
    *,
    progress: Progress | None = None,
) -> Survey:
    """Find the corners, with the help of a recording where there is one.

    Of several sets of wheel speeds that the DBC has, those that the recording holds come first.

    Raises
    ------
    CaptureError : the recording cannot be read.
    VehicleError, AmbiguousWheelsError, DefinitionsError : as `find_wheels`.
    """
    if capture is None:
        return Survey(definitions, assign_wheels(definitions, vehicle), None, {})
    places = [wheel.place for family in wheel_sets(definitions, vehicle) for wheel in family.wheels]
    per_second = measure_rates(capture, places, progress=progress)
    assignment = assign_wheels(
        definitions, vehicle, heard=lambda ids: per_second.get(ids, 0.0) > 0.0
    )
    unknown = [place for place in assignment.layout.wheels if place.ids not in per_second]
    if unknown:  # named by the vehicle file only
        per_second |= measure_rates(capture, unknown, progress=progress)
    return Survey(definitions, assignment, str(capture), per_second)


def measure_rates(
    capture: Path, places: Iterable[SignalPlace], *, progress: Progress | None = None
) -> dict[IdPattern, float]:
    """Count how often the messages of some signals came. [1/s]

    Raises
    ------
    CaptureError : the recording cannot be read.
    """
    wanted = tuple(dict.fromkeys(place.ids for place in places))
    if not wanted:
        return {}
    recording = read_capture(capture, wanted, progress=progress)
    frames, duration_s = recording.frames, recording.summary.duration_s
    rates = {}
    for ids in wanted:
        count = int(np.count_nonzero(ids.matches(frames.can_id, frames.flags)))
        # A recording of no length has frames and no rate.
        rates[ids] = count / duration_s if duration_s > 0 else float(count)
    return rates
