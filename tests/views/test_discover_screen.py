"""What people see of a proposal: the corners on the car, a question mark where nobody knows."""

from dataclasses import replace
from typing import Any

import pytest

from canwheel.capture.summary import CaptureSummary
from canwheel.discovery import Candidate, DeclaredTurn, Discovery, Hints, discover_wheels
from canwheel.discovery.confirm import Confirmation, Point
from canwheel.roadtest.layouts import BAKERY_VAN
from canwheel.roadtest.unlabelled import unlabelled_drive
from canwheel.views.discover_screen import render_confirmation, render_discovery
from canwheel.views.terminal import Screen

SUMMARY = CaptureSummary("drives/\x1b[2Jyard.log", "00", 1234, 0, 95_000_000_000)


@pytest.fixture(scope="module")
def discovery() -> Discovery:
    drive = unlabelled_drive(BAKERY_VAN, seed=3, others=20)
    hints = Hints(turns=(DeclaredTurn("left", drive.left_s),))
    return discover_wheels(drive.frames, int(drive.frames.time_ns[0]), hints)


def shown(discovery: Discovery, **screen: Any) -> str:
    return render_discovery(SUMMARY, discovery, Screen(**screen))


def with_first(discovery: Discovery, **changes: Any) -> Discovery:
    first, *others = discovery.candidates
    return replace(discovery, candidates=(replace(first, **changes), *others))


@pytest.mark.parametrize("width", [40, 80, 160])
def test_nothing_is_wider_than_the_terminal(discovery: Discovery, width: int) -> None:
    lines = shown(discovery, width=width).splitlines()
    assert max(map(len, lines)) <= max(width, 76)  # the plan of the car has its own width


def test_what_is_known_is_said_without_a_question_mark(discovery: Discovery) -> None:
    text = shown(discovery)
    assert "which corner is which is known" in text
    assert "Front left?" not in text
    assert "1B2, every" in text


def test_a_mirror_image_has_question_marks(discovery: Discovery) -> None:
    first = discovery.candidates[0]
    fields = tuple(replace(field, corner=None) for field in first.fields)
    text = shown(with_first(discovery, fields=fields, sides_by="unknown"))
    assert "left and right may be exchanged" in text
    assert "Front left?" in text
    unknown = shown(with_first(discovery, fields=fields, sides_by="unknown", axles_by="unknown"))
    assert "which corner is which is not known" in unknown


def test_a_dead_corner_is_marked_by_sign_and_word(discovery: Discovery) -> None:
    first = discovery.candidates[0]
    fl, fr, rl, rr = first.fields
    dead = replace(rl, state="silent", ratio=None)
    text = shown(with_first(discovery, fields=(fl, fr, dead, rr)))
    assert "one of them not live" in text
    assert "dead: stands at rest XX" in text


def test_names_cannot_move_the_cursor_and_ascii_stays_ascii(discovery: Discovery) -> None:
    assert "\x1b" not in shown(discovery)
    assert "╭" not in shown(discovery, ascii_only=True)


def test_nothing_found_says_what_to_do(discovery: Discovery) -> None:
    empty = replace(discovery, candidates=(), next_steps=("Record another drive.",))
    text = shown(empty)
    assert "NOTHING FOUND" in text
    assert "Record another drive." in text


def test_other_candidates_stand_behind_in_a_line_each(discovery: Discovery) -> None:
    first: Candidate = discovery.candidates[0]
    two = replace(discovery, candidates=(first, replace(first, kind="coarse copy", copy_of=0)))
    assert "2: A coarse copy of the wheel speeds (candidate 1), in 1B2" in shown(two)


@pytest.mark.parametrize(
    ("outcome", "word"),
    [("fits", "NOT SHOWN"), ("contradicts", "CONTRADICTED"), ("not shown", "NOT SHOWN")],
)
def test_a_confirmation_has_a_word_for_each_outcome(outcome: Any, word: str) -> None:
    points = (Point("heard", "fits", "All heard."), Point("rest", outcome, "So it stood."))
    text = render_confirmation(Confirmation(SUMMARY, "car.dbc", points), Screen())
    assert word in text
    assert "So it stood." in text


def test_a_confirmation_says_at_once_what_nobody_declared() -> None:
    """Who reads the headline alone must not take left and right for confirmed."""
    needed = ("heard", "equal when straight", "rest", "sides", "front")
    fits = tuple(Point(name, "fits", "So it is.") for name in needed)
    left, scale = Point("left", "not shown", "No turn."), Point("scale", "not shown", "No speed.")

    def headline(*more: Point) -> str:
        confirmation = Confirmation(SUMMARY, "car.dbc", (*fits, *more))
        return render_confirmation(confirmation, Screen()).split("Points")[0]

    assert "not tested: left from right, speed" in " ".join(headline(left, scale).split())
    assert "not tested" not in headline(
        replace(left, outcome="fits"), replace(scale, outcome="fits")
    )
