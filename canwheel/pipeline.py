"""The stations in their order: capture, definitions and vehicle in, judgement out.

The command line, the views and a Python user all come this way::

    from pathlib import Path
    from canwheel.pipeline import check

    result = check(Path("before.log.gz"), Path("van.dbc"))
    print(result.judgement.verdict)
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from pathlib import Path

import numpy as np

from canwheel.capture.source import Progress
from canwheel.capture.summary import CaptureSummary
from canwheel.corners import CORNERS, Corner
from canwheel.definitions.dbc import read_definitions
from canwheel.definitions.layout import WheelLayout
from canwheel.definitions.survey import find_wheels_of
from canwheel.errors import DefinitionsError, RequestError
from canwheel.fault_memory.against_drive import (
    CodeChange,
    CodeComparison,
    compare_readings,
    compare_with_drive,
)
from canwheel.fault_memory.documents import CodesDocument, read_codes_file
from canwheel.findings import examine
from canwheel.frames import Frames
from canwheel.judgement.advice import advise, advise_comparison
from canwheel.judgement.cautions import (
    caution_check,
    caution_comparison,
    caution_fit,
    caution_scale,
)
from canwheel.judgement.proof import Proof, Sampling, prove_repair
from canwheel.judgement.several import merge_drives
from canwheel.judgement.verdict import Judgement, judge_drive
from canwheel.track.build import build_track
from canwheel.track.channel import never_heard
from canwheel.track.lamps import measure_lamps
from canwheel.track.recording import WheelRecording, read_wheels
from canwheel.track.wheel_track import WheelTrack
from canwheel.vehicle import Vehicle, naming, read_vehicle


@dataclass(frozen=True, slots=True, eq=False)
class CodesBeside:
    """Stored codes beside what the drive showed; they change no verdict.

    Attributes
    ----------
    file : name of the saved reading.
    reading : what the unit reported.
    beside : where the codes and the drive agree, and where one is silent.
    """

    file: str
    reading: CodesDocument
    beside: tuple[CodeComparison, ...]


@dataclass(frozen=True, slots=True, eq=False)
class CodesCompared:
    """Stored codes before and after, each beside its drives; they change no verdict.

    Attributes
    ----------
    before, after : the readings, None where none was given.
    changes : what became of each code, where both were given.
    """

    before: CodesBeside | None
    after: CodesBeside | None
    changes: tuple[CodeChange, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Drive:
    """One drive as it was read, not judged yet.

    Attributes
    ----------
    recording : the frames of the wheels and helpers.
    layout, vehicle : which signals, and what is known of the car.
    definitions_sha256 : of the DBC file's bytes, hexadecimal.
    """

    recording: WheelRecording
    layout: WheelLayout
    vehicle: Vehicle
    definitions_sha256: str


@dataclass(frozen=True, slots=True, eq=False)
class Check:
    """One drive, judged.

    Attributes
    ----------
    summary, channel : the recording, and which of its channels carries the wheels.
    layout, vehicle : which signals, and what is known of the car.
    track : the four corners over the drive.
    judgement : what is wrong, and how sure that is.
    next_steps, cautions : sentences for the technician, in order.
    definitions_sha256 : of the DBC file's bytes, hexadecimal.
    codes : stored codes beside it, None where none are given.
    """

    summary: CaptureSummary
    channel: str
    layout: WheelLayout
    vehicle: Vehicle
    track: WheelTrack
    judgement: Judgement
    next_steps: tuple[str, ...]
    cautions: tuple[str, ...]
    definitions_sha256: str = ""
    codes: CodesBeside | None = None

    @property
    def unexplained(self) -> tuple[Corner, ...]:
        """Corners never heard, where the drive does not tell that it is their sender's silence."""
        return tuple(
            corner
            for corner in self.track.unheard
            if not any(f.kind == "message_missing" for f in self.judgement.corner(corner).findings)
        )


@dataclass(frozen=True, slots=True, eq=False)
class Comparison:
    """Drives before and after a repair, judged.

    Attributes
    ----------
    before, after : the first drive given of each side.
    judged_before, judged_after : all drives of each side, put together.
    proof : what the drives after the repair say of it.
    next_steps, cautions : sentences for the technician, in order.
    further_before, further_after : the other drives of each side.
    codes : stored codes beside them, None where none are given.
    """

    before: Check
    after: Check
    judged_before: Judgement
    judged_after: Judgement
    proof: Proof
    next_steps: tuple[str, ...]
    cautions: tuple[str, ...]
    further_before: tuple[Check, ...] = ()
    further_after: tuple[Check, ...] = ()
    codes: CodesCompared | None = None

    @property
    def before_drives(self) -> tuple[Check, ...]:
        """All drives before the repair, in the order given."""
        return (self.before, *self.further_before)

    @property
    def after_drives(self) -> tuple[Check, ...]:
        """All drives after the repair, in the order given."""
        return (self.after, *self.further_after)


