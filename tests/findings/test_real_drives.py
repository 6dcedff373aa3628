"""Two recordings of real cars, unharmed, and with faults written into their frames' bytes.

One is a minute of nearly straight road (the example segment of comma2k19, MIT licence), the other
two and a half minutes with tight right turns and a standstill, front and rear in two messages (a
clean trace of the DAGA data set, MIT licence). No fault is in either.
"""

from dataclasses import dataclass, replace
from itertools import combinations, permutations
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from canwheel.capture import read_capture
from canwheel.capture.summary import CaptureSummary
from canwheel.corners import CORNERS, Corner
from canwheel.definitions.columns import decode_signal
from canwheel.definitions.dbc import read_definitions
from canwheel.definitions.layout import WheelLayout
from canwheel.definitions.survey import find_wheels_of
from canwheel.findings import Examination, examine
from canwheel.frames import Frames, IdPattern
from canwheel.judgement.verdict import judge_drive
from canwheel.track.build import build_track
from canwheel.track.channel import choose_channel
from canwheel.track.motion import estimate_motion
from canwheel.track.placing import SURE_LOG_ODDS
from canwheel.track.road_echo import placed_by_road
from canwheel.track.wheel_track import HelperSamples, WheelTrack
from canwheel.vehicle import Vehicle

FOLDER = Path(__file__).parents[3] / "shared" / "data"
pytestmark = pytest.mark.skipif(
    not FOLDER.is_dir(),
    reason="the folder of real drives, ../shared/data, is not beside the project",
)
MINUTE, TURNS = "road-minute", "road-turns"
NAMES = (MINUTE, TURNS)
STEERING_ID = 8  # in road-turns
DRIVING_S = {MINUTE: (1.0, 59.0), TURNS: (99.0, 150.0)}
"""Stretch of each drive in which the car goes faster than 15 km/h all the time."""

at_each_corner = pytest.mark.parametrize("corner", CORNERS)
on_each_drive = pytest.mark.parametrize("name", NAMES)
Raw = NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class RealDrive:
    """One recording, read once; each fault is written into a copy of its frames."""

    frames: Frames
    layout: WheelLayout
    summary: CaptureSummary

    def standstill(self, corner: Corner) -> int:
        place = self.layout.wheel(corner)
        return round(-place.offset / place.scale)

    def kph(self, corner: Corner, kph: float) -> int:
        """How many counts a difference in speed is."""
        return round(kph / self.layout.wheel(corner).scale)

    def time_s(self, corner: Corner) -> NDArray[np.float64]:
        rows = decode_signal(self.frames, self.layout.wheel(corner)).rows
        return (self.frames.time_ns[rows] - self.summary.first_time_ns) / 1e9

    def raw(self, corner: Corner) -> Raw:
        """Raw values as recorded, one a frame."""
        return decode_signal(self.frames, self.layout.wheel(corner)).raw

    def frames_with(self, raw_by_corner: dict[Corner, Raw]) -> Frames:
        """Write raw values into the payloads of a copy."""
        data = self.frames.data.copy()
        for corner, raw in raw_by_corner.items():
            place = self.layout.wheel(corner)
            bits = place.bits
            assert (bits.byte_order, bits.length, bits.start % 8) == ("big_endian", 16, 7)
            first, rows = bits.start // 8, decode_signal(self.frames, place).rows
            data[rows, first], data[rows, first + 1] = raw >> 8, raw & 0xFF
        return replace(self.frames, data=data)

    def track_of(self, frames: Frames) -> WheelTrack:
        return build_track(frames, self.layout, Vehicle(), self.summary)

    def with_raw(self, raw_by_corner: dict[Corner, Raw]) -> WheelTrack:
        """Write raw values into the payloads of a copy, and read that."""
        return self.track_of(self.frames_with(raw_by_corner))

    def changed(self, corner: Corner, raw: Any, rows: Any = slice(None)) -> WheelTrack:
        """Replace one corner's raw values, in some rows or in all."""
        values = self.raw(corner).copy()
        values[rows] = raw
        return self.with_raw({corner: values})


