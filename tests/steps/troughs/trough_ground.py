"""A row of square paddocks with an outlet each, made by hand for the tests of troughs."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import scipy.sparse as sp
from affine import Affine
from pyproj import CRS
from shapely.geometry import Point, box

from dewpond.base.model import Mob, Network, Proof, Reach, Siting, Terrain, Watering
from dewpond.base.settings import DemandSettings, DesignSettings, MobSettings, TroughSettings
from dewpond.base.surface import Grid
from dewpond.steps.demand import estimate_demand
from dewpond.steps.troughs import choose_troughs

PROOF = Proof(0.0, 0.0, 0.0, "optimal")
BRITAIN = CRS("EPSG:27700")


def mob(name: str = "cows", paddocks: tuple[int, ...] = (0,), **values: Any) -> Mob:
    values = {"species": "cattle", "head": 52, "weight_kg": 640.0, "lactating": True, **values}
    return Mob(MobSettings(name=name, **values), paddocks)


def watering(
    *mobs: Mob,
    walks_m: tuple[float, ...] = (200.0,),
    area_ha: float = 6.0,
    slope_degrees: float = 1.0,
    trough: str = "mobile",
    demand: dict[str, Any] | None = None,
    folder: Path = Path(),
    **settings: Any,
) -> Watering:
    """Choose troughs for paddocks "field 1", ...; one cell each, that walks to its own outlet."""
    count = len(walks_m)
    fields = gpd.GeoDataFrame(
        {"name": [f"field {number}" for number in range(1, count + 1)], "area_ha": area_ha},
        geometry=[box(100 * n, 0, 100 * n + 100, 100) for n in range(count)],
        crs=BRITAIN,
    )
    holding: Any = SimpleNamespace(mobs=mobs, paddocks=fields)
    design = DesignSettings(trough=trough)
    cells = pd.DataFrame({"paddock": range(count), "area_m2": 1.0})
    reach = Reach(cells, sp.csr_array((count, count)), 400.0, 0.0)
    siting = Siting(
        tuple(range(count)), np.arange(count), np.array(walks_m), np.zeros(count, bool), PROOF
    )
    nodes = gpd.GeoDataFrame(
        {"kind": ["source"] + ["outlet"] * count, "site": [-1, *range(count)]},
        index=["tank", *(f"outlet {number}" for number in range(1, count + 1))],
        geometry=[Point(0, 0), *(Point(100 * n + 50, 50) for n in range(count))],
        crs=BRITAIN,
    )
    network = Network(0, nodes, gpd.GeoDataFrame(), (), PROOF)
    grid = Grid(np.full((4, count + 2), slope_degrees), Affine(100, 0, -50, 0, -100, 250), BRITAIN)
    return choose_troughs(
        holding, Terrain(100.0, "", grid, grid),
        estimate_demand(holding, DemandSettings(**(demand or {})), design),
        reach, siting, network, TroughSettings(**settings), design, folder,
    )  # fmt: skip
