"""Schemes of the plan made by hand, costed with other settings."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from hand_plan import make_plan, with_costing

from dewpond.base.model import Costing, Plan
from dewpond.base.settings import project_from_dict


def plan_with(plan: Plan | None = None, **tables: Any) -> Plan:
    """Return the plan made by hand with other settings, costed anew."""
    plan = make_plan() if plan is None else plan
    raw = plan.project.model_dump(mode="python")
    for name, table in tables.items():
        raw[name] = {**raw[name], **table} if isinstance(table, dict) else table
    return with_costing(replace(plan, project=project_from_dict(raw)))


def costing_with(plan: Plan | None = None, **tables: Any) -> Costing:
    """Return the costing of its chosen scheme."""
    costing = plan_with(plan, **tables).scheme.costing
    assert costing is not None
    return costing


def line(costing: Costing, code: str) -> Any:
    """Return the one line of a code."""
    rows = costing.items[costing.items["code"] == code]
    assert len(rows) == 1, list(costing.items["code"])
    return rows.iloc[0]
