"""Progress on standard error: late, only on a terminal, and gone when done."""

import io
import sys

import pytest

from canwheel.cli import progress


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_nothing_where_there_is_no_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stderr", io.StringIO())
    with progress.reading_progress() as show:
        assert show is None


@pytest.mark.parametrize(("after_s", "shown"), [(-1.0, True), (60.0, False)])
def test_only_what_takes_long_is_shown(
    monkeypatch: pytest.MonkeyPatch, after_s: float, *, shown: bool
) -> None:
    terminal = Terminal()
    monkeypatch.setattr(sys, "stderr", terminal)
    monkeypatch.setattr(progress, "SHOWN_AFTER_S", after_s)
    monkeypatch.setenv("TERM", "xterm")
    with progress.reading_progress() as show:
        assert show is not None
        show(10, 100)
        show(100, 100)
    assert ("Reading" in terminal.getvalue()) == shown
