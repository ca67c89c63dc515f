"""Whether the scheme does what is asked, and what other sources would come to."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from dewpond.base.measures import Measures, Quantity
from dewpond.base.model import Plan, Scheme

_QUANTITIES: Mapping[str, Quantity] = {
    "m": "head", "L/min": "flow", "m/s": "speed", "L": "volume", "bar": "pressure", "W": "power",
    "mm": "diameter",
}  # fmt: skip


def answers(plan: Plan, measures: Measures) -> list[dict[str, Any]]:
    """Return a row for each requirement.

    Returns
    -------
    list of dict
        ``requirement``, ``had`` and ``asked`` (as printed), ``met``, ``where``, ``remedy``.
    """
    return [
        {
            "requirement": verdict.requirement,
            **_printed(verdict.figure, verdict.limit, verdict.unit, verdict.met, measures),
            "met": verdict.met,
            "where": verdict.where,
            "remedy": verdict.remedy,
        }
        for verdict in plan.verdicts
    ]


def sources(plan: Plan) -> list[dict[str, Any]]:
    """Return a row for each source of the holding, the one in use among them.

    Figures are None for a source that was not tried; ``whole_life`` and ``each_year`` where the
    scheme is not priced for its whole life.
    """
    tried = {scheme.network.source: scheme for scheme in plan.schemes}
    return [
        {
            "name": source.name,
            "kind": source.settings.kind,
            "used": number == plan.network.source,
            **_outcome(tried.get(number)),
        }
        for number, source in enumerate(plan.holding.sources)
    ]


def _outcome(scheme: Scheme | None) -> dict[str, Any]:
    if scheme is None:
        return {"tried": False}
    totals, costing = scheme.appraisal.totals, scheme.costing
    return {
        "tried": True,
        "met": scheme.met,
        "missed": [v.requirement for v in scheme.appraisal.verdicts if not v.met],
        "cost": totals["cost"] if costing is None else costing.totals["gross"],
        "unpriced_pipe_m": 0.0 if costing is None else costing.rates["unpriced_pipe_m"],
        "whole_life": None if costing is None else costing.whole_life["total"],
        "each_year": None if costing is None else costing.whole_life["each_year"],
        "outlets": totals["outlets"],
        "pipe_m": totals["pipe_m"],
        "remedies": [{"action": r.action, "works": r.works} for r in scheme.supply.remedies],
        "tank": dict(scheme.supply.tank),
        "pump": dict(scheme.supply.pump),
        "labour": dict(scheme.supply.labour),
    }


def _printed(
    figure: float, limit: float, unit: str, met: bool, measures: Measures
) -> dict[str, str]:
    """Return both figures in one unit, with more decimals where rounding would hide a miss."""
    quantity = _QUANTITIES.get(unit)
    if quantity is None:
        return {"had": _plain(figure, unit), "asked": _plain(limit, unit)}
    decimals = measures.unit(quantity).decimals
    for places in (decimals, decimals + 1, decimals + 3):
        had, asked = (measures.text(quantity, value, places) for value in (figure, limit))
        if met or had != asked:
            break
    return {"had": had, "asked": asked}


def _plain(value: float, unit: str) -> str:
    """Return a figure in a unit that is the same everywhere: counts, shares, hours."""
    if value != value:
        return "–"
    # Rounded down: all of it is said only where it is all.
    text = f"{int(value * 10 + 1e-6) / 10:g}" if unit == "%" else f"{value:,.4g}"
    return f"{text} {unit}".strip()
