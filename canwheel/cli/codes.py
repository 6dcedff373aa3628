"""``canwheel codes``: read, keep and clear the brake control unit's stored codes."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from canwheel.errors import RequestError

if TYPE_CHECKING:
    from collections.abc import Callable

    import can
    from rich.console import Console

    from canwheel.fault_memory.documents import ClearingDocument, CodesDocument
    from canwheel.fault_memory.standing import WheelWatch
    from canwheel.fault_memory.timing import Timing
    from canwheel.fault_memory.unit_address import UnitAddress
    from canwheel.vehicle import Vehicle

_FILE = click.Path(path_type=Path, dir_okay=False)

_CAME_BACK_EXIT = 1
"""As for a fault that was found: something is stored again right after clearing."""


def _asks_a_unit(command: "Callable[..., None]") -> "Callable[..., None]":
    """Add the options of every command that asks a unit."""
    options = (
        click.option(
            "--vehicle", "vehicle_file", type=_FILE, required=True, help="Vehicle file (TOML)."
        ),
        click.option(
            "--dbc",
            type=_FILE,
            help="DBC with the wheel speeds: nothing is sent unless the car stands for 3 s.",
        ),
        click.option("--interface", help="Adapter's interface, as python-can names it."),
        click.option("--channel", help="Adapter's channel, as python-can names it."),
        click.option("--bitrate", type=click.IntRange(min=1), help="Bit rate. [bit/s]"),
        click.option(
            "--timeout",
            type=click.FloatRange(min=1, max=600),
            help="Longest wait for one answer, waits that the unit asks for included. [s]",
        ),
        click.option(
            "--save", type=_FILE, help="Save the document here; a file is never overwritten."
        ),
        click.option("--json", "as_json", is_flag=True, help="Print the JSON document only."),
    )
    for option in reversed(options):
        command = option(command)
    return command


@click.group()
def codes() -> None:
    """Stored codes of the brake control unit: the only commands that send anything.

    They send requests to read stored codes and, with `clear`, to clear them; nothing else.
    """


@codes.command()
@_asks_a_unit
def read(**options: Any) -> None:
    """Read the stored codes; keep them with --save.

    The section [fault_memory] of the vehicle file says which unit is asked.
    """
    from canwheel.fault_memory.reading import read_codes  # noqa: PLC0415  loads python-can

    request = _Request(options)
    document = read_codes(
        request.open_bus(),
        request.unit,
        vehicle=request.vehicle.vehicle.name,
        watch=request.watch,
        timing=request.timing,
    )
    request.give(document)


@codes.command()
@_asks_a_unit
@click.option(
    "--reading",
    type=_FILE,
    required=True,
    help="Saved reading of the same unit, from `canwheel codes read --save`.",
)
@click.option("--standing", is_flag=True, help="You say that the car stands (without --dbc).")
@click.option("--confirm", metavar="WORD", help="The word that the screen asks for, for scripts.")
def clear(*, reading: Path, standing: bool, confirm: str | None, **options: Any) -> None:
    """Clear all stored codes, after a saved reading, on a standing car.

    Clearing removes evidence, may reset self-tests of the unit, and is no repair.
    """
    from canwheel.fault_memory.clearing import (  # noqa: PLC0415  loads python-can
        check_same_unit,
        clear_codes,
    )
    from canwheel.fault_memory.documents import read_codes_file  # noqa: PLC0415  see above

    request = _Request(options)
    saved = read_codes_file(reading)
    check_same_unit(saved, request.unit)
    request.show(saved, on_error_stream=True)
    how = _know_standing(request, said=standing)
    _confirm(confirm)
    document = clear_codes(
        request.open_bus(),
        request.unit,
        saved,
        standing=how,
        watch=request.watch,
        timing=request.timing,
    )
    request.give(document)
    if document.verdict == "came_back":
        sys.exit(_CAME_BACK_EXIT)


def _know_standing(request: "_Request", *, said: bool) -> str:
    """Find out how the standstill is known, or stop."""
    if request.watch is not None:
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
    from canwheel.fault_memory.clearing import CONFIRMING_WORD  # noqa: PLC0415  loads python-can

    if word is None:
        _need_terminal(f"give --confirm {CONFIRMING_WORD}")
        click.echo(
            "Clearing removes what is shown above from the unit. It repairs nothing, and it may "
            "reset self-tests.",
            err=True,
        )
        word = click.prompt(f"Type {CONFIRMING_WORD} to clear all stored codes", err=True)
    if word.strip().upper() != CONFIRMING_WORD:
        raise RequestError(
            f"nothing was cleared: the word is {CONFIRMING_WORD}, not {word!r}",
            remedy=f"type {CONFIRMING_WORD} when asked, or give --confirm {CONFIRMING_WORD}",
        )


def _need_terminal(remedy: str) -> None:
    if not sys.stdin.isatty():
        raise RequestError("there is no terminal to ask at", remedy=remedy)


class _Request:
    """What the common options ask for, with everything checked that can be before sending."""

    def __init__(self, options: dict[str, Any]) -> None:
        from canwheel.fault_memory.documents import check_free  # noqa: PLC0415  msgspec only now
        from canwheel.fault_memory.unit_address import unit_address  # noqa: PLC0415  see above
        from canwheel.vehicle import read_vehicle  # noqa: PLC0415  see above

        self._options = options
        self._save: Path | None = options["save"]
        if self._save is not None:
            check_free(self._save)
        path: Path = options["vehicle_file"]
        self.vehicle: Vehicle = read_vehicle(path)
        self.unit: UnitAddress = unit_address(self.vehicle.fault_memory, where=str(path))
        self.watch: WheelWatch | None = self._wheel_watch(options["dbc"])

    @property
    def timing(self) -> "Timing":
        """Limits of every wait."""
        from canwheel.fault_memory.timing import Timing  # noqa: PLC0415  see above

        limit_s = self._options["timeout"]
        return Timing() if limit_s is None else Timing(request_s=limit_s)

    def open_bus(self) -> "can.BusABC":
        """Open the adapter, as late as possible."""
        from canwheel.fault_memory.adapter import (  # noqa: PLC0415  loads python-can
            AdapterChoice,
            open_for_diagnosis,
        )

        return open_for_diagnosis(
            AdapterChoice(
                interface=self._options["interface"],
                channel=self._options["channel"],
                bitrate=self._options["bitrate"] or self.vehicle.bus.bitrate,
            )
        )

    def give(self, document: "CodesDocument | ClearingDocument") -> None:
        """Save, then print."""
        from canwheel.fault_memory.documents import save_document  # noqa: PLC0415  see above

        if self._save is not None:
            save_document(document, self._save)
        self.show(document)

    def show(
        self, document: "CodesDocument | ClearingDocument", *, on_error_stream: bool = False
    ) -> None:
        """Print a document; one that is not the result goes to standard error."""
        if self._options["as_json"] and not on_error_stream:
            import msgspec  # noqa: PLC0415  see above

            click.echo(msgspec.json.format(msgspec.json.encode(document), indent=2))
            return
        from canwheel.fault_memory.documents import CodesDocument  # noqa: PLC0415  see above
        from canwheel.views.codes_screen import (  # noqa: PLC0415  loads rich
            render_clearing,
            render_codes,
        )

        side = self.vehicle.drive_side
        console = _console(on_error_stream=on_error_stream)
        if isinstance(document, CodesDocument):
            console.print(render_codes(document, drive_side=side))
        else:
            console.print(render_clearing(document, drive_side=side))

    def _wheel_watch(self, dbc: Path | None) -> "WheelWatch | None":
        if dbc is None:
            return None
        raise NotImplementedError


def _console(*, on_error_stream: bool) -> "Console":
    from rich.console import Console  # noqa: PLC0415  takes long to import

    return Console(stderr=on_error_stream, highlight=False)