def read_drive(name: str, folder: Path) -> RealDrive:
    """Read a recording, by its DBC file with a mark for "no value" added to every wheel."""
    text = (FOLDER / f"{name}.dbc").read_text()
    ids = {"FL": 170, "FR": 170, "RL": 170, "RR": 170}
    if name == TURNS:
        ids = {"FL": 245, "FR": 245, "RL": 288, "RR": 288}
    marks = "".join(f'VAL_ {i} SPEED_{c} 65535 "signal not available" ;\n' for c, i in ids.items())
    dbc = folder / f"{name}.dbc"
    dbc.write_text(f"{text}\n{marks}")
    capture = FOLDER / f"{name}.log.gz"
    layout = find_wheels_of(read_definitions(dbc), Vehicle(), capture)
    steering = IdPattern.exactly(STEERING_ID, extended=False)
    recording = read_capture(capture, (*layout.wanted, steering))
    frames, channel = choose_channel(recording.frames, layout, None, capture)
    assert channel == "can0"
    return RealDrive(frames, layout, recording.summary)


@pytest.fixture(scope="session")
def drives(tmp_path_factory: pytest.TempPathFactory) -> dict[str, RealDrive]:
    folder = tmp_path_factory.mktemp("real")
    return {name: read_drive(name, folder) for name in NAMES}


def verdicts(examination: Examination) -> dict[str, str]:
    judgement = judge_drive(examination.outcome, examination.coverage)
    return {judged.corner.value: judged.verdict for judged in judgement.corners}


def spaced(name: str, count: int) -> NDArray[np.float64]:
    """Moments at even distances while the car drives. [s]"""
    first_s, last_s = DRIVING_S[name]
    return np.linspace(first_s + 2, last_s - 4, count)


# --- unharmed ---


@on_each_drive
def test_unharmed(drives: dict[str, RealDrive], name: str) -> None:
    examination = examine(drives[name].with_raw({}))
    assert examination.outcome.findings == ()
    assert examination.outcome.events == ()
    assert set(verdicts(examination).values()) == {"sound"}


@on_each_drive
@pytest.mark.parametrize("step_kph", [0.25, 1.0, 1.25, 1.609, 2.0])
@pytest.mark.parametrize("rounded", [np.round, np.floor])
def test_a_unit_whose_own_steps_are_coarser_than_the_bus_could_carry(
    drives: dict[str, RealDrive], said: Any, name: str, step_kph: float, rounded: Any
) -> None:
    """The DBC file's factor stays 0.01 km/h, as recorded."""
    real, raw_by_corner = drives[name], {}
    for corner in CORNERS:
        above, step = real.raw(corner) - real.standstill(corner), real.kph(corner, step_kph)
        raw_by_corner[corner] = rounded(above / step).astype(np.int64) * step
        raw_by_corner[corner] += real.standstill(corner)
    assert said(real.with_raw(raw_by_corner)) == {}


def test_the_typical_error_is_the_measured_one(drives: dict[str, RealDrive]) -> None:
    # 0.45 % of one standard deviation, measured on this drive before the package was written, as
    # the root of mean squares, to which the few bumps beyond normal errors add some hundredths.
    for error_pct in examine(drives[MINUTE].with_raw({})).typical_error_pct:
        assert error_pct == pytest.approx(0.45, abs=0.04)


def test_what_was_driven(drives: dict[str, RealDrive]) -> None:
    # As the recordings' own notes have it.
    minute = examine(drives[MINUTE].with_raw({})).coverage
    assert minute.distance_km == pytest.approx(1.0, abs=0.02)
    assert minute.top_speed_kph == pytest.approx(72, abs=1)
    assert (minute.stops, minute.left_turn_s, minute.right_turn_s) == (0, 0, 0)
    turns = examine(drives[TURNS].with_raw({})).coverage
    assert turns.distance_km == pytest.approx(0.72, abs=0.02)
    assert turns.top_speed_kph == pytest.approx(49, abs=1)
    assert turns.right_turn_s > 20
    assert turns.left_turn_s < 1


# --- one fault, at each corner ---


@on_each_drive
@at_each_corner
@pytest.mark.parametrize("from_share", [0.0, 0.5])
def test_no_signal(
    drives: dict[str, RealDrive], said: Any, name: str, corner: Corner, from_share: float
) -> None:
    real = drives[name]
    rows = slice(int(from_share * len(real.raw(corner))), None)
    track = real.changed(corner, real.standstill(corner), rows)
    assert said(track) == {corner.value: ["no_signal"]}


