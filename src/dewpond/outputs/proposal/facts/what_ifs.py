"""What was asked to be planned otherwise, and what it came to where that was worked out."""

from __future__ import annotations

from typing import Any

from dewpond.base.model import Comparison, Plan


def what_ifs(plan: Plan, comparison: Comparison | None) -> dict[str, Any] | None:
    """Return the what-ifs, or None where there are none.

    Returns
    -------
    dict or None
        ``asked`` (``name`` and ``changes``, pairs of setting and value) and ``outcomes`` (empty
        without a comparison): ``name``, ``changes``, ``planned``, ``met``, ``missed``,
        ``failure``, ``source``, ``totals`` and ``against`` (cost against the first, NaN where
        unknown).
    """
    if comparison is not None:
        return {"asked": [], "outcomes": _outcomes(comparison), "currency": comparison.currency}
    asked = [
        {"name": what_if.name, "changes": list(_settings(what_if.changes()))}
        for what_if in plan.project.what_if
    ]
    return {"asked": asked, "outcomes": [], "currency": ""} if asked else None


def _outcomes(comparison: Comparison) -> list[dict[str, Any]]:
    first = comparison.outcomes[0]
    return [
        {
            "name": outcome.name,
            "changes": [(c.setting, c.value, c.instead_of) for c in outcome.changes],
            "planned": outcome.planned,
            "met": outcome.met,
            "missed": list(outcome.shortfalls),
            "failure": outcome.failure,
            "source": outcome.source,
            "totals": dict(outcome.totals),
            "against": outcome.totals["cost"] - first.totals["cost"]
            if outcome.planned and first.planned
            else float("nan"),
        }
        for outcome in comparison.outcomes
    ]


def _settings(changes: dict[str, Any]) -> list[tuple[str, str]]:
    """Return changed settings by table and key, mobs and sources by their names."""
    found = []
    for table, values in changes.items():
        for entry in values if isinstance(values, list) else [values]:
            owner = f"{table} {entry['name']}" if "name" in entry else table
            found += [(f"{owner}: {k}", _value(v)) for k, v in entry.items() if k != "name"]
    return found


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return ", ".join(map(str, value)) if isinstance(value, list) else str(value)
