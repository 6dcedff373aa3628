"""``canwheel record``: an adapter to a file, and a view of the drive beside it.

This process records and does nothing else. The view is a process of its own that reads the
growing file; if it fails, or is killed, the recording goes on.
"""

import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from canwheel.cli.adapter_options import adapter_options, parse_options
from canwheel.cli.options import FILE, Measure
from canwheel.cli.output import is_terminal, tell, this_screen, write_text
from canwheel.cli.terminal_guard import remember_terminal
from canwheel.cli.watch import has_terminal, read_car
from canwheel.errors import CanwheelError, RequestError
from canwheel.plain_text import capital

if TYPE_CHECKING:
    from canwheel.bus.adapters import AdapterSettings
    from canwheel.bus.listening import Listener
    from canwheel.bus.recorder import Progress, Recorder
    from canwheel.bus.side_file import RecordingFacts

_LOOK_S = 0.2
_LINE_S = 1.0
_VIEW_ENDS_S = 5.0
_ENDING_SIGNALS = ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK")
"""Those that a system has: Ctrl-C, a polite kill, the terminal closed."""


class _Bitrate(click.ParamType[int | str]):
    """A number of bits a second, or ``auto``."""

    name = "bitrate"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Return the number, or ``auto``."""
        if value == "auto" or isinstance(value, int):
            return value
        try:
            return int(value)
        except ValueError:
            return self.fail("say a number of bits a second, such as 500000, or auto", param, ctx)


@click.command("record", short_help="Record a drive from an adapter, and watch it.")
@click.argument("out", metavar="OUT.log", type=FILE)
@adapter_options
@click.option(
    "--bitrate", metavar="N|auto", type=_Bitrate(), help="Of the bus; auto listens for it. [bit/s]"
)
@click.option(
    "--dbc",
    type=FILE,
    help="DBC file, to judge the wheels on the way; without one, how far discovery has come.",
)
@click.option("--vehicle", type=FILE, help="Vehicle file (TOML): what is known of the car.")
@click.option(
    "--acknowledge",
    is_flag=True,
    help="Go on with an adapter that cannot listen without acknowledging frames.",
)
@click.option("--no-wait", is_flag=True, help="End when the adapter is pulled out.")
@click.option("--plain", is_flag=True, help="A line a second instead of the view.")
@click.option("--yes", is_flag=True, help="The cautions are known: begin at once.")
@click.option("--for", "for_s", metavar="SECONDS", type=Measure(min=0), help="End after so long.")
def command(
    *,
    out: Path,
    interface: str | None,
    channel: str | None,
    options: tuple[str, ...],
    bitrate: int | str | None,
    dbc: Path | None,
    vehicle: Path | None,
    for_s: float | None,
    acknowledge: bool,
    no_wait: bool,
    plain: bool,
    yes: bool,
) -> int:
    """Record a drive into OUT.log, listening only, and watch the four corners meanwhile.

    The adapter is named the way python-can names one: by these options, its environment variables
    or its configuration file. `canwheel adapters` lists what can be seen. The file is written as
    the frames come in; nothing that exists is overwritten. OUT.toml beside it says how it was
    recorded. Ctrl-C, or q in the view, ends the recording.
    """
    from canwheel.bus.adapters import resolve_adapter  # noqa: PLC0415 - not for the help text
    from canwheel.bus.listening import AdapterDoor  # noqa: PLC0415 - heavy
    from canwheel.bus.recorder import Recorder, check_names  # noqa: PLC0415

    check_names(out)
    _, car = read_car(dbc, vehicle)  # a DBC that does not fit is told before anybody drives
    settings = resolve_adapter(
        interface=interface,
        channel=channel,
        bitrate=bitrate if isinstance(bitrate, int) else None,
        options=parse_options(options),
        usual_bitrate=car.bus.bitrate,
    )
    if not yes:
        _show_cautions(settings)
    if bitrate == "auto":
        settings = settings.at(_find_bitrate(settings))
    recorder = Recorder(
        out,
        AdapterDoor(settings, acknowledge=acknowledge).open,
        wait=not no_wait,
        vehicle=car.vehicle.name,
        vehicle_file=None if vehicle is None else str(vehicle),
    )
    _say_manner(recorder.facts, settings)
    facts = _run(recorder, _view_command(out, dbc, vehicle, plain=plain), for_s)
    _say_end(out, facts)
    if dbc is not None and facts.frames:
        _judge(out, dbc, vehicle)
    return 0


def _show_cautions(settings: "AdapterSettings") -> None:
    """Show the cautions in full and wait for a key.

    Raises
    ------
    RequestError : there is nobody to press one.
    """
    from canwheel.views.start import render_start  # noqa: PLC0415 - the help text needs none

    write_text(render_start(settings.words, this_screen()))
    if not is_terminal(sys.stdin):
        raise RequestError(
            "there is no terminal to ask for a key",
            remedy="say --yes when the cautions above are known",
        )
    click.pause("Press any key to begin, Ctrl-C to leave it.")


def _find_bitrate(settings: "AdapterSettings") -> int:
    from canwheel.bus.bitrate import find_bitrate  # noqa: PLC0415 - heavy
    from canwheel.bus.listening import open_listener  # noqa: PLC0415

    def open_to_listen(at: "AdapterSettings") -> "Listener":
        return open_listener(at, acknowledge=False)

    bitrate = find_bitrate(
        settings, open_to_listen, tell=lambda heard: tell(f"Listened at {heard.words}.")
    )
    tell(f"The bus runs at {bitrate / 1000:g} kbit/s.")
    return bitrate


def _say_manner(facts: "RecordingFacts", settings: "AdapterSettings") -> None:
    says = {
        "listen only": "It only listens: nothing of it reaches the bus.",
        "no hardware": "There is no wire behind it.",
        "acknowledges": "IT ACKNOWLEDGES FRAMES on the bus, as you allowed. It sends none.",
    }
    tell(f"Recording {settings.words} into {facts.recording}. {says[facts.manner]}")


def _view_command(out: Path, dbc: Path | None, vehicle: Path | None, *, plain: bool) -> list[str]:
    """Return the command line of the view."""
    plain = plain or not has_terminal()
    view = [sys.executable, "-m", "canwheel", "watch", str(out), "--beside-recorder"]
    view += [] if dbc is None else ["--dbc", str(dbc)]
    view += [] if vehicle is None else ["--vehicle", str(vehicle)]
    return [*view, "--plain"] if plain else view


def _run(recorder: "Recorder", view: list[str], for_s: float | None) -> "RecordingFacts":
    """Record until somebody ends it, or it ends itself."""
    restore_terminal = remember_terminal()
    until_s = None if for_s is None else time.monotonic() + for_s
    with _ended_by_signals(recorder.stop):
        recorder.start()
        watching = subprocess.Popen(view) if view else None  # noqa: S603 - our own command
        last_s = 0.0
        while recorder.is_running:
            time.sleep(_LOOK_S)
            if until_s is not None and time.monotonic() > until_s:
                recorder.stop()
            if watching is not None and watching.poll() is not None:
                if watching.returncode == 0:
                    recorder.stop()
                else:
                    restore_terminal()
                    tell("The view failed; the recording goes on. Ctrl-C ends it.")
                watching = None
                view = []
            if not view and time.monotonic() - last_s >= _LINE_S:
                last_s = time.monotonic()
                with suppress(CanwheelError):  # nobody can be told; the recording goes on
                    write_text(f"{_say_progress(recorder.progress)}\n")
        try:
            return recorder.finish()
        finally:
            if watching is not None:
                _let_end(watching, restore_terminal)


def _let_end(watching: "subprocess.Popen[bytes]", restore_terminal: Callable[[], None]) -> None:
    """Give the view, which sees the recording end, the time to put the terminal in order."""
    try:
        code = watching.wait(timeout=_VIEW_ENDS_S)
    except subprocess.TimeoutExpired:  # the side file that tells it could not be written
        watching.kill()
        code = watching.wait()
    if code != 0:
        restore_terminal()


@contextmanager
def _ended_by_signals(stop: Callable[[], None]) -> Iterator[None]:
    """Have every polite way to end the program end the recording first."""
    names = [name for name in _ENDING_SIGNALS if hasattr(signal, name)]
    before = {name: signal.signal(getattr(signal, name), lambda *_: stop()) for name in names}
    try:
        yield
    finally:
        for name, handler in before.items():
            signal.signal(getattr(signal, name), handler)


def _say_progress(progress: "Progress") -> str:
    from canwheel.views.words import say_size  # noqa: PLC0415 - not for the help text

    line = f"{progress.frames:,} frames, {progress.error_frames:,} error frames, "
    line += say_size(progress.size_bytes)
    if progress.state == "waiting":
        line = f"WAITING FOR THE ADAPTER ({progress.says}): {line}"
    elif progress.says:
        line = f"{line}; {progress.says}"
    return line


def _say_end(out: Path, facts: "RecordingFacts") -> None:
    gaps = f", {_count(len(facts.gap), 'gap')} while the adapter was away" if facts.gap else ""
    rubbish = f", {_count(facts.rubbish, 'unreadable piece')} left out" if facts.rubbish else ""
    reason = capital(facts.end_reason or "")
    tell(f"{out}: {facts.frames or 0:,} frames{gaps}{rubbish}. {reason}.")
    if not facts.frames:
        tell(
            "Nothing was heard: check that the ignition is on, the plug, the channel and the bit "
            "rate (--bitrate auto looks for it)."
        )


def _count(number: int, thing: str) -> str:
    return f"{number} {thing}{'' if number == 1 else 's'}"


def _judge(out: Path, dbc: Path, vehicle: Path | None) -> None:
    """Show what `check` says of the drive; that it cannot is no failure of the recording."""
    from canwheel.pipeline import check  # noqa: PLC0415 - not for the help text
    from canwheel.views.screen import render_check  # noqa: PLC0415

    try:
        write_text(render_check(check(out, dbc, vehicle), this_screen()))
    except CanwheelError as error:
        tell(f"The recording is safe, but cannot be judged: {error}")
