"""Damaged copies of small recordings: an error in one line or frames, never anything else.

Run as a script for many copies:  python tests/capture/test_fuzz.py 10000
"""

import gzip
import sys
import tempfile
import time
from pathlib import Path

import can
import numpy as np
import pytest

from canwheel.capture import read_capture
from canwheel.errors import CaptureError
from canwheel.frames import IdPattern

WANTED = (IdPattern.exactly(0x123, extended=False), IdPattern.exactly(0x18FE0123, extended=True))
LONGEST_S = 5.0
COPIES = 40


def messages(count: int) -> list[can.Message]:
    """Return a few messages."""
    return [
        can.Message(
            timestamp=1_700_000_000 + number / 100,
            arbitration_id=0x18FE0123 if number % 3 else 0x123,
            is_extended_id=bool(number % 3),
            data=bytes([number % 256] * (number % 9)),
            channel=number % 2,
        )
        for number in range(count)
    ]


def text_log() -> bytes:
    """Return a small text log."""
    forms = ("123#0011223344556677", "18FE0123#00", "123##3" + "AB" * 12, "123#R4", "321#00 T")
    lines = [f"(17000000{n:02d}.5) can{n % 2} {forms[n % 5]}\n" for n in range(60)]
    return "".join(lines).encode()


def seed_files(folder: Path) -> dict[str, bytes]:
    """Return a small recording of every form."""
    seeds = {"drive.log": text_log(), "drive.log.gz": gzip.compress(text_log())}
    for suffix in (".asc", ".blf", ".csv", ".db", ".trc", ".mf4"):
        path = folder / f"seed{suffix}"
        try:
            with can.Logger(path) as logger:
                for message in messages(60):
                    logger(message)
        except NotImplementedError:  # no asammdf here
            continue
        seeds[f"drive{suffix}"] = path.read_bytes()
    return seeds


def damaged(content: bytes, random: np.random.Generator) -> bytes:
    """Return a copy with some bytes changed, taken out, put in, or cut off."""
    copy = bytearray(content)
    for _ in range(int(random.integers(1, 6))):
        place = int(random.integers(len(copy) + 1))
        length = int(random.integers(1, 9))
        how = int(random.integers(5))
        if how == 0:
            copy[place : place + length] = random.bytes(length)
        elif how == 1:
            copy[place : place + length] = b""
        elif how == 2:
            copy[place:place] = random.bytes(length)
        elif how == 3:
            copy[place : place + 4] = random.choice([b"\0\0\0\0", b"\xff\xff\xff\xff", b"\n(#)"])
        elif random.random() < 0.3:
            del copy[place:]
    return bytes(copy)


def attack(content: bytes, path: Path, random: np.random.Generator) -> bool:
    """Read one damaged copy both ways; return whether frames came."""
    path.write_bytes(damaged(content, random))
    came = False
    for wanted in (None, WANTED):
        started_s = time.perf_counter()
        told = ""
        try:
            capture = read_capture(path, wanted)
        except CaptureError as error:
            told = str(error)
        else:
            came = True
            assert capture.summary.frames >= len(capture.frames)
        assert "\n" not in told
        assert told.startswith(str(path)) or not told
        assert time.perf_counter() - started_s < LONGEST_S
    return came


@pytest.fixture(scope="module")
def seeds(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    return seed_files(tmp_path_factory.mktemp("seeds"))


@pytest.mark.filterwarnings("ignore::ResourceWarning")  # the libraries leave broken files open
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
@pytest.mark.parametrize(
    "name",
    [f"drive{s}" for s in (".log", ".log.gz", ".asc", ".blf", ".csv", ".db", ".trc", ".mf4")],
)
def test_damaged_copies_never_cause_anything_but_a_capture_error(
    seeds: dict[str, bytes], tmp_path: Path, name: str
) -> None:
    if name not in seeds:
        pytest.skip("asammdf is not installed")
    random = np.random.default_rng(sum(name.encode()))
    copies = COPIES // 4 if name == "drive.mf4" else COPIES  # of which each takes a tenth second
    came = [attack(seeds[name], tmp_path / name, random) for _ in range(copies)]
    if name == "drive.log":
        assert sum(came) > COPIES / 2  # or the damage would be too great to test anything


def main(copies: int) -> None:
    """Attack with many copies and tell how many of each form still gave frames."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        random = np.random.default_rng()
        seeds = seed_files(folder)
        shares = {"drive.log": 0.6, "drive.log.gz": 0.1}
        for form, content in seeds.items():
            count = round(copies * shares.get(form, 0.3 / (len(seeds) - 2)))
            path = folder / form
            try:
                came = sum(attack(content, path, random) for _ in range(count))
            except BaseException:
                Path(f"failed-{form}").write_bytes(path.read_bytes())
                raise
            print(f"{form}: {count} copies, frames came from {came}")  # noqa: T201


if __name__ == "__main__":
    main(int(sys.argv[1]))
