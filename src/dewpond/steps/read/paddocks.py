"""Paddocks from a polygon layer: named, mended, and parted from their neighbours."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import shapely

from dewpond.base.errors import nearest_name
from dewpond.base.surface import FloatArray
from dewpond.base.units import SQUARE_METRES_PER_HECTARE
from dewpond.steps.read.notes import Notes, area_text
from dewpond.steps.read.outlines import mend, polygons_of, without_slivers
from dewpond.steps.read.overlaps import drawn_twice, part_neighbours
from dewpond.steps.read.vectors import Layer

_TENURES = ("owned", "rented", "portable", "wayleave")
_FARTHEST_APART_M = 100_000.0
"""Paddocks farther from the rest than this are misplaced; common practice, no source."""


def name_paddocks(
    layer: Layer,
    name_field: str,
    notes: Notes,
    tenure_field: str | None = None,
    parcel_field: str | None = None,
) -> gpd.GeoDataFrame | None:
    """Return the usable features with their names, still in the CRS of the file.

    Returns
    -------
    GeoDataFrame or None
        Columns ``name`` (unique), ``written`` (as in the file, may be empty or repeated; None
        throughout where the name field is not there), ``label`` (for messages), ``geometry``
        (2D), and ``tenure`` and ``parcel`` where a field for it is given. None where no feature
        is usable.
    """
    if len(layer.frame) == 0:
        notes.fault(
            layer.label,
            "holds no features",
            found="an empty layer",
            expected="one polygon for each paddock",
            remedy="export the paddocks again",
        )
        return None
    field = _name_field(layer, name_field, notes)
    count = len(layer.frame)
    written = [_name_text(value) for value in layer.frame[field]] if field else [""] * count
    labels = [layer.feature(position, name) for position, name in enumerate(written)]
    shapes = layer.frame.geometry.to_numpy()
    usable = [
        position
        for position, shape in enumerate(shapes)
        if _is_usable(shape, labels[position], notes)
    ]
    if not usable:
        return None
    if shapely.has_z(shapes[usable]).any():
        notes.repairs.append(f"{layer.label}: heights of the corners dropped, outlines are flat.")
    names = _unique_names(written, labels, notes)
    table = gpd.GeoDataFrame(
        {"name": names, "written": written if field else None, "label": labels},
        geometry=shapely.force_2d(shapes),
        crs=layer.crs,
    )
    if tenure_field is not None:
        table["tenure"] = _tenures(layer, tenure_field, labels, notes)
    if parcel_field is not None:
        table["parcel"] = _parcels(layer, parcel_field, len(labels), notes)
    return table.iloc[usable].reset_index(drop=True)


def mend_paddocks(
    named: gpd.GeoDataFrame,
    crs: pyproj.CRS,
    label: str,
    share_limit: float,
    sliver_width_m: float,
    notes: Notes,
) -> gpd.GeoDataFrame:
    """Return the paddocks in the working CRS, valid and not overlapping.

    A paddock beyond repair is a fault and left out; ``area_ha`` is added by `settle_areas`.
    """
    table = named.to_crs(crs)
    table.attrs["label"] = label
    mended = [
        mend(shape, text, sliver_width_m, notes)
        for shape, text in zip(table.geometry, table["label"], strict=True)
    ]
    table = table.set_geometry(gpd.GeoSeries(mended, index=table.index, crs=crs))
    table = table[table.geometry.notna()]
    table = table[~drawn_twice(table, notes)].reset_index(drop=True)
    parted = part_neighbours(table, share_limit, sliver_width_m, notes)
    table = table.set_geometry(gpd.GeoSeries(parted, index=table.index, crs=crs))
    for label in table["label"][table.geometry.is_empty]:
        notes.fault(
            label,
            "is covered by its smaller neighbours",
            found="no ground of its own",
            expected="paddocks side by side",
            remedy="take it out of the paddocks, or mend its neighbours",
        )
    return table[~table.geometry.is_empty].reset_index(drop=True)


def take_off_keep_outs(
    table: gpd.GeoDataFrame, keep_out: gpd.GeoDataFrame, sliver_width_m: float, notes: Notes
) -> gpd.GeoDataFrame:
    """Return the paddocks less the ground that stock may not enter."""
    if keep_out.empty or table.empty:
        return table
    shapes = table.geometry.to_numpy()
    areas = keep_out.geometry.to_numpy()
    rows, _ = shapely.STRtree(areas).query(shapes, predicate="intersects")
    touched = np.unique(rows)
    left = shapes.copy()
    left[touched] = shapely.difference(shapes[touched], shapely.union_all(areas))
    for row in touched:
        left[row] = without_slivers(left[row], sliver_width_m)
        lost_m2 = shapes[row].area - left[row].area
        if left[row].is_empty:
            notes.fault(
                table["label"].iloc[row],
                "lies wholly within keep-outs",
                found="no ground left to graze",
                remedy="take it out of the paddocks, or mend the keep-out",
            )
        elif lost_m2 >= 1.0:
            notes.warnings.append(
                f'Keep-outs take {area_text(lost_m2)} off "{table["name"].iloc[row]}"; '
                f"{area_text(left[row].area)} is left to graze."
            )
    table = table.set_geometry(gpd.GeoSeries(left, index=table.index, crs=table.crs))
    return table[~table.geometry.is_empty].reset_index(drop=True)


def settle_areas(table: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Return the paddock table of `Holding`; ``tenure`` and ``parcel`` only where known."""
    shapes = table.geometry.to_numpy()
    columns = {
        "name": table["name"].to_numpy(dtype=object),
        "area_ha": shapely.area(shapes) / SQUARE_METRES_PER_HECTARE,
    }
    for known in ("tenure", "parcel"):
        if known in table:
            columns[known] = table[known].to_numpy(dtype=object)
    return gpd.GeoDataFrame(columns, geometry=shapes, crs=table.crs)


