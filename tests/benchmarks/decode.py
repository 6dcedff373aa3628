"""How fast a recording becomes four speed columns, and in how much memory. Run by hand.

Every way of reading runs in a fresh process, the ways take turns, and all must give the same
samples. Time is that of the work alone, without start-up and imports, except for ``check``, which
is a whole process. Ratios are against the library loop: python-can's reader, and cantools on the
wheel message.

    python tests/benchmarks/decode.py --cases text mixed gz mf4
    python tests/benchmarks/decode.py --cases text --frames 14400000 --rounds 1
"""

import argparse
import gzip
import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np

REPOSITORY = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(REPOSITORY))

WHEEL_ID = 0x155
FRAMES_PER_WHEEL = 80  # 4,000 frames a second, of them 50 with the wheel speeds
FRAME_US = 250
FIRST_US = 1_700_000_000_000_000
CORNERS = ("FL", "FR", "RL", "RR")
SCALE = 0.01

DBC = f"""VERSION ""
NS_ :
BS_:
BU_: BRAKES
BO_ {WHEEL_ID} WHEEL_SPEEDS: 8 BRAKES
""" + "".join(
    f' SG_ WHEEL_SPEED_{corner} : {16 * place + 7}|16@0+ ({SCALE},0) [0|655] "km/h" BRAKES\n'
    for place, corner in enumerate(CORNERS)
)

Columns = tuple[np.ndarray, np.ndarray]  # (n,) microseconds, (n, 4) km/h


# --- the recordings ------------------------------------------------------------------------------


def wheel_payloads(count: int) -> list[str]:
    """A drive with stops and turns: hexadecimal payloads of the wheel message."""
    second = np.arange(count) / 50
    speed = 30 * np.clip(1 - 1.3 * np.cos(second / 20), 0, None)
    turn = 0.05 * np.sin(second / 7)
    sides = np.stack([1 - turn, 1 + turn, 1 - turn, 1 + turn], axis=1)
    raw = (speed[:, None] * sides / SCALE).astype(">u2")
    digits = raw.tobytes().hex().upper()
    return [digits[16 * row : 16 * row + 16] for row in range(count)]


def other_payloads() -> str:
    """Many hexadecimal digits without a pattern."""
    return np.random.default_rng(1).bytes(1 << 20).hex().upper()


