"""The page of what was found without a DBC: its words, its figures, and what it never runs.

In a real browser too, as the other pages; skipped, with the reason, where there is none.
"""

import io
import re
import unicodedata
from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import numpy as np
import pytest

from canwheel.capture.summary import CaptureSummary
from canwheel.corners import CORNERS, Corner
from canwheel.definitions.layout import BitField
from canwheel.discovery.hints import DeclaredTurn, HeldSpeed, Hints
from canwheel.discovery.proposal import (
    Bus,
    Candidate,
    Discovery,
    Figures,
    Scale,
    Traces,
    WheelField,
)
from canwheel.version import VERSION
from canwheel.views.page.discovery import MOST_CANDIDATES, SourceFile, render_discovery_page
from canwheel.views.page.discovery_chart import draw_sharpest_turn, draw_traces
from canwheel.views.page.discovery_words import CONFIRM
from canwheel.views.page.pages import PageNotes
from canwheel.views.page.units import Units

SUMMARY = CaptureSummary(
    file="drives/yard & lane.log",
    sha256="0123456789abcdef" * 4,
    frames=182_345,
    first_time_ns=1_790_000_000_000_000_000,
    last_time_ns=1_790_000_095_000_000_000,
)
HINTS = Hints(turns=(DeclaredTurn("left", 52.0),), speeds=(HeldSpeed(50.0, 30.0),))
NOTES = PageNotes(made_at=datetime(2026, 11, 2, 10, 30, tzinfo=UTC))
WIDTHS = (1440, 768, 360)


def traces() -> Traces:
    """95 s: a stop, a straight, a left turn from 48 s to 56 s, a stop; 0.01 km/h a step."""
    time_s = np.arange(0.0, 95.0, 0.1)
    kph = np.interp(time_s, [0, 5, 20, 40, 48, 56, 70, 85, 90], [0, 0, 52, 50, 15, 15, 45, 0, 0])
    turning = np.interp(time_s, [47, 49, 55, 57], [0, 1, 1, 0], 0, 0)
    bend = np.array([-0.06, 0.1, -0.11, 0.07])
    return Traces(time_s, kph[:, None] * (1 + turning[:, None] * bend) * 100)


def four(places: tuple[Corner, ...] = CORNERS) -> tuple[WheelField, ...]:
    return tuple(
        WheelField(
            channel="can0",
            can_id=0x1D0,
            extended=False,
            payload_bytes=8,
            period_s=0.02,
            bits=BitField(7 + 16 * n, 15, "big_endian"),
            moving_bits=13,
            corner=place,
            place=place,
            state="live",
            ratio=1.0 + 0.001 * (n - 2),
        )
        for n, place in enumerate(places)
    )


def complete() -> Candidate:
    one, two, three, last = four()
    return Candidate(
        kind="wheel speeds",
        fields=(one, two, three, last),
        rest_raw=6767.0,
        rest_seen=True,
        axles_by="tight turns",
        sides_by="declared turn",
        scale=Scale(0.01, 0.0091, 0.0102, "held speed", "By the held speed a step is 0.01 km/h."),
        figures=Figures(0.42, 28.7, 1.3, 21.0, 16.2, 78.4, 5_210, 23),
        reasons=("they stand still together for 16 s.", "In turns FL² + RR² = FR² + RL² holds."),
        warnings=("Nobody has seen it on a second drive.",),
        traces=traces(),
    )


def mirrored() -> Candidate:
    return replace(complete(), fields=without_corners(complete()), sides_by="unknown")


def without_corners(candidate: Candidate) -> Any:
    return tuple(replace(field, corner=None) for field in candidate.fields)


def dead(candidate: Candidate) -> Candidate:
    first, second, third, last = candidate.fields
    third = replace(third, state="silent", ratio=None)
    steps = candidate.traces.steps.copy()
    steps[:, 2] = 0.0
    moved = Traces(candidate.traces.time_s, steps)
    return replace(candidate, fields=(first, second, third, last), traces=moved)


def found(*candidates: Candidate, steps: tuple[str, ...] = ("Confirm it.",)) -> Discovery:
    return Discovery(candidates, Bus(47, 153), steps)


