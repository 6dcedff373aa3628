"""A short run of the judgement's benchmark: random cars, drives and layouts, and their faults."""

from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest

from canwheel.roadtest.cases import random_case

SEED = 20_261


@pytest.fixture(scope="module")
def benchmark_script(load_benchmark: Callable[[str], ModuleType]) -> ModuleType:
    return load_benchmark("judgement")


def run(script: ModuleType, folder: Path, *, cases: int, only: str | None, seed: int) -> Any:
    row = script.Row()
    for number in range(cases):
        case = random_case(np.random.default_rng((seed, number)), only)
        _, judgement = script.judge_case(case, folder)
        script.score(case, judgement, row, f"seed {seed} case {number} {case.name}")
    return row


def test_every_dead_corner_is_found(benchmark_script: ModuleType, tmp_path: Path) -> None:
    row = run(benchmark_script, tmp_path, cases=8, only="no_signal", seed=SEED)
    assert row.wrong == []
    assert row.corner_found + row.untested == row.cases
    assert row.corner_found >= 6


def test_sound_cars_are_left_alone(benchmark_script: ModuleType, tmp_path: Path) -> None:
    row = run(benchmark_script, tmp_path, cases=6, only="healthy", seed=SEED)
    assert (row.false_alarm, row.false_doubt) == (0, 0), row.wrong


def test_of_anything_no_wrong_corner_is_accused(
    benchmark_script: ModuleType, tmp_path: Path
) -> None:
    row = run(benchmark_script, tmp_path, cases=14, only=None, seed=SEED)
    assert (row.wrong_corner, row.false_alarm) == (0, 0), row.wrong


def test_the_script_prints_its_table(
    benchmark_script: ModuleType,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    arguments = ["judgement.py", "--cases", "1", "--seed", "3", "--only", "no_signal", "--show"]
    monkeypatch.setattr("sys.argv", arguments)
    benchmark_script.main()
    head, line, *_ = capsys.readouterr().out.splitlines()
    assert head.split()[:2] == ["case", "n"]
    assert line.split()[:2] == ["no_signal", "1"]
