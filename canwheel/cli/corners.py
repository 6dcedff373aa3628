"""``canwheel corners``: which signal of a DBC is which corner, and why."""

from pathlib import Path

import click

from canwheel.cli.options import FILE
from canwheel.cli.output import tell, this_screen, write_json, write_text
from canwheel.cli.progress import reading_progress
from canwheel.new_file import write_new


@click.command("corners", short_help="Show which signal of a DBC is which corner, and why.")
@click.option("--dbc", type=FILE, required=True, help="DBC file that says where the signals stand.")
@click.option("--capture", type=FILE, help="Recording: how often each message was heard.")
@click.option("--vehicle", type=FILE, help="Vehicle file (TOML): what is known of the car.")
@click.option("--write", "written", type=FILE, help="Write a new vehicle file with the corners.")
@click.option("--json", "as_json", is_flag=True, help="Write a JSON document instead.")
def command(
    dbc: Path, capture: Path | None, vehicle: Path | None, written: Path | None, *, as_json: bool
) -> int:
    """Show which signal of a DBC file is which corner, and why it was taken.

    Where the DBC has several answers, the command lists them with the lines to paste into a
    vehicle file; with --capture those that the recording holds come first.

    \b
    Exit codes:
      0  the four corners are found
      2  they are not, or a file or the command line cannot be used
    """  # noqa: D301 - click's own mark for a paragraph to be kept as it is
    from canwheel.definitions.dbc import read_definitions  # noqa: PLC0415 - not for the help text
    from canwheel.definitions.survey import survey_corners  # noqa: PLC0415
    from canwheel.vehicle import Vehicle, naming, read_vehicle  # noqa: PLC0415
    from canwheel.views.corners_document import (  # noqa: PLC0415
        document_corners,
        render_corners_json,
        render_vehicle_file,
    )

    car = Vehicle() if vehicle is None else read_vehicle(vehicle)
    with reading_progress() as progress, naming(vehicle):
        survey = survey_corners(read_definitions(dbc), car, capture, progress=progress)
    if written is not None:
        write_new(written, render_vehicle_file(survey, car))
        tell(f"wrote {written}")
    if as_json:
        write_json(render_corners_json(document_corners(survey)))
    else:
        from canwheel.views.corners import render_corners  # noqa: PLC0415

        write_text(render_corners(survey, car, this_screen()))
    return 0
