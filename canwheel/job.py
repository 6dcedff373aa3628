"""The job file: what was done to the car and by whom, for the page. TOML, every key optional."""

import math
from pathlib import Path
from typing import Annotated

import msgspec

from canwheel.errors import RequestError
from canwheel.toml_file import read_toml

Whole = Annotated[int, msgspec.Meta(ge=0)]
Broken = Annotated[float, msgspec.Meta(ge=0)]

_ODOMETER = 'a number that is not negative, or text with its unit like "99 mi"'
_ALLOWED = {"odometer_before": _ODOMETER, "odometer_after": _ODOMETER}


class Job(msgspec.Struct, forbid_unknown_fields=True, frozen=True):
    """What the workshop says of its job. canwheel shows it as it stands, and judges nothing by it.

    Attributes
    ----------
    vehicle, registration : as the customer calls it.
    odometer_before, odometer_after : as it stands on the dash; a number, or text with its unit.
    complaint : what the customer says.
    work_done, part, technician : what was done, what was fitted, by whom.
    notes : anything else; may have several lines.
    """

    vehicle: str | None = None
    registration: str | None = None
    odometer_before: Whole | Broken | str | None = None
    odometer_after: Whole | Broken | str | None = None
    complaint: str | None = None
    work_done: str | None = None
    part: str | None = None
    technician: str | None = None
    notes: str | None = None


def read_job(path: Path) -> Job:
    """Read and check a job file.

    Raises
    ------
    RequestError : unreadable, no TOML, an unknown key, a wrong type or an odometer that cannot be;
        the message names the line or the key.
    """
    job = read_toml(path, Job, RequestError, "a job file", allowed=_ALLOWED)
    for key, allowed in _ALLOWED.items():
        stands = getattr(job, key)
        if isinstance(stands, float) and not math.isfinite(stands):
            raise RequestError(
                f"must be {allowed}", where=f"{path}, {key}", remedy="write what the dash shows"
            )
    return job
