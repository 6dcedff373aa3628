"""Charts in per cent of their own size, with words of canwheel's own only."""

import re
from dataclasses import replace

import numpy as np
import pytest

from canwheel.corners import CORNERS, Corner
from canwheel.outcome import Finding, Span
from canwheel.pipeline import Comparison
from canwheel.views.page.axes import HEIGHT, WIDTH
from canwheel.views.page.charts import Drawing, Mark, draw_drive, draw_moment
from canwheel.views.page.moments import View
from canwheel.views.page.probes import read_off, say_clock
from canwheel.views.page.units import Units


def points(path: str) -> np.ndarray:
    return np.array([[float(x), float(y)] for x, y in re.findall(r"[ML](-?\d+) (-?\d+)", path)])


def drawn(shipped: Comparison, *marks: Mark, units: Units | None = None) -> Drawing:
    return draw_drive(shipped.before.track, marks, units or Units(), top_kph=90.0)


def mark(letter: str, corner: Corner, *spans: tuple[float, float]) -> Mark:
    spells = tuple(Span(*span) for span in spans)
    return Mark(letter, Finding(corner, "dropout", 0.99, spells, len(spells), "Says."))


def test_every_corner_has_its_line_and_those_in_question_lie_on_top(shipped: Comparison) -> None:
    drawing = drawn(shipped, mark("A", Corner.FL, (10.0, 12.0)))
    assert [line.name for line in drawing.legend] == [
        "Front left",
        "Front right",
        "Rear left",
        "Rear right",
    ]
    assert drawing.lines[-1].look == "FL thick"
    assert {line.look.split()[0] for line in drawing.lines} == {corner.value for corner in CORNERS}


def test_the_line_is_where_its_numbers_are(shipped: Comparison) -> None:
    drawing = drawn(shipped)
    track = shipped.before.track
    line = next(line for line in drawing.lines if line.look == "FR")
    x, y = points(line.path).T
    ticks = {tick.text: tick.at_pct for tick in drawing.y_ticks}
    zero, eighty = ticks["0"] * HEIGHT / 100, ticks["80"] * HEIGHT / 100
    kph = (zero - y) / (zero - eighty) * 80
    at_s = x / WIDTH * track.duration_s
    own = track.wheel(Corner.FR)
    assert kph.max() == pytest.approx(own.speed_kph.max(), abs=0.2)
    assert at_s[int(kph.argmax())] == pytest.approx(
        own.time_s[int(own.speed_kph.argmax())], abs=0.1
    )


def test_marks_are_where_the_evidence_is_and_near_ones_become_one(shipped: Comparison) -> None:
    duration_s = shipped.before.track.duration_s
    many = [(100 + 0.1 * i, 100.05 + 0.1 * i) for i in range(500)]
    drawing = drawn(shipped, mark("A", Corner.FL, *many), mark("B", Corner.FR, (101.0, 102.0)))
    (shade,) = drawing.shades
    assert shade.at_pct == pytest.approx(100 * 100 / duration_s, abs=0.01)
    assert shade.width_pct == pytest.approx(100 * 49.95 / duration_s, abs=0.01)
    assert [letter.text for letter in drawing.letters] == ["A B"]
    assert shade.text == "A B"


def test_a_single_sample_of_an_hour_is_marked_where_it_can_be_seen(shipped: Comparison) -> None:
    hour = replace(shipped.before.track, duration_s=3600.0)
    (shade,) = draw_drive(
        hour, [mark("A", Corner.FR, (1800.0, 1800.0))], Units(), top_kph=90.0
    ).shades
    # A pixel or more of a chart of 360 pixels.
    assert shade.width_pct * 360 / 100 >= 1
    assert shade.at_pct == 50.0


def test_speeds_in_mph_have_ticks_in_mph(shipped: Comparison) -> None:
    kph, mph = drawn(shipped), drawn(shipped, units=Units("mph"))
    assert (kph.y_title, mph.y_title) == ("Speed, km/h", "Speed, mph")
    at = {tick.text: tick.at_pct for tick in mph.y_ticks}
    zero, eighty = ({t.text: t.at_pct for t in kph.y_ticks}[text] for text in ("0", "80"))
    # 40 mph are 64.37376 km/h.
    assert at["40"] == pytest.approx(zero + (eighty - zero) * 64.37376 / 80, abs=0.05)
    assert [line.path for line in mph.lines] == [line.path for line in kph.lines]


@pytest.mark.parametrize(("length_s", "last"), [(3.0, "0:03"), (90.0, "1:20"), (7300.0, "2:00:00")])
def test_time_ticks_are_few_and_round(shipped: Comparison, length_s: float, last: str) -> None:
    track = replace(shipped.before.track, duration_s=length_s)
    ticks = draw_drive(track, [], Units(), top_kph=90.0).x_ticks
    assert 3 <= len(ticks) <= 6
    assert ticks[-1].text == last
    assert all(0 <= tick.at_pct <= 100 for tick in ticks)


