"""The command area as features: served ground by class in each paddock, tanks, the source."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely

from dewpond.base.model import CommandArea, CommandGround
from dewpond.base.model.command import SERVED_CLASSES

_UNKNOWN = "not known"
_DECIMALS = {"area_ha": 4, "chance": 4}
_LENGTH_DECIMALS, _SHARE_DECIMALS = 2, 4

Layers = dict[str, gpd.GeoDataFrame]


def command_layers(area: CommandArea) -> Layers:
    """Return the features of ``command-area.geojson`` by kind, in the working CRS.

    ``commanded_ground`` (the cells of each class, cut at the fences), ``paddock``,
    ``tank_site``, ``source``.
    """
    return {
        "commanded_ground": _classes(area),
        "paddock": _paddocks(area),
        "tank_site": _tanks(area),
        "source": _source(area),
    }


def class_shapes(ground: CommandGround) -> dict[str, shapely.Geometry]:
    """Return the ground of each class, the cells of it joined; absent classes left out."""
    found = ground.served_class()
    names = dict(enumerate(SERVED_CLASSES)) | {-1: _UNKNOWN}
    shapes = {}
    for number, name in names.items():
        chosen = found == number
        if chosen.any():
            shapes[name] = cells_joined(ground, chosen)
    return shapes


def cells_joined(ground: CommandGround, chosen: npt.NDArray[np.bool_]) -> shapely.Geometry:
    """Return some cells as one shape."""
    transform = ground.spare_m.transform
    padded = np.pad(chosen, ((0, 0), (1, 1))).astype(np.int8)
    change = np.diff(padded, axis=1)
    row, first = np.nonzero(change == 1)
    _row, last = np.nonzero(change == -1)
    west, east = transform.c + first * transform.a, transform.c + last * transform.a
    north = transform.f + row * transform.e
    return shapely.union_all(shapely.box(west, north + transform.e, east, north))


def _classes(area: CommandArea) -> gpd.GeoDataFrame:
    """Return one row for each paddock and class that it has ground of."""
    rows: list[dict[str, Any]] = []
    shapes: list[shapely.Geometry] = []
    classes = class_shapes(area.ground)
    for shape in classes.values():
        shapely.prepare(shape)
    for label, paddock in area.holding.paddocks.geometry.items():
        for name, ground in classes.items():
            part = _polygons(shapely.intersection(paddock, ground))
            if part.is_empty:
                continue
            rows.append({
                "paddock": str(area.holding.paddocks.at[label, "name"]),
                "served": name,
                "area_ha": round(part.area / 10_000.0, _DECIMALS["area_ha"]),
            })  # fmt: skip
            shapes.append(part)
    return _table(area, rows, shapes, ("paddock", "served", "area_ha"))


def _paddocks(area: CommandArea) -> gpd.GeoDataFrame:
    table = area.ground.paddocks
    rows = [_rounded(row) for row in table.to_dict("records")]
    return _table(area, rows, list(area.holding.paddocks.geometry), table.columns)


def _tanks(area: CommandArea) -> gpd.GeoDataFrame:
    table = area.ground.tanks
    rows = [_rounded(row) for row in table.to_dict("records")]
    points = [shapely.Point(row["easting_m"], row["northing_m"]) for row in rows]
    return _table(area, rows, points, table.columns)


def _source(area: CommandArea) -> gpd.GeoDataFrame:
    case = area.ground.case
    row = _rounded({
        "name": case.source, "source_kind": case.kind, "level_m": case.level_m,
        "still_level_m": case.still_level_m, "flow_l_min": case.flow_l_min,
        "head_m": case.head_m, "pipe": case.pipe.name, "length_factor": case.length_factor,
    })  # fmt: skip
    return _table(area, [row], [shapely.Point(case.easting_m, case.northing_m)], list(row))


def _rounded(row: dict[Any, Any]) -> dict[str, Any]:
    """Return a row as written: lengths and levels to the centimetre, shares to four places."""
    return {
        str(key): round(float(value), _decimals(str(key)))
        if isinstance(value, float) and np.isfinite(value)
        else value
        for key, value in row.items()
    }


def _decimals(key: str) -> int:
    if key.endswith("_share"):
        return _SHARE_DECIMALS
    return _DECIMALS.get(key, _LENGTH_DECIMALS)


def _polygons(shape: shapely.Geometry) -> shapely.Geometry:
    """Return the polygons of an intersection, without the lines and points where shapes touch."""
    parts = shapely.get_parts(shape)
    flat = parts[shapely.get_dimensions(parts) == 2]
    return shapely.union_all(flat) if len(flat) else shapely.Polygon()


def _table(
    area: CommandArea,
    rows: Sequence[dict[str, Any]],
    shapes: Sequence[shapely.Geometry],
    columns: Any,
) -> gpd.GeoDataFrame:
    geometry = np.empty(len(shapes), dtype=object)
    geometry[:] = list(shapes)
    data = {str(column): [row[column] for row in rows] for column in columns}
    return gpd.GeoDataFrame(data, geometry=geometry, crs=area.holding.crs)
