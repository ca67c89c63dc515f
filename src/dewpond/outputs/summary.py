"""The figures of a plan as JSON: totals, verdicts, proofs, settings, versions, inputs."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

from dewpond.base.model import Plan, Proof


def summary_text(plan: Plan, files: Sequence[str]) -> str:
    """Return ``summary.json``.

    Parameters
    ----------
    plan : Plan
    files : sequence of str
        Paths of all files of the result, relative to its folder, with forward slashes. They
        tell a later run which files it may replace.

    Returns
    -------
    str
        JSON with the keys of the published contract; a figure that is not known is null.
    """
    return json.dumps(_clean(_summary(plan, files)), ensure_ascii=False, indent=1) + "\n"


def _summary(plan: Plan, files: Sequence[str]) -> dict[str, Any]:
    holding = plan.holding
    return {
        "holding": holding.name,
        "met": plan.met,
        "totals": dict(plan.totals),
        "verdicts": [asdict(verdict) for verdict in plan.verdicts],
        "optimisation": {
            "layout": _proof(plan.network.proof, plan.project.prices.currency),
        },
        "source": {
            "name": holding.sources[plan.network.source].name,
            "water_level_m": plan.heads.source_level_m,
            "reason": plan.heads.source_level_reason,
        },
        "crs": {
            "name": holding.crs.name,
            "code": holding.crs.to_string() if holding.crs.to_authority() else None,
            "wkt": holding.crs.to_wkt(),
        },
        "walking_grid": {"cell_m": plan.terrain.cell_m, "reason": plan.terrain.cell_reason},
        "elevation_posting_m": holding.surface.posting_m,
        "warnings": list(plan.warnings),
        "repairs": list(holding.repairs),
        "credits": list(holding.credits),
        "settings": plan.settings_used(),
        "versions": dict(plan.versions),
        "inputs": {path: {"sha256": digest} for path, digest in holding.inputs.items()},
        "files": list(files),
    }


def _proof(proof: Proof, unit: str) -> dict[str, Any]:
    return {
        "cost": proof.value,
        "bound": proof.bound,
        "gap": proof.gap,
        "unit": unit,
        "seconds": proof.seconds,
        "status": proof.status,
    }


def _clean(value: Any) -> Any:
    """Return a value that strict JSON can hold; floats to the nanometre, unknowns null."""
    if isinstance(value, Mapping):
        return {str(key): _clean(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_clean(item) for item in value]
    if hasattr(value, "item"):
        value = value.item()
    if isinstance(value, float):
        return round(value, 9) if math.isfinite(value) else None
    return value