@on_each_drive
@at_each_corner
@pytest.mark.parametrize("lasts_s", [0.0, 0.2, 0.7, 2.0])
def test_dropout(
    drives: dict[str, RealDrive], only_finding: Any, name: str, corner: Corner, lasts_s: float
) -> None:
    real = drives[name]
    time_s = real.time_s(corner)
    rows = np.zeros(len(time_s), bool)
    for start_s in spaced(name, 7):
        first = int(np.searchsorted(time_s, start_s))
        rows[first] = True  # a single sample at least
        rows |= (time_s >= time_s[first]) & (time_s < time_s[first] + lasts_s)
    finding = only_finding(real.changed(corner, real.standstill(corner), rows))
    assert (finding.corner, finding.kind, finding.count) == (corner, "dropout", 7)
    assert finding.confidence >= 0.9
    assert finding.evidence["longest_s"] == pytest.approx(lasts_s, abs=0.05)


@on_each_drive
@at_each_corner
@pytest.mark.parametrize("shares", [(0.0, 1.0), (0.7, 1.0), (0.7, 0.85)])
def test_frozen(
    drives: dict[str, RealDrive],
    said: Any,
    name: str,
    corner: Corner,
    shares: tuple[float, float],
) -> None:
    real = drives[name]
    raw = real.raw(corner)
    first, last = (int(share * len(raw)) for share in shares)
    held = raw[int(0.7 * len(raw))]
    track = real.changed(corner, held, slice(first, last))
    assert said(track) == {corner.value: ["frozen"]}


@on_each_drive
@at_each_corner
@pytest.mark.parametrize("ratio", [0.90, 44 / 48, 0.98, 1.02, 1.03, 52 / 48])
def test_wrong_ratio(
    drives: dict[str, RealDrive], said: Any, name: str, corner: Corner, ratio: float
) -> None:
    real = drives[name]
    standstill, raw = real.standstill(corner), real.raw(corner)
    scaled = np.round(standstill + (raw - standstill) * ratio).astype(np.int64)
    track = real.changed(corner, scaled)
    told = said(track)
    assert told == {corner.value: ["wrong_ratio"]}
    (finding,) = examine(track).outcome.findings
    assert finding.evidence["ratio"] == pytest.approx(ratio, abs=0.005)


@on_each_drive
@at_each_corner
@pytest.mark.parametrize("other", range(1, 4))
def test_copied(
    drives: dict[str, RealDrive], said: Any, name: str, corner: Corner, other: int
) -> None:
    real = drives[name]
    of = CORNERS[(corner.position + other) % 4]
    newest = np.searchsorted(real.time_s(of), real.time_s(corner), "right") - 1
    told = said(real.changed(corner, real.raw(of)[np.maximum(newest, 0)]))
    if name == MINUTE and of is corner.mirror:
        # On a straight road the two of an axle go alike: either may be the copy.
        assert told == {corner.value: ["copied?"], of.value: ["copied?"]}
        return
    assert told == {corner.value: ["copied"]}


@on_each_drive
@pytest.mark.parametrize(("copy", "of"), list(permutations(CORNERS, 2)))
def test_copied_for_a_part_of_the_way(
    drives: dict[str, RealDrive], said: Any, name: str, copy: Corner, of: Corner
) -> None:
    """For 40 s; what it says for sure must be so."""
    real = drives[name]
    time_s, raw = real.time_s(copy), real.raw(copy).copy()
    rows = (time_s > time_s[-1] - 55) & (time_s < time_s[-1] - 15)
    newest = np.searchsorted(real.time_s(of), time_s, "right") - 1
    raw[rows] = real.raw(of)[newest[rows]]
    told = said(real.changed(copy, raw))
    assert told in ({copy.value: ["copied"]}, {key: ["copied?"] for key in (copy, of)})


def test_the_road_places_a_copy_rightly_or_says_nothing(drives: dict[str, RealDrive]) -> None:
    """A minute of road is little to go by; what it says for sure must be so."""
    real, sure = drives[MINUTE], 0
    for of, copy in permutations(CORNERS, 2):
        newest = np.searchsorted(real.time_s(of), real.time_s(copy), "right") - 1
        track = real.changed(copy, real.raw(of)[np.maximum(newest, 0)])
        placing = placed_by_road(track, estimate_motion(track), of, copy)
        if placing is not None and abs(placing.log_odds) > SURE_LOG_ODDS:
            assert placing.lean > 0
            sure += 1
    assert sure >= 2