def text_lines(frames: int) -> Iterator[str]:
    """40 identifiers of classic frames with eight bytes."""
    wheel, digits = wheel_payloads(frames // FRAMES_PER_WHEEL + 1), other_payloads()
    others = [f"{0x100 + 17 * k + (k >= 5):03X}" for k in range(39)]
    for n in range(frames):
        second, microsecond = divmod(FIRST_US + FRAME_US * n, 1_000_000)
        if n % FRAMES_PER_WHEEL == 0:
            frame = f"{WHEEL_ID:03X}#{wheel[n // FRAMES_PER_WHEEL]}"
        else:
            place = n * 37 % 2_000_000
            frame = f"{others[n * 7 % 39]}#{digits[place : place + 16]}"
        yield f"({second}.{microsecond:06d}) can0 {frame}\n"


def mixed_lines(frames: int) -> Iterator[str]:
    """Both kinds of identifier, CAN FD, remote frames, directions, two channels, CRLF."""
    wheel, digits = wheel_payloads(frames // FRAMES_PER_WHEEL + 1), other_payloads()
    others = [f"{0x18FE0000 + k:08X}" if k % 4 == 0 else f"{0x101 + 17 * k:03X}" for k in range(39)]
    fd_digits = (0, 16, 24, 32, 40, 48, 64, 96, 128)
    for n in range(frames):
        second, microsecond = divmod(FIRST_US + FRAME_US * n, 1_000_000)
        place = n * 37 % 2_000_000
        if n % FRAMES_PER_WHEEL == 0:
            body = f"{WHEEL_ID:03X}#{wheel[n // FRAMES_PER_WHEEL]}"
        elif n % 10 == 3:
            body = f"{others[n % 39]}##{n % 4}{digits[place : place + fd_digits[n % 9]]}"
        elif n % 30 == 7:
            body = f"{others[n % 39]}#R"
        else:
            body = f"{others[n % 39]}#{digits[place : place + 2 * (n % 9)]}"
        suffix = ("", "", " R", " T")[n // 7 % 4]
        yield f"({second}.{microsecond:06d}) can{n % 2} {body}{suffix}\r\n"


def write_case(case: str, folder: Path, frames: int) -> Path:
    """Write one recording, if it is not there yet."""
    if case == "gz":
        plain = write_case("text", folder, frames)
        path = folder / "text.log.gz"
        if not path.exists():
            with plain.open("rb") as source, gzip.open(path, "wb", compresslevel=6) as packed:
                while block := source.read(1 << 20):
                    packed.write(block)
        return path
    if case == "mf4":
        plain = write_case("text", folder, frames)
        path = folder / "text.mf4"
        if not path.exists():
            from canwheel.capture.writing import convert_capture  # noqa: PLC0415

            convert_capture(plain, path)
        return path
    path = folder / f"{case}.log"
    if not path.exists():
        with path.open("w", newline="") as file:
            file.writelines((mixed_lines if case == "mixed" else text_lines)(frames))
    return path


# --- the ways to read them, each run in a process of its own -------------------------------------


def library_loop(capture: Path, dbc: Path) -> Callable[[], Columns]:
    """Read with python-can's reader, decode with cantools."""
    import can  # noqa: PLC0415
    import cantools  # noqa: PLC0415

    def work() -> Columns:
        message = cantools.database.load_file(dbc).get_message_by_frame_id(WHEEL_ID)
        times, speeds = [], []
        for frame in can.LogReader(capture):
            if frame.arbitration_id == WHEEL_ID:
                values = message.decode(frame.data)
                times.append(frame.timestamp)
                speeds.append([values[f"WHEEL_SPEED_{corner}"] for corner in CORNERS])
        return np.rint(np.array(times) * 1e6).astype(np.int64), np.array(speeds)

    return work


def line_loop(capture: Path, dbc: Path) -> Callable[[], Columns]:
    """Go through the lines in plain Python, without any library."""
    del dbc
    mark = f" {WHEEL_ID:03X}#".encode()

    def work() -> Columns:
        times, speeds = [], []
        opened = gzip.open if capture.suffix == ".gz" else open
        with opened(capture, "rb") as file:
            for line in file:
                place = line.find(mark)
                if place >= 0:
                    data = bytes.fromhex(line[place + 5 : place + 21].decode())
                    times.append(float(line[1 : line.index(b")")]))
                    speeds.append([SCALE * (data[k] << 8 | data[k + 1]) for k in (0, 2, 4, 6)])
        return np.rint(np.array(times) * 1e6).astype(np.int64), np.array(speeds)

    return work


def canwheel_columns(capture: Path, dbc: Path) -> Callable[[], Columns]:
    """Read the recording in pieces and decode their columns."""
    from canwheel.capture import iter_frames  # noqa: PLC0415
    from canwheel.capture.mdf import import_asammdf  # noqa: PLC0415
    from canwheel.definitions.assign import find_wheels  # noqa: PLC0415
    from canwheel.definitions.columns import decode_signal  # noqa: PLC0415
    from canwheel.definitions.dbc import read_definitions  # noqa: PLC0415
    from canwheel.vehicle import Vehicle  # noqa: PLC0415

    layout = find_wheels(read_definitions(dbc), Vehicle())
    if capture.suffix == ".mf4":
        import_asammdf()

    def work() -> Columns:
        times, speeds = [], []
        for frames in iter_frames(capture, layout.wheel_ids):
            times.append(frames.time_ns // 1000)
            speeds.append(
                np.stack([decode_signal(frames, place).value for place in layout.wheels], axis=1)
            )
        return np.concatenate(times), np.concatenate(speeds)

    return work


def canwheel_read(capture: Path, dbc: Path) -> Callable[[], Columns]:
    """Read the recording whole, with its fingerprint and summary, and decode the columns."""
    from canwheel.capture import read_capture  # noqa: PLC0415
    from canwheel.capture.mdf import import_asammdf  # noqa: PLC0415
    from canwheel.definitions.assign import find_wheels  # noqa: PLC0415
    from canwheel.definitions.columns import decode_signal  # noqa: PLC0415
    from canwheel.definitions.dbc import read_definitions  # noqa: PLC0415
    from canwheel.vehicle import Vehicle  # noqa: PLC0415

    layout = find_wheels(read_definitions(dbc), Vehicle())
    if capture.suffix == ".mf4":
        import_asammdf()

    def work() -> Columns:
        frames = read_capture(capture, layout.wheel_ids).frames
        speeds = [decode_signal(frames, place).value for place in layout.wheels]
        return frames.time_ns // 1000, np.stack(speeds, axis=1)

    return work


WAYS = {
    "library loop": library_loop,
    "plain line loop": line_loop,
    "canwheel columns": canwheel_columns,
    "canwheel capture": canwheel_read,
}
CASES = ("text", "mixed", "gz", "mf4")
CHECK = "canwheel check, whole process"


def run_way(way: str, capture: Path, dbc: Path, out: Path) -> None:
    """Time one way and leave its result in a file."""
    work = WAYS[way](capture, dbc)
    started_s = time.perf_counter()
    times_us, speed_kph = work()
    taken_s = time.perf_counter() - started_s
    np.savez(out, times_us=times_us, speed_kph=speed_kph)
    print(json.dumps({"s": taken_s}))  # noqa: T201


# --- the comparison ------------------------------------------------------------------------------


def in_a_process(arguments: list[str]) -> tuple[str, float, float]:
    """Run Python with some arguments; return its output, wall time [s] and peak memory [MB]."""
    environment = {**os.environ, "PYTHONPATH": str(REPOSITORY)}
    started_s = time.perf_counter()
    with tempfile.TemporaryFile("w+") as output:
        child = subprocess.Popen([sys.executable, *arguments], stdout=output, env=environment)
        _, status, usage = os.wait4(child.pid, 0)
        child.returncode = os.waitstatus_to_exitcode(status)
        taken_s = time.perf_counter() - started_s
        output.seek(0)
        text = output.read()
    if child.returncode not in (0, 1, 3):
        sys.exit(f"{arguments} ended with {child.returncode}")
    return text, taken_s, usage.ru_maxrss / 1024


def compare(case: str, folder: Path, *, frames: int, rounds: int, ways: list[str]) -> None:
    """Run all ways on one recording, in turns, and print what came of it."""
    capture, dbc = write_case(case, folder, frames), folder / "wheels.dbc"
    dbc.write_text(DBC)
    if case == "mf4":
        ways = [way for way in ways if way != "plain line loop"]
    taken: dict[str, list[float]] = {way: [] for way in ways}
    peak_mb = dict.fromkeys(ways, 0.0)
    results = {}
    for _ in range(rounds):
        for way in ways:
            if way == CHECK:
                arguments = ["-m", "canwheel", "check", str(capture), "--dbc", str(dbc), "--json"]
                _, seconds, megabytes = in_a_process(arguments)
            else:
                out = folder / "result.npz"
                arguments = [__file__, "--way", way, str(capture), str(dbc), str(out)]
                text, _, megabytes = in_a_process(arguments)
                seconds = json.loads(text)["s"]
                with np.load(out) as columns:
                    results[way] = columns["times_us"], columns["speed_kph"]
            taken[way].append(seconds)
            peak_mb[way] = max(peak_mb[way], megabytes)
    _assert_equal(results)
    size_mb = capture.stat().st_size / 1e6
    print(f"\n{case}: {frames:,} frames, {size_mb:.0f} MB, median of {rounds}")  # noqa: T201
    base_s = statistics.median(taken[ways[0]])
    for way in ways:
        seconds = statistics.median(taken[way])
        spread = f"{min(taken[way]):.3f} to {max(taken[way]):.3f}"
        print(  # noqa: T201
            f"  {way:30} {seconds:8.3f} s  ({spread})  {base_s / seconds:6.1f} times"
            f"  {peak_mb[way]:5.0f} MB"
        )


def _assert_equal(results: dict[str, Columns]) -> None:
    """Stop unless all ways gave the same samples."""
    (first, (times_us, speed_kph)), *others = results.items()
    for way, (other_us, other_kph) in others:
        if not np.array_equal(times_us, other_us):
            sys.exit(f"{way} and {first} differ in their times")
        if not np.allclose(speed_kph, other_kph, rtol=1e-12, atol=0):
            sys.exit(f"{way} and {first} differ in their speeds")


def main() -> None:
    """Run the command line of this script."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--cases", nargs="+", default=["text"], choices=CASES)
    parser.add_argument("--frames", type=int, default=4_800_000)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--folder", type=Path, help="keep the recordings here for another run")
    parser.add_argument("--ways", nargs="+", default=[*WAYS, CHECK], choices=[*WAYS, CHECK])
    parser.add_argument("--way", nargs=4, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.way:
        way, *files = options.way
        run_way(way, *map(Path, files))
        return
    with tempfile.TemporaryDirectory() as temporary:
        folder = options.folder or Path(temporary)
        folder.mkdir(exist_ok=True)
        for case in options.cases:
            compare(case, folder, frames=options.frames, rounds=options.rounds, ways=options.ways)


if __name__ == "__main__":
    main()
