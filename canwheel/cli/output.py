"""To standard output and standard error: whole, in what the terminal can show, whoever reads it."""

import os
import shutil
import sys
import textwrap
from typing import TYPE_CHECKING, TextIO

if TYPE_CHECKING:
    from canwheel.views.terminal import Screen

_DRAWN = "█░╭•·–"
"""Signs that the screen draws with; a terminal that lacks one gets plain ASCII."""


def write_text(text: str) -> None:
    """Write to standard output, with a sign for what its encoding cannot say."""
    _write(text.encode(sys.stdout.encoding or "utf-8", "backslashreplace"))


def write_json(document: str) -> None:
    """Write a JSON document to standard output; JSON is UTF-8 (RFC 8259)."""
    _write(document.encode())


def tell(message: str) -> None:
    """Write lines for people to standard error; on a terminal they break between words."""
    encoding = sys.stderr.encoding or "utf-8"
    clean = "".join(sign if sign.isprintable() or sign == "\n" else "?" for sign in message)
    if sys.stderr.isatty():
        clean = wrapped(clean)
    print(clean.encode(encoding, "backslashreplace").decode(encoding), file=sys.stderr)


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

    is_terminal = sys.stdout.isatty()
    no_colour = os.environ.get("NO_COLOR") or os.environ.get("TERM") == "dumb"  # no-color.org
    return Screen(
        width=shutil.get_terminal_size().columns if is_terminal else Screen().width,
        colour=is_terminal and not no_colour,
        ascii_only=not _can_draw(sys.stdout.encoding or "ascii"),
    )


def _can_draw(encoding: str) -> bool:
    try:
        _DRAWN.encode(encoding)
    except UnicodeEncodeError:
        return False
    return True


def _write(data: bytes) -> None:
    """Write all of it. A reader that has gone (`| head`) has what it wanted: that is no error."""
    try:
        sys.stdout.flush()
        sys.stdout.buffer.write(data)
        sys.stdout.buffer.flush()
    except BrokenPipeError:
        _close_quietly(sys.stdout)


def _close_quietly(stream: TextIO) -> None:
    """Point the stream to nowhere, or Python complains when it flushes it at the end."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, stream.fileno())
    os.close(nowhere)