def test_a_close_up_has_the_corner_its_prediction_and_the_band(shipped: Comparison) -> None:
    view = View.of(shipped.before.track, Corner.RL)
    drawing = draw_moment(view, Span(14.0, 30.0), Units(), shown=[Span(21.1, 240.0)])
    assert [line.look for line in drawing.lines] == ["band", "own", "expected"]
    assert drawing.shades[0].at_pct == pytest.approx(100 * 7.1 / 16, abs=0.1)
    short = draw_moment(view, Span(20.0, 21.0), Units())
    assert "own dots" in [line.look for line in short.lines]


def test_a_close_up_of_nothing_is_empty_and_no_error(shipped: Comparison) -> None:
    view = View.of(shipped.before.track, Corner.RL).cut(Span(-5.0, -4.0))
    drawing = draw_moment(view, Span(1.0, 2.0), Units())
    assert not any(line.path for line in drawing.lines)


def test_the_time_axis_says_what_it_counts(shipped: Comparison) -> None:
    assert drawn(shipped).x_title == "Time, min:s"
    hours = replace(shipped.before.track, duration_s=4000.0)
    assert draw_drive(hours, [], Units(), top_kph=90.0).x_title == "Time, h:min:s"


def test_words_at_the_ends_of_an_axis_stay_inside(shipped: Comparison) -> None:
    track = replace(shipped.before.track, duration_s=60.0)
    anchors = [tick.anchor for tick in draw_drive(track, [], Units(), top_kph=90.0).x_ticks]
    assert anchors == ["first", "inner", "inner", "inner", "last"]


def test_a_line_in_question_is_named_where_it_is_off(shipped: Comparison) -> None:
    dead = mark("A", Corner.RL, (21.1, shipped.before.track.duration_s))
    (label,) = drawn(shipped, dead).labels
    assert label.text == "rear left"
    zero = next(tick.at_pct for tick in drawn(shipped).y_ticks if tick.text == "0")
    assert label.y_pct == pytest.approx(zero, abs=0.5)
    assert label.above
    # A corner that reads like the others would be named at a place that shows nothing.
    sound = draw_drive(
        shipped.after.track, [mark("A", Corner.FL, (21.1, 200.0))], Units(), top_kph=90.0
    )
    assert sound.labels == ()


def test_two_findings_of_a_corner_name_its_line_once(shipped: Comparison) -> None:
    twice = [mark(letter, Corner.RL, (30.0, 200.0)) for letter in "AB"]
    assert len(drawn(shipped, *twice).labels) == 1


def test_a_line_is_broken_where_nothing_is_known(shipped: Comparison) -> None:
    wheel = shipped.before.track.wheel(Corner.RL)
    own = wheel.speed_kph.copy()
    own[(wheel.time_s > 10.0) & (wheel.time_s < 12.0)] = np.nan
    wheels = list(shipped.before.track.wheels)
    wheels[Corner.RL.position] = replace(wheel, speed_kph=own)
    track = replace(shipped.before.track, wheels=tuple(wheels))
    drawing = draw_drive(track, [], Units(), top_kph=90.0)
    path = next(line.path for line in drawing.lines if line.look == "RL")
    assert path.count("M") == 2


def test_figures_are_read_off_under_the_pointer(shipped: Comparison) -> None:
    drawing = drawn(shipped)
    track = shipped.before.track
    assert sum(probe.width_pct for probe in drawing.probes) == pytest.approx(100, abs=0.1)
    probe = drawing.probes[60]
    first, *lines = probe.text.split("\n")
    begin_s = track.duration_s / 2
    assert first.startswith(f"{int(begin_s // 60)}:")
    assert first.endswith(", km/h")
    assert [line.partition(":")[0] for line in lines] == [corner.words for corner in CORNERS]
    own = track.wheel(Corner.FL)
    inside = (own.time_s >= begin_s) & (own.time_s < begin_s + track.duration_s / 120)
    low, high = own.speed_kph[inside].min(), own.speed_kph[inside].max()
    assert lines[0] == f"front left: {low:.1f} to {high:.1f}"
    assert lines[2] == "rear left: 0.0"


def test_a_probe_without_a_sample_says_so() -> None:
    none = ("front left", np.array([0.0, 1.0]), np.array([np.nan, np.nan]))
    (probe,) = read_off([none], Span(0.0, 2.0), Units(), 1)
    assert probe.text == "0:00.0 to 0:02.0, km/h\nfront left: no value"


@pytest.mark.parametrize(
    ("at_s", "decimals", "words"),
    [(59.99, 1, "1:00.0"), (2.5, 1, "0:02.5"), (3900, 0, "1:05:00"), (61.04, 2, "1:01.04")],
)
def test_a_clock(at_s: float, decimals: int, words: str) -> None:
    assert say_clock(at_s, decimals) == words
