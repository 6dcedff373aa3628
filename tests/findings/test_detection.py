"""A tiny run of the detection curves: what is large is found, what is nothing is not."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import ModuleType
from xml.etree import ElementTree as ET

import pytest

BENCHMARKS = Path(__file__).parents[1] / "benchmarks"
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def script(load_benchmark: Callable[[str], ModuleType]) -> ModuleType:
    return load_benchmark("detection")


def sweep_of(script: ModuleType, name: str) -> object:
    (sweep,) = (sweep for sweep in script.SWEEPS if sweep.name == name)
    return sweep


def test_a_large_error_is_found_and_none_is_not(script: ModuleType) -> None:
    sweep = replace(
        sweep_of(script, "wrong ratio"), sizes=(0.0, 8.0), minutes=2.0, other_minutes=()
    )
    result = script.run_sweep(sweep, drives=2, seed=5)
    assert result.shares == {period_s: [0.0, 1.0] for period_s in script.PERIODS_S}
    assert result.smallest == {2.0: dict.fromkeys(script.PERIODS_S, 8.0)}
    assert result.judged == 2 * 2 * len(script.PERIODS_S)
    assert result.accused == []


def test_a_moment_shorter_than_a_message_hardly_ever_shows(script: ModuleType) -> None:
    sweep = replace(sweep_of(script, "drop-out: length"), sizes=(0.001, 0.5))
    result = script.run_sweep(sweep, drives=2, seed=5)
    assert result.shares[0.02] == [0.0, 1.0]


def test_the_same_seed_gives_the_same_figures(script: ModuleType) -> None:
    sweep = replace(sweep_of(script, "frozen"), sizes=(1.0, 4.0))
    first, second = (script.run_sweep(sweep, drives=1, seed=6).shares for _ in range(2))
    assert first == second


@pytest.mark.parametrize(
    ("found", "rung"),
    [
        ([False, True, True], 1),
        ([True, False, True], 2),  # what is found by luck below a gap does not count
        ([True, True, True], 0),
        ([True, True, False], 3),  # not even the largest
    ],
)
def test_the_smallest_size_has_nothing_missed_above_it(
    script: ModuleType, found: list[bool], rung: int
) -> None:
    assert script.smallest_rung(found) == rung


def test_longer_drives_are_searched_from_where_others_were(script: ModuleType) -> None:
    asked: list[float] = []

    class Known:
        sweep = script.Sweep("known", "", (1.0, 2.0, 3.0, 4.0), make=lambda _draw, _size: ())

        def tally(self, size: float, minutes: float, periods: list[float], **_: bool) -> object:
            del minutes
            asked.append(size)
            least = {0.01: 2.0, 0.1: 9.0}
            return script.Tally({p: int(size >= least[p]) for p in periods})

        def enough(self, found: int) -> bool:
            return found > 0

    assert script.search(Known(), 15.0, {0.01: 2, 0.1: 2}, []) == {0.01: 1, 0.1: 4}
    assert sorted(asked) == [1.0, 2.0, 3.0, 4.0]


def test_the_picture_shows_every_kind(script: ModuleType) -> None:
    root = ET.fromstring((BENCHMARKS / "detection.svg").read_text(encoding="utf-8"))  # noqa: S314
    words = " ".join(text.text or "" for text in root.iter(f"{SVG}text"))
    for sweep in script.SWEEPS:
        assert sweep.name in words
        assert sweep.axis in words
    lines = list(root.iter(f"{SVG}polyline"))
    assert len(lines) == len(script.SWEEPS) * len(script.PERIODS_S)
