"""The proposal as one page: facts and map put into the templates, style and script inside."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import PurePath
from typing import Any

import geopandas as gpd

from dewpond.base.dates import document_date
from dewpond.base.measures import Measures, money
from dewpond.base.model import Comparison, Plan
from dewpond.outputs.proposal.environment import environment, fingerprint, static
from dewpond.outputs.proposal.facts.answers import answers, sources
from dewpond.outputs.proposal.facts.checks import site_checks
from dewpond.outputs.proposal.facts.need import need
from dewpond.outputs.proposal.facts.schedule import schedule
from dewpond.outputs.proposal.facts.sureness import sureness
from dewpond.outputs.proposal.facts.what_ifs import what_ifs
from dewpond.outputs.proposal.sitemap import SiteMap, draw_site_map

Layers = Mapping[str, gpd.GeoDataFrame]


def proposal_html(plan: Plan, layers: Layers, *, comparison: Comparison | None = None) -> str:
    """Return the proposal: one self-contained page to read, on paper or on a screen.

    It fetches nothing: style, script, map and relief are inside, and its content security policy
    lets no other script run. Figures are printed in the units of ``[documents]``. The same plan
    gives the same page on the same date (`document_date`).

    Parameters
    ----------
    plan : Plan
        Parts that were not asked for (prices, confidence, breaks) leave their section out.
    layers : mapping of str to GeoDataFrame
        Features of the plan by kind, in its working CRS [m].
    comparison : Comparison, optional
        What the what-ifs of the project came to; left out, the page tells what is asked and how
        to work it out.

    Returns
    -------
    str
        HTML in UTF-8 without external parts.
    """
    measures = Measures(plan.project.documents.units)
    site_map = draw_site_map(plan, layers, _unit_m(measures))
    script = static("map.js")
    return environment().get_template("proposal.html").render(
        style=static("proposal.css"),
        script=script,
        policy=fingerprint(script),
        m=measures,
        map=site_map,
        map_data=_map_data(site_map, measures),
        **_facts(plan, layers, measures, comparison),
    )  # fmt: skip


def _facts(
    plan: Plan, layers: Layers, measures: Measures, comparison: Comparison | None
) -> dict[str, Any]:
    """Return what the sections tell, by the names that the templates use."""
    project, holding, scheme = plan.project, plan.holding, plan.scheme
    currency = project.prices.currency
    sure = sureness(plan.confidence)

    def priced(amount: float, decimals: int = 0) -> str:
        return money(float(amount), currency, decimals)

    return {
        "holding": holding.name,
        "documents": project.documents,
        "day": document_date(project),
        "totals": dict(plan.totals),
        "met": plan.met,
        "need": need(plan),
        "answers": answers(plan, measures),
        "sources": sources(plan),
        "source": holding.sources[plan.network.source].name,
        "source_reasons": _once((plan.heads.source_level_reason, scheme.intake.reason)),
        "outlets": _outlets(layers),
        "pipes": _rows(layers["pipe"]),
        "paddocks": _paddocks(layers),
        "break_rows": _rows(layers["break"]) if "break" in layers else [],
        "chances": {} if sure is None else {row["name"]: row["chance"] for row in sure["outlets"]},
        "supply": scheme.supply,
        "isolation": scheme.isolation,
        "costs": schedule(scheme.costing),
        "priced": priced,
        "sure": sure,
        "what_if": what_ifs(plan, comparison),
        "checks": site_checks(plan, layers),
        "project": project,
        "proof": plan.network.proof,
        "warnings": _once(plan.warnings),
        "repairs": list(holding.repairs),
        "credits": list(holding.credits),
        # Where a file lies on the planner's machine is nothing to the client.
        "inputs": _once(PurePath(path).name for path in holding.inputs),
        "grid": _grid(plan),
        "posting_m": holding.surface.posting_m,
        "cell_m": plan.terrain.cell_m,
        "cautions": list(scheme.supply.cautions),
        "limit_m": plan.reach.limit_m,
        "hose_m": plan.reach.hose_m,
        "version": plan.versions.get("dewpond", ""),
    }


def _rows(table: gpd.GeoDataFrame) -> list[dict[str, Any]]:
    """Return the columns of a layer row by row, without shapes, numbered."""
    columns = table.drop(columns="geometry")
    return [
        {"number": number, **{str(key): value for key, value in row.items()}}
        for number, (_, row) in enumerate(columns.iterrows())
    ]


def _outlets(layers: Layers) -> list[dict[str, Any]]:
    """Return the outlets with where they stand, in the working CRS [m]."""
    points = layers["outlet"].geometry
    return [
        {**row, "easting_m": float(point.x), "northing_m": float(point.y)}
        for row, point in zip(_rows(layers["outlet"]), points, strict=True)
    ]


def _paddocks(layers: Layers) -> list[dict[str, Any]]:
    """Return the paddocks with the outlets that serve each."""
    serving: dict[str, list[str]] = {}
    for outlet in _rows(layers["outlet"]):
        for paddock in outlet["serves"]:
            serving.setdefault(paddock, []).append(outlet["name"])
    return [{**row, "outlets": serving.get(row["name"], [])} for row in _rows(layers["paddock"])]


def _map_data(site_map: SiteMap, measures: Measures) -> dict[str, Any]:
    """Return what the script needs to know: measure of the map, its labels, unit of the bar."""
    metric = measures.system == "metric"
    return {
        "width": site_map.frame.width_m,
        "height": site_map.frame.height_m,
        "unit": _unit_m(measures),
        "sign": measures.sign("length"),
        "far": {"sign": "km", "units": 1000} if metric else {"sign": "mi", "units": 5280},
        "labels": site_map.labels,
    }


def _unit_m(measures: Measures) -> float:
    """Return the length of the unit that documents print lengths in [m]."""
    return 1.0 / measures.unit("length").factor


def _grid(plan: Plan) -> str:
    """Return the name of the working CRS with its code."""
    crs = plan.holding.crs
    authority = crs.to_authority()
    return f"{crs.name} ({':'.join(authority)})" if authority else str(crs.name)


def _once(sentences: Iterable[str]) -> list[str]:
    return [text for text in dict.fromkeys(sentences) if text]
