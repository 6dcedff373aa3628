"""The command line as a whole: help, exit codes, one clear line for every error."""

import json
import os
import pty
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import click
import msgspec
import pytest

import canwheel.pipeline
from canwheel.cli.app import COMMANDS, app, run
from canwheel.cli.output import tell
from canwheel.version import VERSION
from canwheel.views.document import CheckDocument, CompareDocument

PROJECT = Path(__file__).parents[2]
Cut = Callable[[Callable[[list[str]], list[str]]], str]
Captured = pytest.CaptureFixture[str]

HEAVY = ("numpy", "can", "cantools", "asammdf", "rich", "msgspec", "scipy", "bitstruct")


def error_of(captured: Captured, *arguments: str) -> str:
    """Run into an error; return its one line."""
    assert run(arguments) == 2
    output = captured.readouterr()
    assert output.out == ""
    assert "Traceback" not in output.err
    first, *details = output.err.splitlines()
    assert first.startswith("canwheel")
    return first if not details else output.err


def test_help_imports_nothing_heavy() -> None:
    # Structural, not timed: what takes the time is the import of these.
    code = (
        "import sys; from canwheel.cli import main; from canwheel.cli.app import run\n"
        "assert run(['--help']) == 0\n"
        f"print([name for name in {HEAVY!r} if name in sys.modules])"
    )
    result = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=PROJECT
    )
    assert result.stdout.splitlines()[-1] == "[]"


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_help_and_stands_in_the_readme(name: str, capsys: Captured) -> None:
    assert run([name, "--help"]) == 0
    text = capsys.readouterr().out
    assert text.startswith(f"Usage: canwheel {name} ")
    command = app.get_command(click.Context(app), name)
    assert command is not None
    assert command.help
    assert command.name == name
    for parameter in command.params:
        if isinstance(parameter, click.Option):
            assert parameter.help
    assert f"canwheel {name} " in (PROJECT / "README.md").read_text(encoding="utf-8")


def test_the_help_text_lists_every_command(capsys: Captured) -> None:
    assert run(["--help"]) == 0
    text = capsys.readouterr().out
    for name in COMMANDS:
        assert f"\n  {name} " in text
    assert "..." not in text.partition("Commands:")[2]


def test_version(capsys: Captured) -> None:
    assert run(["--version"]) == 0
    assert VERSION in capsys.readouterr().out


def test_check_and_its_exit_codes(
    before: str, after: str, car: list[str], cut: Cut, capsys: Captured
) -> None:
    assert run(["check", after, *car]) == 0
    assert "ALL FOUR SOUND" in capsys.readouterr().out
    assert run(["check", before, *car]) == 1
    assert "FAULT FOUND" in capsys.readouterr().out
    start = cut(lambda lines: lines[:1500])
    assert run(["check", start, *car]) == 3
    assert "NOT ENOUGH DRIVING" in capsys.readouterr().out


def test_compare_and_its_exit_codes(
    before: str, after: str, car: list[str], cut: Cut, capsys: Captured
) -> None:
    short = cut(lambda lines: lines[:1500])
    expected = {
        (before, after): (0, "REPAIR PROVEN"),
        (after, after): (0, "NOTHING TO PROVE"),
        (before, before): (1, "FAULT STILL THERE"),
        (after, before): (1, "NEW FAULT"),
        (before, short): (3, "REPAIR NOT PROVEN YET"),
    }
    for (first, second), (code, words) in expected.items():
        assert run(["compare", first, second, *car]) == code
        assert words in capsys.readouterr().out


def test_json_is_the_one_document_and_nothing_else(
    before: str, after: str, car: list[str], capsys: Captured
) -> None:
    assert run(["check", before, *car, "--json"]) == 1
    output = capsys.readouterr()
    assert output.err == ""
    assert json.loads(output.out)["verdict"] == "fault_found"
    msgspec.json.decode(output.out, type=CheckDocument)
    assert run(["compare", before, after, *car, "--json"]) == 0
    output = capsys.readouterr()
    assert output.err == ""
    msgspec.json.decode(output.out, type=CompareDocument)