def check(
    capture: Path,
    dbc: Path,
    vehicle: Path | None = None,
    *,
    channel: str | None = None,
    codes: Path | None = None,
    progress: Progress | None = None,
) -> Check:
    """Judge one drive.

    Parameters
    ----------
    capture, dbc, vehicle : files; without a vehicle file nothing is known of the car.
    channel : of the capture; None for the one that carries the wheels.
    codes : saved reading of stored codes, to be put beside the drive.
    progress : called with bytes of the capture read and bytes in all.

    Raises
    ------
    CanwheelError : a file cannot be read, or they do not fit together.
    """
    reading = None if codes is None else _read_codes(codes)
    judged = judge_whole(read_drive(capture, dbc, vehicle, channel=channel, progress=progress))
    if reading is None:
        return judged
    return replace(judged, codes=_beside(reading, judged.judgement))


def read_drive(
    capture: Path,
    dbc: Path,
    vehicle: Path | None = None,
    *,
    channel: str | None = None,
    progress: Progress | None = None,
) -> Drive:
    """Read one drive; parameters as for `check`.

    Raises
    ------
    CanwheelError : a file cannot be read, or they do not fit together.
    """
    car = Vehicle() if vehicle is None else read_vehicle(vehicle)
    definitions = read_definitions(dbc)
    with naming(vehicle):
        layout = find_wheels_of(definitions, car, capture)
    recording = read_wheels(capture, layout, channel=channel, progress=progress)
    return Drive(recording, layout, car, definitions.sha256)


def judge_whole(drive: Drive) -> Check:
    """Judge all of a drive.

    Raises
    ------
    CaptureError : wheel messages were never heard, and by the others nobody can tell why.
    DefinitionsError : by its definitions no corner can be read.
    """
    read = drive.recording
    judged = judge(read.frames, read.summary, drive.layout, drive.vehicle, channel=read.channel)
    _refuse_unfit(judged)
    if judged.unexplained:
        raise never_heard(drive.layout, judged.unexplained, read.channel, read.summary.file)
    return replace(judged, definitions_sha256=drive.definitions_sha256)


def judge(
    frames: Frames,
    summary: CaptureSummary,
    layout: WheelLayout,
    car: Vehicle,
    *,
    channel: str,
) -> Check:
    """Judge what was read of one drive, or of as much of it as there is so far.

    Parameters
    ----------
    frames : those that `layout.wanted` asks for, of one channel.
    summary : of the whole recording, as far as it goes.
    layout, car : which signals, and what is known of the car.
    channel : name of that channel.
    """
    track = build_track(frames, layout, car, summary)
    examination = examine(track)
    judgement = judge_drive(
        examination.outcome,
        examination.coverage,
        typical_error_pct=examination.typical_error_pct,
        lamps=measure_lamps(track, examination.coverage.first_moving_s),
    )
    return Check(
        summary=summary,
        channel=channel,
        layout=layout,
        vehicle=car,
        track=track,
        judgement=judgement,
        next_steps=advise(judgement, car.drive_side, unfit=track.unfit),
        cautions=(
            *layout.cautions,
            *caution_scale(layout, car),
            *caution_fit(track, layout),
            *caution_check(judgement),
        ),
    )


def _refuse_unfit(drive: Check) -> None:
    """Refuse definitions by which no corner can be read.

    Raises
    ------
    DefinitionsError : no frame carries any of the four, or what they give can be no speeds.
    """
    if len(drive.track.unfit) < len(CORNERS):
        return
    values = [wheel.no_speed.usual_kph for wheel in drive.track.wheels if wheel.no_speed]
    if values:
        raise DefinitionsError(
            f"by it the wheels give values such as {max(values):.4g} km/h, which can be no speeds",
            where=drive.layout.file,
            remedy="check byte order, length and scale of the wheel signals",
        )
    raise DefinitionsError(
        "no frame carries a wheel as it says: they are too short, or the multiplexer value that"
        " goes with it never comes",
        where=drive.layout.file,
        remedy="check that it fits the car",
    )


