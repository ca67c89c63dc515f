"""Figures that stand in two documents are the same in both, and all bear one date."""

from __future__ import annotations

import dataclasses
import io
import re
from datetime import date
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from hand_plan import make_plan, with_scheme

import farms
from dewpond.base.model import Plan
from dewpond.outputs import write_plan
from dewpond.outputs.layers import plan_layers
from dewpond.outputs.proposal import proposal_html
from dewpond.outputs.schedule import quantities_xlsx


@pytest.fixture(scope="module")
def dry() -> Plan:
    """Return a plan of ground too steep for any trough: no outlet, no pipe."""
    return farms.plan(
        farms.squares(1, 1, 200.0), lambda x, y: 200 + 0.6 * (x - farms.WEST) + 0 * y,
        siting={"steepest_degrees": 0.5}, design={"trough": "fixed"},
    )  # fmt: skip


def text_of(html: str) -> str:
    """Return what a reader sees of a page, blanks made one."""
    bare = re.sub(r"<(script|style).*?</\\1>|<[^>]*>", " ", html, flags=re.DOTALL)
    return re.sub(r"\s+", " ", bare)


def test_a_scheme_without_outlets_is_written_whole(dry: Plan, tmp_path: Path) -> None:
    assert dry.totals["outlets"] == 0
    written = write_plan(dry, tmp_path / "dry")
    assert {"proposal.html", "plan-sheet.pdf", "quantities.xlsx"} <= {p.name for p in written}
    seen = text_of((tmp_path / "dry" / "proposal.html").read_text("utf-8"))
    assert not re.search(r"\bnan\b", seen, re.IGNORECASE)
    assert "Every outlet works in" not in seen
    assert "How sure this is" not in seen


def test_all_documents_bear_one_date(monkeypatch: pytest.MonkeyPatch) -> None:
    from dewpond.base.dates import document_date

    monkeypatch.setenv("SOURCE_DATE_EPOCH", "0")
    plan: Any = make_plan()
    assert document_date(plan.project) == date(1970, 1, 1)
    assert "1 January 1970" in proposal_html(plan, plan_layers(plan))
    costing = plan.scheme.costing
    first = openpyxl.load_workbook(io.BytesIO(quantities_xlsx(plan, costing))).worksheets[0]
    assert "1 January 1970" in str(first["A3"].value)


def test_a_price_without_pipe_that_fits_says_so() -> None:
    plan: Any = make_plan()
    costing = plan.scheme.costing
    rates = {**costing.rates, "unpriced_pipe_m": 123.0}
    short = with_scheme(plan, costing=dataclasses.replace(costing, rates=rates))
    said = "without 123 m of pipe for which no size will do"
    assert said in text_of(proposal_html(short, plan_layers(short)))
    assert said not in text_of(proposal_html(plan, plan_layers(plan)))


def test_the_schedules_total_is_the_same_everywhere(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from dewpond.cli.planning import _tell
    from dewpond.outputs.schedule import quantities_csv

    plan: Any = make_plan()
    costing = plan.scheme.costing
    gross = costing.totals["gross"]
    assert f"{gross:,.0f}" != f"{plan.totals['cost']:,.0f}"
    _tell(plan, tmp_path)
    assert f"{costing.currency} {gross:,.0f}" in capsys.readouterr().err
    seen = text_of(proposal_html(plan, plan_layers(plan)))
    assert f"{costing.currency} {gross:,.0f}" in seen
    assert f"{costing.currency} {gross:,.2f}" in seen
    assert f",{gross:.2f}," in quantities_csv(plan, costing)
