"""Water needed: by mob, by month, by paddock."""

from __future__ import annotations

from typing import Any

from dewpond.base.model import Plan


def need(plan: Plan) -> dict[str, Any]:
    """Return what the stock drink, and when.

    Returns
    -------
    dict
        ``mobs`` (a row a mob), ``months`` (only with a calendar: a row a month in which anything
        drinks, with the share of the greatest), ``peak_month`` (0 without one),
        ``daily_demand_l``, ``grazed`` (number of paddocks).
    """
    demand = plan.demand
    mobs = [
        {"name": name, **{str(key): value for key, value in row.items()}}
        for name, row in demand.mobs.iterrows()
    ]
    return {
        "mobs": mobs,
        "months": _months(plan),
        "peak_month": int(demand.peak_month),
        "daily_demand_l": demand.daily_demand_l,
        "sources": list(dict.fromkeys(str(mob["source"]) for mob in mobs)),
    }


def _months(plan: Plan) -> list[dict[str, Any]]:
    calendar = plan.demand.calendar
    if calendar.empty:
        return []
    rows: list[dict[str, Any]] = []
    for month, group in calendar.groupby("month", sort=True):
        there = group[group["head"] > 0]
        rows.append({
            "month": int(month),
            "mobs": [
                {"name": mob, "head": int(head)}
                for mob, head in zip(there["mob"], there["head"], strict=True)
            ],
            "daily_demand_l": float(group["daily_demand_l"].sum()),
        })  # fmt: skip
    most = max(row["daily_demand_l"] for row in rows) or 1.0
    return [{**row, "share": row["daily_demand_l"] / most} for row in rows]