@on_each_drive
@at_each_corner
@pytest.mark.parametrize("samples", [1, 5])
def test_erratic(
    drives: dict[str, RealDrive], only_finding: Any, name: str, corner: Corner, samples: int
) -> None:
    real = drives[name]
    raw = real.raw(corner).copy()
    for k, start_s in enumerate(spaced(name, 9)):
        first = int(np.searchsorted(real.time_s(corner), start_s))
        raw[first : first + samples] += real.kph(corner, 14.0) * (-1) ** k
    finding = only_finding(real.with_raw({corner: raw}))
    assert (finding.corner, finding.kind) == (corner, "erratic")
    assert finding.confidence >= 0.9
    assert finding.count == pytest.approx(9, abs=3)
    assert finding.evidence["largest_jump_kph"] == pytest.approx(14, abs=3)


@on_each_drive
@at_each_corner
@pytest.mark.parametrize("noise_kph", [1.0, 3.0, 10.0])
def test_noise(
    drives: dict[str, RealDrive], said: Any, name: str, corner: Corner, noise_kph: float
) -> None:
    """Every reading is off, by a fiftieth of the speed or by a fifth."""
    real = drives[name]
    raw, least = real.raw(corner), real.standstill(corner)
    noise = np.random.default_rng(corner.position).normal(0, real.kph(corner, noise_kph), len(raw))
    moving = raw > least + real.kph(corner, 8.0)
    noisy = np.maximum(raw + np.round(noise * moving).astype(np.int64), least)
    assert said(real.changed(corner, noisy)) == {corner.value: ["erratic"]}


@on_each_drive
@at_each_corner
@pytest.mark.parametrize("ratio", [0.5, 0.9, 1.1, 2.0])
def test_off_for_a_time(
    drives: dict[str, RealDrive], only_finding: Any, name: str, corner: Corner, ratio: float
) -> None:
    """For ten seconds, from one reading to the next."""
    real = drives[name]
    time_s, raw, least = real.time_s(corner), real.raw(corner), real.standstill(corner)
    from_s = float(np.mean(DRIVING_S[name])) - 5
    rows = (time_s > from_s) & (time_s < from_s + 10)
    off = least + np.round((raw[rows] - least) * ratio).astype(np.int64)
    finding = only_finding(real.changed(corner, off, rows))
    assert (finding.corner, finding.kind) == (corner, "wrong_ratio")
    assert finding.evidence["ratio"] == pytest.approx(ratio, rel=0.02)
    assert (finding.spans[0].from_s, finding.spans[-1].to_s) == (
        pytest.approx(from_s, abs=1),
        pytest.approx(from_s + 10, abs=1),
    )


@on_each_drive
@at_each_corner
@pytest.mark.parametrize("shares", [(0.0, 1.0), (0.7, 1.0), (0.75, 0.8)])
def test_flagged_invalid(
    drives: dict[str, RealDrive],
    only_finding: Any,
    name: str,
    corner: Corner,
    shares: tuple[float, float],
) -> None:
    real = drives[name]
    first, last = (int(share * len(real.raw(corner))) for share in shares)
    finding = only_finding(real.changed(corner, 0xFFFF, slice(first, last)))
    assert (finding.corner, finding.kind) == (corner, "flagged_invalid")
    assert finding.evidence["raw_value"] == 0xFFFF


# --- two corners exchanged ---

PAIRS = list(combinations(CORNERS, 2))
ACROSS = [(Corner.FL, Corner.FR), (Corner.RL, Corner.RR)]


def exchanged(real: RealDrive, one: Corner, other: Corner) -> WheelTrack:
    """Each of the two frames' places carries what the other corner last sent."""
    times = {corner: real.time_s(corner) for corner in (one, other)}
    swapped = {}
    for here, there in ((one, other), (other, one)):
        newest = np.searchsorted(times[there], times[here], "right") - 1
        swapped[here] = real.raw(there)[np.maximum(newest, 0)]
    return real.with_raw(swapped)


@pytest.mark.parametrize(("one", "other"), [pair for pair in PAIRS if pair not in ACROSS])
def test_crossed_in_turns(
    drives: dict[str, RealDrive], said: Any, one: Corner, other: Corner
) -> None:
    assert said(exchanged(drives[TURNS], one, other)) == {
        one.value: ["crossed"],
        other.value: ["crossed"],
    }


