"""``canwheel codes``: read, keep and clear the brake control unit's stored codes."""

import sys
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Self

import click

from canwheel.cli.adapter_options import adapter_options, parse_options
from canwheel.cli.options import FILE, Decorated, Measure
from canwheel.cli.output import is_terminal, tell, this_screen, write_json, write_text
from canwheel.errors import RequestError
from canwheel.new_file import check_free

if TYPE_CHECKING:
    from canwheel.bus.adapters import AdapterSettings
    from canwheel.fault_memory.documents import ClearingDocument, CodesDocument
    from canwheel.fault_memory.standing import WheelWatch
    from canwheel.fault_memory.timing import Timing
    from canwheel.fault_memory.unit_address import UnitAddress
    from canwheel.vehicle import Vehicle

EXIT_CODES = {"cleared": 0, "nothing_stored": 0, "came_back": 1}


def _unit_options(command: Decorated) -> Decorated:
    """Add the options of every command that asks a unit."""
    options = (
        click.option("--vehicle", type=FILE, required=True, help="Vehicle file (TOML)."),
        click.option(
            "--dbc",
            type=FILE,
            help="DBC with the wheel speeds: nothing is sent unless the car stands for 3 s.",
        ),
        adapter_options,
        click.option("--bitrate", type=click.IntRange(min=1), help="Bit rate of the bus. [bit/s]"),
        click.option(
            "--timeout",
            type=Measure(min=1, max=600),
            help="Longest wait for one answer, waits that the unit asks for included. [s]",
        ),
        click.option("--save", type=FILE, help="Save the document; no file is ever overwritten."),
        click.option("--json", "as_json", is_flag=True, help="Write a JSON document instead."),
    )
    for option in reversed(options):
        command = option(command)
    return command


@click.group(
    "codes",
    short_help="Read, keep and clear the brake unit's stored codes.",
    no_args_is_help=False,
)
def command() -> None:
    """Read, keep and clear the stored codes of the brake control unit.

    The only commands that send anything: requests to read stored codes and, with "clear", to
    clear them. Nothing else. The vehicle file's section [fault_memory] says which unit is asked.
    """


@command.command("read", short_help="Read the stored codes.")
@_unit_options
def read(**options: Any) -> int:
    """Read the stored codes, and keep them with --save.

    \b
    Exit codes:
      0  the unit answered
      2  it did not, or something cannot be used
    """  # noqa: D301 - click's own mark for a paragraph to be kept as it is
    from canwheel.fault_memory.adapter import open_for_diagnosis  # noqa: PLC0415 - for the help
    from canwheel.fault_memory.reading import read_codes  # noqa: PLC0415

    asked = _Asked.of(options)
    document = read_codes(
        open_for_diagnosis(asked.adapter),
        asked.unit,
        vehicle=asked.vehicle.vehicle.name,
        watch=asked.watch,
        timing=asked.timing,
    )
    asked.give(document)
    return 0


@command.command("clear", short_help="Clear the stored codes, after a saved reading.")
@_unit_options
@click.option(
    "--reading",
    type=FILE,
    required=True,
    help="Saved reading of the same unit, by `canwheel codes read --save`.",
)
@click.option("--standing", is_flag=True, help="You say that the car stands, without --dbc.")
@click.option("--confirm", metavar="WORD", help="The word that the screen asks for, for scripts.")
def clear(*, reading: Path, standing: bool, confirm: str | None, **options: Any) -> int:
    """Clear all stored codes, after a saved reading, on a standing car.

    Clearing removes evidence, may reset self-tests of the unit, and is no repair.

    \b
    Exit codes:
      0  cleared, or nothing was stored
      1  a fault is stored again right after
      2  the unit refused or did not answer, or something cannot be used
    """  # noqa: D301 - click's own mark for a paragraph to be kept as it is
    from canwheel.fault_memory.adapter import open_for_diagnosis  # noqa: PLC0415 - for the help
    from canwheel.fault_memory.clearing import check_same_unit, clear_codes  # noqa: PLC0415
    from canwheel.fault_memory.documents import read_codes_file  # noqa: PLC0415

    asked = _Asked.of(options)
    saved = read_codes_file(reading)
    check_same_unit(saved, asked.unit)
    tell(asked.rendered(saved, colour=False))
    how = _know_standing(asked.watch, said=standing)
    _confirm(confirm)
    document = clear_codes(
        open_for_diagnosis(asked.adapter),
        asked.unit,
        saved,
        standing=how,
        watch=asked.watch,
        timing=asked.timing,
    )
    asked.give(document)
    return EXIT_CODES[document.verdict]


