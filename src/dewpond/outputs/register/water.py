"""How far each field lies from water that is there already."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from scipy.spatial import cKDTree

from dewpond.base.model import Plan
from dewpond.base.surface import FloatArray
from dewpond.base.units import SQUARE_METRES_PER_HECTARE

_OUT_OF_USE = "poor"


def water_near_fields(plan: Plan) -> dict[int, dict[str, Any]]:
    """Return by grazed field how far it lies from existing water, in a straight line.

    Existing water is every existing outlet in good or fair condition, and every source. The walk
    round fences is longer, so a field told to lie beyond the limit does so; one told to lie
    within may still be beyond it on foot.

    Returns
    -------
    dict of int to dict
        ``water_m`` (from the nearest edge), ``farthest_from_water_m``, ``beyond_water_share`` and
        ``beyond_water_ha`` (ground beyond the walking limit), ``beyond_water`` ("all", "part",
        "none"); all but the last None where there is no water at all.
    """
    places = _existing_water(plan)
    limit_m = plan.project.design.walk_limit_m
    cells = plan.reach.cells
    if len(places):
        ground = cells[["easting_m", "northing_m"]].to_numpy(float)
        away_m, _ = cKDTree(places).query(ground)
    else:
        away_m = np.full(len(cells), np.inf)
    found = {}
    for paddock, rows in cells.groupby("paddock", sort=True).indices.items():
        area_m2, far_m = cells["area_m2"].to_numpy(float)[rows], away_m[rows]
        beyond_m2 = float(area_m2[far_m > limit_m].sum())
        share = beyond_m2 / float(area_m2.sum())
        shape = plan.holding.paddocks.geometry.loc[int(paddock)]
        found[int(paddock)] = {
            "water_m": _distance_m(shape, places),
            "farthest_from_water_m": float(far_m.max()),
            "beyond_water_share": share,
            "beyond_water_ha": beyond_m2 / SQUARE_METRES_PER_HECTARE,
            "beyond_water": "none" if beyond_m2 == 0 else "all" if share == 1 else "part",
        }
    return found


def _existing_water(plan: Plan) -> FloatArray:
    outlets = plan.holding.features.existing_outlets
    if len(outlets) and "condition" in outlets:
        outlets = outlets[outlets["condition"] != _OUT_OF_USE]
    places = [(shape.x, shape.y) for shape in outlets.geometry]
    places += [(source.easting_m, source.northing_m) for source in plan.holding.sources]
    return np.array(places, dtype=float).reshape(-1, 2)


def _distance_m(shape: shapely.Geometry, places: FloatArray) -> float | None:
    if not len(places):
        return None
    return float(shapely.distance(shape, shapely.points(places)).min())
