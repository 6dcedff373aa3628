"""``canwheel watch``: the view of a recording that another process makes."""

import os
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

import click

from canwheel.cli.options import FILE
from canwheel.cli.output import is_terminal, write_text
from canwheel.errors import RequestError

if TYPE_CHECKING:
    from canwheel.corners import Side
    from canwheel.definitions.layout import WheelLayout
    from canwheel.vehicle import Vehicle
    from canwheel.views.feeds import Feed

_LINE_S = 1.0

_HEAD_BYTES = 64 * 1024
"""So much of the log is looked at to tell whether it is one."""


@click.command("watch", short_help="Watch a recording that is being made.")
@click.argument("log", metavar="OUT.log", type=FILE)
@click.option("--dbc", type=FILE, help="DBC file that says where the signals stand.")
@click.option("--vehicle", type=FILE, help="Vehicle file (TOML): what is known of the car.")
@click.option("--plain", is_flag=True, help="A line a second instead of the view.")
@click.option("--beside-recorder", is_flag=True, hidden=True, help="End when the recorder does.")
def command(
    *, log: Path, dbc: Path | None, vehicle: Path | None, plain: bool, beside_recorder: bool
) -> int:
    """Watch a recording while `canwheel record` makes it, here or in another terminal.

    It only reads the file: closing it, or its failing, never ends a recording made elsewhere.
    """
    from canwheel.views.followed_drive import FollowedDrive  # noqa: PLC0415 - not for the help text

    layout, car = read_car(dbc, vehicle)
    _check_is_log(log)
    recorder = os.getppid()
    feed = FollowedDrive(
        log,
        layout,
        car,
        is_abandoned=lambda: beside_recorder and os.getppid() != recorder,
    )
    try:
        if plain or not has_terminal():
            if beside_recorder:
                _ignore_interrupts()
            tell_lines(feed, car.drive_side)
            return 0
        return run_view(feed, car.drive_side)
    finally:
        feed.close()


def _check_is_log(log: Path) -> None:
    """Refuse a recording of another form, which cannot be read while it is written.

    A log that is still empty, or whose first line is still being written, is one.

    Raises
    ------
    CaptureError : the file cannot be opened.
    RequestError : it is no text log.
    """
    from canwheel.capture.source import open_file  # noqa: PLC0415 - not for the help text
    from canwheel.capture.text import is_text  # noqa: PLC0415

    if log.exists() and not log.is_file():  # what a pipe gives can be read only once
        return
    with open_file(log) as file:
        head = file.read(_HEAD_BYTES)
    is_begun = head.lstrip().startswith(b"(") and b"\n" not in head
    if head and not is_begun and not is_text(head):
        raise RequestError(
            "is no text log, and only that can be watched while it is written",
            where=str(log),
            remedy="use canwheel replay for a finished recording",
        )


def read_car(dbc: Path | None, vehicle: Path | None) -> "tuple[WheelLayout | None, Vehicle]":
    """Read which signals to look at, and what is known of the car.

    Raises
    ------
    CanwheelError : a file cannot be used.
    """
    from canwheel.definitions.assign import find_wheels  # noqa: PLC0415 - not for the help text
    from canwheel.definitions.dbc import read_definitions  # noqa: PLC0415
    from canwheel.vehicle import Vehicle, naming, read_vehicle  # noqa: PLC0415

    car = Vehicle() if vehicle is None else read_vehicle(vehicle)
    if dbc is None:
        return None, car
    with naming(vehicle):
        return find_wheels(read_definitions(dbc), car), car


def has_terminal() -> bool:
    """Whether the view has somewhere to draw and to take keys from; it draws on standard error."""
    return all(is_terminal(stream) for stream in (sys.stdin, sys.stdout, sys.stderr))


def run_view(feed: "Feed", side: "Side | None") -> int:
    """Show the view until somebody leaves it; return its exit code."""
    from canwheel.views.live import LiveView  # noqa: PLC0415 - heavy

    view = LiveView(feed, side)
    view.run()
    return view.return_code or 0


def tell_lines(feed: "Feed", side: "Side | None", *, every_s: float = _LINE_S) -> None:
    """Write a line a second until the drive ends."""
    from canwheel.views.live_words import say_line  # noqa: PLC0415 - not for the help text

    while True:
        state = feed.refresh()
        write_text(f"{say_line(state, side)}\n")
        if state.state == "ended":
            return
        time.sleep(every_s)


def _ignore_interrupts() -> None:
    """Leave Ctrl-C to the recorder: the view ends when the recording does."""
    import signal  # noqa: PLC0415 - only here

    signal.signal(signal.SIGINT, signal.SIG_IGN)
