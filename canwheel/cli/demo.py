"""``canwheel demo``: a made-up pair of recordings to try the program on."""

import shlex
from pathlib import Path

import click

from canwheel.cli.options import FILE
from canwheel.cli.output import write_text
from canwheel.corners import CORNERS, Corner
from canwheel.errors import RequestError
from canwheel.outcome import FAULT_KINDS, FaultKind

_FIRST_SEED = 1


@click.command("demo", short_help="Write a made-up pair of recordings to try things on.")
@click.argument("folder", metavar="DIR", type=FILE)
@click.option(
    "--corner",
    type=click.Choice([corner.value for corner in CORNERS], case_sensitive=False),
    default=Corner.RL.value,
    show_default=True,
    help="The corner that is faulty before the repair.",
)
@click.option(
    "--fault",
    type=click.Choice(FAULT_KINDS),
    default="no_signal",
    show_default=True,
    help="What is wrong with it.",
)
@click.option(
    "--seed",
    type=click.IntRange(min=0),
    default=_FIRST_SEED,
    show_default=True,
    help="Another number, another drive.",
)
def command(folder: Path, corner: str, fault: FaultKind, seed: int) -> int:
    """Write two recordings of a bakery van's round into DIR, before and after a repair.

    A DBC file and a vehicle file go with them. The van, its bus and the drives are made up. No
    file that is there already is written over.
    """
    from canwheel.roadtest.bus_layout import dbc_text  # noqa: PLC0415 - not for the help text
    from canwheel.roadtest.demo import make_pair  # noqa: PLC0415
    from canwheel.roadtest.layouts import BAKERY_VAN  # noqa: PLC0415
    from canwheel.roadtest.recording import write_log  # noqa: PLC0415

    before, after = folder / "before.log.gz", folder / "after.log.gz"
    dbc, vehicle = folder / f"{BAKERY_VAN.name}.dbc", folder / f"{BAKERY_VAN.name}.toml"
    _make_room(folder, (before, after, dbc, vehicle))
    pair = make_pair(Corner(corner.upper()), fault, seed=seed)
    try:
        dbc.write_text(dbc_text(BAKERY_VAN), encoding="utf-8", newline="\n")
        vehicle.write_text(BAKERY_VAN.vehicle_toml, encoding="utf-8", newline="\n")
        write_log(pair.before, before)
        write_log(pair.after, after)
    except OSError as error:
        raise _cannot_write(folder, error) from error
    words = f"{Corner(corner.upper()).words}, {fault.replace('_', ' ')}"
    arguments = ["canwheel", "compare", str(before), str(after)]
    arguments += ["--dbc", str(dbc), "--vehicle", str(vehicle)]
    write_text(
        f"Wrote {before}, {after}, {dbc} and {vehicle}: a made-up van before the repair "
        f"({words}) and after it.\n\nNow type:\n\n  {shlex.join(arguments)}\n"
    )
    return 0


def _make_room(folder: Path, files: tuple[Path, ...]) -> None:
    """Make the folder, where it is missing; refuse it where a file of these is in it."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        there = [path for path in files if path.exists() or path.is_symlink()]
    except FileExistsError as error:
        raise RequestError(
            "is a file, not a folder", where=str(folder), remedy="name another folder"
        ) from error
    except OSError as error:
        raise _cannot_write(folder, error) from error
    if there:
        raise RequestError(
            "is there already and stays as it is",
            where=", ".join(str(path) for path in there),
            remedy="name another folder, or move what is there",
        )


def _cannot_write(folder: Path, error: OSError) -> RequestError:
    return RequestError(
        f"cannot be written: {error.strerror}",
        where=str(error.filename or folder),
        remedy="name a folder that you may write to",
    )
