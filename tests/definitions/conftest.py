"""DBC texts, payload columns and the open data set that the definitions tests share."""

from collections.abc import Callable, Iterator
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pytest

from canwheel.definitions.dbc import Definitions, read_definitions
from canwheel.frames import Frames


def make_frames(payloads: list[bytes], can_id: int = 0x123, flags: int = 0) -> Frames:
    """One frame a payload, all of one identifier."""
    n = len(payloads)
    width = max([8, *map(len, payloads)])
    data = np.zeros((n, width), np.uint8)
    for row, payload in enumerate(payloads):
        data[row, : len(payload)] = list(payload)
    return Frames(
        time_ns=np.arange(n, dtype=np.int64),
        can_id=np.full(n, can_id, np.uint32),
        flags=np.full(n, flags, np.uint8),
        length=np.array([len(payload) for payload in payloads], np.uint8),
        data=data,
        channel=np.zeros(n, np.uint8),
        channels=("can0",),
        index=np.arange(n, dtype=np.int64),
    )


@pytest.fixture(scope="session")
def frames_of() -> Callable[..., Frames]:
    return make_frames


@pytest.fixture
def define(tmp_path: Path) -> Callable[[str | bytes], Definitions]:
    """Write a DBC and read it."""

    def write_and_read(text: str | bytes) -> Definitions:
        path = tmp_path / "car.dbc"
        path.write_bytes(text.encode() if isinstance(text, str) else text)
        return read_definitions(path)

    return write_and_read


def open_dbc_files() -> Iterator[Path]:
    """The DBC files of the open data set `opendbc` (PyPI, MIT licence), if it is installed."""
    found = find_spec("opendbc")
    for place in (found.submodule_search_locations or []) if found else []:
        yield from sorted(Path(place).rglob("*.dbc"))


@pytest.fixture(scope="session")
def open_dbcs() -> dict[str, Path]:
    files = {path.name: path for path in open_dbc_files()}
    if not files:
        pytest.skip("the open data set opendbc is not installed (extra: test)")
    return files
