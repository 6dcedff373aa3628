"""``canwheel compare``: whether the repair is proven."""

from pathlib import Path

import click

from canwheel.cli.options import FILE, drive_options
from canwheel.cli.output import this_screen, write_json, write_text
from canwheel.cli.progress import reading_progress

EXIT_CODES = {
    "repair_proven": 0,
    "nothing_to_prove": 0,
    "fault_still_there": 1,
    "new_fault": 1,
    "repair_not_proven": 3,
}


@click.command("compare", short_help="Judge two drives: is the repair proven?")
@click.argument("before", type=FILE)
@click.argument("after", type=FILE)
@drive_options
def command(
    before: Path,
    after: Path,
    dbc: Path,
    vehicle: Path | None,
    channel: str | None,
    *,
    as_json: bool,
) -> int:
    """Judge two recorded drives, before and after a repair: is the repair proven?

    BEFORE is the recording that shows the fault, AFTER the one made after the repair.

    \b
    Exit codes:
      0  the repair is proven, or both drives are sound
      1  the fault is still there, or there is a new one
      2  a file or the command line cannot be used
      3  the second drive is too short or too slow to prove it
    """  # noqa: D301 - click's own mark for a paragraph to be kept as it is
    from canwheel.pipeline import compare  # noqa: PLC0415 - the help text needs none of it

    with reading_progress() as progress:
        result = compare(before, after, dbc, vehicle, channel=channel, progress=progress)
    if as_json:
        from canwheel.views.document import document_comparison, render_json  # noqa: PLC0415

        write_json(render_json(document_comparison(result)))
    else:
        from canwheel.views.screen import render_comparison  # noqa: PLC0415

        write_text(render_comparison(result, this_screen()))
    return EXIT_CODES[result.proof.verdict]
