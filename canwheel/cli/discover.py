"""``canwheel discover``: where the wheel speeds stand, without a DBC."""

import hashlib
import math
import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from canwheel.cli.options import FILE
from canwheel.cli.output import tell, this_screen, write_json, write_text
from canwheel.cli.page import UNITS, PageRequest
from canwheel.cli.progress import reading_progress
from canwheel.errors import RequestError
from canwheel.new_file import check_free, write_new

if TYPE_CHECKING:
    from canwheel.capture.summary import CaptureSummary
    from canwheel.discovery import Candidate, Discovery, Hints
    from canwheel.views.page.discovery import SourceFile

FOUND, CONTRADICTED, NOT_SHOWN = 0, 1, 3
CONFIRM_CODES = {"confirmed": FOUND, "contradicted": CONTRADICTED, "not_shown": NOT_SHOWN}

_TURN = re.compile(r"(left|right)@(\d+(?:\.\d+)?)")
_SPEED = re.compile(r"(\d+(?:\.\d+)?)@(\d+(?:\.\d+)?)")
_FIELD = re.compile(
    r"(?:0x)?([0-9a-f]{1,8}):(\d{1,3}):(\d{1,2}):(be|le)(?::(left|right))?", re.IGNORECASE
)
_STANDARD_DIGITS, _STANDARD_MAX, _EXTENDED_MAX = 3, 0x7FF, 0x1FFF_FFFF
_LONGEST_FIELD = 32


def _finite(digits: str) -> float:
    """Return a number; hundreds of digits are none."""
    number = float(digits)
    if not math.isfinite(number):
        raise click.BadParameter(f"{digits[:9]}… is no number that can be meant.")
    return number


def turn(text: str) -> tuple[str, float]:
    """Return side and time of ``left@75``."""
    match = _TURN.fullmatch(text)
    if match is None:
        raise click.BadParameter(f"{text!r} is not SIDE@SECONDS, such as left@75.")
    return match[1], _finite(match[2])


def speed(text: str) -> tuple[float, float]:
    """Return speed and time of ``50@180``."""
    match = _SPEED.fullmatch(text)
    if match is None or not float(match[1]):
        raise click.BadParameter(f"{text!r} is not KM/H@SECONDS, such as 50@180.")
    return _finite(match[1]), _finite(match[2])


def steering_field(text: str) -> tuple[int, bool, int, int, str, str]:
    """Return the parts of ``0C5:7:16:be:left``."""
    match = _FIELD.fullmatch(text)
    if match is None:
        raise click.BadParameter(
            f"{text!r} is not ID:START:LENGTH:ORDER, such as 0C5:7:16:be; append :right if it"
            " grows to the right."
        )
    digits, start, length, order, grows = match.groups()
    number = int(digits, 16)
    if number > _EXTENDED_MAX or not 1 < int(length) <= _LONGEST_FIELD:
        raise click.BadParameter(f"{text!r} is no field: identifier or length cannot be.")
    extended = len(digits) > _STANDARD_DIGITS or number > _STANDARD_MAX
    byte_order = "little_endian" if order.lower() == "le" else "big_endian"
    return number, extended, int(start), int(length), byte_order, (grows or "left").lower()


