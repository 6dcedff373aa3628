"""The group of all commands, and what happens when one cannot do its work."""

import sys
from collections.abc import Sequence
from importlib import import_module

import click

from canwheel.cli.output import say_refused, tell
from canwheel.errors import CanwheelError
from canwheel.version import VERSION

COMMANDS = {
    "check": "canwheel.cli.check",
    "compare": "canwheel.cli.compare",
    "record": "canwheel.cli.record",
    "adapters": "canwheel.cli.adapters",
    "replay": "canwheel.cli.replay",
    "simulate": "canwheel.cli.simulate",
    "watch": "canwheel.cli.watch",
    "convert": "canwheel.cli.convert",
    "corners": "canwheel.cli.corners",
    "discover": "canwheel.cli.discover",
    "demo": "canwheel.cli.demo",
    "codes": "canwheel.cli.codes",
}
"""Every command and the module that holds it, as `command`. In the order of the help text."""

BAD_INPUT = 2
"""Exit code for a file or a command line that cannot be used."""

INTERRUPTED = 130
"""Exit code after Ctrl-C: 128 and the number of the signal, as shells count it (POSIX)."""


class CommandTable(click.Group):
    """A group that imports a command's module when it is asked for it."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the commands in the order of the table."""
        del ctx
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Return the command of that name, None when there is none."""
        del ctx
        if cmd_name not in COMMANDS:
            return None
        command: click.Command = import_module(COMMANDS[cmd_name]).command
        return command


@click.command(
    cls=CommandTable,
    invoke_without_command=True,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
@click.version_option(VERSION, prog_name="canwheel")
@click.pass_context
def app(ctx: click.Context) -> int | None:
    """Find the faulty wheel-speed corner of a car from a recorded drive, and prove the repair.

    A recording of the car's CAN bus and a DBC file that says where the wheel speeds stand are all
    it needs. Exit codes: 0 sound or proven, 1 a fault, 2 a file or command that cannot be used,
    3 not enough driving to tell.
    """
    if ctx.invoked_subcommand is not None:
        return None
    tell(ctx.get_help())
    return BAD_INPUT


def run(arguments: Sequence[str] | None = None) -> int:
    """Run the command line and return its exit code.

    Parameters
    ----------
    arguments : without the program's name; None for those it was started with.
    """
    try:
        code = app.main(arguments, prog_name="canwheel", standalone_mode=False)
    except CanwheelError as error:
        tell(f"canwheel: {error}")
        if error.details:
            tell(error.details)
    except click.UsageError as error:
        command = error.ctx.command_path if error.ctx else _command_in(arguments)
        tell(f"{command}: {_one_line(error)} '{command} --help' shows how it is used.")
    except click.ClickException as error:
        tell(f"canwheel: {_one_line(error)}")
    except click.Abort:
        tell("canwheel: stopped.")
        return INTERRUPTED
    except OSError as error:
        tell(f"canwheel: {say_refused(error)}")
    except SystemExit:  # click's way out of a broken pipe, with 1: here that means a fault
        pass
    else:
        return int(code or 0)
    return BAD_INPUT


def main() -> None:
    """Run the command line and end the program with its exit code."""
    sys.exit(run())


def _command_in(arguments: Sequence[str] | None) -> str:
    """Return the command that a command line begins with; click's parser tells none."""
    names = ["canwheel"]
    command: click.Group = app
    for word in sys.argv[1:] if arguments is None else arguments:
        found = command.get_command(click.Context(command), word)
        if found is None:
            break
        names.append(word)
        if not isinstance(found, click.Group):
            break
        command = found
    return " ".join(names)


def _one_line(error: click.ClickException) -> str:
    """A message of click's in the shape of our own: one line, no capital, one full stop."""
    message = " ".join(error.format_message().split()).rstrip(".")
    return f"{message[:1].lower()}{message[1:]}."
