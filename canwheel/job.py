"""The job file: what was done to the car and by whom, for the page. TOML, every key optional."""

from pathlib import Path

import msgspec

from canwheel.errors import RequestError
from canwheel.toml_file import read_toml


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
    odometer_before: int | float | str | None = None
    odometer_after: int | float | str | None = None
    complaint: str | None = None
    work_done: str | None = None
    part: str | None = None
    technician: str | None = None
    notes: str | None = None


def read_job(path: Path) -> Job:
    """Read and check a job file.

    Raises
    ------
    RequestError : unreadable, no TOML, an unknown key or a wrong type; the message names the line
        or the key.
    """
    return read_toml(path, Job, RequestError, "a job file")
