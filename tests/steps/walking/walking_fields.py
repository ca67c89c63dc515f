"""Small holdings made by hand for the walking tests."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import shapely
from affine import Affine

from dewpond.base.model import Candidates, Features, Holding, Mob, Reach, Terrain
from dewpond.base.settings import DesignSettings, MobSettings, WalkingSettings
from dewpond.base.surface import Grid, Surface
from dewpond.steps.walking import measure_walks

CRS = pyproj.CRS("EPSG:32630")

NONE = gpd.GeoDataFrame({"name": []}, geometry=[], crs=CRS)
FENCES = gpd.GeoDataFrame({"paddocks": []}, geometry=[], crs=CRS)

Heights = Callable[[np.ndarray, np.ndarray], np.ndarray]


def level(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    return np.zeros_like(x)


def make_terrain(bounds: Sequence[float], cell_m: float, heights: Heights = level) -> Terrain:
    west, south, east, north = bounds
    left, top = (np.floor(west / cell_m) - 5) * cell_m, (np.ceil(north / cell_m) + 5) * cell_m
    columns, rows = int((east - left) / cell_m) + 5, int((top - south) / cell_m) + 5
    transform = Affine(cell_m, 0, left, 0, -cell_m, top)
    x = left + (np.arange(columns) + 0.5) * cell_m
    y = top - (np.arange(rows) + 0.5) * cell_m
    values = heights(*np.meshgrid(x, y)).astype(float)
    grid = Grid(values, transform, CRS)
    return Terrain(cell_m, "given", grid, Grid(np.zeros_like(values), transform, CRS))


def make_holding(paddocks: Sequence[shapely.Geometry], surface: Grid) -> Holding:
    table = gpd.GeoDataFrame(
        {
            "name": [f"paddock {number}" for number in range(len(paddocks))],
            "area_ha": [paddock.area / 1e4 for paddock in paddocks],
        },
        geometry=list(paddocks),
        crs=CRS,
    )
    mob = MobSettings(name="ewes", species="sheep", head=10, weight_kg=70)
    return Holding(
        "made by hand",
        CRS,
        table,
        Features(NONE, NONE, NONE, NONE, NONE),
        (Mob(mob, tuple(range(len(paddocks)))),),
        (),
        Surface((surface,), CRS, abs(surface.transform.a)),
    )


def make_candidates(access: Sequence[tuple[int, int, float, float]]) -> Candidates:
    table = pd.DataFrame(access, columns=["site", "paddock", "easting_m", "northing_m"])
    first = table.drop_duplicates("site").sort_values("site")
    sites = gpd.GeoDataFrame(
        {"kind": "fence", "ground_level_m": 0.0, "slope_degrees": 0.0, "site": first["site"]},
        geometry=gpd.points_from_xy(first["easting_m"], first["northing_m"]),
        crs=CRS,
    ).reset_index(drop=True)
    return Candidates(sites, table, FENCES, {})


def walk(
    paddocks: Sequence[shapely.Geometry],
    access: Sequence[tuple[int, int, float, float]],
    *,
    cell_m: float = 5.0,
    heights: Heights = level,
    limit_m: float = 5000.0,
    slope_effort: str = "none",
    hose_m: float = 0.0,
    trough: str = "fixed",
    workers: int = 1,
) -> Reach:
    """Measure walks in paddocks made by hand; access is (site, paddock, easting, northing)."""
    terrain = make_terrain(shapely.total_bounds(list(paddocks)), cell_m, heights)
    return measure_walks(
        make_holding(paddocks, terrain.height_m),
        terrain,
        make_candidates(access),
        WalkingSettings(slope_effort=slope_effort),
        DesignSettings(walk_limit_m=limit_m, hose_m=hose_m, trough=trough),
        workers=workers,
    )


def points(reach: Reach) -> np.ndarray:
    return reach.cells[["easting_m", "northing_m"]].to_numpy()


def walks_of(reach: Reach, site: int = 0) -> np.ndarray:
    """Walks of one site to every cell, infinite where out of reach."""
    row = reach.walk_m[[site]].tocoo()
    dense = np.full(len(reach.cells), np.inf)
    dense[row.col] = row.data
    return dense
