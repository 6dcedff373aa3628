"""What people see: the verdict first, corners spelt out, nothing wider than the terminal."""

import re
from collections.abc import Callable
from dataclasses import replace

import msgspec
import pytest

from canwheel.capture import UnreadableLine
from canwheel.corners import CORNERS, Corner
from canwheel.definitions.layout import SpeedUnit
from canwheel.outcome import Event, Finding, NotJudged, Outcome, Span
from canwheel.pipeline import Check, Comparison
from canwheel.track.lamps import Lamp
from canwheel.vehicle import Vehicle
from canwheel.views.screen import render_check, render_comparison
from canwheel.views.terminal import Screen
from canwheel.views.words import say_time, say_unit

Rejudge = Callable[..., Check]
Recompare = Callable[[Check, Check], Comparison]


def found(corner: Corner, kind: str = "dropout", confidence: float = 0.99) -> Finding:
    return Finding(corner, kind, confidence, (Span(10.0, 10.5),), 1, "Falls to nothing once.")


def lamp(
    went_out_s: float | None,
    after_moving_s: float | None,
    lit_again_s: float | None,
    *,
    lit_at_start: bool,
) -> Lamp:
    return Lamp("abs", lit_at_start, went_out_s, after_moving_s, lit_again_s)


def one_line(text: str) -> str:
    return " ".join(text.split())


def test_the_verdict_stands_first_and_the_cautions_last(shipped: Comparison) -> None:
    lines = render_check(shipped.before, Screen()).strip().splitlines()
    assert lines[0].strip() == "FAULT FOUND   rear left (passenger's side): no signal"
    titles = [line.strip() for line in lines if re.match(r" ?[A-Z]\w", line)]
    assert titles.index("Found") < titles.index("Check next") < titles.index("Figures")
    assert titles[-1] == "Cautions"


@pytest.mark.parametrize("width", [60, 80, 100, 120, 200])
@pytest.mark.parametrize("colour", [False, True])
def test_no_line_is_wider_than_the_terminal(
    shipped: Comparison, width: int, *, colour: bool
) -> None:
    screen = Screen(width=width, colour=colour)
    for text in (render_check(shipped.before, screen), render_comparison(shipped, screen)):
        for line in text.splitlines():
            assert len(re.sub(r"\x1b\[[0-9;]*m", "", line)) <= width


def test_the_plan_has_each_corner_at_its_place(shipped: Comparison) -> None:
    text = render_check(shipped.before, Screen())
    lines = text.splitlines()
    front = next(i for i, line in enumerate(lines) if line.strip() == "front")
    assert re.search(r"SOUND ██│ +│██ SOUND", lines[front + 2])
    assert re.search(r"FAULTY XX│ +│██ SOUND", lines[front + 7])
    assert re.search(r"no signal XX│", lines[front + 8])
    assert re.search(r"left, passenger's side +right, driver's side", text)
    assert re.search(r"│ +\(o\) │", text)


def test_a_car_driven_from_the_left_is_drawn_so(shipped: Comparison) -> None:
    facts = replace_struct(shipped.before.vehicle.vehicle, drive_side="left")
    vehicle = replace_struct(shipped.before.vehicle, vehicle=facts)
    text = render_check(replace(shipped.before, vehicle=vehicle), Screen())
    assert "rear left (driver's side): no signal" in text
    assert re.search(r"│ \(o\) +│", text)


def test_without_a_vehicle_file_no_side_is_claimed(shipped: Comparison) -> None:
    text = render_check(replace(shipped.before, vehicle=Vehicle()), Screen())
    assert "FAULT FOUND   rear left: no signal" in text
    assert re.search(r"^ +left +right$", text, re.MULTILINE)
    assert "(o)" not in text
    assert "'s side" not in text.partition("Check next")[0]


def replace_struct(struct: object, **changes: object) -> object:
    return msgspec.structs.replace(struct, **changes)


def test_without_colour_or_unicode_every_word_is_there(shipped: Comparison) -> None:
    plain = render_check(shipped.before, Screen(ascii_only=True))
    assert plain.isascii()
    assert "\x1b" not in plain
    colour = render_check(shipped.before, Screen(colour=True))
    assert "\x1b[" in colour
    without = re.sub(r"\x1b\[[0-9;]*m", "", colour)
    assert without.split() == render_check(shipped.before, Screen()).split()