def compare(
    before: Path | Sequence[Path],
    after: Path | Sequence[Path],
    dbc: Path,
    vehicle: Path | None = None,
    *,
    after_dbc: Path | None = None,
    after_vehicle: Path | None = None,
    channel: str | None = None,
    codes_before: Path | None = None,
    codes_after: Path | None = None,
    progress: Progress | None = None,
) -> Comparison:
    """Judge drives before and after a repair, and whether the later ones prove it.

    Parameters
    ----------
    before, after : captures; several of one side add up.
    dbc, vehicle, channel, progress : of all, as for `check`.
    after_dbc, after_vehicle : of the drives after the repair, where they have others.
    codes_before, codes_after : saved readings of stored codes, to be put beside the drives.

    Raises
    ------
    CanwheelError : a file cannot be read, or they do not fit together.
    """
    readings = [None if path is None else _read_codes(path) for path in (codes_before, codes_after)]

    def judged(captures: Path | Sequence[Path], *files: Path | None) -> tuple[Check, ...]:
        paths = [captures] if isinstance(captures, Path) else captures
        dbc_file = files[0] or dbc
        return tuple(
            check(path, dbc_file, files[1] or vehicle, channel=channel, progress=progress)
            for path in paths
        )

    comparison = compare_checks(judged(before, None, None), judged(after, after_dbc, after_vehicle))
    if not any(readings):
        return comparison
    sides = (comparison.judged_before, comparison.judged_after)
    first, second = (
        None if given is None else _beside(given, judgement)
        for given, judgement in zip(readings, sides, strict=True)
    )
    changes = compare_readings(first.reading, second.reading) if first and second else ()
    return replace(comparison, codes=CodesCompared(first, second, changes))


def compare_checks(before: Sequence[Check], after: Sequence[Check]) -> Comparison:
    """Compare drives that are judged already, as `compare` does.

    Parameters
    ----------
    before, after : at least one each.

    Raises
    ------
    RequestError : one recording is given twice on one side, so that its distance would count twice.
    """
    for side in (before, after):
        _refuse_twice(side)
    first, second = (merge_drives([drive.judgement for drive in side]) for side in (before, after))
    proof = prove_repair(first, second, sampling=Sampling(_slowest_s(before), _slowest_s(after)))
    pairs = [(one.summary, other.summary) for one in before for other in after]
    cautions = caution_comparison(
        proof,
        second,
        exchanged=any(later.first_time_ns < earlier.first_time_ns for earlier, later in pairs),
        same_file=any(later.sha256 == earlier.sha256 for earlier, later in pairs),
        overlapping=_overlap(before) or _overlap(after),
    )
    layout_cautions = dict.fromkeys(
        caution
        for drive in (*before, *after)
        for caution in (
            *drive.layout.cautions,
            *caution_scale(drive.layout, drive.vehicle),
            *caution_fit(drive.track, drive.layout),
        )
    )
    return Comparison(
        before=before[0],
        after=after[0],
        judged_before=first,
        judged_after=second,
        proof=proof,
        next_steps=advise_comparison(
            proof, second, after[-1].vehicle.drive_side, unfit=after[-1].track.unfit
        ),
        cautions=(*layout_cautions, *cautions),
        further_before=tuple(before[1:]),
        further_after=tuple(after[1:]),
    )


def _slowest_s(drives: Sequence[Check]) -> tuple[float, ...]:
    """Time between two values of each corner in the drive where they come the slowest. [s]"""
    return tuple(
        max(float(np.nan_to_num(drive.track.wheel(corner).period_s)) for drive in drives)
        for corner in CORNERS
    )


def _read_codes(path: Path) -> tuple[str, CodesDocument]:
    return str(path), read_codes_file(path)


def _beside(given: tuple[str, CodesDocument], judgement: Judgement) -> CodesBeside:
    """Put a reading, and the name of its file, beside what is sure enough to act on."""
    file, reading = given
    findings = [finding for judged in judgement.corners for finding in judged.faults]
    untested = [judged.corner for judged in judgement.with_verdict("untested")]
    return CodesBeside(
        file=file,
        reading=reading,
        beside=compare_with_drive(findings, reading, untested=untested),
    )


def _refuse_twice(drives: Sequence[Check]) -> None:
    for one, other in combinations([drive.summary for drive in drives], 2):
        same_stretch = (one.first_time_ns, one.last_time_ns, one.frames) == (
            other.first_time_ns,
            other.last_time_ns,
            other.frames,
        )
        if one.sha256 == other.sha256 or same_stretch:
            raise RequestError(
                f"holds the same recording as {one.file}",
                where=other.file,
                remedy="give each drive once: the distances of all are added up",
            )


def _overlap(drives: Sequence[Check]) -> bool:
    """Whether two recordings hold one stretch of time, by clocks that tell the date."""
    return any(
        min(one.last_time_ns, other.last_time_ns) > max(one.first_time_ns, other.first_time_ns)
        for one, other in combinations([drive.summary for drive in drives], 2)
        if one.is_dated and other.is_dated
    )
