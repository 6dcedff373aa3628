"""What the live view is fed: live equals batch, whatever pieces the drive comes in."""

import gzip
import math
import shutil
import threading
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import msgspec
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from canwheel.bus.side_file import Gap, RecordingFacts, side_path, write_facts
from canwheel.capture import read_capture
from canwheel.definitions.layout import WheelLayout
from canwheel.frames import Frames
from canwheel.pipeline import Check, Comparison, check, judge
from canwheel.vehicle import Vehicle
from canwheel.views import drive_so_far
from canwheel.views.drive_so_far import DriveSoFar
from canwheel.views.followed_drive import FollowedDrive
from canwheel.views.replayed_drive import ReplayedDrive

if TYPE_CHECKING:
    from canwheel.views.feeds import LiveState

PROJECT = Path(__file__).parents[2]
BEFORE = PROJECT / "captures" / "before.log.gz"
DBC = PROJECT / "dbc_examples" / "bakery_van.dbc"
VEHICLE = PROJECT / "dbc_examples" / "bakery_van.toml"

FACTS = RecordingFacts(
    recording="drive.log",
    version="1",
    started=datetime.now(UTC),
    interface="virtual",
    bitrate=500_000,
    listen_only=True,
    manner="no hardware",
    clock="system",
)


@pytest.fixture
def layout(shipped: Comparison) -> WheelLayout:
    return shipped.before.layout


@pytest.fixture
def car(shipped: Comparison) -> Vehicle:
    return shipped.before.vehicle


def essence(result: Check | None) -> object:
    """Everything that a check says, without the fingerprint of its file."""
    assert result is not None
    judgement = result.judgement
    corners = [
        (j.verdict, j.findings, j.not_judged, j.typical_error_pct, j.coverage.read_km)
        for j in judgement.corners
    ]
    return judgement.verdict, corners, judgement.events, judgement.lamps, result.next_steps


@given(st.lists(st.integers(1, 3000), max_size=12))
@settings(max_examples=10, deadline=None)
def test_live_equals_batch_at_the_end_of_the_drive(shipped: Comparison, pieces: list[int]) -> None:
    batch = shipped.before
    recording = read_capture(BEFORE, batch.layout.wanted)
    drive = DriveSoFar(batch.layout, batch.vehicle, BEFORE)
    rest = recording.frames
    for piece in pieces:
        drive.add(rest.select(np.arange(min(piece, len(rest)))))
        rest = rest.select(np.arange(min(piece, len(rest)), len(rest)))
        drive.judge(recording.summary, at_once=True)
    drive.add(rest)
    drive.judge(recording.summary, at_once=True)
    assert essence(drive.check) == essence(batch)


