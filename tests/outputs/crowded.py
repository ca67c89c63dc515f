"""Features of a plan with 200 outlets and as many paddocks, small ones among them."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from dewpond.base.model import Plan
from dewpond.outputs.layers import Layers, plan_layers

COLUMNS, ROWS = 20, 10


def crowded_layers(plan: Plan) -> Layers:
    """Return layers of 5 km by 2.5 km: paddocks of many sizes, an outlet in each, and pipe."""
    layers = dict(plan_layers(plan))
    west, south = layers["paddock"].total_bounds[:2]
    random = np.random.default_rng(7)
    x = west + np.concatenate([[0], np.cumsum(random.uniform(60, 440, COLUMNS))])
    y = south + np.concatenate([[0], np.cumsum(random.uniform(60, 440, ROWS))])
    boxes = [
        shapely.box(x[i], y[j], x[i + 1], y[j + 1]) for j in range(ROWS) for i in range(COLUMNS)
    ]
    middles = [box.centroid for box in boxes]
    count = len(boxes)
    paddocks = _repeated(layers["paddock"], count).assign(
        name=[f"Field {number}" for number in range(1, count + 1)],
        area_ha=[box.area / 1e4 for box in boxes],
    )
    outlets = _repeated(layers["outlet"].iloc[[0]], count).assign(
        name=[f"outlet {number}" for number in range(1, count + 1)],
        residual_head_m=random.uniform(1, 90, count),
        served=True,
    )
    lines = [
        shapely.LineString([middles[j * COLUMNS + i], middles[j * COLUMNS + i + 1]])
        for j in range(ROWS)
        for i in range(COLUMNS - 1)
    ]
    pipes = _repeated(layers["pipe"].iloc[[0, 1]], len(lines)).assign(
        name=[f"pipe {number}" for number in range(1, len(lines) + 1)]
    )
    layers["paddock"] = paddocks.set_geometry(boxes, crs=paddocks.crs)
    layers["outlet"] = outlets.set_geometry(middles, crs=outlets.crs)
    layers["pipe"] = pipes.set_geometry(lines, crs=pipes.crs)
    for kind in ("air_valve", "washout", "stop_valve", "drain", "meter", "break_tank"):
        layers[kind] = layers[kind].iloc[:0]
    return layers


def _repeated(table: gpd.GeoDataFrame, count: int) -> gpd.GeoDataFrame:
    rows = table.iloc[np.arange(count) % len(table)]
    return gpd.GeoDataFrame(pd.DataFrame(rows).reset_index(drop=True), crs=table.crs)
