"""The stations in their order: capture, definitions and vehicle in, judgement out.

The command line, the views and a Python user all come this way::

    from pathlib import Path
    from canwheel.pipeline import check

    result = check(Path("before.log.gz"), Path("van.dbc"))
    print(result.judgement.verdict)
"""

from dataclasses import dataclass
from pathlib import Path

from canwheel.capture import read_capture
from canwheel.capture.source import Progress
from canwheel.capture.summary import CaptureSummary
from canwheel.definitions.dbc import read_definitions
from canwheel.definitions.layout import WheelLayout
from canwheel.definitions.survey import find_wheels_of
from canwheel.findings import examine
from canwheel.frames import Frames
from canwheel.judgement.advice import advise, advise_comparison
from canwheel.judgement.cautions import caution_check, caution_comparison
from canwheel.judgement.proof import Proof, prove_repair
from canwheel.judgement.verdict import Judgement, judge_drive
from canwheel.track.build import build_track
from canwheel.track.channel import choose_channel
from canwheel.track.lamps import measure_lamps
from canwheel.track.wheel_track import WheelTrack
from canwheel.vehicle import Vehicle, read_vehicle


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
    """

    summary: CaptureSummary
    channel: str
    layout: WheelLayout
    vehicle: Vehicle
    track: WheelTrack
    judgement: Judgement
    next_steps: tuple[str, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Comparison:
    """Two drives, before and after a repair, judged.

    Attributes
    ----------
    before, after : the drives.
    proof : what the second says of the repair.
    next_steps, cautions : sentences for the technician, in order.
    """

    before: Check
    after: Check
    proof: Proof
    next_steps: tuple[str, ...]
    cautions: tuple[str, ...]


def check(
    capture: Path,
    dbc: Path,
    vehicle: Path | None = None,
    *,
    channel: str | None = None,
    progress: Progress | None = None,
) -> Check:
    """Judge one drive.

    Parameters
    ----------
    capture, dbc, vehicle : files; without a vehicle file nothing is known of the car.
    channel : of the capture; None for the one that carries the wheels.
    progress : called with bytes of the capture read and bytes in all.

    Raises
    ------
    CanwheelError : a file cannot be read, or they do not fit together.
    """
    car = Vehicle() if vehicle is None else read_vehicle(vehicle)
    layout = find_wheels_of(read_definitions(dbc), car, capture)
    recording = read_capture(capture, layout.wanted, progress=progress)
    frames, channel = choose_channel(recording.frames, layout, channel, capture)
    return judge(frames, recording.summary, layout, car, channel=channel)


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
        next_steps=advise(judgement, car.drive_side),
        cautions=(*layout.cautions, *caution_check(judgement)),
    )


def compare(
    before: Path,
    after: Path,
    dbc: Path,
    vehicle: Path | None = None,
    *,
    channel: str | None = None,
    progress: Progress | None = None,
) -> Comparison:
    """Judge two drives, and whether the second proves that a fault of the first is repaired.

    Parameters
    ----------
    before, after : captures.
    dbc, vehicle, channel, progress : of both, as for `check`.

    Raises
    ------
    CanwheelError : a file cannot be read, or they do not fit together.
    """
    first = check(before, dbc, vehicle, channel=channel, progress=progress)
    second = check(after, dbc, vehicle, channel=channel, progress=progress)
    proof = prove_repair(first.judgement, second.judgement)
    cautions = caution_comparison(
        proof,
        second.judgement,
        exchanged=second.summary.first_time_ns < first.summary.first_time_ns,
        same_file=second.summary.sha256 == first.summary.sha256,
    )
    return Comparison(
        before=first,
        after=second,
        proof=proof,
        next_steps=advise_comparison(proof, second.judgement, second.vehicle.drive_side),
        cautions=(*second.layout.cautions, *cautions),
    )
