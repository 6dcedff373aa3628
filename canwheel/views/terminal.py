"""What every screen of text is made of: banner, titled sections, lists; and the way to a string."""

import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from rich.console import Console, Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from canwheel.plain_text import printable

WIDEST = 132
"""Longer lines are hard to read. [columns]"""

FAULT, GOOD, OPEN, QUIET = "bold red", "bold green", "bold yellow", "dim"
"""Styles by what they mean; a word or sign always says the same."""

_INDENT = 2
_SIMPLE_SIGNS = str.maketrans("╭╮╰╯│─█░•·–…", "++++|-#:*--~")
"""For terminals that know no more than ASCII, sign by sign, so that columns stay in line."""


@dataclass(frozen=True, slots=True)
class Screen:
    """What the terminal can show.

    Attributes
    ----------
    width : columns.
    colour : whether colours may be used.
    ascii_only : whether it knows no more than ASCII.
    """

    width: int = 80
    colour: bool = False
    ascii_only: bool = False


def render_parts(parts: Iterable[RenderableType], screen: Screen) -> str:
    """Return the parts, one below the other, as text for that screen."""
    output = io.StringIO()
    console = Console(
        file=output,
        width=min(screen.width, WIDEST),
        force_terminal=screen.colour,
        color_system="standard" if screen.colour else None,
        no_color=not screen.colour,
        legacy_windows=False,
        highlight=False,
        markup=False,
        emoji=False,
    )
    console.print(Padding(Group(*parts), (1, 1)))
    text = "".join(f"{line.rstrip()}\n" for line in output.getvalue().splitlines())
    return text.translate(_SIMPLE_SIGNS) if screen.ascii_only else text


def banner(word: str, style: str, headline: str) -> Text:
    """Return the verdict, set off, and what it is about."""
    return Text.assemble((f" {word} ", f"{style} reverse"), "  ", (printable(headline), "bold"))


def section(title: str, lines: Sequence[RenderableType]) -> list[RenderableType]:
    """Return a title and its lines; nothing when there are none."""
    if not lines:
        return []
    body = [Padding(line, (0, 0, 0, _INDENT)) for line in lines]
    return [Text(f"\n{title}", style="bold underline"), *body]


def numbered(lines: Iterable[str]) -> list[RenderableType]:
    """Return the lines with their numbers."""
    return [_hanging(f"{number:2}.", line) for number, line in enumerate(lines, start=1)]


def bullets(lines: Iterable[str]) -> list[RenderableType]:
    """Return the lines with a dot each."""
    return [_hanging("•", line) for line in lines]


def facts(rows: Iterable[tuple[str, str]]) -> list[RenderableType]:
    """Return names and what is so named, in two columns."""
    grid = Table.grid(padding=(0, 2))
    grid.add_column(no_wrap=True)
    grid.add_column()
    for name, value in rows:
        grid.add_row(Text(name, style=QUIET), printable(value))
    return [grid] if grid.row_count else []


def _hanging(mark: str, line: str) -> Table:
    grid = Table.grid(padding=(0, 1))
    grid.add_column(width=len(mark))
    grid.add_column()
    grid.add_row(mark, printable(line))
    return grid