def test_a_caution_may_name_a_file_that_is_no_unicode(
    after: str, car: list[str], tmp_path: Path, capsys: Captured
) -> None:
    odd = tmp_path / "caf\udce9.dbc"
    gone = b'VAL_ 1 GONE 1 "on" ;\n'  # passed over, which a caution says
    odd.write_bytes(Path(car[1]).read_bytes() + gone)
    for command in (["check", after], ["compare", after, after]):
        assert run([*command, "--dbc", str(odd), "--json"]) == 0
        document = json.loads(capsys.readouterr().out)
        assert any("caf\\udce9.dbc" in caution for caution in document["cautions"])


def test_wrong_command_lines_are_told_in_one_line(before: str, capsys: Captured) -> None:
    assert "no such command 'chek'" in error_of(capsys, "chek")
    assert "missing option '--dbc'" in error_of(capsys, "check", before)
    assert "missing argument 'CAPTURE'" in error_of(capsys, "check", "--dbc", "x.dbc")
    line = error_of(capsys, "check", before, "--dbc", "x.dbc", "--jsn")
    assert line.startswith("canwheel check: no such option '--jsn'")
    assert "'canwheel check --help' shows how it is used" in line
    line = error_of(capsys, "check", before, "--dbc")
    assert line.startswith("canwheel check: option '--dbc' requires an argument")
    assert "'canwheel check --help' shows" in line
    line = error_of(capsys, "codes", "read", "--json=x")
    assert line.startswith("canwheel codes read: option '--json' does not take a value")
    assert error_of(capsys, "--version=x").startswith("canwheel: option '--version'")


def test_without_a_command_the_help_goes_to_standard_error(capsys: Captured) -> None:
    assert run([]) == 2
    output = capsys.readouterr()
    assert output.out == ""
    assert "Commands:" in output.err


def test_files_that_cannot_be_used(
    before: str, car: list[str], tmp_path: Path, capsys: Captured
) -> None:
    missing = str(tmp_path / "missing")
    empty = tmp_path / "empty.log"
    empty.touch()
    vehicle = tmp_path / "car.toml"
    vehicle.write_text("[vehicle]\nwheelbse_m = 2.9\n")
    dbc = car[:2]
    assert missing in error_of(capsys, "check", missing, *car)
    assert str(tmp_path) in error_of(capsys, "check", str(tmp_path), *car)
    assert str(empty) in error_of(capsys, "check", str(empty), *car)
    assert missing in error_of(capsys, "check", before, "--dbc", missing)
    assert str(tmp_path) in error_of(capsys, "check", before, "--dbc", str(tmp_path))
    assert missing in error_of(capsys, "check", before, *dbc, "--vehicle", missing)
    assert "wheelbse_m" in error_of(capsys, "check", before, *dbc, "--vehicle", str(vehicle))
    assert missing in error_of(capsys, "compare", before, missing, *car)


def test_what_does_not_fit_the_dbc_is_told_with_the_paths(
    before: str, car: list[str], tmp_path: Path, capsys: Captured
) -> None:
    vehicle = tmp_path / "car.toml"
    files = ["--dbc", car[1], "--vehicle", str(vehicle)]
    for words, place in (
        ("[wheels]\nFL", "wheels.FL"),
        ("[signals]\nyaw_rate", "signals.yaw_rate"),
    ):
        vehicle.write_text(f'{words} = "NONE.HERE"\n')
        for command in (["check", before], ["corners"], ["replay", before]):
            line = error_of(capsys, *command, *files)
            assert line.startswith(f"canwheel: {vehicle}, {place}: bakery_van.dbc has no message")
    line = error_of(capsys, "codes", "read", *files, "--interface", "virtual")
    assert line.startswith(f"canwheel: {vehicle}, signals.yaw_rate: ")
    dbc = tmp_path / "none.dbc"
    dbc.write_text('BO_ 5 ENGINE: 8 UNIT\n SG_ TORQUE : 0|16@1+ (1,0) [0|0] "Nm" X\n')
    line = error_of(capsys, "check", before, "--dbc", str(dbc))
    assert line.startswith(f"canwheel: {dbc}: has no wheel speeds")


