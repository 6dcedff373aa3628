"""The terminal, put in order again after a program that drew on it died."""

import sys
from collections.abc import Callable

from canwheel.cli.output import is_terminal

_USUAL_SCREEN = (
    "\x1b[?1049l"  # the screen as it was before
    "\x1b[?25h"  # the cursor shown
    "\x1b[?1000l\x1b[?1002l\x1b[?1003l\x1b[?1006l\x1b[?1015l\x1b[?1016l"  # no mouse reports
    "\x1b[?1004l\x1b[?2004l"  # no focus reports, no bracketed paste
    "\x1b[<u"  # usual keys
    "\x1b[0m\n"
)
"""Control sequences as xterm documents them; a terminal passes over those it does not know."""


def remember_terminal() -> Callable[[], None]:
    """Remember how the terminal is set, and return what sets it so again.

    A view that is killed leaves the terminal without echo and with Ctrl-C as a mere key: nobody
    could end the recording any more.
    """
    if sys.platform == "win32" or not is_terminal(sys.stdin):
        return lambda: None
    import termios  # noqa: PLC0415 - POSIX only

    before = termios.tcgetattr(sys.stdin.fileno())

    def restore() -> None:
        termios.tcsetattr(sys.stdin.fileno(), termios.TCSADRAIN, before)
        if is_terminal(sys.stderr):
            sys.stderr.write(_USUAL_SCREEN)
            sys.stderr.flush()

    return restore
