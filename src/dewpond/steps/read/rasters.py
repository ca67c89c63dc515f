"""One elevation raster: opened, its unit of height told, and the window needed read in metres."""

from __future__ import annotations

import hashlib
import math
import warnings
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pyproj
import rasterio
from affine import Affine
from rasterio.enums import ColorInterp, Resampling
from rasterio.errors import RasterioIOError
from rasterio.windows import Window

from dewpond.base.surface import FloatArray, Grid, carry_by, cut_from, transformer
from dewpond.base.words import words
from dewpond.steps.read.files import is_readable, locate, record_raster
from dewpond.steps.read.notes import Notes
from dewpond.steps.read.vectors import Bounds
from dewpond.steps.read.virtual import members_beside

LARGEST_WINDOW_CELLS = 16_000_000
"""Cells of one raster held in memory (128 MB of float64); a finer window is averaged down."""

_LOWEST_LAND_M, _HIGHEST_LAND_M = -500.0, 9_000.0
"""Heights beyond these are codes for nothing known: the Dead Sea shore lies at -430 m, the
highest summit at 8,849 m."""


_ZERO_BESIDE_M = 5.0
"""Cells of zero where all others stand higher than this are doubtful; common practice, no
source."""


@dataclass(frozen=True, eq=False)
class Raster:
    """An open raster with what messages and later steps need to know of it."""

    label: str
    dataset: Any
    crs: pyproj.CRS
    vertical: pyproj.CRS | None
    folder: Path


@contextmanager
def opened(
    written: Sequence[str], given: Sequence[Any] | None, folder: Path, notes: Notes
) -> Iterator[list[Raster]]:
    """Open the rasters of the project file, or take open ones, in order of preference.

    Each that cannot be used is a fault. Rasters opened here are closed again, given ones not.
    """
    with ExitStack() as stack:
        rasters: list[Raster] = []
        if given is not None:
            for number, dataset in enumerate(given, start=1):
                files = _local_files(dataset)
                label = files[0].name if files else f"elevation {number}"
                rasters.extend(_checked(label, dataset, Path(), notes))
        else:
            for path in written:
                dataset = _open(path, folder, notes)
                if dataset is not None:
                    stack.enter_context(dataset)
                    rasters.extend(_checked(path, dataset, folder, notes))
        yield rasters


def read_window(
    raster: Raster, area: Bounds, crs: pyproj.CRS, metres_per_unit: float, notes: Notes
) -> Grid | None:
    """Return heights [m] of the part of a raster that an extent needs; None beside it.

    Scale and offset of the band are applied; nodata, masks, NaN and heights that no land has
    become NaN.
    """
    window = _window(raster, area, crs)
    if window is None:
        return None
    dataset = raster.dataset
    shrink = max(1.0, math.sqrt(window.width * window.height / LARGEST_WINDOW_CELLS))
    shape = max(1, round(window.height / shrink)), max(1, round(window.width / shrink))
    try:
        band = dataset.read(
            1, window=window, out_shape=shape, masked=True, resampling=Resampling.average
        )
    except RasterioIOError as error:
        notes.fault(
            raster.label,
            "cannot be read to the end",
            found=str(error.__cause__ or error).splitlines()[0][:160].rstrip("."),
            expected="a whole file",
            remedy="download or export it again",
        )
        return None
    _record(raster, window, band.tobytes, notes)
    values = np.ma.filled(band.astype(np.float64), np.nan)
    values = (values * dataset.scales[0] + dataset.offsets[0]) * metres_per_unit
    values = _plausible(values, raster.label, notes)
    _warn_of_zeros(values, raster.label, notes)
    if shrink > 1:
        notes.warnings.append(
            words(
                "data.rasters.cells_averaged",
                label=raster.label,
                width=window.width,
                height=window.height,
                columns=shape[1],
                rows=shape[0],
            )
        )
    wider, taller = window.width / shape[1], window.height / shape[0]
    transform = cut_from(dataset.transform, window.col_off, window.row_off, wider, taller)
    return Grid(values, transform, raster.crs)


def meets(raster: Raster, area: Bounds, crs: pyproj.CRS) -> bool:
    """Return whether a raster has cells, known or not, under an extent."""
    return _window(raster, area, crs) is not None


def raster_extent_text(raster: Raster) -> str:
    """Spell where a raster lies, in longitude and latitude."""
    dataset = raster.dataset
    column = np.array([0.0, dataset.width, 0.0, dataset.width])
    row = np.array([0.0, 0.0, dataset.height, dataset.height])
    x, y = carry_by(dataset.transform, column, row)
    return extent_text((min(x), min(y), max(x), max(y)), raster.crs)


def horizontal_and_vertical(crs: pyproj.CRS) -> tuple[pyproj.CRS, pyproj.CRS | None]:
    """Split a CRS into its map part and, where it states one, its height part."""
    if crs.is_bound and crs.source_crs is not None:
        crs = crs.source_crs
    vertical = next((part for part in crs.sub_crs_list if part.is_vertical), None)
    if vertical is None and len(crs.axis_info) == 3:
        vertical = crs
    return crs.to_2d(), vertical


def extent_text(bounds: Bounds, crs: pyproj.CRS) -> str:
    """Spell an extent in longitude and latitude.

    >>> extent_text((-2.3, 53.8, -2.1, 54.0), pyproj.CRS("EPSG:4326"))
    'longitude -2.3000 to -2.1000, latitude 53.8000 to 54.0000'
    """
    carry = transformer(crs, pyproj.CRS.from_epsg(4326))
    west, south, east, north = carry.transform_bounds(*bounds)
    return words("data.rasters.extent_in_degrees", west=west, east=east, south=south, north=north)


