"""The page on result files names every column and key that is written, and no other."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from dewpond.base.model import Plan
from dewpond.outputs.layers import plan_layers
from dewpond.outputs.summary import summary_text


@pytest.fixture(scope="module")
def page(root: Path) -> str:
    return (root / "docs" / "reference" / "result-files.md").read_text("utf-8")


def named(section: str) -> set[str]:
    rows = [line.split("|")[1] for line in section.splitlines() if line.startswith("| `")]
    return {name for row in rows for name in re.findall(r"`([^`]+)`", row)}


def test_columns(page: str, plan: Plan) -> None:
    for kind, layer in plan_layers(plan).items():
        (section,) = re.findall(rf"^### [^\n]*`{kind}`[^\n]*\n(.*?)(?=^##)", page, re.M | re.S)
        assert named(section) == {column for column in layer.columns if column != "geometry"}


def test_keys_of_the_summary(page: str, plan: Plan) -> None:
    (section,) = re.findall(r"^## `summary.json`\n(.*?)(?=^## )", page, re.M | re.S)
    assert named(section) == set(json.loads(summary_text(plan, [])))
