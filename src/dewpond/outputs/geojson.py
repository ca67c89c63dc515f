"""Features as GeoJSON, RFC 7946: longitude and latitude on WGS 84, right-hand rule, no CRS."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from shapely.geometry.polygon import orient

_DECIMALS = 7
"""Decimals of a degree written: about a centimetre on the ground."""


def geojson_text(layers: Mapping[str, gpd.GeoDataFrame]) -> str:
    """Return one FeatureCollection with the features of every layer.

    Parameters
    ----------
    layers : mapping of str to GeoDataFrame
        By kind, in any CRS known to PROJ. The columns become properties behind ``kind``;
        tuples become lists, missing values null.

    Returns
    -------
    str
        RFC 7946 text, one feature a line, with the bounding box of the whole.
    """
    members: list[str] = []
    boxes: list[tuple[float, float, float, float]] = []
    for kind, layer in layers.items():
        properties = layer.drop(columns=layer.geometry.name).to_dict("records")
        for values, shape in zip(properties, layer.geometry.to_crs("EPSG:4326"), strict=True):
            shape = _written(shape)
            boxes.extend(part.bounds for part in shapely.get_parts(shape) if not part.is_empty)
            feature = {
                "type": "Feature",
                "properties": {"kind": kind, **{k: _plain(v) for k, v in values.items()}},
                "geometry": None if shape.is_empty else shapely.geometry.mapping(shape),
            }
            members.append(json.dumps(feature, ensure_ascii=False, allow_nan=False))
    head = '{"type": "FeatureCollection",\n'
    if boxes:
        head += f'"bbox": {json.dumps(_bounding_box(boxes))},\n'
    return head + '"features": [\n' + ",\n".join(members) + "\n]}\n"


def _plain(value: Any) -> Any:
    """Return a value that JSON can hold: lists for tuples, null for what is missing."""
    if isinstance(value, tuple | list):
        return [_plain(item) for item in value]
    if isinstance(value, np.generic):
        value = value.item()
    return None if isinstance(value, float) and not math.isfinite(value) else value


def _written(shape: shapely.Geometry) -> shapely.Geometry:
    """Round to the decimals written, cut at the antimeridian, wind outer rings anticlockwise."""
    shape = _cut(shape)
    shape = shapely.transform(shape, lambda pairs: np.round(pairs, _DECIMALS) + 0.0)
    shape = shapely.remove_repeated_points(shape)
    if isinstance(shape, shapely.Polygon):
        return orient(shape)
    if isinstance(shape, shapely.MultiPolygon):
        return shapely.MultiPolygon([orient(part) for part in shape.geoms if not part.is_empty])
    return shape


def _cut(shape: shapely.Geometry) -> shapely.Geometry:
    """Cut a shape that crosses 180 degrees in two, as RFC 7946 section 3.1.9 asks."""
    west, _, east, _ = shape.bounds
    if not east - west > 180:
        return shape
    unrolled = shapely.transform(
        shape, lambda pairs: pairs + np.where(pairs[:, :1] < 0, [[360.0, 0.0]], [[0.0, 0.0]])
    )
    near = shapely.intersection(unrolled, shapely.box(0, -90, 180, 90))
    far = shapely.intersection(unrolled, shapely.box(180, -90, 360, 90))
    far = shapely.transform(far, lambda pairs: pairs - [[360.0, 0.0]])
    parts = [*shapely.get_parts(near), *shapely.get_parts(far)]
    longest = max(int(shapely.get_dimensions(part)) for part in parts)
    kept = [part for part in parts if shapely.get_dimensions(part) == longest]
    return shapely.MultiPolygon(kept) if longest == 2 else shapely.MultiLineString(kept)


def _bounding_box(boxes: list[tuple[float, float, float, float]]) -> list[float]:
    """Return west, south, east, north; west exceeds east across 180 degrees (section 5.2)."""
    west, south, east, north = np.array(boxes).T
    if east.max() - west.min() > 180:
        return [
            float(west[west >= 0].min()),
            float(south.min()),
            float(east[east <= 0].max()),
            float(north.max()),
        ]
    return [float(west.min()), float(south.min()), float(east.max()), float(north.max())]