def refuse_strays(named: gpd.GeoDataFrame, notes: Notes) -> None:
    """Add a fault for each paddock that cannot belong to the same holding as the others."""
    x, y = _middles(named)
    middle = np.full_like(x, np.median(x)), np.full_like(y, np.median(y))
    *_, distance_m = pyproj.Geod(ellps="WGS84").inv(x, y, *middle)
    for row in np.flatnonzero(~(distance_m <= _FARTHEST_APART_M)):
        notes.fault(
            named["label"].iloc[row],
            "lies far from the other paddocks",
            found=f"{distance_m[row] / 1000:.0f} km from the middle of them",
            expected=f"at most {_FARTHEST_APART_M / 1000:g} km",
            remedy="check its coordinates, or plan it as a holding of its own",
        )


def _tenures(layer: Layer, field: str, labels: Sequence[str], notes: Notes) -> list[str]:
    """Return what may be built on each feature; nothing written means owned."""
    found = _field(layer, field, notes, "to tell the tenure by", "say it for each paddock")
    if found is None:
        return [_TENURES[0]] * len(labels)
    words = [_name_text(value).lower() or _TENURES[0] for value in layer.frame[found]]
    for word, label in zip(words, labels, strict=True):
        if word not in _TENURES:
            notes.fault(
                f"{label}, field {found}",
                "is not a tenure that is known",
                found=f'"{word}"',
                expected=", ".join(_TENURES) + " or nothing",
                remedy=nearest_name(word, _TENURES),
            )
    return words


def _parcels(layer: Layer, field: str, count: int, notes: Notes) -> list[str]:
    """Return the identifier of the parcel of each feature, empty where none is written."""
    found = _field(layer, field, notes, "to tell the parcel by", "say it for each paddock")
    if found is None:
        return [""] * count
    return [_name_text(value) for value in layer.frame[found]]


def _middles(named: gpd.GeoDataFrame) -> tuple[FloatArray, FloatArray]:
    """Return longitude and latitude of the middle of each outline's extent [degrees].

    Longitudes run on past 180 where outlines lie astride the 180th meridian.
    """
    points, owner = shapely.get_coordinates(
        named.to_crs("EPSG:4326").geometry.to_numpy(), return_index=True
    )
    points[~np.isfinite(points)] = np.nan
    start = np.nanmax(points[:, 0], initial=-180.0)
    points[:, 0] = start + (points[:, 0] - start + 180) % 360 - 180
    first = np.searchsorted(owner, np.arange(len(named)))
    low, high = np.minimum.reduceat(points, first), np.maximum.reduceat(points, first)
    x, y = ((low + high) / 2).T
    return x, y


def _name_field(layer: Layer, wanted: str, notes: Notes) -> str | None:
    """Return the field that names the paddocks, whatever its case; None is a fault."""
    return _field(
        layer, wanted, notes, "to name the paddocks by", "give each paddock a name in the file"
    )


def _field(layer: Layer, wanted: str, notes: Notes, purpose: str, remedy: str) -> str | None:
    fields = [str(column) for column in layer.frame.columns.drop(layer.frame.geometry.name)]
    if wanted in fields:
        return wanted
    alike = [item for item in fields if item.lower() == wanted.lower()]
    if len(alike) == 1:
        return alike[0]
    notes.fault(
        f"{layer.label}, field {wanted}",
        f"no such field {purpose}",
        found=f'"{wanted}"',
        expected="a field of the layer",
        remedy=nearest_name(wanted, fields) or remedy,
    )
    return None


def _name_text(value: Any) -> str:
    if value is None or pd.isna(value):
        return ""
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return " ".join(str(value).split())


def _unique_names(written: Sequence[str], labels: Sequence[str], notes: Notes) -> list[str]:
    """Name the unnamed by position and tell the namesakes apart by a number."""
    taken = {name for name in written if name}
    used: set[str] = set()
    names: list[str] = []
    for position, name in enumerate(written):
        base = name or f"paddock {position + 1}"
        chosen, number = base, 1
        while chosen in used or (chosen != name and chosen in taken):
            number += 1
            chosen = f"{base} ({number})"
        used.add(chosen)
        names.append(chosen)
        if not name:
            notes.repairs.append(f'{labels[position]}: has no name, called "{chosen}".')
        elif chosen != name:
            notes.repairs.append(
                f'{labels[position]}: another paddock has that name, called "{chosen}"; '
                f'a mob in "{name}" grazes both.'
            )
    return names


def _is_usable(shape: Any, label: str, notes: Notes) -> bool:
    if shape is None or shapely.is_empty(shape):
        notes.fault(
            label,
            "has no geometry",
            found="an empty or unreadable shape",
            expected="a polygon",
            remedy="draw its outline or delete the feature",
        )
        return False
    if not np.isfinite(shapely.bounds(shape)).all():
        notes.fault(label, "has coordinates that are not numbers", remedy="draw its outline again")
        return False
    if polygons_of(shape):
        return True
    notes.fault(
        label,
        "is not a polygon",
        found=shape.geom_type,
        expected="a Polygon or MultiPolygon",
        remedy="close the line to an outline, or move the feature to another layer",
    )
    return False
