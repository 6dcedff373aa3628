"""The shipped pair of recordings, and recordings cut from it."""

import gzip
from collections.abc import Callable
from pathlib import Path

import pytest

PROJECT = Path(__file__).parents[2]


@pytest.fixture(scope="session")
def before() -> str:
    return str(PROJECT / "captures" / "before.log.gz")


@pytest.fixture(scope="session")
def after() -> str:
    return str(PROJECT / "captures" / "after.log.gz")


@pytest.fixture(scope="session")
def car() -> list[str]:
    examples = PROJECT / "dbc_examples"
    return [
        "--dbc",
        str(examples / "bakery_van.dbc"),
        "--vehicle",
        str(examples / "bakery_van.toml"),
    ]


@pytest.fixture
def cut(tmp_path: Path, after: str) -> Callable[[Callable[[list[str]], list[str]]], str]:
    """Write what a function makes of the sound recording's lines; return the file's name."""

    def make(change: Callable[[list[str]], list[str]]) -> str:
        with gzip.open(after, "rt") as file:
            lines = file.read().splitlines()
        path = tmp_path / "cut.log"
        path.write_text("".join(f"{line}\n" for line in change(lines)))
        return str(path)

    return make
