"""The whole way, from files to a judgement: on two real drives, on simulated ones, on bad input."""

import gzip
import html
import json
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import cantools
import pytest

from canwheel.capture import read_capture
from canwheel.corners import CORNERS, Corner
from canwheel.errors import CaptureError, DefinitionsError, RequestError
from canwheel.pipeline import Check, check, compare, compare_checks
from canwheel.roadtest.bus_layout import BusLayout, dbc_text
from canwheel.roadtest.demo import make_pair
from canwheel.roadtest.layouts import BAKERY_VAN, SCHOOL_MINIBUS
from canwheel.roadtest.recording import record_frames, write_log
from canwheel.roadtest.simulation import Scenario, simulate
from canwheel.views.document import document_check, document_comparison, render_json
from canwheel.views.drive_so_far import DriveSoFar
from canwheel.views.page import render_check_page, render_comparison_page
from canwheel.views.screen import render_check, render_comparison
from canwheel.views.terminal import Screen

PROJECT = Path(__file__).parents[1]
REAL = PROJECT.parent / "shared" / "data"

real_drives = pytest.mark.skipif(
    not REAL.is_dir(), reason="the folder of real drives, ../shared/data, is not beside the project"
)
ROAD_MINUTE, ROAD_TURNS = "road-minute", "road-turns"
"""Two recordings of real cars on real roads, without a fault; one nearly straight, one with tight
turns. Their README says where they come from."""

Silenced = Callable[[str, Corner, float], Path]


def real(name: str) -> tuple[Path, Path]:
    return REAL / f"{name}.log.gz", REAL / f"{name}.dbc"


@pytest.fixture
def silenced(tmp_path: Path) -> Silenced:
    """Copy a real drive with one corner's bytes at standstill from some share of it on."""

    def make(name: str, corner: Corner, from_share: float) -> Path:
        capture, dbc = real(name)
        # Where the corner's bytes are, by the DBC library itself and not by canwheel's reading.
        database = cantools.database.load_file(dbc)
        message, signal = next(
            (message, signal)
            for message in database.messages
            for signal in message.signals
            if signal.name == f"SPEED_{corner.value}"
        )
        assert (signal.byte_order, signal.length) == ("big_endian", 16)
        first = signal.start // 8 * 2
        standstill = f"{round(-signal.offset / signal.scale):04X}"
        marker = f" {message.frame_id:03X}#"
        lines = gzip.decompress(capture.read_bytes()).decode().splitlines()
        for row in range(int(from_share * len(lines)), len(lines)):
            head, found, payload = lines[row].partition(marker)
            if found:
                payload = payload[:first] + standstill + payload[first + len(standstill) :]
                lines[row] = head + found + payload
        path = tmp_path / f"{name}-silenced.log"
        path.write_text("\n".join(lines) + "\n")
        return path

    return make


def found(result: Check) -> dict[str, list[str]]:
    return {
        judged.corner.value: [finding.kind for finding in judged.findings]
        for judged in result.judgement.corners
        if judged.findings
    }


@real_drives
@pytest.mark.parametrize("name", [ROAD_MINUTE, ROAD_TURNS])
def test_a_real_drive_without_a_fault_comes_back_without_a_finding(name: str) -> None:
    result = check(*real(name))
    assert found(result) == {}
    assert {judged.verdict for judged in result.judgement.corners} <= {"sound", "untested"}
    assert result.channel == "can0"


@real_drives
@pytest.mark.parametrize("name", [ROAD_MINUTE, ROAD_TURNS])
@pytest.mark.parametrize("corner", CORNERS)
@pytest.mark.parametrize("from_share", [0.0, 0.5])
def test_exactly_the_silenced_corner_of_a_real_drive_is_found(
    silenced: Silenced, name: str, corner: Corner, from_share: float
) -> None:
    result = check(silenced(name, corner, from_share), real(name)[1])
    assert found(result) == {corner.value: ["no_signal"]}
    assert result.judgement.verdict == "fault_found"
    assert [j.corner for j in result.judgement.with_verdict("faulty")] == [corner]


@real_drives
@pytest.mark.parametrize("name", [ROAD_MINUTE, ROAD_TURNS])
def test_the_repair_of_a_real_drive_is_proven_by_the_same_drive_unharmed(
    silenced: Silenced, name: str
) -> None:
    capture, dbc = real(name)
    proof = compare(silenced(name, Corner.RL, 0.0), capture, dbc).proof
    assert proof.verdict == "repair_proven"
    assert proof.corners[Corner.RL.position].verdict == "repaired"


