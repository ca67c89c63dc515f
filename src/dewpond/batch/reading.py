"""Rows of the files that hold all holdings, a part at a time."""

from __future__ import annotations

import hashlib
import shutil
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
import pyogrio
import shapely

from dewpond.base.errors import Fault, nearest_name
from dewpond.batch.options import Rows

_ROWS_AT_ONCE = 100_000
_BY_ID = {"GPKG", "SQLite", "FlatGeobuf", "ESRI Shapefile", "OpenFileGDB"}
"""Drivers that find a row by its id without reading those before it."""


def rows_by_holding(rows: Rows) -> dict[str, tuple[int, ...]]:
    """Return the feature ids of each holding, reading only the field that names it.

    Rows that name no holding stand under an empty name.
    """
    found: dict[str, list[int]] = {}
    start = 0
    while True:
        part = _read(
            rows.path, rows.layer, columns=[rows.field], read_geometry=False, fid_as_index=True,
            skip_features=start, max_features=_ROWS_AT_ONCE,
        )  # fmt: skip
        for fid, value in part[rows.field].items():
            found.setdefault(holding_text(value), []).append(int(fid))
        if len(part) < _ROWS_AT_ONCE:
            return {name: tuple(ids) for name, ids in found.items()}
        start += len(part)


def has_field(rows: Rows) -> bool:
    """Return whether a file that can be read has the field of the holdings."""
    try:
        info = pyogrio.read_info(rows.path, layer=rows.layer)
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError):
        return False
    return rows.field in [str(name) for name in info["fields"]]


def holding_text(value: Any) -> str:
    """Return what a holding is called: whole numbers without a point, text trimmed.

    >>> holding_text(12.0), holding_text("  Nab End "), holding_text(None)
    ('12', 'Nab End', '')
    """
    if value is None or (pd.api.types.is_scalar(value) and pd.isna(value)):
        return ""
    if isinstance(value, float) and value.is_integer():
        value = int(value)
    return str(value).strip()


def read_rows(rows: Rows, ids: tuple[int, ...]) -> gpd.GeoDataFrame | pd.DataFrame:
    """Return rows by their feature ids, in that order."""
    layer = rows.layer
    table = _read(rows.path, layer, fids=list(ids), fid_as_index=True)
    return table.loc[list(ids)].reset_index(drop=True)


def read_near(rows: Rows, fields: gpd.GeoDataFrame, within_m: float) -> gpd.GeoDataFrame:
    """Return the features within a distance of fields, the nearest first, as they stand."""
    crs = fields.estimate_utm_crs()
    ground = fields.to_crs(crs)
    west, south, east, north = ground.total_bounds
    box = gpd.GeoSeries([shapely.box(west, south, east, north).buffer(within_m)], crs=crs)
    own = pyogrio.read_info(rows.path, layer=rows.layer)["crs"]
    found = _read(rows.path, rows.layer, bbox=tuple(box.to_crs(own).total_bounds))
    away_m = found.to_crs(crs).distance(ground.union_all())
    near = away_m[away_m <= within_m].sort_values(kind="stable")
    return found.loc[near.index].reset_index(drop=True)


def readable_by_id(rows: Rows, folder: Path) -> Rows:
    """Return the rows in a file where each can be found by its id, a copy where need be.

    GeoJSON, CSV and the like can only be read from the front; those are copied once into a
    GeoPackage in the folder of the batch, and again only when the file changes.
    """
    if not Path(rows.path).exists():
        return rows
    try:
        driver = str(pyogrio.read_info(rows.path, layer=rows.layer)["driver"])
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError):
        return rows
    path = Path(rows.path).resolve()
    if driver in _BY_ID:
        return Rows(str(path), rows.layer, rows.field)
    stamp = path.stat()
    name = hashlib.sha256(
        repr((str(path), rows.layer, stamp.st_size, stamp.st_mtime_ns)).encode()
    ).hexdigest()[:16]
    copy = folder / f"rows-{name}.gpkg"
    if not copy.exists():
        folder.mkdir(parents=True, exist_ok=True)
        part = folder / f"rows-{name}-unfinished.gpkg"
        part.unlink(missing_ok=True)
        pyogrio.write_dataframe(_read(rows.path, rows.layer), part, layer="rows", driver="GPKG")
        shutil.move(part, copy)
    return Rows(str(copy), "rows", rows.field, copied_from=rows.path)


def faults_of(rows: Rows, where: str, *, shapes: bool) -> list[Fault]:
    """Return what keeps a file of all holdings from being read at all.

    Parameters
    ----------
    rows : Rows
    where : str
        The option that names the file.
    shapes : bool
        Whether its rows must have shapes, in a known CRS.
    """
    path = Path(rows.path)
    if not path.exists():
        return [Fault(where, f"the file {rows.label} does not exist", remedy="check the path")]
    try:
        layers = [str(name) for name in pyogrio.list_layers(path)[:, 0]]
    except pyogrio.errors.DataSourceError as error:
        found = str(error).splitlines()[0][:160].rstrip(".")
        expected = "any format that OGR reads, for instance GeoPackage"
        text = f"the file {rows.label} cannot be read"
        return [Fault(where, text, found=found, expected=expected)]
    if rows.layer is not None and rows.layer not in layers:
        text, found = f"{rows.label} has no such layer", f'"{rows.layer}"'
        return [Fault(where, text, found=found, remedy=nearest_name(rows.layer, layers))]
    if rows.layer is None and len(layers) > 1:
        text, found = (
            f"{rows.label} holds several layers and none is chosen",
            ", ".join(layers[:12]),
        )
        return [Fault(where, text, found=found, remedy=f"name it with {where}-layer")]
    info = pyogrio.read_info(path, layer=rows.layer)
    return [
        *_field_faults(rows, where, info),
        *(_shape_faults(rows, where, info) if shapes else ()),
    ]


def _field_faults(rows: Rows, where: str, info: dict[str, Any]) -> list[Fault]:
    columns = [str(name) for name in info["fields"]]
    if rows.field is None or rows.field in columns:
        return []
    text, remedy = f"{rows.label} has no such field", nearest_name(rows.field, columns)
    return [Fault(where, text, found=f'"{rows.field}"', remedy=remedy)]


def _shape_faults(rows: Rows, where: str, info: dict[str, Any]) -> list[Fault]:
    if info["geometry_type"] is None:
        text = f"{rows.label} is a table without shapes"
        return [Fault(where, text, remedy="give the file that has shapes")]
    if info["crs"] is None:
        text, expected = f"{rows.label} has no CRS", "a CRS stored in the file"
        remedy = "assign the CRS the data were drawn in and save the file again"
        return [Fault(where, text, expected=expected, remedy=remedy)]
    return []


def _read(path: str, layer: str | None, **options: Any) -> Any:
    return pyogrio.read_dataframe(path, layer=layer, on_invalid="ignore", **options)
