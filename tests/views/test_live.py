"""The live view, driven by Textual's pilot."""

import asyncio
from collections.abc import Callable, Coroutine
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from textual.pilot import Pilot

from canwheel.corners import Corner, Side
from canwheel.outcome import NotJudged
from canwheel.pipeline import Comparison
from canwheel.track.lamps import Lamp
from canwheel.views.bus_flow import BusFlow
from canwheel.views.feeds import LiveState
from canwheel.views.live import LiveView
from canwheel.views.live_words import corner_sign, say_lamps, say_line
from canwheel.views.replayed_drive import ReplayedDrive

PROJECT = Path(__file__).parents[2]
BEFORE = PROJECT / "captures" / "before.log.gz"
DBC = PROJECT / "dbc_examples" / "bakery_van.dbc"

Steps = Callable[[LiveView, Pilot[None]], Coroutine[Any, Any, None]]


class Still:
    """A feed that says one thing, counts how often, and can fail."""

    def __init__(self, state: LiveState) -> None:
        self.state = state
        self.asked = 0
        self.fails = False

    def refresh(self) -> LiveState:
        self.asked += 1
        if self.fails:
            raise ZeroDivisionError
        return self.state

    def close(self) -> None:
        pass


@pytest.fixture
def state(shipped: Comparison) -> LiveState:
    from canwheel.judgement.guide import guide_drive  # noqa: PLC0415 - with the state only

    return LiveState(
        name="drive.log",
        state="recording",
        at_s=192.0,
        flow=BusFlow(123_456, 3, 2_345.6, (34.2, 41.7), 5_600_000),
        speed_kph=(48.25, 48.3, 0.0, None),
        check=shipped.before,
        guide=guide_drive(shipped.before.judgement),
        adapter="listen only, slcan on /dev/ttyACM0",
    )


def run(
    feed: Any, steps: Steps, *, size: tuple[int, int] = (80, 24), side: Side | None = "right"
) -> LiveView:
    view = LiveView(feed, side)

    async def go() -> None:
        async with view.run_test(size=size) as pilot:
            await settle(view, pilot)
            await steps(view, pilot)

    asyncio.run(go())
    return view


async def settle(view: LiveView, pilot: Pilot[None]) -> None:
    for _ in range(100):
        await pilot.pause(0.02)
        if view.state is not None:
            break
    await pilot.pause()


def screen_of(view: LiveView) -> list[str]:
    strips = view.screen._compositor.render_strips()  # noqa: SLF001 - the screen as text
    return ["".join(segment.text for segment in strip) for strip in strips]


def test_a_sound_corner_that_may_have_dropped_out_says_so(shipped: Comparison) -> None:
    sound = shipped.after.judgement.corner(Corner.FL)
    left_open = replace(sound, not_judged=(NotJudged(Corner.FL, "dropout", "it locked, or not"),))
    assert corner_sign(sound).line == "✓ sound so far"
    assert corner_sign(left_open).line == "✓ sound so far; drop-outs open"


@pytest.mark.parametrize("size", [(80, 24), (160, 50), (100, 30)])
def test_all_that_matters_is_on_the_screen(state: LiveState, size: tuple[int, int]) -> None:
    async def look(view: LiveView, _: Pilot[None]) -> None:
        lines = screen_of(view)
        assert len(lines) == size[1]
        assert all(len(line) == size[0] for line in lines)
        text = "\n".join(lines)
        for words in (
            "RECORDING",
            "drive.log",
            "0:03:12",
            "front left (passenger's side)",
            "rear right (driver's side)",
            "✗ FAULT: no signal",
            "✓ sound so far",
            "2,346 frames/s · 3 error frames · bus 34 to 42 % full",
            "5.6 MB",
            "Lamps: abs",
            "Enough: a fault is found.",
            "stops",
        ):
            assert words in text, words
        assert ("rear left (passenger's side), last 60 s" in text) == (size[1] == 50)

    run(Still(state), look, size=size)


def test_the_corners_stand_as_on_the_car_seen_from_above(state: LiveState) -> None:
    async def look(view: LiveView, _: Pilot[None]) -> None:
        lines = screen_of(view)
        front = next(line for line in lines if "front left" in line)
        rear = next(line for line in lines if "rear left" in line)
        assert front.index("front left") < 40 < front.index("front right")
        assert rear.index("rear left") < 40 < rear.index("rear right")
        assert lines.index(front) < lines.index(rear)
        fault = next(line for line in lines if "FAULT" in line)
        assert fault.index("FAULT") < 40  # it is the rear left one

    run(Still(state), look)


def test_the_bell_rings_once_for_a_corner(
    state: LiveState, monkeypatch: pytest.MonkeyPatch
) -> None:
    rung: list[None] = []
    monkeypatch.setattr(LiveView, "bell", lambda _: rung.append(None))

    async def look(view: LiveView, pilot: Pilot[None]) -> None:
        for _ in range(3):
            view.show(state)
            await pilot.pause()

    run(Still(state), look)
    assert len(rung) == 1


