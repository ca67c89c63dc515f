"""Frozen values made by hand for the tests of candidate sites."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import geopandas as gpd
import numpy as np
import pyproj
from affine import Affine
from shapely.geometry.base import BaseGeometry

from dewpond.base.model import Features, Holding, Mob, Terrain
from dewpond.base.settings import MobSettings
from dewpond.base.surface import Grid, Surface

CRS = pyproj.CRS("EPSG:27700")
CELL_M = 5.0

Field = Callable[[np.ndarray, np.ndarray], np.ndarray]


def flat(easting: np.ndarray, northing: np.ndarray) -> np.ndarray:
    return np.zeros(np.broadcast(easting, northing).shape)


def layer(shapes: Sequence[BaseGeometry] = ()) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame({"name": [""] * len(shapes)}, geometry=list(shapes), crs=CRS)


def paddock_table(shapes: Sequence[BaseGeometry]) -> gpd.GeoDataFrame:
    names = [f"field {number}" for number in range(len(shapes))]
    frame = gpd.GeoDataFrame({"name": names}, geometry=list(shapes), crs=CRS)
    return frame.assign(area_ha=frame.area / 10_000)


def mob(paddocks: Sequence[int], *, name: str = "stores", trough: str | None = None) -> Mob:
    settings = MobSettings(name=name, species="cattle", head=40, weight_kg=400.0, trough=trough)
    return Mob(settings, tuple(paddocks))


def make_holding(
    shapes: Sequence[BaseGeometry],
    *,
    mobs: Sequence[Mob] | None = None,
    slope_degrees: Field = flat,
    height_m: Field = flat,
    **features: Sequence[BaseGeometry],
) -> tuple[Holding, Terrain]:
    """Return paddocks on ground of a formula, all grazed by one mob unless told otherwise."""
    kinds = ("keep_out", "tracks", "watercourses", "gates", "existing_pipe")
    tables = {kind: layer(features.get(kind, ())) for kind in kinds}
    west, south, east, north = gpd.GeoSeries(list(shapes)).total_bounds
    west, south = (CELL_M * np.floor(low / CELL_M) - 50 for low in (west, south))
    columns, rows = (
        int(np.ceil((high - low + 50) / CELL_M)) for low, high in ((west, east), (south, north))
    )
    transform = Affine(CELL_M, 0, west, 0, -CELL_M, south + rows * CELL_M)
    easting = west + CELL_M * (np.arange(columns) + 0.5)
    northing = (south + rows * CELL_M - CELL_M * (np.arange(rows) + 0.5))[:, None]
    heights = Grid(np.asarray(height_m(easting, northing), dtype=float), transform, CRS)
    slopes = Grid(np.asarray(slope_degrees(easting, northing), dtype=float), transform, CRS)
    holding = Holding(
        name="Test farm",
        crs=CRS,
        paddocks=paddock_table(shapes),
        features=Features(**tables),
        mobs=tuple(mobs) if mobs is not None else (mob(range(len(shapes))),),
        sources=(),
        surface=Surface((heights,), CRS, CELL_M),
    )
    return holding, Terrain(CELL_M, "made by hand", heights, slopes)