@pytest.mark.parametrize(("one", "other"), ACROSS)
def test_crossed_across_an_axle_in_turns(
    drives: dict[str, RealDrive], said: Any, one: Corner, other: Corner
) -> None:
    real = drives[TURNS]
    track = exchanged(real, one, other)  # the DBC has a flag for the steering's side
    assert said(track) == {one.value: ["crossed"], other.value: ["crossed"]}
    assert said(replace(track, helpers={})) == {corner.value: ["crossed?"] for corner in CORNERS}
    # The size of the angle stands in bits 53 to 40, the sign (right) in bit 42, by its DBC file.
    steer = real.frames.can_id == STEERING_ID
    payload = real.frames.data[steer].astype(np.int64)
    size_deg = ((payload[:, 6] & 0x3F) << 8 | payload[:, 7]) * 0.04395
    is_right = (payload[:, 5] >> 2) & 1
    time_s = (real.frames.time_ns[steer] - real.summary.first_time_ns) / 1e9
    angle = HelperSamples(time_s, np.where(is_right, -size_deg, size_deg))
    steered = replace(track, helpers={"steering": angle})
    assert said(steered) == {one.value: ["crossed"], other.value: ["crossed"]}
    assert said(replace(real.with_raw({}), helpers={"steering": angle})) == {}


@pytest.mark.parametrize(("one", "other"), PAIRS)
def test_crossed_on_a_straight_road_is_not_judged(
    drives: dict[str, RealDrive], said: Any, one: Corner, other: Corner
) -> None:
    track = exchanged(drives[MINUTE], one, other)
    assert said(track) == {}
    untested = [n.corner for n in examine(track).outcome.not_judged if n.kind == "crossed"]
    assert untested == list(CORNERS)


def back_to_front(real: RealDrive) -> WheelTrack:
    """Each frame's places carry what the other end's message last sent, on both sides."""
    swapped = {}
    for here in CORNERS:
        there = here.same_side
        newest = np.searchsorted(real.time_s(there), real.time_s(here), "right") - 1
        swapped[here] = real.raw(there)[np.maximum(newest, 0)]
    return real.with_raw(swapped)


@pytest.mark.parametrize("helped", [True, False])
def test_front_and_rear_exchanged_on_both_sides(
    drives: dict[str, RealDrive], said: Any, *, helped: bool
) -> None:
    track = back_to_front(drives[TURNS])
    track = track if helped else replace(track, helpers={})
    assert said(track) == {corner.value: ["crossed"] for corner in CORNERS}
    found = examine(track).outcome.findings
    assert all(finding.evidence["with"] == finding.corner.same_side for finding in found)
    assert said(back_to_front(drives[MINUTE])) == {}


# --- two at once ---


@on_each_drive
@pytest.mark.parametrize(("one", "other"), PAIRS)
def test_dead_beside_a_wrong_ring(
    drives: dict[str, RealDrive], said: Any, name: str, one: Corner, other: Corner
) -> None:
    real = drives[name]
    standstill, raw = real.standstill(other), real.raw(other)
    scaled = np.round(standstill + (raw - standstill) * 44 / 48).astype(np.int64)
    dead = np.full(len(real.raw(one)), real.standstill(one))
    told = said(real.with_raw({one: dead, other: scaled}))
    assert told == {one.value: ["no_signal"], other.value: ["wrong_ratio"]}


# --- a thinner recording of the same drives ---


@on_each_drive
@pytest.mark.parametrize("share", [0.5, 1 / 3])
def test_a_logger_that_kept_some_of_the_frames(
    drives: dict[str, RealDrive], said: Any, name: str, share: float
) -> None:
    real = drives[name]
    rng = np.random.default_rng(5)
    kept = real.frames.select(rng.random(len(real.frames)) < share)
    # Of all frames so many were kept: each one's place in the recording moves up.
    kept = replace(kept, index=(kept.index * share).astype(np.int64))
    summary = replace(real.summary, frames=int(real.summary.frames * share))
    assert said(build_track(kept, real.layout, Vehicle(), summary)) == {}


in_batches = pytest.mark.parametrize(
    "batches", [(every_s, each_s) for every_s in (0.1, 0.35, 1.0) for each_s in (0.0, 1e-4)]
)