def _open(written: str, folder: Path, notes: Notes) -> Any | None:
    where = "[terrain], elevation"
    if not is_readable(written, folder, where, notes):
        return None
    try:
        with warnings.catch_warnings():
            # A raster without placement is told of by a fault of our own.
            warnings.simplefilter("ignore", rasterio.errors.NotGeoreferencedWarning)
            return rasterio.open(locate(written, folder))
    except RasterioIOError as error:
        notes.fault(
            where,
            f"the file {written} cannot be read as a raster",
            found=str(error).splitlines()[0][:160].rstrip("."),
            expected="any format that GDAL reads, for instance GeoTIFF or ESRI ASCII",
            remedy="download or export it again",
        )
        return None


def _local_files(dataset: Any) -> list[Path]:
    return [Path(name) for name in dataset.files if Path(name).is_file()]


def _record(raster: Raster, window: Window, heights: Callable[[], bytes], notes: Notes) -> None:
    """Record the digests of what a window is read from; of what is no file, of its heights."""
    if not _local_files(raster.dataset):
        notes.inputs[raster.label] = hashlib.sha256(heights()).hexdigest()
    beside = members_beside(raster.dataset, window)
    files = [path for path in map(Path, raster.dataset.files) if path not in beside]
    record_raster(raster.label, files, raster.folder, heights, notes)


def _checked(label: str, dataset: Any, folder: Path, notes: Notes) -> list[Raster]:
    """Return the raster in a list, or an empty list and a fault."""
    if dataset.count == 0:
        notes.fault(label, "holds no band", remedy="give one of its subdatasets")
        return []
    if dataset.colorinterp[0] in (ColorInterp.red, ColorInterp.palette):
        notes.fault(
            label,
            "is a picture, not heights",
            found=f"bands {', '.join(item.name for item in dataset.colorinterp)}",
            expected="one band of ground heights",
            remedy="give the elevation raster that the picture was made from",
        )
        return []
    if dataset.crs is None:
        notes.fault(
            label,
            "has no CRS",
            found=f"a raster of {dataset.width} x {dataset.height} cells without a coordinate "
            "reference system",
            expected="a CRS in the file or in a .prj file beside it",
            remedy="put the .prj delivered with it beside it, or assign the CRS and save again",
        )
        return []
    if dataset.transform == Affine.identity():
        notes.fault(
            label,
            "has no placement on the ground",
            found="cells without coordinates",
            expected="a geotransform or world file",
            remedy="georeference it, or put its world file beside it",
        )
        return []
    crs, vertical = horizontal_and_vertical(pyproj.CRS.from_user_input(dataset.crs))
    if dataset.count > 1:
        notes.warnings.append(
            words("data.rasters.first_band_read", label=label, count=dataset.count)
        )
    notes.credit(dataset.tags().get("TIFFTAG_COPYRIGHT", ""))
    return [Raster(label, dataset, crs, vertical, folder)]


def _window(raster: Raster, area: Bounds, crs: pyproj.CRS) -> Window | None:
    """Return the cells under an extent, two more on each side; None where they do not meet."""
    west, south, east, north = area
    along = np.linspace(0, 1, 21)
    x = np.concatenate([west + along * (east - west)] * 2 + [np.full(21, west), np.full(21, east)])
    y = np.concatenate(
        [np.full(21, south), np.full(21, north)] + [south + along * (north - south)] * 2
    )
    carry = transformer(crs, raster.crs)
    x, y = carry.transform(x, y)
    known = np.isfinite(x) & np.isfinite(y)
    if not known.any():
        return None
    column, row = carry_by(~raster.dataset.transform, x[known], y[known])
    left, right = _span(column, raster.dataset.width)
    top, bottom = _span(row, raster.dataset.height)
    return Window(left, top, right - left, bottom - top) if left < right and top < bottom else None


def _span(position: FloatArray, size: int) -> tuple[int, int]:
    first, last = math.floor(position.min()) - 2, math.ceil(position.max()) + 2
    if last - 2 <= 0 or first + 2 >= size:
        return 0, 0
    return max(0, first), min(size, last)


def _warn_of_zeros(values: FloatArray, label: str, notes: Notes) -> None:
    """Warn of cells of exactly zero among ground that stands well above it.

    They are what a raster without a nodata value holds where it was filled or cut; zero may also
    be the sea, so they are kept.
    """
    zero = values == 0
    known = values[np.isfinite(values) & ~zero]
    if zero.any() and known.size and known.min() > _ZERO_BESIDE_M:
        notes.warnings.append(
            words(
                "data.rasters.cells_of_zero",
                label=label,
                count=zero.sum(),
                lowest_m=known.min(),
            )
        )


def _plausible(values: FloatArray, label: str, notes: Notes) -> FloatArray:
    known = np.isfinite(values)
    beyond = known & ((values < _LOWEST_LAND_M) | (values > _HIGHEST_LAND_M))
    if beyond.any():
        notes.warnings.append(
            words(
                "data.rasters.impossible_heights",
                label=label,
                count=beyond.sum(),
                example_m=values[beyond][0],
            )
        )
    return np.where(known & ~beyond, values, np.nan)
