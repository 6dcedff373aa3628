"""A slope with its error, against numpy's line and against the scatter of many drives."""

from typing import Any

import numpy as np
import pytest

from canwheel.track.slope import fit_slope


def drawn(drive: Any, seed: int) -> tuple[Any, Any]:
    rng = np.random.default_rng(seed)
    question = np.sin(drive.time_s / 7) + 3.0
    return question, 0.5 * question + rng.normal(0, 0.2, len(question))


def test_it_is_the_line_through_the_samples(town: Any) -> None:
    question, answer = drawn(town, 1)
    rows = town.at(10, 100)
    slope = fit_slope(town.track(), rows, 3.0, answer, question, question)
    assert slope is not None
    expected = np.polynomial.Polynomial.fit(question[rows], answer[rows], 1).convert().coef[1]
    assert slope.value == pytest.approx(expected)


def test_its_error_is_the_scatter_of_many(town: Any) -> None:
    slopes = []
    for seed in range(100):
        question, answer = drawn(town, seed)
        slopes.append(fit_slope(town.track(), town.at(0, 999), 3.0, answer, question, question))
    scatter = np.std([slope.value for slope in slopes if slope])
    assert np.mean([slope.error for slope in slopes if slope]) == pytest.approx(scatter, rel=0.3)


@pytest.mark.parametrize("rows_s", [(10, 12), (10, 16.5)])
def test_too_little_says_nothing(town: Any, rows_s: tuple[float, float]) -> None:
    question, answer = drawn(town, 1)
    fewest_s = 3.0 if rows_s[1] < 16 else 7.0
    assert fit_slope(town.track(), town.at(*rows_s), fewest_s, answer, question, question) is None
    assert fit_slope(town.track(), town.at(10, 13.9), 3.0, answer, question, question) is None
