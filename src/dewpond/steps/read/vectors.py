"""One layer of a vector file, or a GeoDataFrame handed over in its stead."""

from __future__ import annotations

import hashlib
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pyogrio
import pyproj
import shapely

from dewpond.base.errors import nearest_name
from dewpond.base.settings import VectorFile
from dewpond.base.words import words
from dewpond.steps.read.files import is_readable, locate, record_digests, vector_parts
from dewpond.steps.read.notes import Notes, listed

Bounds = tuple[float, float, float, float]


@dataclass(frozen=True, eq=False)
class Layer:
    """Features as delivered, with the label that messages give them.

    Attributes
    ----------
    label : str
        File and layer as written.
    frame : GeoDataFrame
        Fields and geometry in the file's own CRS; row labels 0 to n-1 in file order.
    crs : pyproj.CRS
        Two-dimensional CRS of the geometry.
    """

    label: str
    frame: gpd.GeoDataFrame
    crs: pyproj.CRS

    def feature(self, position: int, name: str = "") -> str:
        """Return ``file, feature 3 ("Top Field")``; features are counted from one."""
        return f"{self.label}, feature {position + 1}" + (f' ("{name}")' if name else "")


def open_layer(
    file: VectorFile,
    folder: Path,
    where: str,
    notes: Notes,
    bounds_in: Callable[[pyproj.CRS], Bounds] | None = None,
) -> Layer | None:
    """Read one layer; None, with a fault, where that cannot be done.

    Parameters
    ----------
    file : VectorFile
    folder : Path
        Folder of the project file.
    where : str
        Key of the project file, for messages.
    notes : Notes
    bounds_in : callable, optional
        Gives the wanted extent in the layer's own CRS; without it every feature is read.
    """
    if not is_readable(file.path, folder, where, notes):
        return None
    path = locate(file.path, folder)
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        layer = _open(file, path, where, notes, bounds_in)
    if layer is not None:
        record_digests(file.path, vector_parts(path), folder, notes)
    heard = dict.fromkeys(str(item.message).strip().rstrip(".") for item in caught)
    notes.warnings.extend(f"{file.path}: {text}." for text in heard)
    return layer


def adopt(frame: gpd.GeoDataFrame, label: str, notes: Notes) -> Layer | None:
    """Take a GeoDataFrame as a layer; it is not changed."""
    notes.inputs[f"{label} (GeoDataFrame)"] = _frame_digest(frame)
    return _checked(frame.reset_index(drop=True), label, notes)


def _open(
    file: VectorFile,
    path: Path,
    where: str,
    notes: Notes,
    bounds_in: Callable[[pyproj.CRS], Bounds] | None,
) -> Layer | None:
    try:
        name = _choose_layer(file, path, where, notes)
        if name is None:
            return None
        label = file.path if file.layer is None else f'{file.path}, layer "{file.layer}"'
        box = None if bounds_in is None else _box(path, name, bounds_in)
        frame = pyogrio.read_dataframe(path, layer=name, bbox=box, on_invalid="ignore")
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError, OSError) as error:
        notes.fault(
            where,
            f"the file {file.path} cannot be read as vector data",
            found=str(error).splitlines()[0][:160].rstrip("."),
            expected="any format that OGR reads, for instance GeoPackage or GeoJSON",
            remedy="open it in a desktop GIS and export it again",
        )
        return None
    if not isinstance(frame, gpd.GeoDataFrame):
        notes.fault(label, "is a table without geometry", remedy="give the file that has shapes")
        return None
    return _checked(frame, label, notes)


def _box(path: Path, name: str, bounds_in: Callable[[pyproj.CRS], Bounds]) -> Bounds | None:
    """Return the wanted extent; None, for every feature, where the layer tells no CRS."""
    crs = pyogrio.read_info(path, layer=name)["crs"]
    return None if crs is None else bounds_in(pyproj.CRS.from_user_input(crs))


def _choose_layer(file: VectorFile, path: Path, where: str, notes: Notes) -> str | None:
    names = [str(name) for name in pyogrio.list_layers(path)[:, 0]]
    if file.layer is not None:
        if file.layer in names:
            return file.layer
        notes.fault(
            f"{where}, layer",
            f"{file.path} has no such layer",
            found=f'"{file.layer}"',
            remedy=nearest_name(file.layer, names),
        )
        return None
    if len(names) == 1:
        return names[0]
    if names:
        notes.fault(
            where,
            f"{file.path} holds several layers and none is chosen",
            found=listed((f'"{name}"' for name in names), most=12),
            expected="one of them",
            remedy='name it with layer = "..."',
        )
    else:
        notes.fault(where, f"{file.path} holds no layer", remedy="export the file again")
    return None


def _checked(frame: gpd.GeoDataFrame, label: str, notes: Notes) -> Layer | None:
    """Refuse a layer without CRS or with coordinates that its CRS cannot have."""
    crs = frame.crs
    if crs is None or "Engineering" in crs.type_name:
        notes.fault(
            label,
            "has no CRS",
            found="coordinates without a coordinate reference system"
            + (f", {_bounds_text(frame)}" if len(frame) else ""),
            expected="a CRS stored in the file, for instance EPSG:27700",
            remedy="assign the CRS the data were drawn in and save the file again",
        )
        return None
    flat = crs.to_2d()
    bounds = frame.total_bounds
    if flat.is_geographic and np.isfinite(bounds).all() and _beyond_globe(bounds):
        notes.fault(
            label,
            f"has coordinates that do not fit its CRS, {flat.name}",
            found=_bounds_text(frame),
            expected="degrees, longitude -180 to 180 and latitude -90 to 90",
            remedy="assign the CRS the data were drawn in; the numbers look like metres",
        )
        return None
    return Layer(label, frame, flat)


def _beyond_globe(bounds: Any) -> bool:
    west, south, east, north = bounds
    return bool(min(west, east) < -360 or max(west, east) > 360 or south < -90 or north > 90)


def _bounds_text(frame: gpd.GeoDataFrame) -> str:
    west, south, east, north = (f"{value:.6g}" for value in frame.total_bounds)
    return words("data.vectors.extent", west=west, east=east, south=south, north=north)


def _frame_digest(frame: gpd.GeoDataFrame) -> str:
    digest = hashlib.sha256(str(frame.crs).encode())
    digest.update(frame.drop(columns=frame.geometry.name).to_csv(index=False).encode())
    for blob in shapely.to_wkb(frame.geometry.to_numpy()):
        digest.update(blob or b"-")
    return digest.hexdigest()
