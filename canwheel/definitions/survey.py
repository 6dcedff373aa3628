"""The corners as a DBC, a vehicle file and a recording together tell them."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from canwheel.capture import iter_frames, read_capture
from canwheel.capture.source import Progress
from canwheel.definitions.assign import (
    Assignment,
    assign_wheels,
    find_wheels,
    wheel_sets,
)
from canwheel.definitions.dbc import Definitions
from canwheel.definitions.given import given_wheels
from canwheel.definitions.layout import SignalPlace, WheelLayout
from canwheel.definitions.undecided import AmbiguousWheelsError
from canwheel.frames import IdPattern, Wanted
from canwheel.vehicle import Vehicle

_SEVERAL = 2


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


def find_wheels_of(
    definitions: Definitions,
    vehicle: Vehicle,
    capture: Path,
    *,
    progress: Progress | None = None,
) -> WheelLayout:
    """Find the wheel signals that a recording was made of.

    The recording is asked only where the DBC has several sets of wheel speeds, and no further
    than it takes to hear the best one; a set that it lacks gives way to one that it has.

    Raises
    ------
    CaptureError : the recording cannot be read.
    VehicleError, AmbiguousWheelsError, DefinitionsError : as `find_wheels`.
    """
    sets = wheel_sets(definitions, vehicle)
    if len(sets) < _SEVERAL or not capture.is_file():  # what is no file can be read only once
        return find_wheels(definitions, vehicle)
    try:
        layout = find_wheels(definitions, vehicle)
    except AmbiguousWheelsError as error:
        if not error.families:
            raise
    else:
        if _is_heard(capture, layout.wheel_ids):
            return layout
    places = [wheel.place for family in sets for wheel in family.wheels]
    per_second = measure_rates(capture, places, progress=progress)
    return find_wheels(definitions, vehicle, heard=lambda ids: per_second.get(ids, 0.0) > 0.0)


def _is_heard(capture: Path, wanted: Wanted) -> bool:
    """Whether a recording holds all of these identifiers; stops reading where it has them."""
    missing = set(wanted)
    for frames in iter_frames(capture, wanted):
        missing -= {ids for ids in missing if ids.matches(frames.can_id, frames.flags).any()}
        if not missing:
            return True
    return False


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
    wheels = [wheel for family in wheel_sets(definitions, vehicle) for wheel in family.wheels]
    wheels += given_wheels(definitions, vehicle).values()
    per_second = measure_rates(capture, [wheel.place for wheel in wheels], progress=progress)
    assignment = assign_wheels(
        definitions, vehicle, heard=lambda ids: per_second.get(ids, 0.0) > 0.0
    )
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
