"""How sure the scheme is, turned into rows."""

from __future__ import annotations

from typing import Any

from dewpond.base.model import Confidence

_NEARLY_SURE = 0.95
_TOLD = 6
"""Outlets in doubt that are told one by one."""


def sureness(confidence: Confidence | None) -> dict[str, Any] | None:
    """Return chances, what to level first and what matters most, or None without any.

    Nothing is sure or unsure of a scheme without outlets: it waters no ground.

    Returns
    -------
    dict or None
        ``chance_all``, ``simulations``, ``outlets`` (``name``, ``chance``, spare heads, in the
        order of the network), ``doubtful`` (the least sure first, at most six), ``doubtful_more``
        (how many besides), ``requirements``, ``survey`` (rows of it, best first), ``settles``
        (how many of its spots leave less than half of the doubt), ``influences``, ``assumed``,
        ``design``, ``wider`` (pipes that the safer design makes larger), ``warnings``.
    """
    if confidence is None or confidence.outlets.empty:
        return None
    outlets = _rows(confidence.outlets, "name")
    doubtful = sorted(
        (row for row in outlets if row["chance"] < _NEARLY_SURE), key=lambda row: row["chance"]
    )
    survey = _rows(confidence.survey, "number")
    return {
        "chance_all": confidence.chance_all,
        "simulations": confidence.simulations,
        "outlets": outlets,
        "doubtful": doubtful[:_TOLD],
        "doubtful_more": len(doubtful) - len(doubtful[:_TOLD]),
        "requirements": _rows(confidence.requirements, "name"),
        "survey": survey,
        "settles": _settling(survey),
        "influences": _rows(confidence.influences, "number"),
        "assumed": dict(confidence.assumed),
        "design": dict(confidence.design),
        "wider": _wider(confidence),
        "warnings": list(confidence.warnings),
    }


def _rows(table: Any, label: str) -> list[dict[str, Any]]:
    return [{label: at, **{str(k): v for k, v in row.items()}} for at, row in table.iterrows()]


def _settling(survey: list[dict[str, Any]]) -> int:
    """Return how many spots, from the best on, leave less than half of the doubt."""
    if not survey:
        return 0
    start = float(survey[0]["doubt_before"])
    for count, spot in enumerate(survey, start=1):
        if float(spot["doubt_after"]) <= start / 2:
            return count
    return len(survey)


def _wider(confidence: Confidence) -> list[str]:
    pipes = confidence.design_pipes
    if pipes.empty:
        return []
    wider = pipes["safe_outside_diameter_mm"] > pipes["outside_diameter_mm"]
    return [str(name) for name in pipes.index[wider]]
