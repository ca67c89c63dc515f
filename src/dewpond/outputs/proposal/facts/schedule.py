"""The priced schedule under its headings, and the stages of building."""

from __future__ import annotations

from typing import Any

from dewpond.base.model import Costing


def schedule(costing: Costing | None) -> dict[str, Any] | None:
    """Return the schedule of quantities, or None where nothing is priced.

    Returns
    -------
    dict or None
        ``groups`` (``work``, ``items``, ``amount``) in the order of printing, ``totals``,
        ``rates``, ``stages``, ``whole_life``, ``currency``, ``warnings``, ``price_sources``.
    """
    if costing is None:
        return None
    items = [{str(k): v for k, v in row.items()} for _, row in costing.items.iterrows()]
    for number, item in enumerate(items, start=1):
        item["number"] = number
    works = list(dict.fromkeys(str(item["work"]) for item in items))
    groups = []
    for work in works:
        own = [item for item in items if item["work"] == work]
        groups.append({
            "work": work, "items": own, "amount": sum(float(item["amount"]) for item in own),
        })  # fmt: skip
    return {
        "groups": groups,
        "totals": dict(costing.totals),
        "rates": dict(costing.rates),
        "stages": [
            {"number": stage, **{str(k): v for k, v in row.items()}}
            for stage, row in costing.stages.iterrows()
        ],
        "whole_life": dict(costing.whole_life),
        "currency": costing.currency,
        "warnings": list(costing.warnings),
        "price_sources": list(dict.fromkeys(str(item["price_source"]) for item in items)),
    }
