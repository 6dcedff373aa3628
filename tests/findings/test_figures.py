"""A tiny run of the figures' benchmark: what the evidence says against what was put in."""

import importlib.util
import sys
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

import pytest

BENCHMARKS = Path(__file__).parents[1] / "benchmarks"
SEED = 20_262


@pytest.fixture(scope="module")
def script() -> Iterator[ModuleType]:
    """The script, which is no package: by its path, with those that stand beside it."""
    spec = importlib.util.spec_from_file_location("figures", BENCHMARKS / "figures.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    with pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(str(BENCHMARKS))
        patch.setitem(sys.modules, "figures", module)
        spec.loader.exec_module(module)
        yield module


@pytest.mark.parametrize("kind", ["wrong_ratio", "late_pickup", "dropout", "ring_damage"])
def test_what_is_told_is_what_was_put_in(script: ModuleType, tmp_path: Path, kind: str) -> None:
    (figure,) = (figure for figure in script.FIGURES if figure.kind == kind)
    errors = script.errors_of(figure, 4, SEED, tmp_path)
    assert errors
    assert max(abs(error) for error in errors) <= figure.tolerance
