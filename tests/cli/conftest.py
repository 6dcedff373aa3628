"""The shipped pair of recordings, recordings cut from it, and the program as a process."""

import contextlib
import gzip
import socket
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import can
import pytest

PROJECT = Path(__file__).parents[2]
GROUP = "239.74.163.2"  # python-can's own default for IPv4 (UdpMulticastBus)


@pytest.fixture(scope="session")
def before() -> str:
    return str(PROJECT / "captures" / "before.log.gz")


@pytest.fixture(scope="session")
def after() -> str:
    return str(PROJECT / "captures" / "after.log.gz")


@pytest.fixture(scope="session")
def car() -> list[str]:
    examples = PROJECT / "dbc_examples"
    return [
        "--dbc",
        str(examples / "bakery_van.dbc"),
        "--vehicle",
        str(examples / "bakery_van.toml"),
    ]


@pytest.fixture
def cut(tmp_path: Path, after: str) -> Callable[[Callable[[list[str]], list[str]]], str]:
    """Write what a function makes of the sound recording's lines; return the file's name."""

    def make(change: Callable[[list[str]], list[str]]) -> str:
        with gzip.open(after, "rt") as file:
            lines = file.read().splitlines()
        path = tmp_path / "cut.log"
        path.write_text("".join(f"{line}\n" for line in change(lines)))
        return str(path)

    return make


@pytest.fixture
def loopback() -> list[str]:
    """Options of a loopback bus of this test's own; skips where there is no multicast."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.bind(("", 0))
        port = probe.getsockname()[1]
    options = ["--interface", "udp_multicast", "--channel", GROUP, "--option", f"port={port}"]
    try:
        bus = can.Bus(interface="udp_multicast", channel=GROUP, port=port, ignore_config=True)
        bus.shutdown()
    except (can.CanError, OSError) as error:
        pytest.skip(f"no multicast here: {error}")
    return options


@contextlib.contextmanager
def start(*arguments: object) -> Iterator[subprocess.Popen[str]]:
    process = subprocess.Popen(
        [sys.executable, "-m", "canwheel", *map(str, arguments)],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        cwd=PROJECT,
    )
    try:
        yield process
    finally:
        process.kill()
        process.communicate()


@pytest.fixture
def canwheel() -> Callable[..., contextlib.AbstractContextManager[subprocess.Popen[str]]]:
    """Start the program beside the test; it is killed in the end."""
    return start
