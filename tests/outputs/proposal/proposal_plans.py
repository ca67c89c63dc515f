"""Plans to make a proposal of: by hand, with harmful and foreign names, and with many outlets."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from hand_plan import SOUTH, WEST, make_plan

from dewpond.base.model import Change, Comparison, Outcome, Plan
from dewpond.base.settings.documents import DocumentsSettings
from dewpond.outputs.layers import plan_layers
from dewpond.outputs.proposal import proposal_html

HARMFUL = (
    "<script>alert(1)</script>",
    '=HYPERLINK("x")',
    '"><img src=x onerror=alert(1)>',
    "{{ 7*7 }}</script><!-- ]]> --></style>",
)
FOREIGN = (
    "Поле за рекой",
    "الحقل الشرقي الكبير",
    "שדה המעיין",
    "Pré d'été à l'orée du bois, où l'herbe reste verte jusqu'à la Saint-Martin, derrière Noël",
)


def dated(plan: Plan, **documents: Any) -> Plan:
    """Return the plan with settings of the documents, the day of printing among them."""
    settings = DocumentsSettings(**{"date": "2026-11-26", **documents})
    return replace(plan, project=plan.project.model_copy(update={"documents": settings}))


def named(names: tuple[str, ...], **documents: Any) -> Plan:
    return dated(make_plan(names), **documents)


def page(plan: Plan, comparison: Comparison | None = None) -> str:
    return proposal_html(plan, plan_layers(plan), comparison=comparison)


def many_layers(plan: Plan, count: int, side_m: float = 150.0) -> dict[str, gpd.GeoDataFrame]:
    """Return layers of square paddocks in rows, an outlet in each, pipe from one to the next."""
    layers = dict(plan_layers(plan))
    columns = int(np.ceil(count**0.5))
    corners = [
        (WEST + side_m * (i % columns), SOUTH + side_m * (i // columns)) for i in range(count)
    ]
    middles = [shapely.Point(x + side_m / 2, y + side_m / 2) for x, y in corners]
    starts = [shapely.Point(WEST - 40, SOUTH - 30), *middles]
    names = [f"Field {i + 1}" for i in range(count)]
    layers["paddock"] = _repeated(
        layers["paddock"], [shapely.box(x, y, x + side_m, y + side_m) for x, y in corners],
        name=names,
    )  # fmt: skip
    layers["outlet"] = _repeated(
        layers["outlet"], middles, name=[f"outlet {i + 1}" for i in range(count)],
        serves=[(name,) for name in names],
    )  # fmt: skip
    layers["pipe"] = _repeated(
        layers["pipe"], [shapely.LineString(pair) for pair in zip(starts, middles, strict=False)],
        name=[f"pipe {i + 1}" for i in range(count)],
    )  # fmt: skip
    for kind in (
        "air_valve",
        "washout",
        "drain",
        "stop_valve",
        "meter",
        "break_tank",
        "uncovered",
    ):
        layers[kind] = layers[kind].iloc[:0]
    return layers


def broken_layers(plan: Plan) -> dict[str, gpd.GeoDataFrame]:
    """Return the layers with the first paddock cut in two breaks, a hose into the second."""
    layers = dict(plan_layers(plan))
    field = layers["paddock"].geometry.iloc[0]
    west, south, east, north = field.bounds
    halves = [
        field.intersection(shapely.box(west, south, (west + east) / 2, north)),
        field.intersection(shapely.box((west + east) / 2, south, east, north)),
    ]
    layers["break"] = gpd.GeoDataFrame(
        {"name": ["Top Field 1", "Top Field 2"], "watered": [True, False]},
        geometry=halves, crs=layers["paddock"].crs,
    )  # fmt: skip
    hose = shapely.LineString([halves[0].centroid, halves[1].centroid])
    layers["hose"] = gpd.GeoDataFrame(
        {"name": ["hose to Top Field 2"]}, geometry=[hose], crs=layers["paddock"].crs
    )
    return layers


def _repeated(table: gpd.GeoDataFrame, shapes: list[Any], **columns: Any) -> gpd.GeoDataFrame:
    rows = table.iloc[[0] * len(shapes)].reset_index(drop=True)
    return rows.assign(**columns).set_geometry(gpd.GeoSeries(shapes, crs=table.crs))


def a_comparison(plan: Plan) -> Comparison:
    """Return three settings: as it stands, dearer by 1,250, and one that could not be planned."""
    totals = dict(plan.totals)
    dearer = {**totals, "cost": totals["cost"] + 1250.0, "outlets": 6.0}
    return Comparison(
        plan.holding.name,
        "GBP",
        (
            Outcome("as it stands", (), "road main", totals, plan.verdicts),
            Outcome(
                "short <b>walk</b>", (Change("design.walk_limit_m", "200.0", "240.0"),),
                "road main", dearer, plan.verdicts[1:],
            ),
            Outcome("no source", (), failure="the source lies in a wood"),
        ),
    )  # fmt: skip
