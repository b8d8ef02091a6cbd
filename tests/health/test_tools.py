"""The repository's own rules, run by tools: lint, format, types, direction of imports."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
BIN = Path(sys.executable).parent


@pytest.mark.parametrize(
    "command",
    [
        ["ruff", "check", "."],
        ["ruff", "format", "--check", "."],
        ["mypy"],
        ["lint-imports", "--no-cache"],
    ],
    ids=["lint", "format", "types", "imports"],
)
def test_tool_finds_nothing(command: list[str]) -> None:
    done = subprocess.run([BIN / command[0], *command[1:]], capture_output=True, text=True, cwd=ROOT, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
