"""The rules of the house, run as tests: style, types, and who may import whom."""

import subprocess
import sys
from pathlib import Path

import pytest

PROJECT = Path(__file__).parents[1]

RULES = {
    "style": ["-m", "ruff", "check", "--no-cache", "."],
    "format": ["-m", "ruff", "format", "--no-cache", "--check", "."],
    "types": ["-m", "mypy", "--strict", "--cache-dir", "{cache}", "canwheel"],
    "imports": ["-c", "from importlinter.cli import lint_imports_command; lint_imports_command()"],
}


def run_rule(arguments: list[str], folder: Path, cache: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, *(argument.format(cache=cache) for argument in arguments)],
        capture_output=True,
        text=True,
        check=False,
        cwd=folder,
    )


@pytest.mark.parametrize("rule", RULES)
def test_the_house_keeps_its_rules(rule: str, tmp_path: Path) -> None:
    result = run_rule(RULES[rule], PROJECT, tmp_path)
    assert result.returncode == 0, result.stdout + result.stderr
