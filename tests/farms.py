"""Small holdings made in memory, for tests that need ground of a known shape."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any

import geopandas as gpd
import numpy as np
from affine import Affine
from rasterio.io import MemoryFile
from shapely.geometry import Polygon, box
from shapely.geometry.base import BaseGeometry

from dewpond import Plan, Project, plan_holding, project_from_dict

CRS = "EPSG:27700"
# A place with round coordinates on an empty hill, so that arithmetic can be done by eye.
WEST, SOUTH = 400_000.0, 480_000.0

Height = Callable[[np.ndarray, np.ndarray], np.ndarray]


def project(**tables: Any) -> Project:
    """Return a project with one mob and one tank, any table changed."""
    raw: dict[str, Any] = {
        "holding": {"name": "Test farm", "crs": CRS},
        "terrain": {"height_unit": "metre"},
        "mob": [{"name": "stores", "species": "cattle", "head": 80, "weight_kg": 350.0}],
        "source": [
            {
                "name": "tank", "kind": "header_tank", "at": [WEST, SOUTH], "crs": CRS,
                "height_above_ground_m": 1.0,
            }
        ],
    }  # fmt: skip
    for name, table in tables.items():
        raw[name] = {**raw[name], **table} if isinstance(raw.get(name), dict) else table
    return project_from_dict(raw)


def table(shapes: Sequence[BaseGeometry]) -> gpd.GeoDataFrame:
    """Return paddocks named "field 1", "field 2" and so on."""
    names = [f"field {number}" for number in range(1, len(shapes) + 1)]
    return gpd.GeoDataFrame({"name": names}, geometry=list(shapes), crs=CRS)


def squares(columns: int, rows: int, side_m: float) -> list[Polygon]:
    """Return square paddocks that share their fences, south-west first."""
    return [
        box(
            WEST + column * side_m,
            SOUTH + row * side_m,
            WEST + (column + 1) * side_m,
            SOUTH + (row + 1) * side_m,
        )
        for row in range(rows)
        for column in range(columns)
    ]


@contextmanager
def raster(values: np.ndarray, transform: Affine, crs: str = CRS) -> Iterator[Any]:
    """Open heights as a rasterio dataset in memory."""
    with MemoryFile() as memory:
        with memory.open(
            driver="GTiff", height=values.shape[0], width=values.shape[1], count=1,
            dtype="float64", crs=crs, transform=transform,
        ) as data:  # fmt: skip
            data.write(values, 1)
        with memory.open() as data:
            yield data


def ground(shapes: Sequence[BaseGeometry], height: Height, posting_m: float = 5.0) -> Any:
    """Return heights of a formula over the paddocks and 100 m round them, as a dataset."""
    west, south, east, north = gpd.GeoSeries(list(shapes)).total_bounds
    west, south = np.floor(west / posting_m) * posting_m, np.floor(south / posting_m) * posting_m
    margin = 100.0
    columns = int(np.ceil((east - west + 2 * margin) / posting_m))
    rows = int(np.ceil((north - south + 2 * margin) / posting_m))
    transform = Affine(
        posting_m, 0, west - margin, 0, -posting_m, south - margin + rows * posting_m
    )
    column, row = np.meshgrid(np.arange(columns) + 0.5, np.arange(rows) + 0.5)
    x, y = transform * (column, row)
    return raster(np.broadcast_to(height(x, y), x.shape).astype(float), transform)


def plan(
    shapes: Sequence[BaseGeometry], height: Height, posting_m: float = 5.0, **tables: Any
) -> Plan:
    """Plan a holding on ground given by a formula."""
    with ground(shapes, height, posting_m) as data:
        return plan_holding(project(**tables), paddocks=table(shapes), elevation=data)


def turned(shape: BaseGeometry, about: tuple[float, float] = (WEST, SOUTH)) -> BaseGeometry:
    """Turn a shape by exactly 90 degrees to the left: whole numbers stay whole numbers."""
    from shapely import transform

    def turn(points: np.ndarray) -> np.ndarray:
        x, y = points[:, 0] - about[0], points[:, 1] - about[1]
        return np.column_stack([about[0] - y, about[1] + x])

    return transform(shape, turn)


__all__ = [
    "CRS", "SOUTH", "WEST", "ground", "plan", "project", "raster", "squares",
    "table", "turned",
]  # fmt: skip
