"""Kill a recording without warning, again and again, under load.

    python tests/benchmarks/kills.py --kills 100 --seed 1

Another process records what this one sends over a loopback bus, numbered frame by frame. It is
killed at a random moment; then every file must read, its frames be in order without one missing,
and the last one no more than a second older than the kill.
"""

import argparse
import random
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

import can

PROJECT = Path(__file__).parents[2]
GROUP = "239.74.163.2"
ALLOWED_S = 1.0


class Sender(threading.Thread):
    """Sends numbered frames at a steady rate and remembers when each went out."""

    def __init__(self, port: int, rate: float) -> None:
        super().__init__(daemon=True)
        self._bus = can.Bus(
            interface="udp_multicast", channel=GROUP, port=port, hop_limit=0, ignore_config=True
        )
        self._rate = rate
        self.sent_at_s: list[float] = []
        self.stop = threading.Event()

    def run(self) -> None:
        begin = time.monotonic()
        while not self.stop.wait(0.002):
            due = int((time.monotonic() - begin) * self._rate)
            for number in range(len(self.sent_at_s), due):
                data = number.to_bytes(8, "big")
                self._bus.send(can.Message(arbitration_id=0x1A0, is_extended_id=False, data=data))
                self.sent_at_s.append(time.monotonic())
        self._bus.shutdown()


def numbers_in(log: Path) -> list[int]:
    """Frame numbers by python-can's reader; a half last line is left out, as any reader may."""
    text = log.read_text("ascii")
    log.write_text(text[: text.rfind("\n") + 1], "ascii")
    with can.LogReader(log) as reader:
        return [int.from_bytes(message.data, "big") for message in reader]


def kill_once(folder: Path, number: int, sender: Sender, port: int, wait_s: float) -> float:
    """Record, kill, check; return how much before the kill the last frame in the file is. [s]"""
    out = folder / f"{number}.log"
    options = ["--interface", "udp_multicast", "--channel", GROUP, "--option", f"port={port}"]
    recorder = subprocess.Popen(
        [sys.executable, "-m", "canwheel", "record", str(out), *options, "--yes"],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        cwd=PROJECT,
    )
    while not (out.exists() and out.stat().st_size):
        time.sleep(0.01)
    time.sleep(wait_s)
    killed_s = time.monotonic()
    recorder.kill()
    recorder.wait()
    numbers = numbers_in(out)
    if numbers != list(range(numbers[0], numbers[0] + len(numbers))):
        sys.exit(f"kill {number}: frames are missing or out of order")
    return killed_s - sender.sent_at_s[numbers[-1]]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--kills", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--rate", type=float, default=4000.0, help="frames a second")
    parser.add_argument("--port", type=int, default=43871)
    arguments = parser.parse_args()
    chance = random.Random(arguments.seed)  # noqa: S311 - no secret
    sender = Sender(arguments.port, arguments.rate)
    sender.start()
    missed_s = []
    with tempfile.TemporaryDirectory() as folder:
        for number in range(arguments.kills):
            wait_s = chance.uniform(0.0, 1.5)
            missed_s.append(kill_once(Path(folder), number, sender, arguments.port, wait_s))
    sender.stop.set()
    sender.join()
    missed_s.sort()
    print(  # noqa: T201
        f"{len(missed_s)} kills at {arguments.rate:.0f} frames/s: every file reads, in order; "
        f"missing before the kill: median {missed_s[len(missed_s) // 2]:.3f} s, "
        f"worst {missed_s[-1]:.3f} s"
    )
    if missed_s[-1] > ALLOWED_S:
        sys.exit(f"more than {ALLOWED_S} s is missing")


if __name__ == "__main__":
    main()
