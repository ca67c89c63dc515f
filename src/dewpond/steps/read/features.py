"""Vectors around the paddocks: keep-outs, tracks, watercourses, gates, existing pipe."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import shapely

from dewpond.base.model import Features
from dewpond.base.settings import FeaturesSettings, VectorFile
from dewpond.base.surface import transformer
from dewpond.steps.read.notes import Notes, listed
from dewpond.steps.read.vectors import Bounds, Layer, open_layer

_POINT, _LINE, _POLYGON = 0, 1, 2
_KINDS: dict[str, tuple[tuple[int, ...], str]] = {
    "keep_out": ((_POLYGON,), "polygons"),
    "tracks": ((_LINE, _POLYGON), "lines or polygons"),
    "watercourses": ((_LINE, _POLYGON), "lines or polygons"),
    "gates": ((_POINT, _LINE), "points"),
    "existing_pipe": ((_LINE,), "lines"),
}


def read_features(
    settings: FeaturesSettings,
    folder: Path,
    crs: pyproj.CRS,
    area: Bounds | None,
    notes: Notes,
) -> Features:
    """Return each table of features, cut to the area; an absent one is empty.

    Parameters
    ----------
    settings : FeaturesSettings
    folder : Path
        Folder of the project file.
    crs : pyproj.CRS
        Working CRS.
    area : tuple of float or None
        Extent in ``crs``; None reads whole files, only to find their faults.
    notes : Notes
    """
    return Features(
        **{kind: _read_kind(kind, settings, folder, crs, area, notes) for kind in _KINDS}
    )


def bounds_in(area: Bounds, crs: pyproj.CRS, other: pyproj.CRS) -> Bounds:
    """Return an extent carried to another CRS, wide enough to hold all of it."""
    carry = transformer(crs, other.to_2d())
    west, south, east, north = carry.transform_bounds(*area, densify_pts=21)
    return west, south, east, north


def _read_kind(
    kind: str,
    settings: FeaturesSettings,
    folder: Path,
    crs: pyproj.CRS,
    area: Bounds | None,
    notes: Notes,
) -> gpd.GeoDataFrame:
    written = getattr(settings, kind)
    if written is None:
        return _empty(crs)
    file = VectorFile(path=written) if isinstance(written, str) else written
    box: Callable[[pyproj.CRS], Bounds] | None = None
    if area is not None:
        extent = area

        def box(other: pyproj.CRS) -> Bounds:
            return bounds_in(extent, crs, other)

    layer = open_layer(file, folder, f"[features], {kind}", notes, box)
    if layer is None:
        return _empty(crs)
    table = _flat_valid(layer, crs, kind, notes)
    if area is not None:
        table = _cut(table, area, kind)
        if table.empty:
            notes.warnings.append(f"{layer.label}: no {kind} lie near the paddocks.")
    return table


def _empty(crs: pyproj.CRS) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame({"name": pd.Series([], dtype=object)}, geometry=[], crs=crs)


def _flat_valid(layer: Layer, crs: pyproj.CRS, kind: str, notes: Notes) -> gpd.GeoDataFrame:
    """Return a layer in the working CRS, mended, with wrong kinds of shape as faults."""
    frame = layer.frame.to_crs(crs)
    shapes = shapely.force_2d(frame.geometry.to_numpy())
    absent = shapely.is_missing(shapes) | shapely.is_empty(shapes)
    if absent.any():
        notes.repairs.append(f"{layer.label}: {absent.sum()} features without a shape left out.")
    invalid = ~absent & ~shapely.is_valid(shapes)
    if invalid.any():
        numbers = listed(str(row + 1) for row in np.flatnonzero(invalid))
        notes.repairs.append(f"{layer.label}: made valid, feature {numbers}.")
        shapes[invalid] = shapely.make_valid(shapes[invalid])
    dimensions, spelled = _KINDS[kind]
    wrong = ~absent & ~np.isin(shapely.get_dimensions(shapes), dimensions)
    for row in np.flatnonzero(wrong)[:5]:
        notes.fault(
            layer.feature(int(row)),
            f"is not of the shape that {kind} have",
            found=shapes[row].geom_type,
            expected=spelled,
            remedy="move it to another layer or file",
        )
    if kind == "gates":
        shapes = _middles(shapes, layer, notes)
    usable = ~absent & ~wrong
    table = gpd.GeoDataFrame(
        {"name": np.array(_names(frame), dtype=object)[usable]}, geometry=shapes[usable], crs=crs
    )
    return table.explode(ignore_index=True) if kind == "gates" else table


def _middles(shapes: Any, layer: Layer, notes: Notes) -> Any:
    """Turn gates drawn as lines into their middle points."""
    lines = shapely.get_dimensions(shapes) == _LINE
    if lines.any():
        notes.repairs.append(
            f"{layer.label}: {lines.sum()} gates drawn as lines taken at their middle."
        )
        shapes = shapes.copy()
        longest = shapely.line_merge(shapes[lines])
        shapes[lines] = shapely.line_interpolate_point(longest, 0.5, normalized=True)
    return shapes


def _names(frame: gpd.GeoDataFrame) -> list[str]:
    field = next((column for column in frame.columns if str(column).lower() == "name"), None)
    if field is None:
        return [""] * len(frame)
    return ["" if value is None or pd.isna(value) else str(value) for value in frame[field]]


def _cut(table: gpd.GeoDataFrame, area: Bounds, kind: str) -> gpd.GeoDataFrame:
    """Return what lies within the area, long features cut at its edge."""
    if table.empty:
        return table
    shapes = table.geometry.to_numpy()
    cut = shapely.intersection(shapes, shapely.box(*area))
    dimensions, _ = _KINDS[kind]
    inside = ~shapely.is_empty(cut) & np.isin(shapely.get_dimensions(cut), dimensions)
    return gpd.GeoDataFrame(
        {"name": table["name"].to_numpy(dtype=object)[inside]},
        geometry=cut[inside],
        crs=table.crs,
    )
