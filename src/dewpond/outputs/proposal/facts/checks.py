"""What to look at on site before anything is bought, each thing with its coordinates."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import geopandas as gpd
import numpy as np
import shapely

from dewpond.base.model import Plan
from dewpond.base.surface import transformer

Layers = Mapping[str, gpd.GeoDataFrame]

_WGS84 = "EPSG:4326"
_THIN_HEAD_M = 2.0
"""Head to spare below which an outlet is worth a level; common practice, no source: of the order
of what open heights are out by."""
_SAME_CROSSING_M = 5.0
_POINTS = ("break_tank", "reducing_valve", "air_valve", "washout")


def site_checks(plan: Plan, layers: Layers) -> list[dict[str, Any]]:
    """Return what to check on site, in the order in which it matters.

    Returns
    -------
    list of dict
        ``kind`` ("level", "source", "dry outlet", "thin outlet", "crossing", "existing pipe",
        "break_tank", "reducing_valve", "air_valve", "washout"), ``name``, ``of`` (what it bears
        on: outlets, a pipe, what is crossed), ``figure`` (head or deviation [m], NaN without),
        ``easting_m``, ``northing_m``, ``longitude``, ``latitude``.
    """
    rows = [
        *_levels(plan), *_source(layers), *_outlets(layers["outlet"]), *_crossings(plan, layers),
        *_existing(layers["pipe"]), *_on_pipe(layers),
    ]  # fmt: skip
    to_wgs84 = transformer(plan.holding.crs, type(plan.holding.crs).from_user_input(_WGS84))
    for row in rows:
        longitude, latitude = to_wgs84.transform(row["easting_m"], row["northing_m"])
        row["longitude"], row["latitude"] = float(longitude), float(latitude)
    return rows


def _row(
    kind: str, name: str, point: shapely.Point, of: Any = "", figure: float = float("nan")
) -> dict[str, Any]:
    return {
        "kind": kind, "name": name, "of": of, "figure": float(figure),
        "easting_m": float(point.x), "northing_m": float(point.y),
    }  # fmt: skip


def _levels(plan: Plan) -> list[dict[str, Any]]:
    """Return the spots whose level would settle most, where confidence was asked."""
    if plan.confidence is None:
        return []
    return [
        _row(
            "level", spot["name"], shapely.Point(spot["easting_m"], spot["northing_m"]),
            list(spot["outlets"]), spot["deviation_m"],
        )
        for _, spot in plan.confidence.survey.iterrows()
    ]  # fmt: skip


def _source(layers: Layers) -> list[dict[str, Any]]:
    used = layers["source"][layers["source"]["feeds_scheme"].to_numpy(bool)]
    return [
        _row("source", row["name"], row.geometry, row["source_kind"]) for _, row in used.iterrows()
    ]


def _outlets(outlets: gpd.GeoDataFrame) -> list[dict[str, Any]]:
    """Return outlets without the water they need, and those with little head to spare."""
    rows = []
    for _, outlet in outlets.iterrows():
        spare = outlet["residual_head_m"] - outlet["needed_head_m"]
        if not outlet["served"]:
            rows.append(_row("dry outlet", outlet["name"], outlet.geometry, figure=spare))
        elif np.isfinite(spare) and spare < _THIN_HEAD_M:
            rows.append(_row("thin outlet", outlet["name"], outlet.geometry, figure=spare))
    return sorted(rows, key=lambda row: row["kind"])


def _crossings(plan: Plan, layers: Layers) -> list[dict[str, Any]]:
    """Return where pipe crosses a track or a watercourse."""
    features = plan.holding.features
    rows = []
    for kind, table in (("track", features.tracks), ("watercourse", features.watercourses)):
        if not len(table):
            continue
        drawn = shapely.union_all(list(table.geometry))
        for _, pipe in layers["pipe"].iterrows():
            if kind in pipe["crossings"]:
                points = _crossed(pipe.geometry, drawn)
                rows += [_row("crossing", pipe["name"], point, kind) for point in points]
    return rows


def _crossed(pipe: shapely.LineString, drawn: shapely.Geometry) -> list[shapely.Point]:
    """Return a point for each place where pipe meets what it crosses, those close by once.

    A crossing that the drawing misses by a little lies where the two come closest.
    """
    met = pipe.intersection(drawn)
    if met.is_empty:
        return [shapely.Point(shapely.shortest_line(pipe, drawn).coords[0])]
    found: list[shapely.Point] = []
    for part in shapely.get_parts(met):
        point = part.centroid
        if all(point.distance(other) > _SAME_CROSSING_M for other in found):
            found.append(point)
    return found


def _existing(pipes: gpd.GeoDataFrame) -> list[dict[str, Any]]:
    return [
        _row("existing pipe", row["name"], row.geometry.interpolate(0.5, normalized=True))
        for _, row in pipes[pipes["laying"] == "existing"].iterrows()
    ]


def _on_pipe(layers: Layers) -> list[dict[str, Any]]:
    return [
        _row(kind, row["name"], row.geometry, row["pipe"])
        for kind in _POINTS
        for _, row in layers[kind].iterrows()
    ]
