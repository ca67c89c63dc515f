"""Sheets that several tests read, each written once."""

from __future__ import annotations

from pathlib import Path

import pytest
from drawn import read_pages, texts_of
from grid_plan import grid_plan, with_documents

from dewpond.base.model import Plan
from dewpond.outputs.drawing.plan_sheet import save_plan_sheets
from dewpond.outputs.layers import plan_layers


@pytest.fixture(scope="session")
def hand_sheets(plan: Plan, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The plan made by hand, on the paper that suits it."""
    path = tmp_path_factory.mktemp("sheets") / "hand.pdf"
    plan = with_documents(
        plan, prepared_for="The Harrowmere Estate", prepared_by="A. Adviser", reference="HM-12",
        revision="B",
    )  # fmt: skip
    save_plan_sheets(plan, plan_layers(plan), path)
    return path


@pytest.fixture(scope="session")
def divided_sheets(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Sixteen paddocks of 200 m, 800 m by 800 m, on A4 at 1:2500: several sheets."""
    path = tmp_path_factory.mktemp("sheets") / "divided.pdf"
    plan, layers = grid_plan(4, 4, paper="A4", scale=2500)
    save_plan_sheets(plan, layers, path)
    return path


@pytest.fixture(scope="session")
def divided_pages(divided_sheets: Path) -> list:
    return read_pages(divided_sheets)


@pytest.fixture(scope="session")
def divided_texts(divided_pages: list) -> list[str]:
    return texts_of(divided_pages)


@pytest.fixture(scope="session")
def hand_texts(hand_sheets: Path) -> list[str]:
    return texts_of(read_pages(hand_sheets))
