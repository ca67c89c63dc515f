"""One plan, or one failure, as rows of the tables of many holdings."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import geopandas as gpd
import numpy as np
import shapely

from dewpond.base.model import Plan
from dewpond.outputs.register.columns import FIELDS, HOLDINGS, VERDICTS, Kind
from dewpond.outputs.register.gravity import gravity_of_fields
from dewpond.outputs.register.water import water_near_fields

Row = dict[str, Any]
Rows = dict[str, list[Row]]

_DECIMALS = {
    "share": 4,
    "gap": 6,
    "ha": 4,
    "cost": 2,
    "m": 2,
    "l": 1,
    "min": 3,
    **dict.fromkeys(("net", "gross", "grant", "pay", "life"), 2),
}
_OTHER_DECIMALS = 6
_DEGREES = 7
_LONGEST_TEXT = 2000


def plan_rows(plan: Plan, fields: gpd.GeoDataFrame, holding: str, folder: str) -> Rows:
    """Return the rows that one plan adds to each table.

    Parameters
    ----------
    plan : Plan
    fields : GeoDataFrame
        Layer ``paddock`` of the plan, in its working CRS.
    holding : str
        What the holding is called in the batch.
    folder : str
        Folder of its own results, relative to that of the batch.

    Returns
    -------
    dict of str to list of dict
        By table; values are text, whole numbers, numbers, booleans or None, and ``geometry`` is
        well-known binary as hexadecimal text, longitude and latitude on WGS 84.
    """
    beyond, under = water_near_fields(plan), gravity_of_fields(plan)
    grazed = set(plan.holding.grazed)
    shapes = fields.geometry.to_crs("EPSG:4326")
    field_rows = []
    for number, (row, shape) in enumerate(zip(fields.to_dict("records"), shapes, strict=True)):
        own = {
            **row,
            "holding": holding,
            "field": row["name"],
            "grazed": number in grazed,
            "mobs": "; ".join(row["mobs"]),
            "within_walk": bool(row["covered_share"] == 1) if number in grazed else None,
            **beyond.get(number, {}),
            **under.get(number, {}),
        }
        field_rows.append({**_row(own, FIELDS), "geometry": _written(shape, multi=True)})
    return {
        "holdings": [_holding_row(plan, field_rows, holding, folder, _middle(fields))],
        "fields": field_rows,
        "verdicts": [
            _row({**vars(verdict), "holding": holding}, VERDICTS) for verdict in plan.verdicts
        ],
    }


def failed_rows(
    holding: str,
    reason: str,
    *,
    name: str | None = None,
    place: tuple[float, float] | None = None,
) -> Rows:
    """Return the rows of a holding that could not be planned.

    Parameters
    ----------
    holding : str
    reason : str
        Why not, in words.
    name : str, optional
        Name of the holding, where it was read.
    place : tuple of float, optional
        Longitude and latitude, where they are known.
    """
    row = _row({"holding": holding, "name": name, "status": "failed", "reason": reason}, HOLDINGS)
    shape = shapely.Point(place) if place is not None else None
    return {"holdings": [{**row, "geometry": _written(shape)}], "fields": [], "verdicts": []}


def _holding_row(
    plan: Plan, fields: list[Row], holding: str, folder: str, place: shapely.Point | None
) -> Row:
    scheme, source = plan.scheme, plan.holding.sources[plan.network.source]
    missed = [verdict.requirement for verdict in plan.verdicts if not verdict.met]
    sizing, costing = scheme.sizes.proof, scheme.costing
    schedule: Mapping[str, float] = {} if costing is None else costing.totals
    values = {
        **plan.totals,
        **{name: schedule.get(name) for name in ("net", "gross", "grant", "to_pay")},
        "whole_life": None if costing is None else costing.whole_life.get("total"),
        "holding": holding,
        "name": plan.holding.name,
        "status": "short" if missed else "met",
        "folder": folder,
        "fields": len(fields),
        "currency": plan.project.prices.currency,
        "requirements": len(plan.verdicts),
        "requirements_missed": len(missed),
        "falls_short": "; ".join(missed),
        "source": source.name,
        "source_kind": source.settings.kind,
        "water_level_m": plan.heads.source_level_m,
        "gap": plan.network.proof.gap,
        "search": plan.network.proof.status,
        "sizing_gap": sizing.gap if math.isfinite(sizing.value) else None,
        "cut_by_clock": _cut_by_clock(plan),
        "fields_beyond_water": sum(row["beyond_water"] in ("all", "part") for row in fields),
        "fields_under_gravity": sum(row["gravity"] == "all" for row in fields),
        "warnings": len(plan.warnings),
        "working_crs": plan.holding.crs.to_string(),
    }
    return {**_row(values, HOLDINGS), "geometry": _written(place)}


def _cut_by_clock(plan: Plan) -> bool:
    """Say whether any search ended by the clock, so that another run may find another plan."""
    return any(
        not scheme.layout.reproducible or scheme.sizes.proof.status == "time limit"
        for scheme in plan.schemes
    )


def _middle(fields: gpd.GeoDataFrame) -> shapely.Point | None:
    """Return a point within the largest field, in degrees."""
    if fields.empty:
        return None
    largest = fields.geometry.iloc[int(np.argmax(fields.geometry.area))]
    return gpd.GeoSeries([largest.representative_point()], crs=fields.crs).to_crs(4326).iloc[0]


def _row(values: Mapping[str, Any], columns: Mapping[str, Kind]) -> Row:
    return {name: _value(values.get(name), name, kind) for name, kind in columns.items()}


def _value(value: Any, name: str, kind: Kind) -> Any:
    """Return a value as it is written: rounded, None for what is not known."""
    if value is None or (isinstance(value, float | np.floating) and not math.isfinite(value)):
        return None
    if name == "covered_share":
        # Rounded down, so that 1 is written only where every bit of ground is in reach.
        return math.floor(float(value) * 10 ** _DECIMALS["share"]) / 10 ** _DECIMALS["share"]
    if kind == "number":
        return round(float(value), _DECIMALS.get(name.rsplit("_", 1)[-1], _OTHER_DECIMALS))
    if kind == "whole":
        return int(value)
    if kind == "yes or no":
        return bool(value)
    text = str(value)
    return text if len(text) <= _LONGEST_TEXT else text[: _LONGEST_TEXT - 1] + "…"


def _written(shape: shapely.Geometry | None, *, multi: bool = False) -> str | None:
    if shape is None or shape.is_empty:
        return None
    shape = shapely.transform(shape, lambda pairs: np.round(pairs, _DEGREES) + 0.0)
    if multi and isinstance(shape, shapely.Polygon):
        shape = shapely.MultiPolygon([shape])
    return str(shapely.to_wkb(shape, hex=True, byte_order=1, include_srid=False))
