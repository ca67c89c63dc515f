"""One surface from all the rasters, and the check that every paddock lies on it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import geopandas as gpd
import numpy as np
import pyproj
import shapely
from rasterio.features import geometry_mask
from rasterio.fill import fillnodata

from dewpond.base.settings import TerrainSettings
from dewpond.base.surface import FloatArray, Grid, Surface, carry_by, cut_from, transformer
from dewpond.base.words import words
from dewpond.steps.read.notes import Notes, listed
from dewpond.steps.read.rasters import (
    LARGEST_WINDOW_CELLS,
    Raster,
    extent_text,
    meets,
    raster_extent_text,
    read_window,
)
from dewpond.steps.read.units import metres_per_unit
from dewpond.steps.read.vectors import Bounds
from dewpond.steps.read.working_crs import warn_if_rough

_ALIGNED_WITHIN_CELLS = 1e-3
_SAMPLES_A_PADDOCK = 2_500
_FARTHEST_FILL_CELLS = 10


def build_surface(
    rasters: Sequence[Raster],
    paddocks: gpd.GeoDataFrame | None,
    area: Bounds | None,
    settings: TerrainSettings,
    notes: Notes,
) -> Surface | None:
    """Return the ground over an area of the working CRS; None, with faults, without heights.

    Parameters
    ----------
    rasters : sequence of Raster
        In order of preference.
    paddocks : GeoDataFrame or None
        In the working CRS; None, when they could not be read, only has the rasters checked.
    area : tuple of float or None
        Extent that needs heights, in the working CRS.
    settings : TerrainSettings
    notes : Notes
    """
    before = len(notes.faults)
    factors = metres_per_unit(rasters, settings, notes)
    if paddocks is None or area is None or not rasters:
        return None
    crs, bounds = paddocks.crs, tuple(paddocks.total_bounds.tolist())
    if not any(meets(raster, bounds, crs) for raster in rasters):
        _refuse_apart(rasters, bounds, crs, notes)
        return None
    middle = ((bounds[0] + bounds[2]) / 2, (bounds[1] + bounds[3]) / 2)
    for raster in {repr(raster.crs): raster for raster in reversed(rasters)}.values():
        warn_if_rough(raster.label, raster.crs, crs, middle, notes)
    grids: list[Grid] = []
    for raster, factor in zip(rasters, factors, strict=True):
        grid = read_window(raster, area, crs, factor, notes) if factor is not None else None
        if grid is not None and np.isfinite(grid.values).any():
            grids.append(grid)
    if grids:
        posting_m = min(_posting_m(grid, crs, middle) for grid in grids)
        _warn_if_coarse(posting_m, paddocks, notes)
        return Surface(_joined_tiles(grids), crs, posting_m)
    if len(notes.faults) == before:
        notes.fault(
            listed(raster.label for raster in rasters),
            "holds no heights at the holding",
            found="nodata in every cell around the paddocks",
            expected="ground heights",
            remedy="give the raster of this district, or mend its nodata value",
        )
    return None


def check_coverage(
    surface: Surface, paddocks: gpd.GeoDataFrame, share_limit: float, notes: Notes
) -> Surface:
    """Return the surface with small gaps under paddocks closed; a large gap is a fault.

    Parameters
    ----------
    surface : Surface
    paddocks : GeoDataFrame
        In the working CRS, with ``name`` and ``label``.
    share_limit : float
        Largest share of a paddock that may lie on cells without a height.
    notes : Notes
    """
    missing = missing_shares(surface, paddocks.geometry.to_numpy())
    for row in np.flatnonzero(missing > share_limit):
        notes.fault(
            paddocks["label"].iloc[row],
            "lies on ground without heights",
            found=f"{100 * missing[row]:.1f} % of its area on nodata or beyond the raster",
            expected=f"at most {100 * share_limit:g} %",
            remedy="add a raster that covers it to [terrain] elevation, or take the paddock out",
        )
    gaps = np.flatnonzero((missing > 0) & (missing <= share_limit))
    if not gaps.size:
        return surface
    spelled = (f'"{paddocks["name"].iloc[i]}" ({100 * missing[i]:.1f} %)' for i in gaps)
    notes.warnings.append(words("data.mosaic.gaps_interpolated", listed=listed(spelled)))
    return _closed(surface, paddocks.iloc[gaps])


def missing_shares(surface: Surface, shapes: Any) -> FloatArray:
    """Return the share of each outline's area that has no height, from a lattice of samples."""
    points, owner = [], []
    for position, shape in enumerate(shapes):
        inside = _samples(shape, surface.posting_m)
        points.append(inside)
        owner.append(np.full(len(inside), position))
    if not points:
        return np.zeros(0)
    easting, northing = np.concatenate(points).T
    owners = np.concatenate(owner)
    unknown = np.isnan(surface.heights_m(easting, northing))
    count = np.bincount(owners, minlength=len(points))
    return np.bincount(owners, weights=unknown, minlength=len(points)) / count


def _samples(shape: Any, posting_m: float) -> FloatArray:
    """Return points within a shape, half a posting apart or as many as suffice, shape (n, 2)."""
    west, south, east, north = shapely.bounds(shape)
    step = max(posting_m / 2, math.sqrt((east - west) * (north - south) / _SAMPLES_A_PADDOCK))
    x, y = np.meshgrid(
        np.arange(west + step / 2, east, step), np.arange(south + step / 2, north, step)
    )
    shapely.prepare(shape)
    inside = shapely.contains_xy(shape, x.ravel(), y.ravel())
    own = shapely.get_coordinates(shapely.point_on_surface(shape))
    return np.concatenate([np.column_stack([x.ravel()[inside], y.ravel()[inside]]), own])


