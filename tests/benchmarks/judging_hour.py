"""How long one hour of driving takes to judge, and how much memory.

    python tests/benchmarks/judging_hour.py [--rate 100] [--minutes 60] [--runs 3] [--fault]
        [--messages 1]

Four corners at 100 samples a second: aimed at are 1.5 s and 300 MB for the whole process. Prints
the time from frames to track and from track to findings and verdict, the fastest of some runs, and
the process's peak memory, which holds the made frames as well.
"""

import argparse
import resource
import sys
import time
from collections.abc import Callable
from functools import partial
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from canwheel.capture.summary import CaptureSummary
from canwheel.definitions.layout import BitField, SignalPlace, WheelLayout
from canwheel.findings import examine
from canwheel.frames import Frames, IdPattern
from canwheel.judgement.verdict import Judgement, judge_drive
from canwheel.track.build import build_track
from canwheel.track.wheel_track import WheelTrack
from canwheel.vehicle import Vehicle

Result = TypeVar("Result")

CAN_IDS, SCALE_KPH = (0x1A0, 0x1A2), 0.01
REAR_LATER_S = 0.003
FRAMES_A_SECOND = 4000
WHEELBASE_M, TRACK_M = 2.65, 1.55
NOISE = 0.003
MOST_S, MOST_MB = 1.5, 300


def wheel_speeds(rng: np.random.Generator, time_s: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n, 4) town and country: a stop every two minutes or so, turns both ways, a noisy road."""
    knots_s = np.arange(0.0, time_s[-1] + 60, 12.0)
    knots_kph = np.clip(rng.uniform(-12, 95, len(knots_s)), 0, None)
    pace = np.interp(time_s, knots_s, knots_kph)
    bends = np.where(rng.random(len(knots_s)) < 0.5, 0.0, rng.uniform(-1, 1, len(knots_s)))
    most = 3.0 / np.maximum(pace / 3.6, 5.5) ** 2  # 3 m/s² sideways, no tighter than 10 m
    curvature = np.interp(time_s, knots_s, bends) * most
    left, right = 1 - curvature * TRACK_M / 2, 1 + curvature * TRACK_M / 2
    forward = (curvature * WHEELBASE_M) ** 2
    ideal = pace[:, None] * np.column_stack(
        [np.sqrt(left**2 + forward), np.sqrt(right**2 + forward), left, right]
    )
    noise = rng.normal(0, NOISE, ideal.shape)
    return np.maximum(ideal * (1 + noise), 0.0)


def spoil(rng: np.random.Generator, kph: NDArray[np.float64], rate: int) -> None:
    """Put in what keeps the checks busy: many drop-outs, another ring, jumps. In place."""
    for first in rng.integers(0, len(kph) - rate, len(kph) // rate // 20):
        kph[first : first + rate // 4, 0] = 0.0
    kph[:, 1] *= 44 / 48
    kph[rng.integers(0, len(kph), len(kph) // rate // 20), 2] += 15


def make_frames(
    kph: NDArray[np.float64], time_s: NDArray[np.float64], rate: int, messages: int = 1
) -> Frames:
    """One message with four 16-bit numbers, or one for each axle, among those of a busy bus."""
    raw = np.round(kph / SCALE_KPH).astype(">u2")
    sent_s = time_s[:, None] + REAR_LATER_S * np.arange(messages)
    count, index = sent_s.size, np.arange(len(time_s), dtype=np.int64) * (FRAMES_A_SECOND // rate)
    data = np.zeros((count, 8), np.uint8)
    data[:, : 8 // messages] = raw.view(np.uint8).reshape(count, 8 // messages)
    return Frames(
        time_ns=np.round(sent_s.ravel() * 1e9).astype(np.int64),
        can_id=np.tile(np.array(CAN_IDS[:messages], np.uint32), len(time_s)),
        flags=np.zeros(count, np.uint8),
        length=np.full(count, 8 // messages, np.uint8),
        data=data,
        channel=np.zeros(count, np.uint8),
        channels=("can0",),
        index=(index[:, None] + np.arange(messages)).ravel(),
    )


def make_layout(messages: int = 1) -> WheelLayout:
    """Return where the numbers stand."""
    fl, fr, rl, rr = (
        SignalPlace(
            message=f"WHEELS_{place * messages // 4}",
            signal=f"SPEED_{corner}",
            frame_id=CAN_IDS[place * messages // 4],
            ids=IdPattern.exactly(CAN_IDS[place * messages // 4], extended=False),
            bits=BitField(16 * (place % (4 // messages)) + 7, 16, "big_endian"),
            scale=SCALE_KPH,
            offset=0.0,
            unit="km/h",
        )
        for place, corner in enumerate(("FL", "FR", "RL", "RR"))
    )
    return WheelLayout("made.dbc", (fl, fr, rl, rr), "km/h")


def timed(work: Callable[[], Result]) -> tuple[float, Result]:
    """Return how long the work took [s], and what came of it."""
    began = time.perf_counter()
    result = work()
    return time.perf_counter() - began, result


def peak_mb() -> float:
    """Peak memory of this process so far. [MB]"""
    unit = 1 if sys.platform == "darwin" else 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * unit / 1e6


def judge(track: WheelTrack) -> Judgement:
    """From the track to the verdict, as the pipeline goes."""
    examination = examine(track)
    return judge_drive(
        examination.outcome,
        examination.coverage,
        typical_error_pct=examination.typical_error_pct,
    )


def main() -> None:
    """Run the benchmark."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rate", type=int, default=100, help="samples a second")
    parser.add_argument("--minutes", type=float, default=60.0)
    parser.add_argument("--runs", type=int, default=3)
    parser.add_argument("--fault", action="store_true", help="with drop-outs, jumps, a wrong ring")
    parser.add_argument("--messages", type=int, choices=(1, 2), default=1)
    arguments = parser.parse_args()
    rng = np.random.default_rng(1)
    time_s = np.arange(round(arguments.minutes * 60 * arguments.rate)) / arguments.rate
    kph = wheel_speeds(rng, time_s)
    if arguments.fault:
        spoil(rng, kph, arguments.rate)
    frames = make_frames(kph, time_s, arguments.rate, arguments.messages)
    layout = make_layout(arguments.messages)
    del kph
    summary = CaptureSummary(
        file="made.log",
        sha256="",
        frames=int(frames.index[-1]) + 1,
        first_time_ns=int(frames.time_ns[0]),
        last_time_ns=int(frames.time_ns[-1]),
    )

    made_mb = peak_mb()
    built_s, judged_s = [], []
    for _ in range(arguments.runs):  # each on a track of its own, with nothing worked out yet
        taken_s, track = timed(lambda: build_track(frames, layout, Vehicle(), summary))
        built_s.append(taken_s)
        taken_s, judgement = timed(partial(judge, track))
        judged_s.append(taken_s)
    print(f"{len(time_s)} samples of four corners, {judgement.coverage.distance_km:.1f} km")  # noqa: T201
    print(f"verdict {judgement.verdict}: {[str(c.verdict) for c in judgement.corners]}")  # noqa: T201
    print(f"frames to track      {min(built_s):6.2f} s")  # noqa: T201
    print(f"track to verdict     {min(judged_s):6.2f} s   (aim: under {MOST_S} s)")  # noqa: T201
    print(f"peak memory before   {made_mb:6.0f} MB")  # noqa: T201
    print(f"peak memory          {peak_mb():6.0f} MB  (aim: under {MOST_MB} MB)")  # noqa: T201


if __name__ == "__main__":
    main()
