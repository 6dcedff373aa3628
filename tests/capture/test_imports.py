"""What is imported on the way: nothing heavy for a text log, no asammdf for python-can."""

import subprocess
import sys
from pathlib import Path

PROJECT = Path(__file__).parents[2]


def printed(code: str) -> str:
    """Run code in a process of its own and return what it prints."""
    result = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=PROJECT
    )
    return result.stdout.strip()


def test_a_text_log_needs_no_library_but_numpy(tmp_path: Path) -> None:
    path = tmp_path / "drive.log"
    path.write_text("(1.0) can0 123#00\n")
    code = (
        "import sys; from pathlib import Path; from canwheel.capture import read_capture\n"
        f"assert read_capture(Path({str(path)!r})).summary.frames == 1\n"
        "heavy = ('can', 'cantools', 'asammdf', 'isal', 'pandas', 'rich')\n"
        "print([name for name in heavy if name in sys.modules])"
    )
    assert printed(code) == "[]"


def test_python_can_comes_without_asammdf_and_does_not_lock_it_out() -> None:
    code = (
        "import sys; from canwheel.capture.library import import_can\n"
        "can = import_can(); print('asammdf' in sys.modules, can.BLFReader.__name__)\n"
        "from importlib.util import find_spec; find_spec('asammdf'); print('free')"
    )
    assert printed(code).splitlines() == ["False BLFReader", "free"]