def test_wide_terminals_show_the_findings_beside_the_car(shipped: Comparison) -> None:
    lines = render_check(shipped.before, Screen(width=120)).splitlines()
    title = next(line for line in lines if line.rstrip().endswith("Found"))
    assert "╭" in title


def test_a_name_from_a_file_cannot_move_the_cursor(shipped: Comparison) -> None:
    summary = replace(shipped.before.summary, file="x\x1b[2J[bold]y.log")
    text = render_check(replace(shipped.before, summary=summary), Screen())
    assert "\x1b" not in text
    assert "x?[2J[bold]y.log" in text


@pytest.mark.parametrize(
    ("outcome", "headline"),
    [
        (Outcome(), "ALL FOUR SOUND no fault in what was driven"),
        (
            Outcome(not_judged=(NotJudged(Corner.FL, "dropout", "it locked, or was lost"),)),
            "ALL FOUR SOUND no sure fault in what was driven; front left (passenger's side) may",
        ),
        (
            Outcome(findings=(found(Corner.FL, confidence=0.5),)),
            "NOT ENOUGH DRIVING front left (passenger's side): drop-outs",
        ),
        (
            Outcome(findings=(found(Corner.FL), found(Corner.RR, "frozen"))),
            "FAULT FOUND front left (passenger's side): drop-outs; rear right",
        ),
    ],
)
def test_headlines(shipped: Comparison, rejudge: Rejudge, outcome: Outcome, headline: str) -> None:
    text = render_check(rejudge(shipped.after, outcome), Screen())
    assert headline in one_line(text)


def test_untested_corners_are_told(shipped: Comparison, rejudge: Rejudge) -> None:
    coverage = shipped.after.judgement.coverage
    unread = [replace(own, read_km=0.0) for own in coverage.corners]
    none = rejudge(shipped.after, Outcome(), replace(coverage, corners=tuple(unread)))
    assert "no corner could be tested" in render_check(none, Screen())
    some = rejudge(
        shipped.after,
        Outcome(),
        replace(coverage, corners=(unread[0], *coverage.corners[1:])),
    )
    text = render_check(some, Screen())
    assert "untested: front left (passenger's side)" in text
    assert "UNTESTED ░░" in text
    still = rejudge(none, Outcome(), replace(none.judgement.coverage, moving_s=0.0))
    assert "the car never moved" in render_check(still, Screen())


def test_events_and_what_was_not_shown(shipped: Comparison, rejudge: Rejudge) -> None:
    outcome = Outcome(
        events=(
            Event("wheel_lock", Corner.FR, 91.2, 91.9, "Stands still while braking."),
            Event("recording_gap", None, 95.0, 97.0, "Nothing was heard."),
        ),
        not_judged=(
            *(NotJudged(corner, "crossed", "no turn sharp enough") for corner in CORNERS),
            NotJudged(Corner.RL, "ring_damage", "too slow"),
        ),
    )
    text = one_line(render_check(rejudge(shipped.after, outcome), Screen()))
    assert "Front right (driver's side), wheel lock: Stands still while braking." in text
    assert "The car, recording gap: Nothing was heard." in text
    # Of a locked wheel its sentence may say that it may be a lost signal as well.
    assert "Looks like a fault and need not be one" in text
    assert "• crossed signals: no turn sharp enough" in text
    assert "• ring damage, rear left (passenger's side): too slow" in text


