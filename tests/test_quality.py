"""The gates of the code itself: lint, format, types and the size of files."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest


@pytest.mark.parametrize(
    "command",
    [
        pytest.param(["ruff", "check", "."], id="lint"),
        pytest.param(["ruff", "format", "--check", "."], id="format"),
        pytest.param(["mypy"], id="types"),
    ],
)
def test_gate(command: list[str], root: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", *command], cwd=root, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr


def test_no_file_grows_past_300_lines(root: Path) -> None:
    long = {
        str(path.relative_to(root)): count
        for path in sorted((root / "src").rglob("*.py"))
        if (count := len(path.read_text(encoding="utf-8").splitlines())) > 300
    }
    assert long == {}


def test_top_level_holds_only_what_was_agreed(root: Path) -> None:
    listed = subprocess.run(
        ["git", "ls-files"], cwd=root, capture_output=True, text=True, check=False
    )
    if listed.returncode:
        pytest.skip("not a git checkout")
    tops = {line.split("/")[0] for line in listed.stdout.splitlines()}
    agreed = {"README.md", "DEVELOPERS.md", "pyproject.toml", "src", "tests", "sample_data"}
    agreed |= {"docs", "LICENSE"}
    assert {top for top in tops if not top.startswith(".")} <= agreed
