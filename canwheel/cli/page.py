"""The page, for the commands that can write one: its options, and the writing of the file."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from canwheel.cli.options import FILE, Decorated
from canwheel.errors import RequestError
from canwheel.new_file import check_free, write_new

if TYPE_CHECKING:
    from canwheel.views.page import PageNotes
    from canwheel.views.page.units import SpeedName

UNITS: "tuple[SpeedName, ...]" = ("km/h", "mph")


def page_options(command: Decorated) -> Decorated:
    """Add the options of every command that can write a page."""
    options = (
        click.option(
            "--page",
            "out",
            type=FILE,
            metavar="OUT.html",
            help="Write the page for the customer, one file; none is ever overwritten.",
        ),
        click.option("--job", type=FILE, help="Job file (TOML) for the page: what was done."),
        click.option(
            "--units",
            type=click.Choice(UNITS),
            help="What the page gives speeds in.  [default: km/h]",
        ),
    )
    for option in reversed(options):
        command = option(command)
    return command


@dataclass(frozen=True, slots=True)
class PageRequest:
    """The page that was asked for; everything that can be checked before the work is checked.

    Attributes
    ----------
    out : the file to write, None for no page.
    notes : what goes on it beside the judgement.
    """

    out: Path | None
    notes: "PageNotes | None"

    @classmethod
    def of(cls, options: dict[str, Any]) -> "PageRequest":
        """Take the page's options out of a command's.

        Raises
        ------
        RequestError : the page cannot be written there, or its options are given without it.
        """
        out, job, units = (options.pop(name) for name in ("out", "job", "units"))
        if out is None:
            for value, name in ((job, "--job"), (units, "--units")):
                if value is not None:
                    raise RequestError(
                        f"{name} is for the page, and no page is asked for",
                        remedy="add --page OUT.html",
                    )
            return cls(None, None)
        check_free(out)
        from canwheel.job import Job, read_job  # noqa: PLC0415 - the help text needs none of it
        from canwheel.views.page import PageNotes  # noqa: PLC0415

        speed: SpeedName = UNITS[0] if units is None else units
        return cls(out, PageNotes(Job() if job is None else read_job(job), speed))

    def write(self, render: Callable[["PageNotes"], str]) -> None:
        """Render the page and write it, where one was asked for.

        Raises
        ------
        RequestError : the file is there by now, or cannot be written.
        """
        if self.out is None or self.notes is None:
            return
        write_new(self.out, render(self.notes))
