"""Everything to be set out, as one table of points with names of their own."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import shapely

from dewpond.base.cells import one_line
from dewpond.base.measures import Measures
from dewpond.base.model import Plan
from dewpond.base.units import METRES_PER_FOOT
from dewpond.base.words import words
from dewpond.outputs.site.along import PipePoints, pipe_points
from dewpond.outputs.site.notes import note_of

Layers = Mapping[str, gpd.GeoDataFrame]

_MARK_EVERY_M = {"metric": 25.0, "US customary": 100 * METRES_PER_FOOT}
"""Spacing of chainage marks along the pipe; common practice, no source."""
_FITTINGS = (
    "break_tank", "reducing_valve", "stop_valve", "meter", "air_valve", "washout", "drain",
)  # fmt: skip
_DECIMALS = 8
"""Decimals of a degree, about a millimetre."""
_TOUCHES_M = 1.0
"""An outlet on a fence belongs to the parcels on both sides of it."""
_FIGURES = ("easting_m", "northing_m", "ground_level_m", "chainage_m")
_TEXTS = ("name", "kind", "pipe", "notes")


@dataclass(frozen=True, eq=False)
class SitePoints:
    """Points to be set out.

    Attributes
    ----------
    points : DataFrame
        Row labels 0 to n-1: sources, tank, pump, outlets, junctions, fittings and spots to
        level, then the pipe points in the order of the pipes. Columns ``name`` (unique), ``kind``
        ("outlet", "stop valve", ..., "pipe end", "pipe bend", "pipe mark"), ``pipe`` (name or
        empty), ``easting_m``, ``northing_m`` (working CRS), ``longitude``, ``latitude``
        (WGS 84), ``ground_level_m`` (of the elevation data), ``chainage_m`` (along the ground
        from the source, NaN off the pipe), ``parcels`` and ``notes`` (text).
    crs : str
        Code of the working CRS ("EPSG:27700"), or its name where it has none.
    degrees_accuracy_m : float
        How exactly the way from the working CRS to longitude and latitude is known [m], as the
        register of transformations says; NaN where it does not say.
    """

    points: pd.DataFrame
    crs: str
    degrees_accuracy_m: float


def site_points(plan: Plan, layers: Layers) -> SitePoints:
    """Return everything to be set out on site, with names, places, levels and chainage.

    Parameters
    ----------
    plan : Plan
    layers : mapping of str to GeoDataFrame
        Features of the plan by kind, in its working CRS.
    """
    measures = Measures(plan.project.documents.units)
    rows = [
        *_standing(plan, layers, measures),
        *_junctions(plan),
        *_on_pipes(layers, measures),
        *_spots(plan),
        *_along_pipes(plan, layers, measures),
    ]
    table = pd.DataFrame(
        {
            **{column: [float(row.get(column, np.nan)) for row in rows] for column in _FIGURES},
            **{column: [one_line(str(row.get(column, ""))) for row in rows] for column in _TEXTS},
        }
    )
    table["name"] = _unique(list(table["name"]))
    table["parcels"] = _parcels(plan, table)
    to_degrees = pyproj.Transformer.from_crs(plan.holding.crs, 4326, always_xy=True)
    longitude, latitude = to_degrees.transform(
        table["easting_m"].to_numpy(), table["northing_m"].to_numpy()
    )
    table = table.assign(
        # GPX has longitudes below 180 degrees only.
        longitude=(np.round(longitude, _DECIMALS) + 180) % 360 - 180,
        latitude=np.round(latitude, _DECIMALS),
    )
    authority = plan.holding.crs.to_authority()
    crs = ":".join(authority) if authority else plan.holding.crs.name
    # Which of several ways the library took is known only once it has gone one.
    accuracy = float(to_degrees.get_last_used_operation().accuracy) if len(table) else -1.0
    return SitePoints(table, crs, accuracy if accuracy >= 0 else np.nan)


def _standing(plan: Plan, layers: Layers, measures: Measures) -> Iterator[dict[str, Any]]:
    """Yield sources, tank, pump and outlets."""
    sources = layers["source"].set_index("name")
    ends = _node_chainages(plan)
    for kind in ("source", "tank", "pump", "outlet"):
        for _, row in layers[kind].iterrows():
            # Tank and pump stand at their source.
            at = sources.loc[row["source"]] if kind in ("tank", "pump") else row
            yield {
                **_place(row["name"], kind, row.geometry),
                "ground_level_m": float(at["ground_level_m"]),
                "chainage_m": ends.get(row["name"], np.nan),
                "notes": note_of(kind, row, measures),
            }


def _junctions(plan: Plan) -> Iterator[dict[str, Any]]:
    ends = _node_chainages(plan)
    nodes = plan.network.nodes
    for name, row in nodes[nodes["kind"] == "junction"].iterrows():
        yield {
            **_place(str(name), "junction", row["geometry"]),
            "ground_level_m": float(row["ground_level_m"]),
            "chainage_m": ends.get(str(name), np.nan),
            "notes": words("site.notes.junction"),
        }


def _on_pipes(layers: Layers, measures: Measures) -> Iterator[dict[str, Any]]:
    for kind in _FITTINGS:
        for _, row in layers[kind].iterrows():
            yield {
                **_place(row["name"], kind.replace("_", " "), row.geometry),
                "pipe": row["pipe"],
                "ground_level_m": float(row["ground_level_m"]),
                "chainage_m": float(row["distance_m"]),
                "notes": note_of(kind, row, measures),
            }


def _spots(plan: Plan) -> Iterator[dict[str, Any]]:
    """Yield the spots that settle most once they are levelled."""
    if plan.confidence is None:
        return
    for number, row in plan.confidence.survey.iterrows():
        yield {
            **_place(f"level {number}: {row['name']}", "spot to level",
                     shapely.Point(row["easting_m"], row["northing_m"])),
            "ground_level_m": float(row["level_m"]),
            "notes": words("site.notes.survey", outlets=", ".join(row["outlets"])),
        }  # fmt: skip


def _along_pipes(plan: Plan, layers: Layers, measures: Measures) -> Iterator[dict[str, Any]]:
    every_m = _MARK_EVERY_M[measures.system]
    lines = dict(zip(layers["pipe"]["name"], layers["pipe"].geometry, strict=True))
    for pipe, line in lines.items():
        section = plan.heads.sections.get(pipe)
        if section is not None and len(section.distance_m) > 1:
            yield from _rows(pipe, pipe_points(line, section, every_m), measures)


def _rows(pipe: str, points: PipePoints, measures: Measures) -> Iterator[dict[str, Any]]:
    bends = 0
    for i, kind in enumerate(points.kinds):
        notes = ""
        if kind == "bend":
            bends += 1
            name, notes = f"{pipe} bend {bends}", words("site.notes.bend")
        elif kind == "end":
            which = "start" if i == 0 else "end"
            name, notes = f"{pipe} {which}", words(f"site.notes.pipe_{which}", pipe=pipe)
        else:
            name = f"{pipe} at {measures.text('length', points.chainage_m[i])}"
        yield {
            "name": name,
            "kind": f"pipe {kind}",
            "pipe": pipe,
            "easting_m": points.easting_m[i],
            "northing_m": points.northing_m[i],
            "ground_level_m": points.ground_level_m[i],
            "chainage_m": points.chainage_m[i],
            "notes": notes,
        }


def _place(name: str, kind: str, point: shapely.Point) -> dict[str, Any]:
    return {"name": name, "kind": kind, "easting_m": point.x, "northing_m": point.y}


def _node_chainages(plan: Plan) -> dict[str, float]:
    """Return how far along the pipe from the source each node stands [m]."""
    found: dict[str, float] = {}
    for pipe, row in plan.network.pipes.iterrows():
        section = plan.heads.sections.get(str(pipe))
        if section is not None:
            found.setdefault(str(row["from_node"]), float(section.distance_m[0]))
            found[str(row["to_node"])] = float(section.distance_m[-1])
    return found


def _unique(names: Sequence[str]) -> list[str]:
    """Return the names, each told apart from those before it by a number in brackets."""
    taken: set[str] = set()
    given = []
    for name in names:
        shown, number = name, 1
        while shown in taken:
            number += 1
            shown = f"{name} ({number})"
        taken.add(shown)
        given.append(shown)
    return given


def _parcels(plan: Plan, table: pd.DataFrame) -> list[str]:
    """Return the parcels that each point lies in, or on the edge of."""
    paddocks = plan.holding.paddocks
    if "parcel" not in paddocks.columns:
        return [""] * len(table)
    tree = shapely.STRtree(paddocks.geometry.to_numpy())
    points = shapely.points(table["easting_m"], table["northing_m"])
    point, paddock = tree.query(points, predicate="dwithin", distance=_TOUCHES_M)
    parcels = paddocks["parcel"].to_numpy()
    lists: list[list[str]] = [[] for _ in range(len(table))]
    for i, j in sorted(zip(point.tolist(), paddock.tolist(), strict=True)):
        parcel = parcels[j]
        text = one_line(str(parcel)) if pd.notna(parcel) else ""
        if text and text not in lists[i]:
            lists[i].append(text)
    return ["; ".join(found) for found in lists]