@real_drives
def test_a_wheel_message_that_never_comes_is_named(tmp_path: Path) -> None:
    capture, dbc = real(ROAD_TURNS)
    lines = gzip.decompress(capture.read_bytes()).decode().splitlines()[:20000]
    path = tmp_path / "front-only.log"
    path.write_text("\n".join(line for line in lines if " 120#" not in line))
    with pytest.raises(CaptureError, match=r"has WHEELS_FRONT \(0xF5\) but never WHEELS_REAR"):
        check(path, dbc)


FOUR_MESSAGES = "".join(
    f"BO_ {0x501 + k} WHEEL_{code}: 2 BRAKE_UNIT\n"
    f' SG_ SPEED_{code} : 7|16@0+ (0.01,-67.67) [0|250] "km/h" TESTER\n'
    for k, code in enumerate(("FR", "FL", "RR", "RL"))
)


@pytest.fixture
def in_four_messages(tmp_path: Path) -> Callable[..., tuple[Path, Path]]:
    """Write the minute of a real drive with a message for each corner, some of them unsent.

    Its own message has the four one after the other, 16 bits each.
    """

    def make(*unsent: str, only: int | None = None) -> tuple[Path, Path]:
        capture, _ = real(ROAD_MINUTE)
        lines = []
        for line in gzip.decompress(capture.read_bytes()).decode().splitlines()[:only]:
            head, is_wheels, payload = line.partition(" 0AA#")
            if is_wheels:
                lines += [
                    f"{head} {0x501 + k:03X}#{payload[4 * k : 4 * k + 4]}"
                    for k, code in enumerate(("FR", "FL", "RR", "RL"))
                    if code not in unsent
                ]
            else:
                lines.append(line)
        log, dbc = tmp_path / f"without-{'-'.join(unsent)}.log", tmp_path / "four.dbc"
        log.write_text("\n".join(lines) + "\n")
        dbc.write_text(FOUR_MESSAGES)
        return log, dbc

    return make


@real_drives
@pytest.mark.parametrize("unsent", [("RL",), ("FR",), ("RL", "RR")])
def test_a_corner_never_heard_beside_others_that_fit_is_a_missing_message(
    in_four_messages: Callable[..., tuple[Path, Path]], unsent: tuple[str, ...]
) -> None:
    log, dbc = in_four_messages(*unsent)
    result = check(log, dbc)
    assert found(result) == {code: ["message_missing"] for code in sorted(unsent)}
    assert {j.corner.value for j in result.judgement.with_verdict("faulty")} == set(unsent)
    assert {j.verdict for j in result.judgement.corners if j.corner.value not in unsent} == {
        "sound"
    }
    said = [caution for caution in result.cautions if "was never heard" in caution]
    assert len(said) == len(unsent)
    assert "four.dbc is not quite this car's" in said[0]
    repaired = compare_checks([result], [check(*in_four_messages())]).proof
    assert [c.verdict for c in repaired.corners if c.corner.value in unsent] == [
        "repaired" for _ in unsent
    ]
    so_far = DriveSoFar(result.layout, result.vehicle, log)
    so_far.add(read_capture(log, result.layout.wanted).frames)
    so_far.judge(result.summary, at_once=True)
    assert so_far.check is not None
    assert found(so_far.check) == found(result)
    assert so_far.remark == f"not heard yet: {', '.join(f'WHEEL_{code}' for code in unsent)}"


@real_drives
def test_a_corner_never_heard_in_a_drive_that_tells_nothing_is_refused(
    in_four_messages: Callable[..., tuple[Path, Path]],
) -> None:
    log, dbc = in_four_messages("RL", only=3000)
    with pytest.raises(CaptureError, match=r"but never WHEEL_RL \(0x504\).* the sender is silent"):
        check(log, dbc)


@pytest.mark.parametrize("fault", ["no_signal", "dropout"])
def test_a_simulated_fault_is_found_at_its_corner_and_nowhere_else(
    tmp_path: Path, fault: str
) -> None:
    pair = make_pair(Corner.FR, fault, seed=7)
    before, after, dbc = (tmp_path / name for name in ("b.log", "a.log", "van.dbc"))
    write_log(pair.before, before)
    write_log(pair.after, after)
    dbc.write_text(dbc_text(BAKERY_VAN))
    result = compare(before, after, dbc)
    assert found(result.before) == {"FR": [fault]}
    assert found(result.after) == {}
    assert result.proof.verdict == "repair_proven"


def test_progress_is_told_to_the_end() -> None:
    told = []
    examples = PROJECT / "dbc_examples"
    capture = PROJECT / "captures" / "after.log.gz"
    check(
        capture,
        examples / "bakery_van.dbc",
        progress=lambda done, total: told.append((done, total)),
    )
    assert told[-1] == (capture.stat().st_size, capture.stat().st_size)


