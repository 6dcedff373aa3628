"""``canwheel replay``: a recorded drive in the live view."""

from pathlib import Path

import click

from canwheel.cli.check import EXIT_CODES
from canwheel.cli.options import FILE
from canwheel.cli.output import this_screen, write_text
from canwheel.cli.progress import reading_progress
from canwheel.cli.watch import has_terminal, run_view, tell_lines

_SLOWEST, _FASTEST = 1, 64


@click.command("replay", short_help="Watch a recorded drive again, at 1 to 64 times speed.")
@click.argument("capture", type=FILE)
@click.option("--dbc", type=FILE, required=True, help="DBC file that says where the signals stand.")
@click.option("--vehicle", type=FILE, help="Vehicle file (TOML): what is known of the car.")
@click.option(
    "--speed",
    type=click.IntRange(_SLOWEST, _FASTEST),
    default=1,
    show_default=True,
    help="Times real time.",
)
@click.option("--plain", is_flag=True, help="A line a second instead of the view.")
def command(*, capture: Path, dbc: Path, vehicle: Path | None, speed: int, plain: bool) -> int:
    """Watch a recorded drive as it was, and end on the verdict of `canwheel check`.

    Space pauses, the arrow keys go back and forward, n jumps to the next finding, + and - change
    the speed.

    \b
    Exit codes: as for `canwheel check`.
    """  # noqa: D301 - click's own mark for a paragraph to be kept as it is
    from canwheel.views.replayed_drive import ReplayedDrive  # noqa: PLC0415 - not for the help text
    from canwheel.views.screen import render_check  # noqa: PLC0415

    with reading_progress() as progress:
        feed = ReplayedDrive(capture, dbc, vehicle, speed=speed, progress=progress)
    side = feed.whole.vehicle.drive_side
    if plain or not has_terminal():
        tell_lines(feed, side)
    else:
        run_view(feed, side)
    write_text(render_check(feed.whole, this_screen()))
    return EXIT_CODES[feed.whole.judgement.verdict]
