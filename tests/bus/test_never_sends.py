"""Nothing but the loopback player sends: by what is written, and by what runs."""

import ast
from pathlib import Path
from typing import Any

import can
import pytest

import canwheel
from canwheel.cli.app import run

PACKAGE = Path(canwheel.__file__).parent
MAY_SEND = {"bus/loopback.py", "roadtest/brake_unit.py"}
"""One plays on loopback buses only, the other is a simulated unit on the bus it is given. Reading
stored codes asks the car, which is another command."""
MAY_ASK_THE_CAR = "fault_memory/"
MAY_BE_KNOWN = {
    f"fault_memory/{name}.py"
    for name in ("__init__", "against_drive", "code_words", "documents", "status", "unit_address")
}
"""Saved readings are files: `check` and `compare` lay them beside a drive."""
LISTENING = (
    "cli/record.py",
    "cli/replay.py",
    "cli/check.py",
    "cli/compare.py",
    "cli/adapters.py",
    "cli/watch.py",
)
SENDING_NAMES = {"send", "send_periodic", "sendto", "sendall", "sendmsg", "flush_tx_buffer"}


def modules() -> dict[str, ast.Module]:
    return {
        path.relative_to(PACKAGE).as_posix(): ast.parse(path.read_text("utf-8"))
        for path in PACKAGE.rglob("*.py")
    }


def imported(tree: ast.Module) -> set[str]:
    """Modules of the package that a module imports, anywhere in it, as file names."""
    names: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            names |= {node.module, *(f"{node.module}.{alias.name}" for alias in node.names)}
    inside = {name.removeprefix("canwheel.") for name in names if name.startswith("canwheel")}
    return {f"{name.replace('.', '/')}{end}" for name in inside for end in (".py", "/__init__.py")}


def outside(tree: ast.Module) -> set[str]:
    """Libraries that a module imports, anywhere in it."""
    names: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            names.add(node.module)
    return {name.partition(".")[0] for name in names}


def sends(tree: ast.Module) -> list[int]:
    return [
        node.lineno
        for node in ast.walk(tree)
        if isinstance(node, ast.Attribute) and node.attr in SENDING_NAMES
    ]


def test_only_the_loopback_player_and_the_simulated_unit_have_a_send_call() -> None:
    found = {name: lines for name, tree in modules().items() if (lines := sends(tree))}
    found = {name: at for name, at in found.items() if not name.startswith(MAY_ASK_THE_CAR)}
    assert set(found) == MAY_SEND, found


def test_no_listening_command_can_reach_a_module_that_sends() -> None:
    every = modules()
    begin = [name for name in LISTENING if name in every]
    reached, todo = set(begin), list(begin)
    while todo:
        for name in imported(every[todo.pop()]) & set(every) - reached:
            reached.add(name)
            todo.append(name)
    assert not reached & MAY_SEND
    asks = {name for name in reached if name.startswith(MAY_ASK_THE_CAR)}
    assert asks <= MAY_BE_KNOWN
    for name in MAY_BE_KNOWN:
        assert not sends(every[name])
        assert not outside(every[name]) & {"can", "isotp", "udsoncan"}


def test_the_walk_sees_a_planted_send() -> None:
    planted = ast.parse("from canwheel.bus.loopback import play\nbus.send(message)\n")
    assert sends(planted) == [2]
    assert "bus/loopback.py" in imported(planted)


@pytest.mark.parametrize("name", ["receive", "close"])
def test_what_is_handed_out_has_no_way_to_send(name: str) -> None:
    from canwheel.bus.listening import Listener  # noqa: PLC0415 - heavy

    public = {method for method in dir(Listener) if not method.startswith("_")}
    assert name in public
    assert not public & SENDING_NAMES


def test_record_check_and_replay_run_through_on_a_bus_that_fails_when_sent_on(
    silent_bus: Any,
    no_sending: None,  # noqa: ARG001 - a guard
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    project = PACKAGE.parent
    before = project / "captures" / "before.log.gz"
    car = ["--dbc", str(project / "dbc_examples" / "bakery_van.dbc")]
    with can.LogReader(before) as reader:
        silent_bus.frames = [message for message, _ in zip(reader, range(3000), strict=False)]
    out = str(tmp_path / "drive.log")
    adapter = ["--interface", "silent", "--channel", "x", "--bitrate", "500000"]
    assert run(["record", out, *adapter, "--yes", "--for", "0.6"]) == 0
    assert Path(out).read_text().count("\n") == 3000
    assert silent_bus.opened

    def fail(*_args: object, **_kwargs: object) -> None:
        pytest.fail("an adapter was opened")

    monkeypatch.setattr(can, "Bus", fail)
    monkeypatch.setattr(can.BusABC, "__init__", fail)
    code = run(["check", out, *car])
    assert code in {0, 1, 3}
    assert run(["replay", out, *car, "--speed", "64", "--plain"]) == code
