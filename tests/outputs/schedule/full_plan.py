"""The plan made by hand, costed with everything that a workbook can hold."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from hand_plan import make_plan, with_costing

from dewpond.base.model import Plan
from dewpond.base.settings import project_from_dict

GRANTS = [
    {"name": "LV7, a trough", "pays_for": ["trough-fixed", "trough-mobile"], "each": 152.92},
    {"name": "pipework", "pays_for": ["pipe", "laying"], "share": 0.4, "cap": 250.0},
    {"name": "valves", "pays_for": ["fittings"], "share": 0.5, "cap_each": 30.0, "cap_item": 20.0},
]


def settings(plan: Plan, **tables: Any) -> Plan:
    """Return the plan with other settings, costed anew."""
    raw = plan.project.model_dump(mode="python")
    for name, table in tables.items():
        raw[name] = {**raw[name], **table} if isinstance(table, dict) else table
    return with_costing(replace(plan, project=project_from_dict(raw)))


def make_full_plan() -> Plan:
    """Return a plan with parcels, grants with every cap, a budget, tax and several stages."""
    plan = make_plan()
    assert plan.scheme.costing is not None
    paddocks = plan.holding.paddocks.assign(parcel=["SD 1", "SD 2", "", "SD 4"])
    budget = 0.85 * plan.scheme.costing.totals["gross"]
    plan = replace(plan, holding=replace(plan.holding, paddocks=paddocks))
    costing = {"tax_share": 0.2, "tax_name": "VAT", "budget": budget, "term_years": 13}
    return settings(plan, grant=GRANTS, costing=costing)