def handed_over(frames: Frames, every_s: float, each_s: float) -> Frames:
    """Stamp frames as they are handed over: all that came meanwhile at once, or one by one."""
    every_ns = round(every_s * 1e9)
    batch_ns = frames.time_ns // every_ns * every_ns
    place = np.arange(len(frames)) - np.searchsorted(batch_ns, batch_ns)
    return replace(frames, time_ns=batch_ns + place * round(each_s * 1e9))


@on_each_drive
@in_batches
def test_a_logger_that_hands_over_batches(
    drives: dict[str, RealDrive], name: str, batches: tuple[float, float]
) -> None:
    real = drives[name]
    examination = examine(real.track_of(handed_over(real.frames, *batches)))
    assert examination.outcome.findings == examination.outcome.events == ()
    assert set(verdicts(examination).values()) == {"sound"}


@on_each_drive
@in_batches
def test_what_such_a_logger_did_not_hear(
    drives: dict[str, RealDrive], said: Any, events: Any, name: str, batches: tuple[float, float]
) -> None:
    real = drives[name]
    time_s = (real.frames.time_ns - real.summary.first_time_ns) / 1e9
    lost = (time_s > 20) & (time_s < 24)
    index = np.arange(len(real.frames)) * 80 - 80 * np.cumsum(lost)
    kept = replace(real.frames, index=index).select(~lost)
    track = real.track_of(handed_over(kept, *batches))
    assert said(track) == {}
    (gap,) = events(track)
    assert gap.kind == "recording_gap"
    assert gap.to_s - gap.from_s == pytest.approx(4, abs=0.4)


def shaken(frames: Frames, by_s: float) -> Frames:
    """Shake each stamp by up to so much, and sort the recording by them, as a converter does."""
    off_ns = np.random.default_rng(1).uniform(-by_s, by_s, len(frames)) * 1e9
    time_ns = frames.time_ns + off_ns.astype(np.int64)
    order = np.argsort(time_ns, kind="stable")
    return replace(replace(frames, time_ns=time_ns).select(order), index=frames.index)


def partly_lost(frames: Frames, share: float) -> Frames:
    kept = frames.select(np.random.default_rng(1).random(len(frames)) > share)
    return replace(kept, index=frames.index[: len(kept)])


POOR_STAMPS = {
    "shaken by 5 ms": lambda frames: shaken(frames, 0.005),
    "batches of 0.1 s": lambda frames: handed_over(frames, 0.1, 0.0),
    "batches of 1 s": lambda frames: handed_over(frames, 1.0, 0.0),
    "a tenth lost": lambda frames: partly_lost(frames, 0.1),
}
BETWEEN_MESSAGES = [(copy, of) for copy, of in permutations(CORNERS, 2) if copy.axle != of.axle]


def copy_between_messages(real: RealDrive, copy: Corner, of: Corner) -> Frames:
    newest = np.searchsorted(real.time_s(of), real.time_s(copy), "right") - 1
    return real.frames_with({copy: real.raw(of)[np.maximum(newest, 0)]})


@pytest.mark.parametrize("poor", POOR_STAMPS)
@pytest.mark.parametrize(("copy", "of"), BETWEEN_MESSAGES)
def test_a_copy_between_messages_whose_stamps_are_poor(
    drives: dict[str, RealDrive], said: Any, poor: str, copy: Corner, of: Corner
) -> None:
    real = drives[TURNS]
    frames = POOR_STAMPS[poor](copy_between_messages(real, copy, of))
    assert said(real.track_of(frames)) == {copy.value: ["copied"]}
    assert said(real.track_of(POOR_STAMPS[poor](real.frames))) == {}


def test_stamps_in_no_order_cannot_tell_a_copy(drives: dict[str, RealDrive]) -> None:
    real = drives[TURNS]
    why = "its time stamps are too uneven to tell a copy from a twin"
    for harmed, corners in (
        (copy_between_messages(real, Corner.RR, Corner.FR), {Corner.FR, Corner.RR}),
        (real.frames, set()),
    ):
        outcome = examine(real.track_of(shaken(harmed, 0.015))).outcome
        assert not outcome.findings
        assert {n.corner for n in outcome.not_judged if n.kind == "copied"} == corners
        assert {n.why for n in outcome.not_judged if n.kind == "copied"} <= {why}
