"""To standard output and standard error: whole, in what the terminal can show, whoever reads it."""

import os
import shutil
import sys
import textwrap
from typing import TYPE_CHECKING, TextIO

if TYPE_CHECKING:
    from canwheel.views.terminal import Screen

from canwheel.errors import RequestError

_DRAWN = "█░╭•·–"
"""Signs that the screen draws with; a terminal that lacks one gets plain ASCII."""


def write_text(text: str) -> None:
    """Write to standard output, with a sign for what its encoding cannot say.

    Raises
    ------
    RequestError : it is closed, or full.
    """
    _write(text.encode(_encoding(sys.stdout) or "utf-8", "backslashreplace"))


def write_json(document: str) -> None:
    """Write a JSON document to standard output; JSON is UTF-8 (RFC 8259).

    Raises
    ------
    RequestError : it is closed, or full.
    """
    _write(document.encode())


def tell(message: str) -> None:
    """Write lines for people to standard error; on a terminal they break between words.

    Where it is closed or full they are lost: the exit code still says how it went.
    """
    encoding = _encoding(sys.stderr) or "utf-8"
    clean = "".join(sign if sign.isprintable() or sign == "\n" else "?" for sign in message)
    if is_terminal(sys.stderr):
        clean = wrapped(clean)
    if sys.stderr is None:  # started with it closed; `print` would take standard output
        return
    try:
        print(clean.encode(encoding, "backslashreplace").decode(encoding), file=sys.stderr)
    except OSError:
        _close_quietly(sys.stderr)


def wrapped(text: str) -> str:
    """Break lines that are too long for the terminal between words; words stay whole."""
    width = shutil.get_terminal_size().columns
    return "\n".join(
        line
        if len(line) <= width
        else textwrap.fill(line, width, break_long_words=False, break_on_hyphens=False)
        for line in text.split("\n")
    )


def this_screen() -> "Screen":
    """What standard output can show: 80 columns and no colour where it is no terminal."""
    from canwheel.views.terminal import Screen  # noqa: PLC0415 - the help text needs none of it

    on_terminal = is_terminal(sys.stdout)
    no_colour = os.environ.get("NO_COLOR") or os.environ.get("TERM") == "dumb"  # no-color.org
    return Screen(
        width=shutil.get_terminal_size().columns if on_terminal else Screen().width,
        colour=on_terminal and not no_colour,
        ascii_only=not _can_draw(_encoding(sys.stdout) or "ascii"),
    )


def is_terminal(stream: TextIO | None) -> bool:
    """Whether a stream is a terminal; one that was closed before the program began is None."""
    return stream is not None and stream.isatty()


def say_refused(error: OSError) -> str:
    """Say in one line what the system refused, and leave nothing behind that fails again later."""
    try:
        if sys.stdout is not None:
            sys.stdout.flush()
    except OSError:
        _close_quietly(sys.stdout)
    what = f"{error.filename}: {error.strerror}" if error.filename else str(error.strerror or error)
    return f"{what}. Check the room on the disk, and where the output goes."


def _encoding(stream: TextIO | None) -> str | None:
    return None if stream is None else stream.encoding


def _unwritable(why: str | None) -> RequestError:
    return RequestError(
        f"standard output cannot be written: {why}",
        remedy="send it to a file or a terminal that takes it",
    )


def _can_draw(encoding: str) -> bool:
    try:
        _DRAWN.encode(encoding)
    except UnicodeEncodeError:
        return False
    return True


def _write(data: bytes) -> None:
    """Write all of it. A reader that has gone (`| head`) has what it wanted: that is no error."""
    if sys.stdout is None:
        raise _unwritable("it is closed")
    try:
        sys.stdout.flush()
        sys.stdout.buffer.write(data)
        sys.stdout.buffer.flush()
    except BrokenPipeError:
        _close_quietly(sys.stdout)
    except OSError as error:
        _close_quietly(sys.stdout)
        raise _unwritable(error.strerror) from error


def _close_quietly(stream: TextIO) -> None:
    """Point the stream to nowhere, or Python complains when it flushes it at the end."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, stream.fileno())
    os.close(nowhere)