def test_nothing_judged_yet(state: LiveState) -> None:
    bare = replace(state, check=None, guide=None, speed_kph=(None,) * 4, says="not heard yet: X")

    async def look(view: LiveView, _: Pilot[None]) -> None:
        text = "\n".join(screen_of(view))
        assert "nothing judged yet" in text
        assert "not heard yet: X" in text

    run(Still(bare), look)


def test_a_lost_adapter_is_set_off(state: LiveState) -> None:
    lost = replace(state, state="waiting", says="the adapter is gone: what came is safe")

    async def look(view: LiveView, _: Pilot[None]) -> None:
        text = "\n".join(screen_of(view))
        assert "WAITING FOR THE ADAPTER" in text
        assert "what came is safe" in text

    run(Still(lost), look)


def test_one_slip_does_not_end_a_recording(state: LiveState) -> None:
    async def press(view: LiveView, pilot: Pilot[None]) -> None:
        await pilot.press("q")
        assert "Press q once more" in screen_of(view)[0]
        await pilot.press("x")
        await pilot.press("q")
        assert view.is_running
        await pilot.press("q")
        await pilot.pause()
        assert not view.is_running

    assert run(Still(state), press).return_code == 0


@pytest.mark.parametrize("key", ["ctrl+c", "ctrl+q"])
def test_ctrl_c_ends_it_as_in_any_terminal(state: LiveState, key: str) -> None:
    async def press(view: LiveView, pilot: Pilot[None]) -> None:
        await pilot.press(key)
        await pilot.pause()
        assert not view.is_running

    assert run(Still(state), press).return_code == 0


def test_the_view_ends_with_the_recording(state: LiveState) -> None:
    feed = Still(state)

    async def end(view: LiveView, pilot: Pilot[None]) -> None:
        feed.state = replace(state, state="ended")
        for _ in range(50):
            await pilot.pause(0.05)
            if not view.is_running:
                break
        assert not view.is_running

    assert run(feed, end).return_code == 0


def test_a_feed_that_fails_ends_the_view_with_a_code(state: LiveState) -> None:
    feed = Still(state)
    feed.fails = True
    view = LiveView(feed, None)

    async def go() -> None:
        async with view.run_test() as pilot:
            for _ in range(50):
                await pilot.pause(0.05)

    with pytest.raises(Exception, match=r"ZeroDivisionError|Worker"):
        asyncio.run(go())
    assert view.return_code == 1


def test_keys_of_a_replay() -> None:
    feed = ReplayedDrive(BEFORE, DBC)

    async def press(view: LiveView, pilot: Pilot[None]) -> None:
        await pilot.press("space")
        assert feed.is_paused
        at_s = feed.refresh().at_s
        await pilot.press("right", "right", "left")
        assert feed.refresh().at_s == pytest.approx(at_s + 10.0)
        await pilot.press("plus", "plus")
        assert feed.speed == 4
        await pilot.press("minus")
        assert feed.speed == 2
        await pilot.press("n")
        assert feed.refresh().at_s > at_s + 10.0
        await pilot.pause(0.3)
        text = "\n".join(screen_of(view))
        assert "PAUSED" in text
        assert "pause" in screen_of(view)[-1]

    run(feed, press)


def test_the_same_on_one_line(state: LiveState) -> None:
    line = say_line(state, "right")
    assert "\n" not in line
    assert "0:03:12 recording" in line
    assert "FL 48.2 FR 48.3 RL 0.0 RR --.- km/h" in line
    assert "rear left (passenger's side): FAULT: no signal" in line
    assert "Enough" in line


def test_every_corner_has_its_panel(state: LiveState) -> None:
    async def look(view: LiveView, _: Pilot[None]) -> None:
        for corner in Corner:
            assert view.query_one(f"#{corner.value}")

    run(Still(state), look, side=None)


def test_lamps_that_did_the_same_are_told_together(shipped: Comparison) -> None:
    """The lamps of a car mostly act as one, and the line has to fit 80 columns."""
    out = Lamp("abs", True, 9.0, 6.2, None)  # noqa: FBT003 - lit at the start
    lit = Lamp("abs", False, None, None, 121.0, 48.0)  # noqa: FBT003
    off = Lamp("brake", False, None, None, None)  # noqa: FBT003
    late = Lamp("abs", True, 60.0, 45.0, None)  # noqa: FBT003

    def said(*lamps: Lamp) -> str:
        judgement = replace(shipped.before.judgement, lamps=lamps)
        return say_lamps(replace(shipped.before, judgement=judgement))

    words = said(out, replace(out, name="stability"), off)
    assert words == "Lamps: abs, stability out 6 s after moving off · brake off"
    words = said(lit, replace(lit, name="stability"), off)
    assert words == "Lamps: abs, stability ✗ LIT at 121 s at 48 km/h · brake off"
    assert said(late) == "Lamps: abs out 45 s after moving off (usual: 30 s)"
    assert said() == ""
