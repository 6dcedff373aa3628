"""``canwheel demo``: a made-up pair of recordings to try the program on."""

import shlex
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from canwheel.cli.options import FILE
from canwheel.cli.output import wrapped, write_text
from canwheel.corners import CORNERS, Corner
from canwheel.errors import RequestError
from canwheel.outcome import FAULT_KINDS, FaultKind

if TYPE_CHECKING:
    from canwheel.frames import Frames

_FIRST_SEED = 1
_ALL_CODES = bytes([0x19, 0x02, 0xFF])
"""ISO 14229-1: report stored codes by status, whatever the status."""
_ASKED_AFTER_S = 300.0
"""The unit is asked so long after the drive. [s]"""


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

    A DBC file, a vehicle file and the codes that the brake unit stored go with them. The van, its
    bus and the drives are made up. No file that is there already is written over.
    """
    from canwheel.roadtest.bus_layout import dbc_text  # noqa: PLC0415 - not for the help text
    from canwheel.roadtest.demo import make_pair  # noqa: PLC0415
    from canwheel.roadtest.layouts import BAKERY_VAN  # noqa: PLC0415
    from canwheel.roadtest.recording import write_log  # noqa: PLC0415

    before, after = folder / "before.log.gz", folder / "after.log.gz"
    dbc, vehicle = folder / f"{BAKERY_VAN.name}.dbc", folder / f"{BAKERY_VAN.name}.toml"
    codes = (folder / "codes_before.json", folder / "codes_after.json")
    _make_room(folder, (before, after, dbc, vehicle, *codes))
    place = Corner(corner.upper())
    pair = make_pair(place, fault, seed=seed)
    try:
        dbc.write_text(dbc_text(BAKERY_VAN), encoding="utf-8", newline="\n")
        vehicle.write_text(BAKERY_VAN.vehicle_toml, encoding="utf-8", newline="\n")
        write_log(pair.before, before)
        write_log(pair.after, after)
        for path, frames in zip(codes, (pair.before, pair.after), strict=True):
            _save_codes(path, frames, fault, place, repaired=frames is pair.after)
    except OSError as error:
        raise _cannot_write(folder, error) from error
    words = f"{place.words}, {fault.replace('_', ' ')}"
    arguments = ["canwheel", "compare", str(before), str(after)]
    arguments += ["--dbc", str(dbc), "--vehicle", str(vehicle)]
    with_page = [*arguments, "--codes-before", str(codes[0]), "--codes-after", str(codes[1])]
    with_page += ["--page", str(folder / "page.html")]
    wrote = (
        f"Wrote {before}, {after}, {dbc} and {vehicle}: a made-up van before the repair "
        f"({words}) and after it. {codes[0].name} and {codes[1].name} are the codes that its "
        "brake unit stored."
    )
    write_text(
        f"{wrapped(wrote)}\n\nNow type:\n\n  {shlex.join(arguments)}\n\n"
        f"Or, with the codes beside the drives, and a page for the customer:\n\n"
        f"  {shlex.join(with_page)}\n"
    )
    return 0


def _save_codes(
    path: Path, frames: "Frames", fault: FaultKind, corner: Corner, *, repaired: bool
) -> None:
    """Save what the simulated brake unit answers when it is asked for its codes after a drive."""
    from canwheel.fault_memory.documents import (  # noqa: PLC0415 - not for the help text
        CodesDocument,
        StoredCode,
        UnitFacts,
        save_document,
    )
    from canwheel.roadtest.brake_unit import Memory, faults_of  # noqa: PLC0415
    from canwheel.roadtest.layouts import VAN_REQUEST_ID, VAN_RESPONSE_ID  # noqa: PLC0415

    faults = faults_of(fault, corner, repaired=repaired)
    memory = Memory(faults=list(faults))
    read_at = datetime.fromtimestamp(int(frames.time_ns[-1]) / 1e9 + _ASKED_AFTER_S, UTC)
    document = CodesDocument(
        read_at=read_at.isoformat(timespec="seconds"),
        vehicle="Bakery van 7",
        unit=UnitFacts(request_id=VAN_REQUEST_ID, response_id=VAN_RESPONSE_ID),
        status_supported=memory.supported,
        codes=tuple(StoredCode.reported(each.number, each.status) for each in faults),
        answer=(memory.answer(_ALL_CODES) or b"").hex(),
    )
    save_document(document, path)


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
