"""Record at the highest rates a bus can carry: is anything lost, and what does it cost?

    python tests/benchmarks/load.py                       # a few seconds at each rate
    python tests/benchmarks/load.py --rate 10000 --seconds 180

A process of its own sends numbered frames, and among them fifty wheel messages a second, over a
loopback bus in real time; `canwheel record` takes them down, alone and with the live view on a
pseudo-terminal. Rates: 8-byte frames with 11-bit identifiers take 111 bits at least, so a
500 kbit/s bus carries 4,504 of them a second and a 1 Mbit/s bus 9,009. Then bursts of 50,000
frames at once: over the loopback bus, and over a serial line (a pseudo-terminal) into the real
slcan driver.
"""

import argparse
import os
import pty
import subprocess
import sys
import tempfile
import threading
import time
import tty
from dataclasses import dataclass
from pathlib import Path

import can

PROJECT = Path(__file__).parents[2]
GROUP = "239.74.163.2"
PORT = 43877
NUMBERED_ID = 0x7F0
WHEELS_ID = 0x1B2
WHEELS_PER_S = 50
BURST = 50_000
CAR = [
    "--dbc",
    str(PROJECT / "dbc_examples" / "bakery_van.dbc"),
    "--vehicle",
    str(PROJECT / "dbc_examples" / "bakery_van.toml"),
]


def send(rate: float, seconds: float) -> None:
    """Send in real time: what is due, every two milliseconds; at no rate, all at once."""
    bus = can.Bus(
        interface="udp_multicast", channel=GROUP, port=PORT, hop_limit=0, ignore_config=True
    )
    count = round(rate * seconds) if rate else BURST
    every = round(rate / WHEELS_PER_S) if rate else 100
    begin = time.monotonic()
    for number in range(count):
        while rate and number > (time.monotonic() - begin) * rate:
            time.sleep(0.002)
        data = number.to_bytes(8, "big")
        bus.send(can.Message(arbitration_id=NUMBERED_ID, is_extended_id=False, data=data))
        if number % every == 0:
            wheels = bytes([0x0F, 0xA0] * 4)
            bus.send(can.Message(arbitration_id=WHEELS_ID, is_extended_id=False, data=wheels))
    bus.shutdown()


@dataclass(frozen=True, slots=True)
class Result:
    """What a run came to. Processor shares are of one core."""

    sent: int
    recorded: int
    in_order: bool
    recorder_share: float
    view_share: float


def numbers_in(log: Path) -> list[int]:
    mark = f"{NUMBERED_ID:03X}#"
    with log.open() as file:
        return [int(line.rsplit("#", 1)[1][:16], 16) for line in file if mark in line]


def processor_s(pid: int) -> float:
    """Processor time of a process so far, without its children (Linux, proc(5)). [s]"""
    fields = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def children_of(pid: int) -> list[int]:
    return [int(p) for p in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]


def record(out: Path, options: list[str], *, view: bool) -> tuple[subprocess.Popen[bytes], int]:
    """Start the recorder on a terminal of its own, or without one; return it and the terminal."""
    command = [sys.executable, "-m", "canwheel", "record", str(out), *options, "--yes"]
    master, slave = pty.openpty()
    terminal = slave if view else subprocess.DEVNULL
    environment = dict(os.environ, TERM="xterm-256color", COLUMNS="80", LINES="24")
    process = subprocess.Popen(
        [*command, *(CAR if view else [])],
        stdin=terminal,
        stdout=terminal,
        stderr=terminal,  # where the view draws
        cwd=PROJECT,
        env=environment,
    )
    os.close(slave)
    if view:
        threading.Thread(target=swallow, args=(master,), daemon=True).start()
    while not out.with_suffix(".toml").exists():
        time.sleep(0.05)
    time.sleep(3.0 if view else 0.5)
    return process, master


def swallow(master: int) -> None:
    """Take what is drawn off the terminal."""
    try:
        while os.read(master, 65536):
            pass
    except OSError:
        pass


