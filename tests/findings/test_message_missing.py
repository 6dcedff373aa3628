"""Frames that stop while others go on."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from canwheel.corners import CORNERS, Corner
from canwheel.findings import examine
from canwheel.outcome import Span

REAR = [Corner.RL.position, Corner.RR.position]


def silent(drive: Any, columns: Any, *stretches: tuple[float, float], **facts: Any) -> Any:
    present = np.ones(drive.kph.shape, bool)
    for from_s, to_s in stretches:
        rows = np.flatnonzero(drive.at(from_s, to_s))
        present[np.ix_(rows, columns)] = False
    return drive.track(present=present, **facts)


@pytest.mark.parametrize("stretches", [[(60, 62)], [(20, 21), (75, 78)], [(70, 999)]])
@pytest.mark.parametrize("columns", [[0, 1], [2, 3]])
def test_one_of_two_messages(town: Any, said: Any, columns: list[int], stretches: Any) -> None:
    track = silent(town, columns, *stretches, rear_later_s=0.007)
    names = [CORNERS[k].value for k in columns]
    assert said(track) == {name: ["message_missing"] for name in names}


def test_its_figures(town: Any) -> None:
    track = silent(town, REAR, (20, 21), (75, 78), rear_later_s=0.007)
    for finding in examine(track).outcome.findings:
        assert finding.evidence["longest_gap_s"] == pytest.approx(3, abs=0.1)
        assert finding.evidence["count"] == finding.count == 2
        assert finding.spans[0].from_s == pytest.approx(20, abs=0.1)


def test_the_only_message(town: Any, said: Any) -> None:
    track = silent(town, [0, 1, 2, 3], (60, 63))
    assert said(track) == {c: ["message_missing"] for c in CORNERS}


def unheard(track: Any, *corners: Corner) -> Any:
    """Return the drive as it is heard without one frame of some corners' own messages."""
    wheels = list(track.wheels)
    none = np.zeros(0, np.intp)
    for corner in corners:
        own = track.wheel(corner)
        wheels[corner.position] = replace(
            own,
            time_s=own.time_s[none],
            speed_kph=own.speed_kph[none],
            raw=own.raw[none],
            flagged=own.flagged[none],
            index=own.index[none],
            period_s=float("nan"),
            is_heard=False,
        )
    speed_kph = track.speed_kph.copy()
    speed_kph[:, [corner.position for corner in corners]] = np.nan
    fl, fr, rl, rr = wheels
    return replace(track, wheels=(fl, fr, rl, rr), speed_kph=speed_kph)


@pytest.mark.parametrize("corner", CORNERS)
def test_a_message_of_its_own_that_never_comes(town: Any, corner: Corner) -> None:
    track = unheard(town.track(), corner)
    (finding,) = examine(track).outcome.findings
    assert (finding.corner, finding.kind) == (corner, "message_missing")
    assert finding.spans == (track.whole,)
    assert finding.evidence["longest_gap_s"] == pytest.approx(track.duration_s, abs=0.01)
    assert "never heard in 156 s" in finding.says
    assert "the DBC is not quite its own" in finding.says


def test_two_of_four_that_never_come(town: Any, said: Any) -> None:
    track = unheard(town.track(), Corner.RL, Corner.FR)
    assert said(track) == {"FR": ["message_missing"], "RL": ["message_missing"]}


def test_a_dead_corner_beside_one_that_never_comes(town: Any, said: Any) -> None:
    track = unheard(town.track(town.spoilt(0, 0.0)), Corner.RR)
    assert said(track)["RR"] == ["message_missing"]
    assert said(track)["FL"] == ["no_signal"]


def test_what_is_heard_must_be_the_wheels_of_one_car(town: Any, make_drive: Any, said: Any) -> None:
    rng = np.random.default_rng(3)
    strange = town.track(rng.uniform(0, 100, town.kph.shape).cumsum(axis=0) % 100)
    still = town.track(np.full(town.kph.shape, 50.0))
    standing = make_drive([(0, 0), (60, 0)], ()).track()
    for track in (strange, still, standing):
        assert "RR" not in said(unheard(track, Corner.RR))


def test_before_long_nothing_is_missed(make_drive: Any, said: Any) -> None:
    drive = make_drive([(0, 0), (4, 40), (9, 55)], ())
    assert said(unheard(drive.track(), Corner.RR)) == {}
    assert said(unheard(town_of_few_frames(make_drive), Corner.RR)) == {}


def town_of_few_frames(make_drive: Any) -> Any:
    """A drive of which hardly a frame was heard: nobody can tell that one never comes."""
    return make_drive().track(last_index=900)


def test_a_few_lost_frames_are_no_news(town: Any, said: Any) -> None:
    assert said(silent(town, REAR, (60, 60.1), (75, 75.3), rear_later_s=0.007)) == {}


def test_a_logger_that_kept_a_third_of_the_frames(town: Any, said: Any) -> None:
    kept = np.random.default_rng(4).random(len(town.time_s)) < 1 / 3
    track = town.track(present=np.repeat(kept[:, None], 4, axis=1))
    assert said(track) == {}


def test_a_recorder_that_heard_nothing_accuses_no_wheel(town: Any, said: Any, events: Any) -> None:
    track = town.track()
    gap = Span(60.0, 64.0)
    present = np.repeat(~town.at(gap.from_s, gap.to_s)[:, None], 4, axis=1)
    quiet = town.track(present=present, gaps=(gap,))
    # no frame of any kind meanwhile: the count of frames goes on without a step
    wheels = tuple(
        replace(wheel, index=np.arange(len(wheel.time_s), dtype=np.int64) * 80)
        for wheel in quiet.wheels
    )
    quiet = replace(quiet, wheels=wheels, last_index=len(wheels[0].time_s) * 80)
    assert said(quiet) == said(track) == {}
    assert [(e.kind, e.corner) for e in events(quiet)] == [("recording_gap", None)]


@pytest.mark.parametrize("frames", [1, 2, 5, 9])
def test_a_message_that_ends_after_a_few_frames(town: Any, said: Any, frames: int) -> None:
    from_s = float(town.time_s[frames])
    track = silent(town, REAR, (from_s, 999), rear_later_s=0.007)
    told = {corner: kinds for corner, kinds in said(track).items() if "message_missing" in kinds}
    assert told == {"RL": ["message_missing"], "RR": ["message_missing"]}


@pytest.mark.parametrize(("last_s", "last_index"), [(4.0, 200_000), (150.0, 500)])
def test_a_few_frames_at_the_end_of_what_was_heard_are_no_news(
    town: Any, said: Any, last_s: float, last_index: int
) -> None:
    """A recording that has only begun, and one in which nothing else was heard."""
    present = np.zeros(town.kph.shape, bool)
    present[:4] = True
    assert said(town.track(present=present, duration_s=last_s, last_index=last_index)) == {}


def test_a_few_frames_far_apart_are_the_messages_own_pace(town: Any, said: Any) -> None:
    present = np.zeros(town.kph.shape, bool)
    present[::1000] = True  # every 20 s
    assert said(town.track(present=present)) == {}
