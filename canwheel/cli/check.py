"""``canwheel check``: which corner is faulty."""

from pathlib import Path

import click

from canwheel.cli.options import FILE, drive_options
from canwheel.cli.output import this_screen, write_json, write_text
from canwheel.cli.progress import reading_progress

EXIT_CODES = {"all_sound": 0, "fault_found": 1, "not_enough_driving": 3}


@click.command("check", short_help="Judge one recorded drive: which corner is faulty.")
@click.argument("capture", type=FILE)
@drive_options
def command(
    capture: Path, dbc: Path, vehicle: Path | None, channel: str | None, *, as_json: bool
) -> int:
    """Judge one recorded drive: which corner is faulty, and what to check next.

    CAPTURE is a recording of the bus, plain or gz.

    \b
    Exit codes:
      0  all four corners are sound
      1  a fault was found
      2  a file or the command line cannot be used
      3  not enough driving to tell
    """  # noqa: D301 - click's own mark for a paragraph to be kept as it is
    from canwheel.pipeline import check  # noqa: PLC0415 - the help text needs none of it

    with reading_progress() as progress:
        result = check(capture, dbc, vehicle, channel=channel, progress=progress)
    if as_json:
        from canwheel.views.document import document_check, render_json  # noqa: PLC0415

        write_json(render_json(document_check(result)))
    else:
        from canwheel.views.screen import render_check  # noqa: PLC0415

        write_text(render_check(result, this_screen()))
    return EXIT_CODES[result.judgement.verdict]
