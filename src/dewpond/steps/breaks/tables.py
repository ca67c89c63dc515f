"""The breaks of all paddocks as tables."""

from __future__ import annotations

from collections.abc import Sequence

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from dewpond.base.model import Breaks, Demand, Holding
from dewpond.base.settings import BreaksSettings
from dewpond.base.units import SQUARE_METRES_PER_HECTARE
from dewpond.base.words import words
from dewpond.steps.breaks.divide import Division
from dewpond.steps.breaks.moves import list_moves

_ON_LINE_M = 0.002


def gather(
    holding: Holding, demand: Demand, divisions: Sequence[Division], settings: BreaksSettings
) -> Breaks:
    """Put the divisions of all paddocks into tables."""
    breaks = _break_table(holding, divisions)
    watered = [(i, w) for i, w in enumerate(w for d in divisions for w in d.water) if w.hose]
    hoses = _geometry(
        holding,
        {"length_m": np.array([water.hose_m for _, water in watered], dtype=float)},
        [water.hose for _, water in watered],
    )
    hoses.index = pd.Index([row for row, _ in watered], dtype=np.intp)
    with_lane = [division for division in divisions if not division.lane.is_empty]
    lanes = _geometry(
        holding,
        {
            "paddock": np.array([division.paddock for division in with_lane], dtype=np.intp),
            "area_ha": np.array([d.lane.area for d in with_lane]) / SQUARE_METRES_PER_HECTARE,
        },
        [division.lane for division in with_lane],
    )
    with_fence = [division for division in divisions if not division.fence.is_empty]
    fences = _geometry(
        holding,
        {
            "paddock": np.array([division.paddock for division in with_fence], dtype=np.intp),
            "length_m": np.array([division.fence.length for division in with_fence], dtype=float),
        },
        [division.fence for division in with_fence],
    )
    moves = list_moves(holding, demand, breaks, settings)
    return Breaks(breaks, hoses, lanes, fences, moves, _warnings(breaks))


def _break_table(holding: Holding, divisions: Sequence[Division]) -> gpd.GeoDataFrame:
    names = holding.paddocks["name"]
    rows = [
        {
            "name": f"{names.loc[division.paddock]} {number}",
            "paddock": division.paddock,
            "number": number,
            "area_ha": strip.area / SQUARE_METRES_PER_HECTARE,
            "outlet": water.outlet,
            "hose_m": water.hose_m,
            "walk_m": water.walk_m,
            "watered": not water.reason,
            "reason": water.reason,
            "fence_m": _own_fence_m(strip, division.fence),
            "trough_easting_m": float(water.trough[0]),
            "trough_northing_m": float(water.trough[1]),
        }
        for division in divisions
        for number, (strip, water) in enumerate(
            zip(division.strips, division.water, strict=True), start=1
        )
    ]
    columns = [
        "name", "paddock", "number", "area_ha", "outlet", "hose_m", "walk_m", "watered", "reason",
        "fence_m", "trough_easting_m", "trough_northing_m",
    ]  # fmt: skip
    table = pd.DataFrame(rows, columns=columns)
    strips = [strip for division in divisions for strip in division.strips]
    return _geometry(holding, {name: table[name].to_numpy() for name in columns}, strips)


def _own_fence_m(strip: shapely.Geometry, fence: shapely.Geometry) -> float:
    return float(shapely.intersection(fence, strip.boundary.buffer(_ON_LINE_M)).length)


def _geometry(
    holding: Holding, columns: dict[str, object], shapes: Sequence[shapely.Geometry | None]
) -> gpd.GeoDataFrame:
    geometry = np.empty(len(shapes), dtype=object)
    geometry[:] = list(shapes)
    return gpd.GeoDataFrame(columns, geometry=geometry, crs=holding.crs)


def _warnings(breaks: gpd.GeoDataFrame) -> tuple[str, ...]:
    found = [
        words("breaks.tables.break_has_no_water", name=row.name_, reason=row.reason)
        for row in breaks.rename(columns={"name": "name_"}).itertuples()
        if not row.watered
    ]
    for name, shape in zip(breaks["name"], breaks.geometry, strict=True):
        if shape.geom_type != "Polygon":
            found.append(words("breaks.tables.break_in_pieces", name=name))
    return tuple(found)
