"""Paddocks with what was worked out for each, and the ground in them that is out of reach."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from dewpond.base.model import Plan
from dewpond.base.units import SQUARE_METRES_PER_HECTARE
from dewpond.base.words import words
from dewpond.outputs.layers.columns import AREA, FLOW, LENGTH, LITRES, SHARE, table, texts

_NO_PLACE = "no permitted place for an outlet is within the walking limit"
_NOT_CHOSEN = "no chosen outlet is within the walking limit"


def paddocks(plan: Plan) -> gpd.GeoDataFrame:
    """Return every paddock, grazed or not, with its demand and the walks in it."""
    shapes, demand = plan.holding.paddocks, plan.demand.paddocks
    walks = _walks_by_paddock(plan)
    return table(
        plan,
        {
            "name": texts(list(shapes["name"])),
            "parcel": texts(_parcels(shapes)),
            "area_ha": shapes["area_ha"].to_numpy(float).round(AREA),
            "mobs": texts([tuple(mobs) for mobs in demand["mobs"]]),
            "daily_demand_l": demand["daily_demand_l"].to_numpy(float).round(LITRES),
            "design_flow_l_min": demand["design_flow_l_min"].to_numpy(float).round(FLOW),
            "covered_share": walks["covered_share"].to_numpy(float),
            "farthest_walk_m": walks["farthest_walk_m"].to_numpy(float).round(LENGTH),
            "mean_walk_m": walks["mean_walk_m"].to_numpy(float).round(LENGTH),
        },
        list(shapes.geometry),
    )


def _parcels(shapes: gpd.GeoDataFrame) -> list[str | None]:
    if "parcel" not in shapes:
        return [None] * len(shapes)
    return [parcel or None for parcel in shapes["parcel"]]


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
    share = np.floor((1 - sums["missed"] / sums["area"]) * 10**SHARE) / 10**SHARE
    return pd.DataFrame(
        {
            "covered_share": share,
            "farthest_walk_m": sums["farthest"],
            "mean_walk_m": sums["weighted"] / sums["reached"].where(sums["reached"] > 0),
        }
    )


def uncovered(plan: Plan) -> gpd.GeoDataFrame:
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
    return table(
        plan,
        {
            "name": texts([words("features.paddocks.out_of_reach", name=name) for name in names]),
            "paddock": texts(names),
            "area_ha": np.array([area for _, area, _ in rows], dtype=float).round(AREA),
            "reason": texts([reason for _, _, reason in rows]),
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
