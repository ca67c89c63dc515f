"""The figures of a plan as JSON: totals, verdicts, proofs, settings, versions, inputs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

import pandas as pd

from dewpond.base.advice import advice
from dewpond.base.model import Costing, Isolation, Plan, Proof, Scheme
from dewpond.base.strict_json import json_text


def summary_text(plan: Plan, files: Sequence[str], *, timed: bool = True) -> str:
    """Return ``summary.json``.

    Parameters
    ----------
    plan : Plan
    files : sequence of str
        Paths of all files of the result, relative to its folder, with forward slashes. They
        tell a later run which files it may replace.
    timed : bool, default True
        Whether to tell how long each search took; without, ``seconds`` is null.

    Returns
    -------
    str
        JSON with the keys of the published contract; a figure that is not known is null.
    """
    record = _summary(plan, files)
    if not timed:
        # Settings may hold seconds too, and those are an input.
        record = {**_untimed(record), "settings": record["settings"]}
    return json_text(record)


def _summary(plan: Plan, files: Sequence[str]) -> dict[str, Any]:
    holding = plan.holding
    currency = plan.project.prices.currency
    return {
        "holding": holding.name,
        "met": plan.met,
        "totals": dict(plan.totals),
        "verdicts": [asdict(verdict) for verdict in plan.verdicts],
        "optimisation": {
            "layout": _proof(plan.network.proof, currency),
            "sizing": _proof(plan.scheme.sizes.proof, currency),
        },
        "source": {
            "name": holding.sources[plan.network.source].name,
            "water_level_m": plan.heads.source_level_m,
            "reason": plan.heads.source_level_reason,
        },
        "sources": [_source(plan, scheme) for scheme in plan.schemes],
        "supply": _supply(plan.scheme),
        "isolation": _isolation(plan.scheme.isolation),
        "schedule": _schedule(plan, plan.scheme.costing),
        "confidence": _confidence(plan),
        "crs": {
            "name": holding.crs.name,
            "code": holding.crs.to_string() if holding.crs.to_authority() else None,
            "wkt": holding.crs.to_wkt(),
        },
        "walking_grid": {"cell_m": plan.terrain.cell_m, "reason": plan.terrain.cell_reason},
        "elevation_posting_m": holding.surface.posting_m,
        "warnings": list(dict.fromkeys(plan.warnings)),
        "repairs": list(holding.repairs),
        "credits": list(holding.credits),
        "settings": plan.settings_used(),
        "versions": dict(plan.versions),
        "inputs": {path: {"sha256": digest} for path, digest in holding.inputs.items()},
        "files": list(files),
    }


def _source(plan: Plan, scheme: Scheme) -> dict[str, Any]:
    """Return what came of one source: enough to see why it was chosen, or was not."""
    source = plan.holding.sources[scheme.network.source]
    return {
        "name": source.name,
        "kind": source.settings.kind,
        "chosen": scheme is plan.scheme,
        "met": scheme.met,
        "cost": scheme.appraisal.totals["cost"],
        "cost_by_price_round": list(scheme.rounds),
        "outlets": scheme.appraisal.totals["outlets"],
        "pipe_m": scheme.appraisal.totals["pipe_m"],
        "water_level_m": scheme.heads.source_level_m,
        "falls_short": [asdict(v) for v in scheme.appraisal.verdicts if not v.met],
        "remedies": [asdict(remedy) for remedy in scheme.supply.remedies],
        "warnings": list(scheme.warnings),
    }


def _supply(scheme: Scheme) -> dict[str, Any]:
    supply, intake = scheme.supply, scheme.intake
    return {
        "reason": intake.reason,
        "design_flow_l_min": scheme.flows.total_l_min,
        "level_at_design_flow_m": float(intake.level_at_m(scheme.flows.total_l_min)),
        "daily_volume_l": intake.daily_volume_l,
        "judgements": [asdict(judgement) for judgement in supply.judgements],
        "remedies": [asdict(remedy) for remedy in supply.remedies],
        "tank": dict(supply.tank),
        "pump": dict(supply.pump),
        "labour": dict(supply.labour),
        "cautions": list(supply.cautions),
    }


def _confidence(plan: Plan) -> dict[str, Any] | None:
    """Return how sure the chosen scheme is; None where that was not assessed."""
    found = plan.confidence
    if found is None:
        return None
    design = {**found.design, "feasible": bool(found.design["feasible"])}
    pipes = found.design_pipes.rename_axis("pipe").reset_index()
    return {
        "advice": advice(found, plan.project.prices.currency),
        "chance_all": found.chance_all,
        "simulations": found.simulations,
        "assumed": dict(found.assumed),
        "outlets": _records(found.outlets.rename_axis("name").reset_index()),
        "requirements": _records(found.requirements.rename_axis("requirement").reset_index()),
        "survey": _records(found.survey),
        "influences": _records(found.influences),
        "safer_design": {**design, "pipes": _records(pipes)},
    }


def _records(table: pd.DataFrame) -> list[dict[str, Any]]:
    return [{str(key): value for key, value in row.items()} for row in table.to_dict("records")]


def _isolation(isolation: Isolation) -> dict[str, Any]:
    return {
        "sections": [
            {
                "stop_valve": str(valve),
                "outlets_shut": list(row["outlets_shut"]),
                "dry_share": float(row["dry_share"]),
            }
            for valve, row in isolation.sections.iterrows()
        ],
        "notes": list(isolation.notes),
    }


def _schedule(plan: Plan, costing: Costing | None) -> dict[str, Any] | None:
    """Return what the schedule comes to, its stages, and the whole life of every source."""
    if costing is None:
        return None
    stages = costing.stages.reset_index(names="stage").to_dict("records")
    costed = [(scheme, scheme.costing) for scheme in plan.schemes if scheme.costing is not None]
    return {
        "currency": costing.currency,
        "totals": dict(costing.totals),
        "rates": dict(costing.rates),
        "grants": costing.grants.to_dict("records"),
        "stages": stages,
        "whole_life": [
            {
                "source": plan.holding.sources[scheme.network.source].name,
                **dict(own.whole_life),
                **dict(own.running),
                "unpriced_pipe_m": own.rates["unpriced_pipe_m"],
            }
            for scheme, own in costed
        ],
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


def _untimed(value: Any) -> Any:
    """Return a record without the only figures that no second run repeats."""
    if isinstance(value, dict):
        return {key: None if key == "seconds" else _untimed(item) for key, item in value.items()}
    return [_untimed(item) for item in value] if isinstance(value, list) else value