def coarse() -> Candidate:
    unknown = Scale(None, None, None, "unknown", "Nothing tells what a step is worth.")
    extended = [replace(f, extended=True, can_id=0x0CF3E521) for f in four()]
    return replace(
        complete(),
        kind="coarse copy",
        copy_of=0,
        scale=unknown,
        axles_by="unknown",
        sides_by="unknown",
        fields=without_corners(replace(complete(), fields=tuple(extended))),  # type: ignore[arg-type]
    )


OUTCOMES: dict[str, Discovery] = {
    "complete": found(complete()),
    "mirror unknown": found(mirrored()),
    "one dead": found(dead(mirrored())),
    "copies": found(complete(), coarse(), replace(complete(), kind="pulse counters")),
    "axles unknown": found(
        replace(complete(), fields=without_corners(complete()), axles_by="unknown")
    ),
    "nothing": found(steps=("Drive with a stop, a straight and a tight turn each way.",)),
}


def render(discovery: Discovery, **facts: Any) -> str:
    return render_discovery_page(discovery, SUMMARY, **{"hints": HINTS, "notes": NOTES, **facts})


@pytest.fixture(scope="module")
def pages() -> Mapping[str, str]:
    return {name: render(discovery) for name, discovery in OUTCOMES.items()}


def words(html: str) -> str:
    """The page's text, without its style."""
    body = re.sub(r"<style>.*?</style>", "", html, flags=re.DOTALL)
    text = re.sub(r"<[^>]*>", " ", body)
    return " ".join(text.replace("&amp;", "&").replace("&#39;", "'").split())


@pytest.mark.parametrize("name", OUTCOMES)
def test_files_fingerprint_version_and_date_are_told(name: str, pages: Mapping[str, str]) -> None:
    text = words(pages[name])
    assert f"yard & lane.log , 182,345 frames in 1 min 35 s SHA-256 {SUMMARY.sha256}" in text
    assert "drives/" not in text
    assert f"canwheel {VERSION}" in text
    assert "2026-11-02 10:30" in text
    assert "47 messages, 153 fields of bits" in text
    assert "At 52 s the car turned left. At 30 s the dash showed 50 km/h." in text


@pytest.mark.parametrize("name", sorted(OUTCOMES.keys() - {"nothing"}))
def test_the_caution_to_confirm_stands_before_the_proposals(
    name: str, pages: Mapping[str, str]
) -> None:
    text = words(pages[name])
    for caution in CONFIRM:
        assert 0 < text.index(caution) < text.index("The whole recording")
    assert "known speed" in text
    assert "known turn" in text


def test_corners_places_reasons_and_figures_are_told(pages: Mapping[str, str]) -> None:
    text = words(pages["complete"])
    assert text.startswith("Wheel speeds found: wheel speeds in message 1D0")
    for number, corner in enumerate(("Front left", "Front right", "Rear left", "Rear right")):
        row = f"{corner} 1D0, channel can0 from bit {7 + 16 * number} on, 15 bits, highest byte"
        assert row in text
    assert "−0.20 %" in text
    assert "every 20 ms" in text
    assert "They stand still together for 16 s." in text
    for figure in ("0.42 % of the speed", "28.7 % of the speed", "1.3 %", "16 s", "5,210", "23"):
        assert figure in text
    assert "0.01 km/h a step" in text
    assert "raw value 6,767, seen in this drive" in text
    assert "Nobody has seen it on a second drive." in text
    assert "irror unknown" not in text


def test_mirror_unknown_is_told_first_and_no_corner_is_claimed(pages: Mapping[str, str]) -> None:
    text = words(pages["mirror unknown"])
    assert text.startswith("Found, mirror unknown: wheel speeds in message 1D0")
    assert text.index("Mirror unknown: left and right may be the other way round.") < text.index(
        "The whole recording"
    )
    assert "Front 1 (front left or front right)" in text
    assert "Rear 2 (rear left or rear right)" in text
    for corner in CORNERS:
        assert not re.search(rf"{corner.words} 1D0", text, re.IGNORECASE)