@dataclass(frozen=True, slots=True)
class _Asked:
    """What the common options ask for; all that can be checked before sending is checked."""

    vehicle: "Vehicle"
    unit: "UnitAddress"
    watch: "WheelWatch | None"
    adapter: "AdapterSettings"
    timing: "Timing"
    save: Path | None
    as_json: bool

    @classmethod
    def of(cls, options: dict[str, Any]) -> Self:
        """Read and check the files."""
        from canwheel.bus.adapters import resolve_adapter  # noqa: PLC0415 - for the help
        from canwheel.fault_memory.timing import Timing  # noqa: PLC0415
        from canwheel.fault_memory.unit_address import unit_address  # noqa: PLC0415
        from canwheel.vehicle import naming, read_vehicle  # noqa: PLC0415

        save, path, limit_s = options["save"], options["vehicle"], options["timeout"]
        if save is not None:
            check_free(save)
        vehicle = read_vehicle(path)
        with naming(path):
            watch = _wheel_watch(options["dbc"], vehicle)
        return cls(
            vehicle=vehicle,
            unit=unit_address(vehicle.fault_memory, where=str(path)),
            watch=watch,
            adapter=resolve_adapter(
                interface=options["interface"],
                channel=options["channel"],
                bitrate=options["bitrate"],
                options=parse_options(options["options"]),
                usual_bitrate=vehicle.bus.bitrate,
            ),
            timing=Timing() if limit_s is None else Timing(request_s=limit_s),
            save=save,
            as_json=options["as_json"],
        )

    def give(self, document: "CodesDocument | ClearingDocument") -> None:
        """Save the result, then write it out."""
        from canwheel.fault_memory.documents import render_json, save_document  # noqa: PLC0415

        if self.save is not None:
            save_document(document, self.save)
        if self.as_json:
            write_json(render_json(document))
        else:
            write_text(self.rendered(document))

    def rendered(self, document: "CodesDocument | ClearingDocument", *, colour: bool = True) -> str:
        """Return a document as text for this terminal."""
        from canwheel.fault_memory.documents import CodesDocument  # noqa: PLC0415
        from canwheel.views.codes_screen import render_clearing, render_codes  # noqa: PLC0415

        screen, side = this_screen(), self.vehicle.drive_side
        if not colour:
            screen = replace(screen, colour=False)
        if isinstance(document, CodesDocument):
            return render_codes(document, screen, drive_side=side)
        return render_clearing(document, screen, drive_side=side)


def _wheel_watch(dbc: Path | None, vehicle: "Vehicle") -> "WheelWatch | None":
    if dbc is None:
        return None
    from canwheel.definitions.assign import find_wheels  # noqa: PLC0415
    from canwheel.definitions.dbc import read_definitions  # noqa: PLC0415
    from canwheel.fault_memory.standing import WheelWatch  # noqa: PLC0415

    return WheelWatch(find_wheels(read_definitions(dbc), vehicle))


def _know_standing(watch: "WheelWatch | None", *, said: bool) -> str:
    """Find out how the standstill is known, or stop."""
    if watch is not None:
        return "its wheel speeds on the bus read zero"
    if not said:
        _need_terminal("say that the car stands with --standing, or give --dbc")
        if not click.confirm("Does the car stand, ignition on, and stay so?", err=True):
            raise RequestError(
                "codes are cleared on a standing car only", remedy="stop the car, and try again"
            )
    return "somebody said so"


def _confirm(word: str | None) -> None:
    """Have the confirming word typed, or stop."""
    from canwheel.fault_memory.clearing import CONFIRMING_WORD  # noqa: PLC0415

    if word is None:
        _need_terminal(f"give --confirm {CONFIRMING_WORD}")
        tell(
            "Clearing removes what is shown above from the unit. It repairs nothing, and it may "
            "reset self-tests."
        )
        word = str(click.prompt(f"Type {CONFIRMING_WORD} to clear all stored codes", err=True))
    if word.strip().upper() != CONFIRMING_WORD:
        raise RequestError(
            f"nothing was cleared: the word is {CONFIRMING_WORD}, not {word!r}",
            remedy=f"type {CONFIRMING_WORD} when asked, or give --confirm {CONFIRMING_WORD}",
        )


def _need_terminal(remedy: str) -> None:
    if not is_terminal(sys.stdin):
        raise RequestError("there is no terminal to ask at", remedy=remedy)