@click.command("discover", short_help="Find the wheel speeds in a recording without a DBC.")
@click.argument("capture", type=FILE)
@click.option(
    "--turn",
    "turns",
    type=turn,
    metavar="SIDE@S",
    multiple=True,
    help="The car turned left (or right) S seconds after the start: left@75.",
)
@click.option(
    "--speed",
    "speeds",
    type=speed,
    metavar="KM/H@S",
    multiple=True,
    help="The dash showed that speed, held for some seconds, about then: 50@180.",
)
@click.option("--track", type=FILE, metavar="GPX", help="Satellite track of the same drive.")
@click.option(
    "--steering",
    type=steering_field,
    metavar="ID:START:LENGTH:be|le[:right]",
    help="A field known to be the steering angle or yaw rate, growing to the left (or right).",
)
@click.option("--channel", metavar="NAME", help="Look at this channel of the recording only.")
@click.option(
    "--write",
    "written",
    type=FILE,
    metavar="OUT.dbc",
    help="Write the proposal as a DBC, and a vehicle file beside it; none is overwritten.",
)
@click.option(
    "--candidate",
    "rank",
    type=click.IntRange(min=1),
    default=1,
    show_default=True,
    help="Which of the candidates to write.",
)
@click.option(
    "--mirror-unknown",
    is_flag=True,
    help="Write it although nothing tells which corner is which; the DBC says so.",
)
@click.option(
    "--confirm",
    "proposal",
    type=FILE,
    metavar="CAR.dbc",
    help="Test this proposal on CAPTURE, a second drive, instead of looking for one.",
)
@click.option(
    "--page",
    "out",
    type=FILE,
    metavar="OUT.html",
    help="Write the proposals as a page, one file; none is ever overwritten.",
)
@click.option(
    "--units",
    type=click.Choice(UNITS),
    help="What the page gives speeds in.  [default: km/h]",
)
@click.option("--json", "as_json", is_flag=True, help="Write a JSON document instead.")
def command(
    *,
    capture: Path,
    channel: str | None,
    written: Path | None,
    rank: int,
    mirror_unknown: bool,
    proposal: Path | None,
    as_json: bool,
    **options: Any,
) -> int:
    """Find the four wheel speeds in the recording CAPTURE without a DBC, and say why.

    Record a drive for it: start at a standstill, drive straight, turn tightly left and tightly
    right at walking to cycling pace, and stop. What is found is a proposal; confirm it on a second
    drive with --confirm before anybody buys a part on its word.

    \b
    Exit codes:
      0  something was found, or the proposal is confirmed
      1  the second drive contradicts the proposal
      2  a file or the command line cannot be used
      3  nothing was found, or the second drive does not show enough
    """  # noqa: D301 - click's own mark for a paragraph to be kept as it is
    page = PageRequest.of({"job": None, **{name: options.pop(name) for name in ("out", "units")}})
    if proposal is not None:
        if page.out is not None:
            raise RequestError(
                "--page and --confirm do not go together",
                remedy="make the page when you look for the proposal",
            )
        if written is not None:
            raise RequestError(
                "--write and --confirm do not go together",
                remedy="write a proposal first, then confirm it on another recording",
            )
        return _confirm(proposal, capture, _hints(options), channel, as_json=as_json)
    if written is not None:
        _check_names(written, page.out)
    from canwheel.discovery import discover_capture  # noqa: PLC0415 - not for the help text

    hints = _hints(options)
    with reading_progress() as progress:
        summary, discovery = discover_capture(capture, hints, channel=channel, progress=progress)

    def write() -> None:
        if written is not None:
            chosen = _chosen(discovery, rank)
            _write(chosen, written, capture.name, summary, mirror_unknown=mirror_unknown)

    if as_json:
        write()  # first: beside a document there is no error; people choose by what they see
        from canwheel.views.discover_document import (  # noqa: PLC0415
            document_discovery,
            render_discover_json,
        )

        write_json(render_discover_json(document_discovery(summary, discovery)))
    else:
        from canwheel.views.discover_screen import render_discovery  # noqa: PLC0415

        write_text(render_discovery(summary, discovery, this_screen()))
        write()
    if page.out is not None:
        from canwheel.views.page.discovery import render_discovery_page  # noqa: PLC0415

        sources = _sources(options["track"], written)
        page.write(
            lambda notes: render_discovery_page(
                discovery, summary, hints=hints, notes=notes, further_files=sources
            )
        )
    return FOUND if discovery.candidates else NOT_SHOWN


def _sources(track: Path | None, written: Path | None) -> "list[SourceFile]":
    """Files that the page names beside the recording, with their fingerprints."""
    from canwheel.views.page.discovery import SourceFile  # noqa: PLC0415 - only a page needs it

    named = [] if track is None else [("Satellite track", track)]
    if written is not None:
        named += [("Written DBC", written), ("Written vehicle file", _vehicle_beside(written))]
    return [
        SourceFile(label, str(path), hashlib.sha256(path.read_bytes()).hexdigest())
        for label, path in named
    ]


