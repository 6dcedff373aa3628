"""Options that several commands share."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

FILE = click.Path(path_type=Path)
"""A file's name; whether it is there and can be read, the station that reads it says."""

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