@pytest.mark.parametrize(
    ("measured", "words"),
    [
        (lamp(12.4, 6.1, None, lit_at_start=True), "out 6.1 s after moving off and stayed out"),
        (lamp(3.0, -2.0, None, lit_at_start=True), "out 2.0 s before moving off and stayed out"),
        (
            lamp(12.4, 6.1, 30.0, lit_at_start=True),
            "out 6.1 s after moving off, lit again at 30.0 s",
        ),
        (
            replace(lamp(12.4, 30.1, 45.0, lit_at_start=True), lit_again_kph=38.4),
            "out 30.1 s after moving off, later than the usual 30 s, lit again at 45.0 s at 38",
        ),
        (
            lamp(40.0, 31.0, None, lit_at_start=True),
            "out 31.0 s after moving off, later than the usual 30 s, and stayed out",
        ),
        (
            lamp(12.4, 6.1, 302.2, lit_at_start=True),
            "out 6.1 s after moving off, lit again at 5 min 2 s",
        ),
        (lamp(3.0, None, None, lit_at_start=True), "out at 3.0 s and stayed out"),
        (lamp(None, None, None, lit_at_start=True), "lit throughout"),
        (lamp(None, None, None, lit_at_start=False), "never lit"),
        (lamp(None, None, 30.0, lit_at_start=False), "out at first, lit at 30.0 s"),
        (
            lamp(33.0, 31.0, 30.0, lit_at_start=False),
            "out at first, lit at 30.0 s, out 31.0 s after moving off",
        ),
    ],
)
def test_lamps(shipped: Comparison, measured: Lamp, words: str) -> None:
    judgement = replace(shipped.after.judgement, lamps=(measured,))
    text = render_check(replace(shipped.after, judgement=judgement), Screen(width=120))
    assert f"Anti-lock lamp  {words}" in text


def test_unreadable_lines_are_located(shipped: Comparison) -> None:
    summary = replace(
        shipped.after.summary,
        unreadable_lines=3,
        first_unreadable=UnreadableLine(17, "rubbish"),
        cut_last_line=True,
        damage="the gz data ends too early",
    )
    text = render_check(replace(shipped.after, summary=summary), Screen(width=120))
    assert "3 lines; the first is line 17" in text
    assert "its last line is cut off" in text
    assert "Damaged         the gz data ends too early" in text


def test_a_proven_repair(shipped: Comparison) -> None:
    text = one_line(render_comparison(shipped, Screen()))
    assert text.startswith("REPAIR PROVEN rear left (passenger's side): no signal, now gone")
    assert "there all the time before" in text
    assert "what showed it was driven again" in text
    assert "Still to drive" not in text


def test_a_repair_not_proven_says_what_is_missing(
    shipped: Comparison, rejudge: Rejudge, recompare: Recompare
) -> None:
    once = rejudge(shipped.after, Outcome(findings=(found(Corner.FL),)))
    text = one_line(render_comparison(recompare(once, shipped.after), Screen()))
    assert text.startswith("REPAIR NOT PROVEN YET front left (passenger's side): drop-outs")
    assert re.search(r"Still to drive: another \d+\.\d km", text)
    assert "drop-outs: once in" in text
    assert "confidence of 50.0%; 95% count as proof" in text


WEAK, FAULT, OTHER = (
    (found(Corner.FL, confidence=0.5),),
    (found(Corner.FL),),
    (found(Corner.RR, "frozen"),),
)


@pytest.mark.parametrize(
    ("drives", "headline"),
    [
        (((), ()), "NOTHING TO PROVE both drives are sound"),
        ((WEAK, ()), "REPAIR NOT PROVEN YET the first drive shows no sure fault"),
        ((FAULT, FAULT), "FAULT STILL THERE front left (passenger's side): drop-outs"),
        ((FAULT, OTHER), "NEW FAULT rear right (driver's side): frozen reading"),
    ],
)
def test_comparison_headlines(
    shipped: Comparison,
    rejudge: Rejudge,
    recompare: Recompare,
    drives: tuple[tuple[Finding, ...], tuple[Finding, ...]],
    headline: str,
) -> None:
    first, second = (rejudge(shipped.after, Outcome(findings=findings)) for findings in drives)
    text = one_line(render_comparison(recompare(first, second), Screen()))
    assert text.startswith(headline)
    assert ("still there after the repair" in text) == ("STILL" in headline)


@pytest.mark.parametrize(
    ("seconds", "words"),
    [(0.4, "0 s"), (42.0, "42 s"), (59.7, "1 min 0 s"), (512.3, "8 min 32 s"), (3900, "1 h 5 min")],
)
def test_time_in_words(seconds: float, words: str) -> None:
    assert say_time(seconds) == words


@pytest.mark.parametrize(
    ("unit", "words"),
    [("km/h", "speeds in km/h"), ("proportional", "speeds without a unit")],
)
def test_what_the_signals_count_in_is_said(unit: SpeedUnit, words: str) -> None:
    assert say_unit(unit) == words
