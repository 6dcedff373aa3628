"""``canwheel convert``: a recording in another form, whole or cut to what matters."""

import re
from pathlib import Path
from typing import TYPE_CHECKING

import click

from canwheel.cli.options import FILE, Measure
from canwheel.cli.output import tell
from canwheel.cli.progress import reading_progress

if TYPE_CHECKING:
    from canwheel.frames import IdPattern

EXTENDED_DIGITS = 8
STANDARD_MAX = 0x7FF
EXTENDED_MAX = 0x1FFF_FFFF


def identifier(digits: str) -> tuple[int, bool]:
    """Return the number that hexadecimal digits tell, and whether it is one of 29 bits."""
    bare = digits.lower().removeprefix("0x")
    number = int(bare, 16) if re.fullmatch("[0-9a-f]{1,8}", bare) else EXTENDED_MAX + 1
    if number > EXTENDED_MAX:
        raise click.BadParameter(f"{digits!r} is no CAN identifier in hexadecimal digits.")
    return number, len(bare) == EXTENDED_DIGITS or number > STANDARD_MAX


@click.command("convert", short_help="Write a recording in another form, whole or cut.")
@click.argument("capture", metavar="IN", type=FILE)
@click.argument("out", metavar="OUT", type=FILE)
@click.option(
    "--from", "from_s", type=Measure(min=0), metavar="S", help="Begin S seconds after the start."
)
@click.option(
    "--to", "to_s", type=Measure(min=0), metavar="S", help="End S seconds after the start."
)
@click.option(
    "--only",
    "identifiers",
    type=identifier,
    metavar="ID",
    multiple=True,
    help="Keep data frames with this identifier (hexadecimal; may be given several times).",
)
@click.option("--dbc", type=FILE, help="Keep data frames that this DBC file defines.")
def command(
    capture: Path,
    out: Path,
    *,
    from_s: float | None,
    to_s: float | None,
    identifiers: tuple[tuple[int, bool], ...],
    dbc: Path | None,
) -> int:
    """Write the recording IN as OUT, in the form that OUT's suffix names.

    IN is a recording of any form that can be read, plain or gz, or - for standard input. OUT ends
    in .log (the open SocketCAN text log), .log.gz, or .mf4 (MDF 4), and must not exist yet.

    Seconds count from the recording's first frame. An identifier of eight digits, or above 7FF,
    has 29 bits.
    """
    from canwheel.capture.writing import Cut, convert_capture  # noqa: PLC0415 - not for the help

    patterns = [*_given(identifiers), *(_defined(dbc) if dbc else ())]
    wanted = tuple(dict.fromkeys(patterns)) if identifiers or dbc else None
    with reading_progress() as progress:
        done = convert_capture(capture, out, cut=Cut(from_s, to_s, wanted), progress=progress)
    summary = done.summary
    tell(f"canwheel: {done.written:,} of {summary.frames:,} frames written to {out}.")
    if summary.unreadable_lines and summary.first_unreadable:
        tell(
            f"canwheel: {summary.unreadable_lines:,} lines were no frames, the first is line"
            f" {summary.first_unreadable.number}."
        )
    if summary.cut_last_line:
        tell("canwheel: the last line was cut off and is left out.")
    if summary.damage:
        tell(f"canwheel: {summary.damage}.")
    return 0


def _given(identifiers: tuple[tuple[int, bool], ...]) -> "list[IdPattern]":
    from canwheel.frames import IdPattern  # noqa: PLC0415 - the help text needs none of it

    return [IdPattern.exactly(number, extended=extended) for number, extended in identifiers]


def _defined(dbc: Path) -> "list[IdPattern]":
    """Return the identifiers that a DBC file defines; of a J1939 group, those of every sender."""
    from canwheel.definitions.dbc import read_definitions  # noqa: PLC0415
    from canwheel.frames import IdPattern  # noqa: PLC0415

    messages = read_definitions(dbc).messages
    exact = [IdPattern.exactly(m.frame_id, extended=m.extended) for m in messages]
    return [*exact, *(signal.place.ids for m in messages for signal in m.signals)]
