"""The DBC library, loaded without its live-bus part.

``import cantools`` also runs ``cantools.tester``, which talks to a live bus and for that imports
python-can with every recording format that python-can knows; where asammdf is installed, that
alone takes half a second, for a DBC file that needs none of it. Nothing here uses the tester.
"""

import logging
import sys
from collections.abc import Sequence
from importlib.abc import MetaPathFinder
from importlib.machinery import ModuleSpec, PathFinder
from importlib.util import LazyLoader
from types import ModuleType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from cantools.database.can import Database

_TESTER = "cantools.tester"


class _TesterOnDemand(MetaPathFinder):
    """Finds `_TESTER` only, and has it run when somebody first uses it."""

    def find_spec(
        self,
        fullname: str,
        path: Sequence[str] | None,
        target: ModuleType | None = None,
    ) -> ModuleSpec | None:
        """Return the usual spec of the tester with a lazy loader in it."""
        if fullname != _TESTER:
            return None
        spec = PathFinder.find_spec(fullname, path, target)
        if spec is not None and spec.loader is not None:
            spec.loader = LazyLoader(spec.loader)
        return spec


def import_cantools() -> ModuleType:
    """Import cantools; its tester, and with it python-can, is put off until it is used.

    The standard library's own lazy loader does it, for that one module and only during this
    import: a program that wants ``cantools.tester``, python-can or asammdf still gets each whole.
    """
    finder = _TesterOnDemand()
    sys.meta_path.insert(0, finder)
    try:
        import cantools.database  # noqa: PLC0415  (heavy: only where a DBC is read)
    finally:
        sys.meta_path.remove(finder)
    # Its remarks on a file ("overwriting message ...") are ours to tell; without a handler of
    # its own the logging module would print them on standard error.
    logger = logging.getLogger("cantools")
    if not logger.handlers:
        logger.addHandler(logging.NullHandler())
    return cantools


def load_database(text: str) -> "Database":
    """Parse the text of a DBC file, leniently: signals may overlap or reach past their message.

    Raises
    ------
    Exception : whatever the library raises; it reads alien text with few checks of its own.
    """
    import_cantools()
    from cantools.database.can import Database  # noqa: PLC0415  (see above)

    database = Database(strict=False)
    database.add_dbc_string(text)
    return database
