"""Loading the DBC library leaves python-can and asammdf alone, and whole."""

import subprocess
import sys
from importlib.util import find_spec

import pytest

READ = """
import sys
from canwheel.definitions.library import load_database
load_database('VERSION ""')
"""
HEAVY = ("can", "asammdf", "pandas")


def run(code: str) -> str:
    """Run code in a fresh interpreter; return what it prints."""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return done.stdout.strip()


def test_reading_a_dbc_imports_neither_python_can_nor_what_hangs_on_it() -> None:
    assert run(READ + f"print([name for name in {HEAVY} if name in sys.modules])") == "[]"


def test_no_finder_stays_behind() -> None:
    before = "import sys; before = list(sys.meta_path)"
    assert run(before + READ + "print(sys.meta_path == before)") == "True"


def test_the_tester_still_comes_whole_when_it_is_asked_for() -> None:
    code = "import cantools, cantools.tester\nprint(cantools.tester.Tester.__name__)"
    assert run(READ + code + "\nprint('can' in sys.modules)") == "Tester\nTrue"
    assert run(READ + "from cantools.tester import Tester\nprint(Tester.__name__)") == "Tester"


def test_a_library_that_is_loaded_already_is_left_as_it_is() -> None:
    code = "import sys, cantools; tester = cantools.tester" + READ
    assert run(code + "print(sys.modules['cantools.tester'] is tester)") == "True"


@pytest.mark.skipif(find_spec("asammdf") is None, reason="asammdf (extra: mdf) is not installed")
def test_recording_to_mdf_still_works_afterwards() -> None:
    code = """
import can, tempfile, pathlib
with tempfile.TemporaryDirectory() as folder:
    path = pathlib.Path(folder, "drive.mf4")
    with can.MF4Writer(path) as writer:
        writer.on_message_received(can.Message(arbitration_id=0x123, data=[1, 2], timestamp=1.0))
    with can.MF4Reader(path) as reader:
        print([message.arbitration_id for message in reader])
"""
    assert run("import warnings; warnings.simplefilter('ignore')" + READ + code) == "[291]"


def test_remarks_of_the_library_do_not_reach_the_terminal() -> None:
    code = """
import contextlib, io
from canwheel.definitions.library import load_database
message = 'BO_ 1 {}: 8 X\\n SG_ S : 0|8@1+ (1,0) [0|0] "" X\\n\\n'
with contextlib.redirect_stderr(io.StringIO()) as err:
    load_database(message.format("A") + message.format("B"))
print(repr(err.getvalue()))
"""
    assert run(code) == "''"
