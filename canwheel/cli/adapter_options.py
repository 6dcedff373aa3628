"""Options that name an adapter, as python-can does, for the commands that open one."""

from collections.abc import Callable
from typing import Any

import click

from canwheel.errors import RequestError

Decorated = Callable[..., Any]


def adapter_options(command: Decorated) -> Decorated:
    """Add the options that name an adapter."""
    options = (
        click.option("--interface", metavar="NAME", help="python-can's name of the driver."),
        click.option("--channel", metavar="NAME", help="Port, network device, address or number."),
        click.option(
            "--option",
            "options",
            metavar="KEY=VALUE",
            multiple=True,
            help="What else the driver takes; may be given several times.",
        ),
    )
    for option in reversed(options):
        command = option(command)
    return command


def parse_options(options: tuple[str, ...]) -> dict[str, str]:
    """Take ``KEY=VALUE`` apart.

    Raises
    ------
    RequestError : one is not of that form.
    """
    pairs = {}
    for option in options:
        key, equals, value = option.partition("=")
        if not (key and equals):
            raise RequestError(
                f"--option {option!r} is not of the form KEY=VALUE",
                remedy="write it like --option host=127.0.0.1",
            )
        pairs[key] = value
    return pairs
