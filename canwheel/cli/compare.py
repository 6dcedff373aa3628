"""``canwheel compare``: whether the repair is proven."""

from pathlib import Path
from typing import Any

import click

from canwheel.cli.options import FILE, drive_options
from canwheel.cli.output import this_screen, write_json, write_text
from canwheel.cli.page import PageRequest, page_options
from canwheel.cli.progress import reading_progress

EXIT_CODES = {
    "repair_proven": 0,
    "nothing_to_prove": 0,
    "fault_still_there": 1,
    "new_fault": 1,
    "repair_not_proven": 3,
}


@click.command("compare", short_help="Judge the drives before and after: is the repair proven?")
@click.argument("before", type=FILE)
@click.argument("after", type=FILE, nargs=-1, metavar="AFTER...")
@drive_options
@click.option(
    "--before",
    "further_before",
    type=FILE,
    multiple=True,
    metavar="FILE",
    help=(
        "A further drive before the repair, added to BEFORE, which stays the first file named "
        "(may be given several times)."
    ),
)
@click.option(
    "--after-dbc", type=FILE, help="DBC file of the drives after the repair, if it is another."
)
@click.option(
    "--after-vehicle", type=FILE, help="Vehicle file that goes with it, if it is another."
)
@click.option("--codes-before", type=FILE, help="Saved reading of stored codes, before the repair.")
@click.option("--codes-after", type=FILE, help="The same after it. Codes change no verdict.")
@page_options
def command(
    before: Path,
    after: tuple[Path, ...],
    *,
    further_before: tuple[Path, ...],
    as_json: bool,
    **options: Any,
) -> int:
    """Judge the drives before and after a repair: is the repair proven?

    BEFORE is the recording that shows the fault, AFTER the one made after the repair. Where there
    are several they add up: their distances, and what was found in any of them. The first file
    named is always from before the repair, all others named without an option from after it:

    \b
      canwheel compare before1.log after1.log after2.log --before before2.log

    \b
    Exit codes:
      0  the repair is proven, or all drives are sound
      1  the fault is still there, or there is a new one
      2  a file or the command line cannot be used
      3  the driving after the repair is too short or too slow to prove it
    """  # noqa: D301 - click's own mark for a paragraph to be kept as it is
    befores, afters = _both_sides(before, after, further_before)
    page = PageRequest.of(options)
    from canwheel.pipeline import compare  # noqa: PLC0415 - the help text needs none of it

    with reading_progress() as progress:
        result = compare(befores, afters, progress=progress, **options)
    if page.out is not None:
        from canwheel.views.page import render_comparison_page  # noqa: PLC0415

        page.write(lambda notes: render_comparison_page(result, notes))
    if as_json:
        from canwheel.views.document import document_comparison, render_json  # noqa: PLC0415

        write_json(render_json(document_comparison(result)))
    else:
        from canwheel.views.screen import render_comparison  # noqa: PLC0415

        write_text(render_comparison(result, this_screen()))
    return EXIT_CODES[result.proof.verdict]


def _both_sides(
    before: Path, after: tuple[Path, ...], further_before: tuple[Path, ...]
) -> tuple[tuple[Path, ...], tuple[Path, ...]]:
    """Tell the drives before the repair from those after it.

    A single file beside ``--before`` can only be from after the repair.
    """
    if after:
        return (before, *further_before), after
    if further_before:
        return further_before, (before,)
    raise click.UsageError(
        "one recording is named, and two are needed: BEFORE, that shows the fault, and AFTER, made "
        "after the repair"
    )
