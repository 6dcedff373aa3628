"""Options that several commands share."""

import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

FILE = click.Path(path_type=Path)
"""A file's name; whether it is there and can be read, the station that reads it says."""

_LARGEST = 1e12
"""No number that a person gives is larger: in seconds it is thousands of years."""


class Measure(click.FloatRange):
    """A number with a range, and never one without an end, which no range of click's refuses."""

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Return the number."""
        number = float(super().convert(value, param, ctx))
        if not math.isfinite(number) or abs(number) > _LARGEST:
            self.fail(f"{value} is no number that can be meant; give one such as 30.", param, ctx)
        return number


Decorated = Callable[..., Any]


def drive_options(command: Decorated) -> Decorated:
    """Add the options of every command that judges a recorded drive."""
    options = (
        click.option(
            "--dbc", type=FILE, required=True, help="DBC file that says where the signals stand."
        ),
        click.option("--vehicle", type=FILE, help="Vehicle file (TOML): what is known of the car."),
        click.option(
            "--channel",
            metavar="NAME",
            help="Channel of the recording, where several carry the wheels.",
        ),
        click.option("--json", "as_json", is_flag=True, help="Write a JSON document instead."),
    )
    for option in reversed(options):
        command = option(command)
    return command