def run_loopback(folder: Path, rate: float, seconds: float, *, view: bool) -> Result:
    out = folder / f"{rate:.0f}-{view}.log"
    options = ["--interface", "udp_multicast", "--channel", GROUP, "--option", f"port={PORT}"]
    recorder, _ = record(out, options, view=view)
    pids = [recorder.pid, *children_of(recorder.pid)]
    before = [processor_s(pid) for pid in pids]
    begin = time.monotonic()
    sending = [sys.executable, __file__, "--send", str(rate), str(seconds)]
    subprocess.run(sending, check=True)
    time.sleep(1.0)
    took_s = time.monotonic() - begin
    shares = [(processor_s(p) - b) / took_s for p, b in zip(pids, before, strict=True)]
    recorder.terminate()
    recorder.wait(60)
    numbers = numbers_in(out)
    sent = round(rate * seconds) if rate else BURST
    out.unlink()
    out.with_suffix(".toml").unlink()
    return Result(sent, len(numbers), numbers == list(range(sent)), shares[0], sum(shares[1:]))


def run_serial_burst(folder: Path) -> tuple[Result, float]:
    """Push lines through a pseudo-terminal as fast as they are taken; also return the rate."""
    master, slave = pty.openpty()
    tty.setraw(master)
    tty.setraw(slave)
    is_open = threading.Event()

    def answer() -> None:
        pending = b""
        while not is_open.is_set():
            *commands, pending = (pending + os.read(master, 256)).split(b"\r")
            for command in commands:
                os.write(master, b"\r")
                if command == b"L":
                    is_open.set()

    threading.Thread(target=answer, daemon=True).start()
    out = folder / "serial.log"
    options = ["--interface", "slcan", "--channel", os.ttyname(slave), "--bitrate", "1000000"]
    recorder, _ = record(out, options, view=False)
    is_open.wait(10)
    lines = b"".join(b"t%03X8%016X\r" % (NUMBERED_ID, number) for number in range(BURST))
    used_s, begin = processor_s(recorder.pid), time.monotonic()
    while lines:
        lines = lines[os.write(master, lines[:4096]) :]
    took_s = time.monotonic() - begin
    time.sleep(1.0)
    share = (processor_s(recorder.pid) - used_s) / took_s
    recorder.terminate()
    recorder.wait(60)
    numbers = numbers_in(out)
    result = Result(BURST, len(numbers), numbers == list(range(BURST)), share, 0.0)
    return result, BURST / took_s


def tell(name: str, result: Result) -> bool:
    """Print one line; return whether all is well."""
    lost = result.sent - result.recorded
    print(  # noqa: T201
        f"{name:<44} sent {result.sent:>9,}  lost {lost:>6,}  "
        f"{'in order' if result.in_order else 'NOT IN ORDER'}  "
        f"recorder {result.recorder_share:6.1%}  view {result.view_share:6.1%}",
        flush=True,
    )
    return result.in_order and not lost


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rate", type=float, action="append", help="frames a second")
    parser.add_argument("--seconds", type=float, default=10.0)
    parser.add_argument("--only", choices=["alone", "view"], help="with or without the view")
    parser.add_argument("--send", nargs=2, type=float, help=argparse.SUPPRESS)
    arguments = parser.parse_args()
    if arguments.send:
        send(*arguments.send)
        return
    good = True
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for rate in arguments.rate or (4504.0, 9009.0, 10_000.0):
            for view in {"alone": (False,), "view": (True,)}.get(arguments.only, (False, True)):
                title = f"{rate:,.0f} frames/s, {'with the view' if view else 'recorder alone'}"
                good &= tell(title, run_loopback(folder, rate, arguments.seconds, view=view))
        if arguments.rate is None:
            good &= tell("burst on the loopback bus", run_loopback(folder, 0.0, 0.0, view=False))
            result, rate = run_serial_burst(folder)
            good &= tell(f"burst on a serial line, {rate:,.0f} frames/s", result)
    sys.exit(not good)


if __name__ == "__main__":
    main()
