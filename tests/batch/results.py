"""Results of a batch as they are compared: every file but what no second run repeats."""

from __future__ import annotations

import csv
import hashlib
from pathlib import Path

HOLDINGS = 4
MEMORY_MB = 700
"""Enough for what a small plan and its libraries hold, and little enough to run out of."""
EATEN_BYTES = 400_000_000
"""Of a project file that cannot be read within that memory."""


def tree(output: Path) -> dict[str, str]:
    """Return a digest of every result file by its path; timings and work are no results."""
    return {
        path.relative_to(output).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(output.rglob("*"))
        if path.is_file()
        and path.name != "timings.csv"
        and path.relative_to(output).parts[0] != "work"
    }


def table(output: Path, name: str = "holdings") -> list[dict[str, str]]:
    """Return a table of the batch as rows of text."""
    with (output / f"{name}.csv").open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def by_holding(output: Path) -> dict[str, dict[str, str]]:
    """Return the row of each holding by its name."""
    return {row["holding"]: row for row in table(output)}
