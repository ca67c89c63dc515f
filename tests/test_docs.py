"""README and docs tell the truth: every command and every Python block in them is run.

A block marked ``sh`` holds commands, one a line; ``sh exit=1`` says that they end with that code.
They run in a scratch copy of the sample, in order, page by page; the same words are run once, on
the first page that has them. The two set-up commands are run without their installing part here;
`.ci/run` runs the second of them whole.
"""

from __future__ import annotations

import os
import re
import shlex
import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
PAGES = sorted([ROOT / "README.md", ROOT / "DEVELOPERS.md", *(ROOT / "docs").rglob("*.md")])
BLOCK = re.compile(r"^```(\w+)([^\n]*)\n(.*?)^```", re.MULTILINE | re.DOTALL)
LINK = re.compile(r"\[[^\]]*\]\(([^)#\s]+)[^)]*\)")
# These start the tests themselves, which are running already.
NOT_AGAIN = re.compile(r"pytest")


@dataclass(frozen=True)
class Block:
    language: str
    exit_code: int
    text: str


def blocks(page: Path) -> list[Block]:
    found = []
    for language, note, text in BLOCK.findall(page.read_text(encoding="utf-8")):
        wanted = re.search(r"exit=(\d)", note)
        found.append(Block(language, int(wanted.group(1)) if wanted else 0, text))
    return found


def runnable(line: str) -> str:
    """Leave out making the environment, which the running test already stands in."""
    parts = [part.strip() for part in line.split("&&")]
    kept = [part for part in parts if not re.search(r"-m venv|pip install", part)]
    return " && ".join(part.replace(".venv/bin/", "") for part in kept)


@pytest.fixture(scope="module")
def already_run() -> set[str]:
    return set()


def run(line: str, folder: Path) -> subprocess.CompletedProcess[str]:
    tools = str(Path(sys.executable).parent)
    environment = {**os.environ, "PATH": tools + os.pathsep + os.environ["PATH"]}
    return subprocess.run(
        ["bash", "-euo", "pipefail", "-c", line],
        cwd=folder, capture_output=True, text=True, env=environment, check=False,
    )  # fmt: skip


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(ROOT)))
def test_every_block_runs(page: Path, tmp_path: Path, already_run: set[str]) -> None:
    shutil.copytree(ROOT / "sample_data", tmp_path / "sample_data")
    for block in blocks(page):
        if block.language == "sh":
            for line in filter(None, map(str.strip, block.text.splitlines())):
                command = runnable(line)
                if not command or line.startswith("#") or NOT_AGAIN.search(command):
                    continue
                if command in already_run:
                    continue
                already_run.add(command)
                done = run(command, tmp_path)
                assert done.returncode == block.exit_code, f"{line}\n{done.stderr}"
        elif block.language == "python":
            done = run(f"{shlex.quote(sys.executable)} -c {shlex.quote(block.text)}", tmp_path)
            assert done.returncode == block.exit_code, f"{block.text}\n{done.stderr}"


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(ROOT)))
def test_links_lead_somewhere(page: Path) -> None:
    targets = [
        target
        for target in LINK.findall(page.read_text(encoding="utf-8"))
        if not re.match(r"[a-z]+:", target)
    ]
    missing = [target for target in targets if not (page.parent / target).exists()]
    assert missing == []


def test_readme_has_exactly_two_set_up_commands() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    commands = [line for line in readme.splitlines() if line.startswith("python3 -m venv")]
    assert len(commands) == 2
    assert "dewpond plan sample_data/holding.toml" in commands[0]
    assert commands[1].endswith("pytest -n 2")


def test_project_file_page_is_the_template() -> None:
    from dewpond.base.settings.template import template

    page = (ROOT / "docs" / "reference" / "project-file.md").read_text(encoding="utf-8")
    assert template() in page, "run: python docs/make_reference.py"
