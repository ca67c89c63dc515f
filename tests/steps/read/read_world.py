"""A small made-up holding on an inclined plane, for the tests of reading."""

from __future__ import annotations

import copy
from collections.abc import Callable
from functools import lru_cache
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pyproj
import rasterio
import shapely
from affine import Affine

from dewpond.base.errors import InputError
from dewpond.base.model import Holding
from dewpond.base.settings import project_from_dict
from dewpond.steps.read import read_holding

UTM = "EPSG:32630"
EAST, NORTH = 552_000.0, 5_972_000.0
MOB = {"name": "cows", "species": "cattle", "head": 40, "weight_kg": 600.0}


@lru_cache
def _carry(source: pyproj.CRS, target: pyproj.CRS) -> pyproj.Transformer:
    return pyproj.Transformer.from_crs(source, target, always_xy=True)


def plane_m(easting: Any, northing: Any) -> Any:
    """Height [m] of the inclined plane at UTM zone 30 coordinates."""
    return 150.0 + 0.05 * (easting - EAST) - 0.03 * (northing - NORTH)


def squares(names: tuple[str, ...] = ("Top Field", "Low Field", "Far Field")) -> gpd.GeoDataFrame:
    """Three squares of 4 ha side by side."""
    shapes = [
        shapely.box(EAST + 200 * i, NORTH, EAST + 200 * (i + 1), NORTH + 200)
        for i in range(len(names))
    ]
    return gpd.GeoDataFrame({"name": list(names)}, geometry=shapes, crs=UTM)


def write_dem(
    path: Path,
    *,
    crs: Any = UTM,
    posting: float = 10.0,
    height: Callable[[Any, Any], Any] = plane_m,
    corners: tuple[float, float, float, float] = (-400, -400, 1000, 600),
    unit: str | None = None,
    change: Callable[[Any], None] | None = None,
    scale: float = 1.0,
    offset: float = 0.0,
    **profile: Any,
) -> Path:
    """Write a raster of heights given as a function of UTM coordinates.

    ``corners`` are west, south, east, north relative to (EAST, NORTH); ``posting`` is in units
    of ``crs``; ``change`` edits the stored array (north first) before it is written.
    """
    crs = pyproj.CRS.from_user_input(crs)
    flat = crs.to_2d()
    west, south, east, north = _carry(pyproj.CRS(UTM), flat).transform_bounds(
        EAST + corners[0], NORTH + corners[1], EAST + corners[2], NORTH + corners[3]
    )
    columns, rows = int((east - west) / posting), int((north - south) / posting)
    x = west + posting * (np.arange(columns) + 0.5)
    y = north - posting * (np.arange(rows) + 0.5)
    back = _carry(flat, pyproj.CRS(UTM))
    stored = (height(*back.transform(*np.meshgrid(x, y))) - offset) / scale
    dtype = profile.setdefault("dtype", "float64")
    if np.issubdtype(np.dtype(dtype), np.integer):
        stored = np.rint(stored)
    stored = stored.astype(dtype)
    if change is not None:
        change(stored)
    profile = {"driver": "GTiff", "count": 1, **profile}
    with rasterio.open(
        path,
        "w",
        width=columns,
        height=rows,
        crs=crs.to_wkt() if profile["driver"] == "GTiff" else flat.to_wkt("WKT1_ESRI"),
        transform=Affine(posting, 0, west, 0, -posting, north),
        **profile,
    ) as target:
        target.write(stored, 1)
        if unit is not None:
            target.units = (unit,)
        if (scale, offset) != (1.0, 0.0):
            target.scales, target.offsets = (scale,), (offset,)
    return path


def settings(**tables: Any) -> dict[str, Any]:
    """Return the tables of a sound project; a table given replaces or adds to the usual one."""
    source = {"name": "main", "kind": "mains", "at": [EAST + 20, NORTH - 50], "crs": UTM}
    usual: dict[str, Any] = {
        "holding": {"name": "Harrowmere"},
        "terrain": {"elevation": "terrain.tif"},
        "paddocks": {"boundaries": "paddocks.geojson"},
        "mob": [MOB],
        "source": [source],
    }
    merged = copy.deepcopy(usual)
    for name, table in tables.items():
        if isinstance(table, dict) and isinstance(merged.get(name), dict):
            merged[name].update(table)
        else:
            merged[name] = table
    return {name: table for name, table in merged.items() if table is not None}


def write_holding(folder: Path, frame: gpd.GeoDataFrame | None = None, dem: bool = True) -> Path:
    """Write paddocks.geojson (longitude, latitude) and terrain.tif."""
    (squares() if frame is None else frame).to_crs("EPSG:4326").to_file(
        folder / "paddocks.geojson", driver="GeoJSON"
    )
    if dem:
        write_dem(folder / "terrain.tif")
    return folder


def read(folder: Path, **tables: Any) -> Holding:
    """Read the holding in a folder."""
    return read_holding(project_from_dict(settings(**tables), folder=folder))


def faults(folder: Path, **tables: Any) -> list[str]:
    """Return the faults of the holding in a folder, as text."""
    try:
        read(folder, **tables)
    except InputError as error:
        return [str(fault) for fault in error.faults]
    return []


def read_frame(frame: gpd.GeoDataFrame, folder: Path, **tables: Any) -> Holding:
    """Read paddocks handed over directly, on the plane."""
    dem = folder / "terrain.tif"
    if not dem.exists():
        write_dem(dem)
    return read_holding(project_from_dict(settings(**tables), folder=folder), paddocks=frame)


def frame_faults(frame: gpd.GeoDataFrame, folder: Path, **tables: Any) -> list[str]:
    """Return the faults of paddocks handed over directly, as text."""
    try:
        read_frame(frame, folder, **tables)
    except InputError as error:
        return [str(fault) for fault in error.faults]
    return []
