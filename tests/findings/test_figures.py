"""A tiny run of the figures' benchmark: what the evidence says against what was put in."""

from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import pytest

SEED = 20_262


@pytest.fixture(scope="module")
def script(load_benchmark: Callable[[str], ModuleType]) -> ModuleType:
    return load_benchmark("figures")


@pytest.mark.parametrize("kind", ["wrong_ratio", "late_pickup", "dropout", "ring_damage"])
def test_what_is_told_is_what_was_put_in(script: ModuleType, tmp_path: Path, kind: str) -> None:
    (figure,) = (figure for figure in script.FIGURES if figure.kind == kind)
    errors = script.errors_of(figure, 4, SEED, tmp_path)
    assert errors
    assert max(abs(error) for error in errors) <= figure.tolerance
