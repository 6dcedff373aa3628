"""Groups of samples that belong together, against a plain loop."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from canwheel.track.runs import runs


def grouped_one_by_one(marked: list[bool], parting: list[bool]) -> list[tuple[int, int]]:
    groups: list[tuple[int, int]] = []
    is_open = False
    for at, (is_marked, parts) in enumerate(zip(marked, parting, strict=True)):
        is_open = is_open and not parts
        if is_marked:
            groups = [*groups[:-1], (groups[-1][0], at)] if is_open else [*groups, (at, at)]
            is_open = True
    return groups


@given(st.lists(st.sampled_from([(True, False), (False, False), (False, True)]), max_size=40))
def test_as_a_plain_loop_does(samples: list[tuple[bool, bool]]) -> None:
    marked, parting = [m for m, _ in samples], [p for _, p in samples]
    found = runs(np.array(marked, bool), np.array(parting, bool))
    assert found == grouped_one_by_one(marked, parting)


def test_a_marked_sample_that_parts_begins_a_group() -> None:
    marked, parting = np.array([1, 1, 1, 1], bool), np.array([0, 0, 1, 0], bool)
    assert runs(marked, parting) == [(0, 1), (2, 3)]