def _closed(surface: Surface, paddocks: gpd.GeoDataFrame) -> Surface:
    """Return the surface with last-resort layers: its own grids, gaps under paddocks filled."""
    spare = []
    for layer in surface.layers:
        known = np.isfinite(layer.values)
        if known.all():
            continue
        shapes = paddocks.to_crs(layer.crs).geometry
        under = geometry_mask(shapes, known.shape, layer.transform, all_touched=True, invert=True)
        level = float(np.nanmean(layer.values))
        shifted = np.where(known, layer.values - level, 0.0).astype(np.float32)
        filled = fillnodata(shifted, known, max_search_distance=_FARTHEST_FILL_CELLS)
        reached = fillnodata(
            known.astype(np.float32), known, max_search_distance=_FARTHEST_FILL_CELLS
        )
        usable = known | (under & (reached > 0))
        whole = np.where(known, layer.values, filled.astype(np.float64) + level)
        spare.append(Grid(np.where(usable, whole, np.nan), layer.transform, layer.crs))
    return Surface(surface.layers + tuple(spare), surface.crs, surface.posting_m)


def _joined_tiles(grids: Sequence[Grid]) -> tuple[Grid, ...]:
    """Join neighbours in the list that lie on one lattice; no seam is left between them."""
    joined = [grids[0]]
    for grid in grids[1:]:
        both = _on_one_lattice(joined[-1], grid)
        if both is None:
            joined.append(grid)
        else:
            joined[-1] = both
    return tuple(joined)


def _on_one_lattice(first: Grid, second: Grid) -> Grid | None:
    """Return both grids as one, the first winning where both know; None if lattices differ."""
    one, two = first.transform, second.transform
    size = max(abs(one.a) + abs(one.b), abs(one.d) + abs(one.e))
    rows, columns = second.values.shape
    drift = max(
        max(abs(one.a - two.a), abs(one.d - two.d)) * columns,
        max(abs(one.b - two.b), abs(one.e - two.e)) * rows,
    )
    if first.crs != second.crs or drift > _ALIGNED_WITHIN_CELLS * size:
        return None
    column, row = (float(value) for value in carry_by(~one, np.asarray(two.c), np.asarray(two.f)))
    if max(abs(column - round(column)), abs(row - round(row))) > _ALIGNED_WITHIN_CELLS:
        return None
    left, top = min(0, round(column)), min(0, round(row))
    right = max(first.values.shape[1], round(column) + columns)
    bottom = max(first.values.shape[0], round(row) + rows)
    if (right - left) * (bottom - top) > 2 * LARGEST_WINDOW_CELLS:
        return None
    values = np.full((bottom - top, right - left), np.nan)
    for grid, (r, c) in ((second, (round(row), round(column))), (first, (0, 0))):
        part = values[
            r - top : r - top + grid.values.shape[0], c - left : c - left + grid.values.shape[1]
        ]
        np.copyto(part, grid.values, where=np.isfinite(grid.values))
    return Grid(values, cut_from(one, left, top), first.crs)


def _posting_m(grid: Grid, crs: pyproj.CRS, place: tuple[float, float]) -> float:
    """Return the side [m] of the square with the ground area of one cell, at a place."""
    x, y = transformer(crs, grid.crs).transform(*place)
    step = grid.transform
    easting, northing = transformer(grid.crs, crs).transform(
        [x, x + step.a, x + step.b], [y, y + step.d, y + step.e]
    )
    across = easting[1] - easting[0], northing[1] - northing[0]
    down = easting[2] - easting[0], northing[2] - northing[0]
    return math.sqrt(abs(across[0] * down[1] - across[1] * down[0]))


def _warn_if_coarse(posting_m: float, paddocks: gpd.GeoDataFrame, notes: Notes) -> None:
    """Warn where fewer than two heights fall across a paddock of middling size."""
    side_m = math.sqrt(float(np.median(paddocks.geometry.area)))
    if posting_m > side_m / 2:
        notes.warnings.append(
            words("data.mosaic.posting_too_coarse", posting_m=posting_m, side_m=side_m)
        )


def _refuse_apart(
    rasters: Sequence[Raster], bounds: Bounds, crs: pyproj.CRS, notes: Notes
) -> None:
    spelled = "; ".join(f"{raster.label} {raster_extent_text(raster)}" for raster in rasters[:6])
    remedy = words("data.mosaic.give_right_raster")
    if _meet_when_swapped(rasters, bounds, crs):
        remedy = words("data.mosaic.axes_exchanged")
    notes.fault(
        listed(raster.label for raster in rasters),
        "does not overlap the paddocks",
        found=f"elevation at {spelled}; paddocks at {extent_text(bounds, crs)}",
        expected="elevation under the paddocks",
        remedy=remedy,
    )


def _meet_when_swapped(rasters: Sequence[Raster], bounds: Bounds, crs: pyproj.CRS) -> bool:
    """Return whether an extent meets a raster once its longitude and latitude change places."""
    degrees = pyproj.CRS.from_epsg(4326)
    west, south, east, north = transformer(crs, degrees).transform_bounds(*bounds)
    swapped = (south, west, north, east)
    if not np.isfinite(swapped).all() or max(abs(west), abs(east)) > 90:
        return False
    return any(meets(raster, swapped, degrees) for raster in rasters)
