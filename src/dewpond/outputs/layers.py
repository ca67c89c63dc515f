"""The plan as tables of features, one per kind: what GeoJSON, GeoPackage, maps, sections share.

Every table is a GeoDataFrame in the working CRS with the columns of the published contract in
their published order. A column that no step has worked out yet is absent, never filled in; a
value that does not apply to a feature is missing (None or NaN).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely

from dewpond.base.model import Plan, Section
from dewpond.base.surface import FloatArray
from dewpond.base.units import SQUARE_METRES_PER_HECTARE

Layers = Mapping[str, gpd.GeoDataFrame]

_LEVEL, _LENGTH, _FLOW, _LITRES, _AREA, _SHARE = 3, 2, 3, 1, 4, 4
"""Decimals written: millimetre, centimetre, millilitre a minute, decilitre, square metre."""

_NO_PLACE = "no permitted place for an outlet is within the walking limit"
_NOT_CHOSEN = "no chosen outlet is within the walking limit"


def plan_layers(plan: Plan) -> dict[str, gpd.GeoDataFrame]:
    """Return the features of a plan by kind, in the working CRS.

    Parameters
    ----------
    plan : Plan

    Returns
    -------
    dict of str to GeoDataFrame
        Keys ``paddock``, ``outlet``, ``pipe``, ``source``, ``air_valve``, ``washout``,
        ``uncovered``, always all of them; row labels 0 to n-1; column ``name`` first. Lengths
        and levels in m, areas in ha, flows in L/min; lists are tuples of text.
    """
    return {
        "paddock": _paddocks(plan),
        "outlet": _outlets(plan),
        "pipe": _pipes(plan),
        "source": _sources(plan),
        "air_valve": _section_points(plan, "air valve", "summits"),
        "washout": _section_points(plan, "washout", "hollows"),
        "uncovered": _uncovered(plan),
    }


def _table(plan: Plan, columns: Mapping[str, Any], geometry: Sequence[Any]) -> gpd.GeoDataFrame:
    shapes = np.empty(len(geometry), dtype=object)
    shapes[:] = list(geometry)
    return gpd.GeoDataFrame(dict(columns), geometry=shapes, crs=plan.holding.crs)


def _texts(values: Sequence[Any]) -> npt.NDArray[np.object_]:
    """Return an object array, so that a column of tuples or of no rows stays what it is."""
    array = np.empty(len(values), dtype=object)
    array[:] = list(values)
    return array


def _paddocks(plan: Plan) -> gpd.GeoDataFrame:
    paddocks, demand = plan.holding.paddocks, plan.demand.paddocks
    walks = _walks_by_paddock(plan)
    return _table(
        plan,
        {
            "name": _texts(list(paddocks["name"])),
            "area_ha": paddocks["area_ha"].to_numpy(float).round(_AREA),
            "mobs": _texts([tuple(mobs) for mobs in demand["mobs"]]),
            "daily_demand_l": demand["daily_demand_l"].to_numpy(float).round(_LITRES),
            "design_flow_l_min": demand["design_flow_l_min"].to_numpy(float).round(_FLOW),
            "covered_share": walks["covered_share"].to_numpy(float),
            "farthest_walk_m": walks["farthest_walk_m"].to_numpy(float).round(_LENGTH),
            "mean_walk_m": walks["mean_walk_m"].to_numpy(float).round(_LENGTH),
        },
        list(paddocks.geometry),
    )


def _walks_by_paddock(plan: Plan) -> pd.DataFrame:
    """Return cover and walks of each paddock; missing where nothing grazes or nothing reaches."""
    cells, walk = plan.reach.cells, plan.siting.walk_m
    area = cells["area_m2"].to_numpy(float)
    covered = np.isfinite(walk)
    sums = (
        pd.DataFrame(
            {
                "paddock": cells["paddock"].to_numpy(),
                "area": area,
                "missed": np.where(covered, 0.0, area),
                "reached": np.where(covered, area, 0.0),
                "weighted": np.where(covered, area * walk, 0.0),
                "farthest": walk,
            }
        )
        .groupby("paddock")
        .agg(
            {**dict.fromkeys(("area", "missed", "reached", "weighted"), "sum"), "farthest": "max"}
        )
        .reindex(plan.holding.paddocks.index)
    )
    # Rounded down, so that 1 is written only where every bit of the paddock is in reach.
    share = np.floor((1 - sums["missed"] / sums["area"]) * 10**_SHARE) / 10**_SHARE
    return pd.DataFrame(
        {
            "covered_share": share,
            "farthest_walk_m": sums["farthest"],
            "mean_walk_m": sums["weighted"] / sums["reached"].where(sums["reached"] > 0),
        }
    )


def _outlets(plan: Plan) -> gpd.GeoDataFrame:
    nodes = plan.network.nodes[plan.network.nodes["kind"] == "outlet"]
    sites = [*nodes["site"].astype(int), *plan.network.unconnected]
    loose = [f"outlet not joined {i + 1}" for i in range(len(plan.network.unconnected))]
    names = [*nodes.index, *loose]
    chosen = plan.candidates.sites.loc[list(plan.network.unconnected)]
    heads = plan.heads.nodes["static_head_m"].reindex(names).to_numpy(float)
    serves = [_served(plan, site) for site in sites]
    flow, paddock_name = plan.demand.paddocks["design_flow_l_min"], plan.holding.paddocks["name"]
    levels = [*nodes["ground_level_m"], *chosen["ground_level_m"]]
    return _table(
        plan,
        {
            "name": _texts(names),
            "serves": _texts([tuple(paddock_name.loc[list(ids)]) for ids in serves]),
            "ground_level_m": np.array(levels, dtype=float).round(_LEVEL),
            "static_head_m": heads.round(_LEVEL),
            "design_flow_l_min": np.array(
                [max((float(flow.loc[i]) for i in ids), default=0.0) for ids in serves],
                dtype=float,
            ).round(_FLOW),
            "trough": _texts([_trough(plan, ids) for ids in serves]),
            "notes": _texts(
                [_notes(plan, *row) for row in zip(names, sites, serves, strict=True)]
            ),
        },
        [*nodes.geometry, *chosen.geometry],
    )


def _served(plan: Plan, site: int) -> tuple[int, ...]:
    """Return the ids of the paddocks in which some ground walks to this site."""
    return tuple(
        int(i) for i in np.unique(plan.reach.cells["paddock"][plan.siting.nearest_site == site])
    )


def _trough(plan: Plan, paddocks: Sequence[int]) -> str:
    """Return the troughs of the mobs that graze these paddocks: one kind, or both by name."""
    mobs = plan.demand.mobs
    grazing = [bool(set(own) & set(paddocks)) for own in mobs["paddocks"]]
    return " and ".join(sorted({str(kind) for kind in mobs["trough"][grazing]}))


def _notes(plan: Plan, name: str, site: int, serves: Sequence[int]) -> str:
    names = plan.holding.paddocks["name"]
    notes = []
    if plan.candidates.sites.at[site, "kind"] == "inside":
        notes.append("inside the paddock")
    elif len(serves) > 1:
        notes.append("on the fence between " + " and ".join(names.loc[list(serves)]))
    if name not in plan.heads.nodes.index:
        return "; ".join([*notes, "no way for pipe joins it to the source"])
    head = float(plan.heads.nodes.at[name, "static_head_m"])
    if head < 0:
        notes.append(f"lies {-head:.1f} m above the still water at the source")
    summit, pipe = _worst_on_the_way(plan, name)
    if summit < min(head, 0.0):
        notes.append(f"on the way {pipe} rises {-summit:.1f} m above the still water")
    return "; ".join(notes)


def _worst_on_the_way(plan: Plan, node: str) -> tuple[float, str]:
    """Return the lowest static head between the source and a node, and the pipe it is in."""
    feeding = {str(end): str(pipe) for pipe, end in plan.network.pipes["to_node"].items()}
    worst, where = np.inf, ""
    while node in feeding:
        pipe = feeding[node]
        lowest = float(plan.heads.pipes.at[pipe, "lowest_static_head_m"])
        if lowest < worst:
            worst, where = lowest, pipe
        node = str(plan.network.pipes.at[pipe, "from_node"])
    return worst, where


def _pipes(plan: Plan) -> gpd.GeoDataFrame:
    pipes = plan.network.pipes
    heads = plan.heads.pipes.reindex(pipes.index)
    size_mm = plan.project.design.pipe_outside_diameter_mm
    return _table(
        plan,
        {
            "name": _texts(list(pipes.index)),
            "from": _texts(list(pipes["from_node"])),
            "to": _texts(list(pipes["to_node"])),
            "length_m": pipes["length_m"].to_numpy(float).round(_LENGTH),
            # The size of pipe already in the ground is not ours to state.
            "outside_diameter_mm": np.where(pipes["laying"] == "existing", np.nan, size_mm),
            **{
                column: heads[column].to_numpy(float).round(_LEVEL)
                for column in ("static_head_m", "highest_static_head_m", "lowest_static_head_m")
            },
            "laying": _texts(list(pipes["laying"])),
            "crossings": _texts([tuple(crossings) for crossings in pipes["crossings"]]),
        },
        list(pipes.geometry),
    )


def _sources(plan: Plan) -> gpd.GeoDataFrame:
    sources = plan.holding.sources
    points = [shapely.Point(source.easting_m, source.northing_m) for source in sources]
    feeds = np.array([i == plan.network.source for i in range(len(sources))], dtype=bool)
    easting, northing = np.array([[p.x, p.y] for p in points], dtype=float).reshape(-1, 2).T
    ground = plan.holding.surface.heights_m(easting, northing)
    known = plan.network.nodes["ground_level_m"][plan.network.nodes["kind"] == "source"]
    if len(known):
        ground = np.where(feeds, float(known.iloc[0]), ground)
    level, reason = plan.heads.source_level_m, plan.heads.source_level_reason
    return _table(
        plan,
        {
            "name": _texts([source.name for source in sources]),
            "source_kind": _texts([source.settings.kind for source in sources]),
            "feeds_scheme": feeds,
            "ground_level_m": ground.round(_LEVEL),
            "water_level_m": np.where(feeds, level, np.nan).round(_LEVEL),
            "water_level_reason": _texts([reason if feeding else None for feeding in feeds]),
        },
        points,
    )


def _section_points(plan: Plan, kind: str, field: str) -> gpd.GeoDataFrame:
    """Return the summits or the hollows of every pipe, numbered outward from the source."""
    pipes: list[str] = []
    rows: list[FloatArray] = []
    for pipe in plan.network.pipes.index:
        section: Section | None = plan.heads.sections.get(pipe)
        if section is None:
            continue
        at = list(getattr(section, field))
        columns = ("distance_m", "ground_level_m", "easting_m", "northing_m")
        rows.append(np.column_stack([getattr(section, column)[at] for column in columns]))
        pipes.extend([pipe] * len(at))
    distance, level, easting, northing = np.vstack([np.empty((0, 4)), *rows]).T
    return _table(
        plan,
        {
            "name": _texts([f"{kind} {i + 1}" for i in range(len(pipes))]),
            "pipe": _texts(pipes),
            "distance_m": distance.round(_LENGTH),
            "ground_level_m": level.round(_LEVEL),
            "static_head_m": (plan.heads.source_level_m - level).round(_LEVEL),
        },
        list(shapely.points(easting, northing)),
    )


def _uncovered(plan: Plan) -> gpd.GeoDataFrame:
    """Return the ground out of reach, one feature for each paddock and reason."""
    cells = plan.reach.cells
    paddocks = plan.holding.paddocks
    missed = ~np.isfinite(plan.siting.walk_m)
    rows: list[tuple[int, float, str]] = []
    shapes: list[shapely.Geometry] = []
    for reason, chosen in (
        (_NO_PLACE, missed & plan.siting.unreachable),
        (_NOT_CHOSEN, missed & ~plan.siting.unreachable),
    ):
        for paddock, group in cells[chosen].groupby("paddock", sort=True):
            area_ha = float(group["area_m2"].sum()) / SQUARE_METRES_PER_HECTARE
            rows.append((int(paddock), area_ha, reason))
            ground = _cell_union(group, plan.terrain.cell_m)
            shapes.append(_polygons_only(ground.intersection(paddocks.geometry.loc[paddock])))
    names = [str(paddocks.at[paddock, "name"]) for paddock, _, _ in rows]
    return _table(
        plan,
        {
            "name": _texts([f"{name}, out of reach" for name in names]),
            "paddock": _texts(names),
            "area_ha": np.array([area for _, area, _ in rows], dtype=float).round(_AREA),
            "reason": _texts([reason for _, _, reason in rows]),
        },
        shapes,
    )


def _cell_union(cells: pd.DataFrame, cell_m: float) -> shapely.Geometry:
    """Return the squares of the walking grid that hold these points, as one shape."""
    corners = np.unique(np.floor(cells[["easting_m", "northing_m"]].to_numpy() / cell_m), axis=0)
    west, south = (corners * cell_m).T
    return shapely.union_all(shapely.box(west, south, west + cell_m, south + cell_m))


def _polygons_only(shape: shapely.Geometry) -> shapely.Geometry:
    """Drop the points and lines that clipping leaves where shapes only touch."""
    parts = shapely.get_parts(shape)
    parts = parts[shapely.get_type_id(parts) == shapely.GeometryType.POLYGON.value]
    return parts[0] if len(parts) == 1 else shapely.multipolygons(parts)