def test_axles_unknown_is_told(pages: Mapping[str, str]) -> None:
    text = words(pages["axles unknown"])
    assert text.startswith("Found, corners unknown")
    assert "Front and rear may be the other way round" in text
    assert "Left 1 (front left or rear left)" in text


def test_dead_corner_is_told_at_the_top(pages: Mapping[str, str]) -> None:
    text = words(pages["one dead"])
    assert "rear 1 stands at rest while the others move." in text
    assert "Rear 1 (rear left or rear right) 1D0, channel can0" in text
    assert "not told Stands at rest while the others move" in text
    assert 'class="verdict open"' in pages["one dead"]


def test_ranking_names_copies_and_counters_and_29_bit_messages(pages: Mapping[str, str]) -> None:
    text = words(pages["copies"])
    first, second, third = (
        text.index(f"{number} {title}")
        for number, title in (
            (1, "Wheel speeds"),
            (2, "A coarse copy of the wheel speeds (of number 1)"),
            (3, "Counters of the four rings' pulses"),
        )
    )
    assert first < second < third
    assert "0CF3E521 (29-bit)" in text
    assert "Wheel 1 (any corner)" in text
    assert "Raw value, steps above standstill" in text
    assert "Nothing tells what a step is worth." in text


def test_nothing_is_told_as_nothing(pages: Mapping[str, str]) -> None:
    text = words(pages["nothing"])
    assert text.startswith("Nothing found: no four numbers on this bus move as the wheel speeds")
    assert "Drive with a stop, a straight and a tight turn each way." in text
    assert "<path" not in pages["nothing"]


def test_long_rankings_are_cut_and_say_so() -> None:
    text = words(render(found(*[complete()] * (MOST_CANDIDATES + 2))))
    assert "2 more, less likely, are left out here." in text


def test_speeds_are_given_in_miles_where_asked() -> None:
    text = words(render(found(complete()), notes=replace(NOTES, speed="mph")))
    assert "0.006214 mph a step" in text  # 0.01 km/h over 1.609344, by hand
    assert "By the held speed a step is 0.01 km/h." in text  # too fine to be rounded to a mph
    assert "Speed, mph" in text
    assert "the dash showed 31 mph" in text


def test_further_files_are_listed() -> None:
    text = words(render(found(complete()), further_files=[SourceFile("DBC", "a/car.dbc", "cd")]))
    assert "DBC car.dbc SHA-256 cd" in text


def test_chart_holds_the_drives_end_points_and_its_peaks() -> None:
    chart = draw_traces(complete(), Units())
    assert [line.name for line in chart.lines] == [
        "Front left",
        "Front right",
        "Rear left",
        "Rear right",
    ]
    assert {line.look for line in chart.lines} == set(CORNERS)
    for line in chart.lines:
        points = re.findall(r"[ML](\d+) (-?\d+)", line.path)
        x, y = np.array(points, float).T
        assert (x.min(), x.max()) == (0, 10_000)
        top = 52.0 * 1.12
        # The axis runs from 3 % below zero to 12 % above the fastest: 52 km/h stands there.
        assert y.min() == pytest.approx(1000 * (top - 52) / (top + 0.03 * 52), abs=2)
    assert [tick.text for tick in chart.y_ticks] == ["0", "10", "20", "30", "40", "50"]


def test_single_dropped_sample_of_a_long_drive_is_still_drawn() -> None:
    long = np.arange(0.0, 3600.0, 0.1)
    steps = np.full((len(long), 4), 5000.0)
    steps[17_777, 1] = 0.0
    chart = draw_traces(replace(complete(), traces=Traces(long, steps)), Units())
    heights = [float(y) for y in re.findall(r"[ML]\d+ (-?\d+)", chart.lines[1].path)]
    assert max(heights) > 900
    assert len(heights) < 2500


def test_sharpest_turn_is_the_turn() -> None:
    chart = draw_sharpest_turn(complete(), Units())
    assert chart is not None
    assert {tick.text for tick in chart.x_ticks} >= {"0:45", "0:50", "0:55"}


def test_four_that_never_part_have_no_turn() -> None:
    still = traces()
    straight = Traces(still.time_s, np.repeat(still.steps[:, :1], 4, axis=1))
    assert draw_sharpest_turn(replace(complete(), traces=straight), Units()) is None