def test_an_error_cannot_move_the_cursor(car: list[str], capsys: Captured) -> None:
    line = error_of(capsys, "check", "no\x1b[2Jsuch\nfile", *car)
    assert "\x1b" not in line


def test_channels(car: list[str], cut: Cut, capsys: Captured) -> None:
    def doubled(lines: list[str]) -> list[str]:
        return [copy for line in lines for copy in (line, line.replace(" can0 ", " can1 "))]

    both = cut(doubled)
    line = error_of(capsys, "check", both, *car)
    assert "can0, can1" in line
    assert "--channel can0" in line
    assert "can0, can1" in error_of(capsys, "check", both, *car, "--channel", "can7")
    assert run(["check", both, *car, "--channel", "can1", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["capture"]["channel"] == "can1"


def test_a_recording_of_another_bus_says_what_it_holds(
    car: list[str], cut: Cut, capsys: Captured
) -> None:
    other = cut(lambda lines: [f"{line.split()[0]} can0 7AB#01" for line in lines[:200]])
    text = error_of(capsys, "check", other, *car)
    assert "no wheel message of bakery_van.dbc" in text
    assert "0x7AB (200 times)" in text


def test_ctrl_c_ends_quietly(
    before: str, car: list[str], monkeypatch: pytest.MonkeyPatch, capsys: Captured
) -> None:
    def interrupted(*_args: object, **_options: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(canwheel.pipeline, "check", interrupted)
    assert run(["check", before, *car]) == 130
    assert capsys.readouterr().err.strip() == "canwheel: stopped."


def test_other_errors_of_clicks_are_one_line(
    before: str, car: list[str], monkeypatch: pytest.MonkeyPatch, capsys: Captured
) -> None:
    def fails(*_args: object, **_options: object) -> None:
        raise click.ClickException("Something is odd")

    monkeypatch.setattr(canwheel.pipeline, "check", fails)
    assert error_of(capsys, "check", before, *car) == "canwheel: something is odd."


def test_a_reader_that_goes_away_is_no_error(before: str, car: list[str]) -> None:
    process = subprocess.Popen(
        [sys.executable, "-m", "canwheel", "check", before, *car],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        cwd=PROJECT,
    )
    assert process.stdout is not None
    assert process.stderr is not None
    process.stdout.close()
    error = process.stderr.read()
    process.stderr.close()
    assert error == b""
    assert process.wait() == 1


def in_shell(command: str, *arguments: str) -> subprocess.CompletedProcess[str]:
    """Run the program, `$cw`, by a shell, which closes and redirects; the arguments are `$@`."""
    return subprocess.run(
        ["/bin/sh", "-c", command, "sh", *arguments],
        capture_output=True,
        text=True,
        check=False,
        cwd=PROJECT,
        env={**os.environ, "cw": f"{sys.executable} -m canwheel"},
    )


FULL = Path("/dev/full")
ALWAYS_FULL = pytest.mark.skipif(not FULL.exists(), reason="no full device here")


@ALWAYS_FULL
@pytest.mark.parametrize(
    "command",
    ['check "$@"', 'check "$@" --json', "--help", "--version", "check --help", "adapters"],
)
def test_full_output_is_no_verdict(command: str, after: str, car: list[str]) -> None:
    result = in_shell(f"$cw {command} > {FULL}", after, *car)
    assert result.returncode == 2
    assert result.stderr.startswith("canwheel: ")
    assert "No space left on device. " in result.stderr
    assert result.stderr.count("\n") == 1


@pytest.mark.parametrize("command", ['check "$@"', 'check "$@" --json'])
def test_closed_output_is_no_verdict(command: str, after: str, car: list[str]) -> None:
    result = in_shell(f"$cw {command} >&-", after, *car)
    assert result.returncode == 2
    assert "standard output cannot be written: it is closed" in result.stderr
    assert result.stderr.count("\n") == 1


def test_closed_input_is_told(car: list[str]) -> None:
    result = in_shell('$cw check - "$@" <&-', *car)
    assert result.returncode == 2
    assert result.stderr.startswith("canwheel: standard input: is closed. Pipe a recording in")
    assert result.stderr.count("\n") == 1


@pytest.mark.parametrize("away", [pytest.param(f"2> {FULL}", marks=ALWAYS_FULL), "2>&-"])
def test_errors_that_nobody_can_read_keep_their_exit_code(
    away: str, after: str, car: list[str]
) -> None:
    assert in_shell(f"$cw check missing --dbc missing {away}").returncode == 2
    result = in_shell(f'$cw check "$@" {away}', after, *car)
    assert (result.returncode, result.stderr) == (0, "")
    assert "ALL FOUR SOUND" in result.stdout


def test_what_the_system_refuses_is_one_line(
    before: str, car: list[str], monkeypatch: pytest.MonkeyPatch, capsys: Captured
) -> None:
    def fails(*_args: object, **_options: object) -> None:
        raise OSError(28, "No space left on device", "capture")

    monkeypatch.setattr(canwheel.pipeline, "check", fails)
    line = error_of(capsys, "check", before, *car)
    assert line.startswith("canwheel: capture: No space left on device. Check the room")


def in_terminal(arguments: list[str], **environment: str) -> str:
    """Run in a pseudo-terminal; return what it shows."""
    ours, theirs = pty.openpty()
    settings = {"PATH": os.environ["PATH"], "TERM": "xterm", "LANG": "C.UTF-8", **environment}
    with subprocess.Popen(
        [sys.executable, "-m", "canwheel", *arguments],
        stdin=theirs,
        stdout=theirs,
        stderr=theirs,
        cwd=PROJECT,
        env=settings,
    ) as process:
        os.close(theirs)
        shown = b""
        while True:
            try:
                part = os.read(ours, 65536)
            except OSError:  # the other end is closed
                break
            if not part:
                break
            shown += part
        process.wait()
    os.close(ours)
    return shown.decode()


def test_colour_goes_to_terminals_that_want_it(before: str, car: list[str]) -> None:
    arguments = ["check", before, *car]
    assert "\x1b[" in in_terminal(arguments)
    assert "\x1b[" not in in_terminal(arguments, NO_COLOR="1")
    assert "\x1b[" not in in_terminal(arguments, TERM="dumb")


def test_an_ascii_terminal_gets_ascii(before: str, car: list[str]) -> None:
    shown = in_terminal(["check", before, *car], PYTHONIOENCODING="ascii", NO_COLOR="1")
    assert shown.isascii()
    assert "FAULTY XX|" in shown


def test_what_is_told_breaks_between_words_on_a_terminal_only(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    sentence = "word " * 30 + "/a/very/long/" + "path/" * 20 + "file"
    tell(f"{sentence}\n  FL = 'kept'")
    assert capsys.readouterr().err == f"{sentence}\n  FL = 'kept'\n"
    monkeypatch.setattr("sys.stderr.isatty", lambda: True)
    monkeypatch.setenv("COLUMNS", "60")
    tell(f"{sentence}\n  FL = 'kept'")
    lines = capsys.readouterr().err.splitlines()
    assert all(len(line) <= 60 for line in lines if not line.startswith("/a"))
    assert " ".join(lines[:-1]) == sentence
    assert lines[-1] == "  FL = 'kept'"