@pytest.fixture
def grow(tmp_path: Path) -> Iterator[Callable[..., Path]]:
    """Write the shipped drive into a log as a recorder does, in the background."""
    threads: list[threading.Thread] = []
    path = tmp_path / "drive.log"

    def start(*, seconds: float = 0.6, facts: RecordingFacts = FACTS) -> Path:
        text = gzip.decompress(BEFORE.read_bytes())
        path.write_bytes(b"")
        write_facts(side_path(path), facts)

        def write() -> None:
            steps = 12
            with path.open("ab", buffering=0) as file:
                for step in range(steps):
                    low, high = (len(text) * (step + i) // steps for i in (0, 1))
                    file.write(text[low:high])
                    time.sleep(seconds / steps)
            write_facts(
                side_path(path),
                msgspec.structs.replace(facts, state="ended", ended=datetime.now(UTC)),
            )

        threads.append(threading.Thread(target=write))
        threads[-1].start()
        return path

    yield start
    for thread in threads:
        thread.join()


def test_a_growing_log_is_followed_to_the_verdict_of_check(
    grow: Callable[..., Path], layout: WheelLayout, car: Vehicle
) -> None:
    path = grow()
    feed = FollowedDrive(path, layout, car)
    states: list[LiveState] = []
    while not states or states[-1].state != "ended":
        states.append(feed.refresh())
        time.sleep(0.1)
    feed.close()
    last = states[-1]
    assert essence(last.check) == essence(check(path, DBC, VEHICLE))
    assert last.flow.frames == read_capture(path).summary.frames
    assert last.flow.size_bytes == path.stat().st_size
    assert states[0].state == "recording"
    assert last.flow.load_pct is not None
    assert any(speed is not None for state in states for speed in state.speed_kph)
    assert last.adapter == "no hardware, virtual"


def test_an_adapter_that_acknowledges_is_told_first(tmp_path: Path) -> None:
    path = tmp_path / "drive.log"
    path.write_bytes(b"")
    facts = msgspec.structs.replace(
        FACTS, interface="slcan", channel="/dev/tty0", listen_only=False, manner="acknowledges"
    )
    write_facts(side_path(path), facts)
    feed = FollowedDrive(path, None, Vehicle())
    assert feed.refresh().adapter == "ACKNOWLEDGES, slcan on /dev/tty0"
    feed.close()


def test_a_lost_adapter_is_said(tmp_path: Path, layout: WheelLayout, car: Vehicle) -> None:
    path = tmp_path / "drive.log"
    path.write_bytes(b"")
    gap = Gap(since=datetime.now(UTC), why="pulled out")
    write_facts(side_path(path), msgspec.structs.replace(FACTS, state="waiting", gap=(gap,)))
    feed = FollowedDrive(path, layout, car)
    state = feed.refresh()
    feed.close()
    assert state.state == "waiting"
    assert "what came is safe" in state.says
    assert state.check is None


def test_speeds_are_not_shown_once_nothing_comes_any_more(
    recorded: Path, layout: WheelLayout, car: Vehicle
) -> None:
    """The adapter was pulled out at speed: the last speeds are those of then, not of now."""
    feed = FollowedDrive(recorded, layout, car)
    until = time.monotonic() + 5
    while None in (state := feed.refresh()).speed_kph and time.monotonic() < until:
        time.sleep(0.02)
    assert None not in state.speed_kph
    while None not in (state := feed.refresh()).speed_kph and time.monotonic() < until:
        time.sleep(0.1)
    assert state.speed_kph == (None, None, None, None)
    feed.close()


@pytest.fixture
def recorded(tmp_path: Path) -> Path:
    """The first minute of a drive whose recording goes on."""
    path = tmp_path / "drive.log"
    with gzip.open(BEFORE) as packed:
        path.write_bytes(b"".join(packed.readlines()[:3000]))
    write_facts(side_path(path), FACTS)
    return path


def test_the_speeds_go_on_while_the_drive_is_judged(
    recorded: Path, layout: WheelLayout, car: Vehicle, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An hour takes seconds to judge; the view is asked four times a second."""
    judging, may_end = threading.Event(), threading.Event()

    def judge_slowly(*arguments: object, **more: object) -> Check:
        judging.set()
        assert may_end.wait(10)
        return judge(*arguments, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(drive_so_far, "judge", judge_slowly)
    feed = FollowedDrive(recorded, layout, car)
    until = time.monotonic() + 10
    while not judging.is_set() and time.monotonic() < until:
        feed.refresh()
    state = feed.refresh()
    assert state.check is None  # it comes when it is ready
    assert None not in state.speed_kph
    may_end.set()
    while (state := feed.refresh()).check is None and time.monotonic() < until:
        time.sleep(0.02)
    assert state.check is not None
    feed.close()


def test_a_judging_that_fails_is_not_kept_quiet(
    recorded: Path, layout: WheelLayout, car: Vehicle, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: object, **__: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr(drive_so_far, "judge", fail)
    feed = FollowedDrive(recorded, layout, car)

    def ask_for_a_while() -> None:
        until = time.monotonic() + 10
        while time.monotonic() < until:
            feed.refresh()
            time.sleep(0.02)

    with pytest.raises(ZeroDivisionError):
        ask_for_a_while()
    feed.close()


def test_a_recorder_that_died_is_noticed(tmp_path: Path, layout: WheelLayout, car: Vehicle) -> None:
    path = tmp_path / "drive.log"
    path.write_bytes(b"(1.0) can0 123#\n")
    write_facts(side_path(path), FACTS)
    died = threading.Event()
    feed = FollowedDrive(path, layout, car, is_abandoned=died.is_set)
    assert feed.refresh().state == "recording"
    died.set()
    until = time.monotonic() + 5
    while feed.refresh().state != "ended" and time.monotonic() < until:
        time.sleep(0.05)
    assert feed.refresh().state == "ended"
    feed.close()


def test_what_is_not_heard_yet_is_named(tmp_path: Path, layout: WheelLayout, car: Vehicle) -> None:
    path = tmp_path / "drive.log"
    path.write_bytes(b"(1.0) can0 123#00\n")
    feed = FollowedDrive(path, layout, car)  # without a side file it is a finished log
    until = time.monotonic() + 5
    while (state := feed.refresh()).state != "ended" and time.monotonic() < until:
        time.sleep(0.02)
    feed.close()
    assert state.says == "not heard yet: WHEELS"
    assert state.speed_kph == (None, None, None, None)


def test_time_stamps_that_stand_still_are_said_and_nothing_is_judged(
    tmp_path: Path, layout: WheelLayout, car: Vehicle
) -> None:
    path = tmp_path / "drive.log"
    with gzip.open(BEFORE, "rt") as packed:
        lines = packed.readlines()[:3000]
    path.write_text("".join(f"(0.000000) {line.split(' ', 1)[1]}" for line in lines))
    feed = FollowedDrive(path, layout, car)
    until = time.monotonic() + 5
    while (state := feed.refresh()).state != "ended" and time.monotonic() < until:
        time.sleep(0.02)
    feed.close()
    assert state.says.startswith("the time stamps stand still: ")
    assert state.check is None


def test_without_a_dbc_there_is_the_bus_alone(tmp_path: Path) -> None:
    path = tmp_path / "drive.log"
    with gzip.open(BEFORE) as packed, path.open("wb") as plain:
        shutil.copyfileobj(packed, plain)
    feed = FollowedDrive(path, None, Vehicle())
    until = time.monotonic() + 5
    while (state := feed.refresh()).state != "ended" and time.monotonic() < until:
        time.sleep(0.02)
    feed.close()
    assert state.flow.frames > 1000
    assert state.check is None
    assert "without a DBC file nothing is judged" in state.says


# replay


class Hands:
    """A clock that is moved by hand."""

    def __init__(self) -> None:
        self.now_s = 100.0

    def __call__(self) -> float:
        return self.now_s


@pytest.fixture
def replay() -> tuple[ReplayedDrive, Hands]:
    hands = Hands()
    return ReplayedDrive(BEFORE, DBC, VEHICLE, clock=hands), hands


def test_a_replay_runs_at_its_speed_and_pauses(replay: tuple[ReplayedDrive, Hands]) -> None:
    feed, hands = replay
    assert feed.refresh().at_s == 0.0
    hands.now_s += 3.0
    assert feed.refresh().at_s == pytest.approx(3.0)
    feed.faster(3)
    assert feed.speed == 8
    hands.now_s += 2.0
    assert feed.refresh().at_s == pytest.approx(19.0)
    feed.pause()
    hands.now_s += 50.0
    state = feed.refresh()
    assert state.at_s == pytest.approx(19.0)
    assert state.state == "paused"
    feed.pause()
    feed.faster(99)
    assert feed.speed == 64
    feed.faster(-99)
    assert feed.speed == 1


def test_a_replay_goes_back_and_forward_within_the_drive(
    replay: tuple[ReplayedDrive, Hands],
) -> None:
    feed, _ = replay
    feed.step(100.0)
    forward = feed.refresh()
    assert forward.at_s == pytest.approx(100.0)
    feed.step(-60.0)
    back = feed.refresh()
    assert back.at_s == pytest.approx(40.0)
    assert back.flow.frames < forward.flow.frames
    feed.step(-1e9)
    assert feed.refresh().at_s == 0.0


def test_a_replay_jumps_to_the_next_finding(replay: tuple[ReplayedDrive, Hands]) -> None:
    feed, _ = replay
    (finding,) = feed.whole.judgement.corners[2].findings
    assert feed.next_finding()
    assert feed.refresh().at_s == pytest.approx(finding.from_s - 3.0)
    assert not feed.next_finding()


def test_of_two_sets_of_wheels_a_replay_takes_the_one_that_was_heard(tmp_path: Path) -> None:
    """As `check` does: which one that is, only the recording tells."""
    lines = DBC.read_text().splitlines()
    first = lines.index("BO_ 434 WHEELS: 7 BRAKE_UNIT")
    lines[first:first] = ["BO_ 436 OTHER_WHEELS: 7 BRAKE_UNIT", *lines[first + 1 : first + 6]]
    dbc = tmp_path / "two.dbc"
    dbc.write_text("\n".join(lines))
    feed = ReplayedDrive(BEFORE, dbc, VEHICLE)
    assert {place.message for place in feed.whole.layout.wheels} == {"WHEELS"}


def test_a_replay_ends_on_the_verdict_of_check(
    replay: tuple[ReplayedDrive, Hands], shipped: Comparison
) -> None:
    feed, hands = replay
    hands.now_s += 1e6
    state = feed.refresh()
    assert state.state == "ended"
    assert essence(state.check) == essence(shipped.before)
    assert state.flow.frames == shipped.before.summary.frames


def test_at_any_moment_a_replay_shows_what_had_been_driven(
    replay: tuple[ReplayedDrive, Hands], shipped: Comparison
) -> None:
    """Compared with the capture cut there by the library-free reader."""
    feed, _ = replay
    feed.step(60.0)
    state = feed.refresh()
    frames = read_capture(BEFORE).frames
    first_ns = shipped.before.summary.first_time_ns
    so_far = int(np.sum(frames.time_ns <= first_ns + 60_000_000_000))
    assert state.flow.frames == pytest.approx(so_far, abs=300)
    assert state.flow.frames_per_s == pytest.approx(so_far / 60, rel=0.2)
    track = shipped.before.track
    for corner, speed in enumerate(state.speed_kph):
        wheel = track.wheels[corner]
        now = wheel.speed_kph[np.searchsorted(wheel.time_s, 60.0) - 1]
        assert speed is not None
        assert math.isclose(speed, now, abs_tol=0.2)


def test_parts_are_joined_now_and_then_and_never_lost() -> None:
    drive = DriveSoFar(None, Vehicle(), Path("x"))
    piece = Frames.concatenate([Frames.empty()])
    drive.add(piece)
    for number in range(100):
        one = Frames(
            time_ns=np.array([number]),
            can_id=np.zeros(1, np.uint32),
            flags=np.zeros(1, np.uint8),
            length=np.zeros(1, np.uint8),
            data=np.zeros((1, 8), np.uint8),
            channel=np.zeros(1, np.uint8),
            channels=("can0",),
            index=np.array([number]),
        )
        drive.add(one)
    parts = drive._parts  # noqa: SLF001 - that they stay few is the point
    assert Frames.concatenate(parts).time_ns.tolist() == list(range(100))
    assert len(parts) <= 8


def test_without_a_dbc_the_guide_says_how_far_discovery_has_come(
    grow: Callable[..., Path], car: Vehicle
) -> None:
    """The shipped drive has one dead corner, stops and both turns."""
    feed = FollowedDrive(grow(seconds=0.2), None, car)
    states: list[LiveState] = []
    while not states or states[-1].state != "ended":
        states.append(feed.refresh())
        time.sleep(0.05)
    feed.close()
    guide = states[-1].guide
    assert guide is not None
    assert guide.says.startswith("Wheel speeds seen; ")
    assert guide.lines[0].name == "wheel speeds seen"
    assert guide.lines[0].is_done
    assert states[-1].check is None
