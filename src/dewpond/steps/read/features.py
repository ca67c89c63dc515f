"""Vectors around the paddocks: keep-outs, tracks, water, gates, what is there, what is wished."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import pyproj
import shapely

from dewpond.base.errors import nearest_name
from dewpond.base.model import Features
from dewpond.base.settings import FeaturesSettings, VectorFile
from dewpond.base.surface import transformer
from dewpond.base.words import words
from dewpond.steps.read.notes import Notes, listed
from dewpond.steps.read.vectors import Bounds, Layer, open_layer

_POINT, _LINE, _POLYGON = 0, 1, 2
_KINDS: dict[str, tuple[tuple[int, ...], str]] = {
    "keep_out": ((_POLYGON,), "polygons"),
    "tracks": ((_LINE, _POLYGON), "lines or polygons"),
    "watercourses": ((_LINE, _POLYGON), "lines or polygons"),
    "gates": ((_POINT, _LINE), "points"),
    "existing_pipe": ((_LINE,), "lines"),
    "existing_outlets": ((_POINT,), "points"),
    "fixed_outlets": ((_POINT,), "points"),
    "spine": ((_LINE,), "lines"),
    "forbidden_ground": ((_POLYGON,), "polygons"),
    "preferred_ground": ((_POLYGON,), "polygons"),
}
_POINTS = ("gates", "existing_outlets", "fixed_outlets")
_DIAMETER, _CONDITION = "outside_diameter_mm", "condition"
# Fields read besides the name, where a file has them.
_FIELDS = {"existing_pipe": (_DIAMETER, _CONDITION), "existing_outlets": (_CONDITION,)}
_CONDITIONS = ("good", "fair", "poor")


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
        return _empty(crs, kind)
    file = VectorFile(path=written) if isinstance(written, str) else written
    box: Callable[[pyproj.CRS], Bounds] | None = None
    if area is not None:
        extent = area

        def box(other: pyproj.CRS) -> Bounds:
            return bounds_in(extent, crs, other)

    layer = open_layer(file, folder, f"[features], {kind}", notes, box)
    if layer is None:
        return _empty(crs, kind)
    table = _flat_valid(layer, crs, kind, notes)
    if area is not None:
        table = _cut(table, area, kind)
        if table.empty:
            notes.warnings.append(
                words("data.features.none_near_paddocks", label=layer.label, kind=kind)
            )
    return table


def _empty(crs: pyproj.CRS, kind: str) -> gpd.GeoDataFrame:
    columns = {"name": pd.Series([], dtype=object)}
    for field in _FIELDS.get(kind, ()):
        columns[field] = pd.Series([], dtype=np.float64 if field == _DIAMETER else object)
    return gpd.GeoDataFrame(columns, geometry=[], crs=crs)


def _flat_valid(layer: Layer, crs: pyproj.CRS, kind: str, notes: Notes) -> gpd.GeoDataFrame:
    """Return a layer in the working CRS, mended, with wrong kinds of shape as faults."""
    frame = layer.frame.to_crs(crs)
    shapes = shapely.force_2d(frame.geometry.to_numpy())
    absent = shapely.is_missing(shapes) | shapely.is_empty(shapes)
    if absent.any():
        notes.repairs.append(
            words(
                "data.features.shapeless_left_out",
                label=layer.label,
                count=absent.sum(),
            )
        )
    invalid = ~absent & ~shapely.is_valid(shapes)
    if invalid.any():
        numbers = listed(str(row + 1) for row in np.flatnonzero(invalid))
        notes.repairs.append(words("data.features.made_valid", label=layer.label, numbers=numbers))
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
    columns = {"name": np.array(_names(frame), dtype=object), **_extra_fields(layer, kind, notes)}
    table = gpd.GeoDataFrame(
        {name: values[usable] for name, values in columns.items()},
        geometry=shapes[usable],
        crs=crs,
    )
    return table.explode(ignore_index=True) if kind in _POINTS else table


def _extra_fields(layer: Layer, kind: str, notes: Notes) -> dict[str, Any]:
    """Return the fields of a kind besides the name, unknown where the file has them not."""
    return {
        field: _diameters(layer, notes) if field == _DIAMETER else _conditions(layer, notes)
        for field in _FIELDS.get(kind, ())
    }


def _values(layer: Layer, field: str) -> list[Any]:
    column = next((c for c in layer.frame.columns if str(c).lower() == field), None)
    if column is None:
        return [None] * len(layer.frame)
    return [None if pd.isna(value) else value for value in layer.frame[column]]


def _diameters(layer: Layer, notes: Notes) -> npt.NDArray[np.float64]:
    sizes = np.full(len(layer.frame), np.nan)
    for row, value in enumerate(_values(layer, _DIAMETER)):
        if value is None:
            continue
        try:
            sizes[row] = float(value)
        except (TypeError, ValueError):
            sizes[row] = -1.0
        if not sizes[row] > 0:
            notes.fault(
                f"{layer.feature(row)}, field {_DIAMETER}",
                "is not a size of pipe",
                found=repr(value),
                expected="millimetres, more than 0, or nothing",
                remedy="mend it, or leave it empty where nobody knows",
            )
    return sizes


def _conditions(layer: Layer, notes: Notes) -> npt.NDArray[np.object_]:
    words = np.full(len(layer.frame), "", dtype=object)
    for row, value in enumerate(_values(layer, _CONDITION)):
        words[row] = "" if value is None else str(value).strip().lower()
        if words[row] and words[row] not in _CONDITIONS:
            notes.fault(
                f"{layer.feature(row)}, field {_CONDITION}",
                "is not a condition that is known",
                found=repr(value),
                expected=", ".join(_CONDITIONS) + " or nothing",
                remedy=nearest_name(words[row], _CONDITIONS),
            )
    return words


def _middles(shapes: Any, layer: Layer, notes: Notes) -> Any:
    """Turn gates drawn as lines into their middle points."""
    lines = shapely.get_dimensions(shapes) == _LINE
    if lines.any():
        notes.repairs.append(
            words("data.features.gates_from_lines", label=layer.label, count=lines.sum())
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
    kept = table.loc[inside].set_geometry(cut[inside], crs=table.crs)
    return kept.reset_index(drop=True)