def test_an_unknown_channel_is_refused_with_those_there_are() -> None:
    examples, captures = PROJECT / "dbc_examples", PROJECT / "captures"
    with pytest.raises(RequestError, match="Choose one of these: can0"):
        check(captures / "after.log.gz", examples / "bakery_van.dbc", channel="can3")


def test_a_recording_exchanged_with_the_other_is_told() -> None:
    examples, captures = PROJECT / "dbc_examples", PROJECT / "captures"
    result = compare(
        captures / "after.log.gz", captures / "before.log.gz", examples / "bakery_van.dbc"
    )
    assert "not exchanged" in result.cautions[0]
    assert result.proof.verdict == "new_fault"


def test_recordings_that_overlap_are_told_where_their_clocks_tell_the_date() -> None:
    examples, captures = PROJECT / "dbc_examples", PROJECT / "captures"
    before, after = (
        check(captures / f"{name}.log.gz", examples / "bakery_van.dbc")
        for name in ("before", "after")
    )
    later = replace(
        after.summary,
        sha256="cd" * 32,
        first_time_ns=after.summary.first_time_ns + 10**9,
        last_time_ns=after.summary.last_time_ns + 10**9,
    )
    overlapping = compare_checks([before], [after, replace(after, summary=later)])
    assert any("overlap" in caution for caution in overlapping.cautions)
    ages = 10 * after.summary.last_time_ns
    apart = replace(later, first_time_ns=ages, last_time_ns=ages + 10**9)
    assert not any(
        "overlap" in caution
        for caution in compare_checks([before], [after, replace(after, summary=apart)]).cautions
    )


def test_drives_that_are_put_together_keep_their_own_judgement() -> None:
    examples, captures = PROJECT / "dbc_examples", PROJECT / "captures"
    dbc = examples / "bakery_van.dbc"
    whole = compare([captures / "before.log.gz"], (captures / "after.log.gz",), dbc)
    assert whole.judged_before is whole.before.judgement
    assert whole.before_drives == (whole.before,)
    assert whole.after_drives == (whole.after,)


@pytest.mark.parametrize(
    ("layout", "keep_vehicle", "unit", "assumed", "told"),
    [
        (SCHOOL_MINIBUS, False, "pulses", {"rolling_circumference_m": 1.94, "ring_teeth": 48}, 1),
        (SCHOOL_MINIBUS, True, "pulses", {}, 0),
        (BAKERY_VAN, False, "km/h", {}, 0),
        (BAKERY_VAN, False, "", {}, 1),
        (BAKERY_VAN, True, "rpm", {}, 0),
        (BAKERY_VAN, False, "rpm", {"rolling_circumference_m": 1.94}, 1),
    ],
)
def test_what_speeds_rest_on_that_nobody_gave_is_said_everywhere(
    tmp_path: Path,
    layout: BusLayout,
    unit: str,
    assumed: dict[str, float],
    told: int,
    *,
    keep_vehicle: bool,
) -> None:
    frames = record_frames(simulate(Scenario(), seed=4), layout)
    capture, dbc, toml = (tmp_path / name for name in ("drive.log", "car.dbc", "car.toml"))
    write_log(frames, capture)
    was = next(signal.unit for message in layout.wheel_messages for signal in message.signals)
    dbc.write_text(dbc_text(layout).replace(f'"{was}"', f'"{unit}"'))
    toml.write_text(layout.vehicle_toml)
    result = check(capture, dbc, toml if keep_vehicle else None)
    both = compare_checks([result], [result])
    document = json.loads(render_json(document_check(result)))
    assert document["definitions"]["assumed"] == assumed
    lines = [line for line in document["cautions"] if "by one and the same factor" in line]
    assert len(lines) == told
    for line in lines:
        assert line in document_comparison(both).cautions
        for text in (
            render_check(result, Screen()),
            render_comparison(both, Screen()),
            html.unescape(render_check_page(result)),
            html.unescape(render_comparison_page(both)),
        ):
            assert " ".join(line.split()) in " ".join(text.split())


def test_definitions_by_which_no_wheel_sends_a_speed_are_refused(tmp_path: Path) -> None:
    capture = PROJECT / "captures" / "after.log.gz"
    text = (PROJECT / "dbc_examples" / "bakery_van.dbc").read_text()
    dbc = tmp_path / "van.dbc"
    dbc.write_text(text.replace("(0.03125,0)", "(31.25,0)"))
    with pytest.raises(DefinitionsError, match=r"by it the wheels .* byte order, length and scale"):
        check(capture, dbc)


