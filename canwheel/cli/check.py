"""``canwheel check``: which corner is faulty."""

from pathlib import Path
from typing import Any

import click

from canwheel.cli.options import FILE, drive_options
from canwheel.cli.output import this_screen, write_json, write_text
from canwheel.cli.page import PageRequest, page_options
from canwheel.cli.progress import reading_progress

EXIT_CODES = {"all_sound": 0, "fault_found": 1, "not_enough_driving": 3}


@click.command("check", short_help="Judge one recorded drive: which corner is faulty.")
@click.argument("capture", type=FILE)
@drive_options
@click.option(
    "--codes",
    type=FILE,
    help="Saved reading of stored codes, to be put beside the drive; it changes no verdict.",
)
@page_options
def command(capture: Path, *, as_json: bool, **options: Any) -> int:
    """Judge one recorded drive: which corner is faulty, and what to check next.

    CAPTURE is a recording of the bus, plain or gz.

    \b
    Exit codes:
      0  all four corners are sound
      1  a fault was found
      2  a file or the command line cannot be used
      3  not enough driving to tell
    """  # noqa: D301 - click's own mark for a paragraph to be kept as it is
    page = PageRequest.of(options)
    from canwheel.pipeline import check  # noqa: PLC0415 - the help text needs none of it

    with reading_progress() as progress:
        result = check(capture, progress=progress, **options)
    if page.out is not None:
        from canwheel.views.page import render_check_page  # noqa: PLC0415

        page.write(lambda notes: render_check_page(result, notes))
    if as_json:
        from canwheel.views.document import document_check, render_json  # noqa: PLC0415

        write_json(render_json(document_check(result)))
    else:
        from canwheel.views.screen import render_check  # noqa: PLC0415

        write_text(render_check(result, this_screen()))
    return EXIT_CODES[result.judgement.verdict]
