"""How far the reading of a long recording has come, on standard error."""

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from canwheel.cli.output import is_terminal

SHOWN_AFTER_S = 1.0
"""What takes less needs no progress. [s]"""


@contextmanager
def reading_progress() -> Iterator[Callable[[int, int], None] | None]:
    """Yield what a reader calls with bytes done and bytes in all.

    None where standard error is no terminal. The line goes away when the work is done.
    """
    if not is_terminal(sys.stderr):
        yield None
        return
    line = _ProgressLine()
    try:
        yield line.show
    finally:
        line.clear()


class _ProgressLine:
    """One line, drawn only when the work takes long enough to wait for it."""

    def __init__(self) -> None:
        self._started_s = time.monotonic()
        self._clear: Callable[[], None] | None = None
        self._update: Callable[[int, int], None] | None = None

    def show(self, done: int, total: int) -> None:
        """Show how far it has come. [bytes]"""
        if self._update is None and time.monotonic() - self._started_s > SHOWN_AFTER_S:
            self._start()
        if self._update is not None:
            self._update(done, total)

    def clear(self) -> None:
        """Take the line away."""
        if self._clear is not None:
            self._clear()

    def _start(self) -> None:
        from rich.console import Console  # noqa: PLC0415 - a short run needs none of it
        from rich.progress import Progress  # noqa: PLC0415

        progress = Progress(console=Console(stderr=True), transient=True)
        task = progress.add_task("Reading")
        progress.start()
        self._clear = progress.stop
        self._update = lambda done, total: progress.update(task, completed=done, total=total)