def test_a_corner_whose_field_gives_no_speeds_is_untested_and_told(tmp_path: Path) -> None:
    capture = PROJECT / "captures" / "after.log.gz"
    text = (PROJECT / "dbc_examples" / "bakery_van.dbc").read_text()
    lines = [
        line.replace("(0.03125,0)", "(31.25,0)") if "SG_ WHEEL_SPEED_RR" in line else line
        for line in text.splitlines()
    ]
    dbc = tmp_path / "van.dbc"
    dbc.write_text("\n".join(lines) + "\n")
    result = check(capture, dbc)
    assert found(result) == {}
    assert result.judgement.corner(Corner.RR).verdict == "untested"
    (said,) = (caution for caution in result.cautions if "no speed" in caution)
    assert said.startswith("WHEELS.WHEEL_SPEED_RR (rear right) gives values of ")
    assert said.endswith("Check byte order, length and scale in van.dbc.")
    assert said in compare_checks([result], [result]).cautions


def test_a_recording_whose_time_stands_still_is_refused(tmp_path: Path) -> None:
    dbc = PROJECT / "dbc_examples" / "bakery_van.dbc"
    lines = gzip.decompress((PROJECT / "captures" / "after.log.gz").read_bytes()).decode()
    path = tmp_path / "still.log"
    path.write_text(re.sub(r"^\(\d+\.\d+\)", "(0.000000)", lines, flags=re.MULTILINE))
    with pytest.raises(CaptureError, match=r"still\.log: the time stamps stand still"):
        check(path, dbc)


VAN_AFTER = PROJECT / "captures" / "after.log.gz"


def van_dbc(path: Path, *changes: tuple[str, str]) -> Path:
    """Write the van's DBC with some of its text exchanged."""
    text = (PROJECT / "dbc_examples" / "bakery_van.dbc").read_text()
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    path.write_text(text)
    return path


@pytest.mark.parametrize(
    ("change", "why"),
    [
        (("WHEEL_SPEED_RR : 39|13", "WHEEL_SPEED_RR : 60|13"), "they are all too short for it"),
        (
            ("WHEEL_SPEED_RR : 39|13", "WHEEL_SPEED_RR m1 : 39|13"),
            "the multiplexer value that goes with it never comes",
        ),
    ],
)
def test_a_corner_that_no_frame_carries_is_the_definitions_fault(
    tmp_path: Path, change: tuple[str, str], why: str
) -> None:
    selector = (
        " SG_ WHEEL_SPEED_FL :",
        ' SG_ PAGE M : 54|2@1+ (1,0) [0|3] "" TESTER\n SG_ WHEEL_SPEED_FL :',
    )
    changes = (change, selector) if " m1 " in change[1] else (change,)
    result = check(VAN_AFTER, van_dbc(tmp_path / "van.dbc", *changes))
    assert found(result) == {}
    corner = result.judgement.corner(Corner.RR)
    assert corner.verdict == "untested"
    whys = {entry.kind: entry.why for entry in corner.not_judged}
    assert whys["late_pickup"] == "it was not read at a start from or stop to a standstill"
    assert any(
        caution.startswith("No frame of WHEELS (0x1B2) carries WHEEL_SPEED_RR (rear right)")
        and why in caution
        for caution in result.cautions
    )
    (step,) = result.next_steps
    assert step.startswith("Put the DBC right")
    assert "rear right" in step
    again = compare_checks([result], [result]).next_steps
    assert step in again
    assert not any(other.startswith("Drive another") for other in again)


def test_frames_that_are_sometimes_too_short_are_told(tmp_path: Path) -> None:
    lines = gzip.decompress(VAN_AFTER.read_bytes()).decode().splitlines()
    wheels = [row for row, line in enumerate(lines) if " 1B2#" in line]
    for row in wheels[::10]:
        lines[row] = lines[row][:-2]
    path = tmp_path / "cut.log"
    path.write_text("\n".join(lines) + "\n")
    result = check(path, van_dbc(tmp_path / "van.dbc"))
    said = f"{len(wheels[::10]):,} of {len(wheels):,} frames of WHEELS (0x1B2) are too short"
    assert [caution.startswith(said) for caution in result.cautions].count(True) == 1


def test_definitions_by_which_no_frame_carries_a_wheel_are_refused(tmp_path: Path) -> None:
    lines = gzip.decompress(VAN_AFTER.read_bytes()).decode()
    path = tmp_path / "empty.log"
    path.write_text(re.sub(r"1B2#[0-9A-F]+", "1B2#00", lines))
    with pytest.raises(DefinitionsError, match=r"van\.dbc: no frame carries a wheel"):
        check(path, van_dbc(tmp_path / "van.dbc"))