def test_empty_traces_do_not_stop_the_page() -> None:
    empty = replace(complete(), traces=Traces(np.empty(0), np.empty((0, 4))))
    assert "Front left" in words(render(found(empty)))


# --- in a browser --------------------------------------------------------------------------------


@pytest.mark.parametrize("width", WIDTHS)
def test_pages_open_without_error_request_or_sideways_scroll(
    width: int,
    browser: Any,
    pages: Mapping[str, str],
    saved: Callable[[str], str],
    watched: Callable[[Any], tuple[Any, list[str]]],
) -> None:
    context = browser.new_context(viewport={"width": width, "height": 900})
    for name, html in pages.items():
        tab, complaints = watched(context)
        tab.goto(saved(html))
        assert complaints == [], name
        assert tab.evaluate("document.documentElement.scrollWidth") <= width, name
        cut = tab.evaluate(
            """() => [...document.querySelectorAll("p, li, h1, h2, h3, h4, dd, figcaption")]
            .filter(e => !e.closest(".scroll") && e.getBoundingClientRect().right > innerWidth + 1)
            .map(e => e.textContent)"""
        )
        assert cut == [], name
        tab.close()
    context.close()


def test_every_wheel_has_a_dash_of_its_own(
    browser: Any, pages: Mapping[str, str], saved: Callable[[str], str]
) -> None:
    tab = browser.new_page()
    tab.goto(saved(pages["complete"]))
    looks = tab.evaluate(
        """() => ["FL", "FR", "RL", "RR"].map(c =>
            getComputedStyle(document.querySelector(`.legend .line.${c}`)).strokeDasharray)"""
    )
    assert len(set(looks)) == 4
    tab.close()


def letters(text: str) -> str:
    return "".join(unicodedata.normalize("NFKC", text).split())


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_print_holds_the_outcome_the_caution_and_the_places(
    paper: str, browser: Any, pages: Mapping[str, str], saved: Callable[[str], str]
) -> None:
    pypdf = pytest.importorskip("pypdf", reason="pypdf is not installed")
    tab = browser.new_page()
    tab.goto(saved(pages["mirror unknown"]))
    printed = pypdf.PdfReader(io.BytesIO(tab.pdf(format=paper)))
    sheets = [letters(sheet.extract_text()) for sheet in printed.pages]
    assert letters("Found, mirror unknown") in sheets[0]
    assert letters(CONFIRM[0]) in "".join(sheets)
    assert letters("from bit 55 on, 15 bits, highest byte first") in "".join(sheets)
    tab.close()


@pytest.mark.parametrize("policy_is_off", [True, False])
def test_words_from_files_are_text_and_never_run(
    *,
    hostile: str,
    policy_is_off: bool,
    browser: Any,
    saved: Callable[[str], str],
    watched: Callable[[Any], tuple[Any, list[str]]],
) -> None:
    # A channel's name, a file's name, and sentences that quote either.
    fields = tuple(replace(field, channel=hostile) for field in complete().fields)
    candidate = replace(complete(), fields=fields, reasons=(hostile,), warnings=(hostile,))  # type: ignore[arg-type]
    html = render_discovery_page(
        found(candidate, steps=(hostile,)),
        replace(SUMMARY, file=hostile, damage=hostile),
        further_files=[SourceFile(hostile, hostile, "00")],
        cautions=(hostile,),
        notes=NOTES,
    )
    assert "1337" not in html
    assert "\u202e" not in html
    assert "\x1b" not in html
    context = browser.new_context(bypass_csp=policy_is_off)
    tab, complaints = watched(context)
    tab.goto(saved(html))
    assert complaints == []
    assert tab.evaluate("window.ran") is None
    assert tab.evaluate("document.querySelectorAll('script, img, [onload], [onerror]').length") == 0
    context.close()


def test_policy_allows_the_style_sheet_and_nothing_else(pages: Mapping[str, str]) -> None:
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', pages["complete"])
    assert policy is not None
    assert policy[1].startswith("default-src &#39;none&#39;; style-src &#39;sha256-")
    assert "script-src" not in policy[1]
    assert "unsafe" not in policy[1]