def _hints(options: dict[str, Any]) -> "Hints":
    from canwheel.definitions.layout import BitField  # noqa: PLC0415 - not for the help text
    from canwheel.discovery.gpx import read_gpx  # noqa: PLC0415
    from canwheel.discovery.hints import (  # noqa: PLC0415
        DeclaredTurn,
        HeldSpeed,
        Hints,
        SteeringField,
    )

    steering = None
    if options["steering"] is not None:
        number, extended, start, length, byte_order, grows = options["steering"]
        steering = SteeringField(number, extended, BitField(start, length, byte_order), grows)
    return Hints(
        turns=tuple(DeclaredTurn(*one) for one in options["turns"]),
        speeds=tuple(HeldSpeed(*one) for one in options["speeds"]),
        track=None if options["track"] is None else read_gpx(options["track"]),
        steering=steering,
    )


def _confirm(
    proposal: Path, capture: Path, hints: "Hints", channel: str | None, *, as_json: bool
) -> int:
    """Test a proposal on a second drive."""
    from canwheel.discovery.confirm import confirm_capture  # noqa: PLC0415 - not for the help text

    with reading_progress() as progress:
        confirmation = confirm_capture(proposal, capture, hints, channel=channel, progress=progress)
    if as_json:
        from canwheel.views.discover_document import (  # noqa: PLC0415
            document_confirmation,
            render_discover_json,
        )

        write_json(render_discover_json(document_confirmation(confirmation)))
    else:
        from canwheel.views.discover_screen import render_confirmation  # noqa: PLC0415

        write_text(render_confirmation(confirmation, this_screen()))
    return CONFIRM_CODES[confirmation.verdict]


def _chosen(discovery: "Discovery", rank: int) -> "Candidate":
    if rank > len(discovery.candidates):
        count = len(discovery.candidates)
        there = f"only {count} were found" if count else "nothing was found"
        raise RequestError(
            f"there is no candidate {rank}: {there}",
            where="--write",
            remedy="choose one of those listed" if count else "record another drive",
        )
    return discovery.candidates[rank - 1]


def _vehicle_beside(dbc: Path) -> Path:
    return dbc.with_suffix(".toml")


def _check_names(dbc: Path, page: Path | None) -> None:
    """Make sure that both files can be written, before a long recording is read.

    Raises
    ------
    RequestError : one is there, its name does not end in .dbc, its folder cannot be written to, or
        the page has the same name.
    """
    if dbc.suffix.lower() != ".dbc":
        raise RequestError("is no name of a DBC file", where=str(dbc), remedy="end it in .dbc")
    for path in (dbc, _vehicle_beside(dbc)):
        check_free(path)
        if page is not None and page.resolve() == path.resolve():
            raise RequestError(
                "is named for the page and by --write",
                where=str(page),
                remedy="give the page a name of its own",
            )


def _write(
    candidate: "Candidate",
    dbc: Path,
    capture: str,
    summary: "CaptureSummary",
    *,
    mirror_unknown: bool,
) -> None:
    """Write the DBC and the vehicle file of a proposal.

    Raises
    ------
    RequestError : its corners are not known and that was not allowed, or a file cannot be written.
    """
    from canwheel.discovery.dbc import (  # noqa: PLC0415 - not for the help text
        check_writable,
        render_candidate_dbc,
        render_candidate_vehicle,
        say_stretch,
    )

    check_writable(candidate, mirror_unknown=mirror_unknown)
    vehicle = _vehicle_beside(dbc)
    write_new(dbc, render_candidate_dbc(candidate, capture, say_stretch(summary)))
    try:
        write_new(vehicle, render_candidate_vehicle(candidate, dbc.name, capture))
    except RequestError:
        dbc.unlink(missing_ok=True)  # alone it would refuse the next attempt
        raise
    tell(f"wrote {dbc} and {vehicle}")
