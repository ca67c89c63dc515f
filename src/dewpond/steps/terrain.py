"""The ground on the walking grid: cell, heights and slope over the whole holding."""

from __future__ import annotations

import math

import numpy as np
import pyproj
import shapely
from affine import Affine

from dewpond.base.model import Holding, Terrain
from dewpond.base.settings import WalkingSettings
from dewpond.base.surface import FloatArray, Grid
from dewpond.base.units import SQUARE_METRES_PER_HECTARE
from dewpond.base.words import words

# What follows is common practice, no source.
_CELLS_ACROSS = 70
_FEWEST_CELLS_ACROSS = 50
_CELLS_PER_POSTING = 8
_MOST_GRAZED_CELLS = 200_000
_MOST_GRID_CELLS = 25_000_000
_NEAT_CELLS_M = (1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0)
_LEAST_MARGIN_M = 60.0
_MARGIN_SHARE = 0.05
_NEAR_SOURCE_M = 600.0
_WIDER = 1.25


def model_terrain(holding: Holding, walking: WalkingSettings) -> Terrain:
    """Lay the walking grid over a holding, with ground height and slope at every cell.

    Parameters
    ----------
    holding : Holding
    walking : WalkingSettings
        Its ``cell_m`` is used where given; else the cell follows from the size of the grazed
        paddocks and the posting of the elevation data.

    Returns
    -------
    Terrain
        Grids over the paddocks, the sources within 600 m of them, and a margin of 60 m or 5 % of
        the extent, whichever is more; NaN where no raster knows the ground. Cell corners lie
        on whole multiples of the cell. A cell that would make more than 25 million cells of the
        extent is widened, and the reason says so.
    """
    cell_m, reason = _choose_cell(holding, walking)
    bounds = _with_margin(_extent(holding))
    cell_m, reason = _within_memory(cell_m, reason, bounds)
    # Slope is taken across one posting: on the flat facets between raster heights a shorter
    # span would show the facets and their creases, a longer one would smooth the data.
    reach = max(1, round(holding.surface.posting_m / (2 * cell_m)))
    left, bottom, right, top = _lattice(bounds, cell_m)
    wide = _heights(holding, cell_m, (left - reach, bottom - reach, right + reach, top + reach))
    transform = Affine(cell_m, 0.0, left * cell_m, 0.0, -cell_m, top * cell_m)
    inner = slice(reach, -reach)
    slope = _slope_degrees(wide, reach, cell_m)
    return Terrain(
        cell_m=cell_m,
        cell_reason=reason,
        height_m=_grid(wide[inner, inner], transform, holding.crs),
        slope_degrees=_grid(slope, transform, holding.crs),
    )


def _choose_cell(holding: Holding, walking: WalkingSettings) -> tuple[float, str]:
    if walking.cell_m is not None:
        return walking.cell_m, words("heads.terrain.cell_as_set", cell_m=walking.cell_m)
    grazed = list(holding.grazed) or list(range(len(holding.paddocks)))
    area_m2 = np.sort(
        holding.paddocks["area_ha"].to_numpy(dtype=np.float64)[grazed] * SQUARE_METRES_PER_HECTARE
    )
    side_m = math.sqrt(_lower_quartile_by_area(area_m2))
    posting_m = holding.surface.posting_m
    wanted_m = max(
        side_m / _CELLS_ACROSS,
        min(posting_m / _CELLS_PER_POSTING, side_m / _FEWEST_CELLS_ACROSS),
        math.sqrt(area_m2.sum() / _MOST_GRAZED_CELLS),
    )
    cell_m = _neat(wanted_m)
    return cell_m, words(
        "heads.terrain.cell_for_paddock",
        cell_m=cell_m,
        side_m=side_m / cell_m,
        area_m2=side_m**2 / SQUARE_METRES_PER_HECTARE,
        posting_m=posting_m,
    )


def _lower_quartile_by_area(area_m2: FloatArray) -> float:
    """Return the paddock area below which a quarter of the whole area lies.

    Weighed by area, so that a few pens and corners do not set the cell for a hill.
    """
    share = np.cumsum(area_m2) / area_m2.sum()
    return float(area_m2[np.searchsorted(share, 0.25)])


def _neat(wanted_m: float) -> float:
    """Return the neat cell nearest in ratio to the wanted one, between 1 and 10 m."""
    neat = np.array(_NEAT_CELLS_M)
    return float(neat[np.argmin(np.abs(np.log(neat / wanted_m)))])


def _extent(holding: Holding) -> FloatArray:
    """Return the extent of the paddocks and of the sources that a map would show with them."""
    west, south, east, north = holding.paddocks.total_bounds
    spots = np.array([(source.easting_m, source.northing_m) for source in holding.sources])
    spots = spots.reshape(-1, 2)
    low, high = np.array([west, south]), np.array([east, north])
    near = spots[(np.maximum(low - spots, spots - high) <= _NEAR_SOURCE_M).all(axis=1)]
    corners = np.vstack([low, high, near])
    return np.concatenate([corners.min(axis=0), corners.max(axis=0)])


def _with_margin(bounds: FloatArray) -> FloatArray:
    west, south, east, north = bounds
    margin = max(_LEAST_MARGIN_M, _MARGIN_SHARE * max(east - west, north - south))
    return np.array([west - margin, south - margin, east + margin, north + margin])


def _within_memory(cell_m: float, reason: str, bounds: FloatArray) -> tuple[float, str]:
    """Widen a cell, in steps of a quarter, until the grid keeps within memory."""
    area_m2 = float(shapely.area(shapely.box(*bounds)))
    wide_m = cell_m
    while area_m2 / wide_m**2 > _MOST_GRID_CELLS:
        wide_m *= _WIDER
    if wide_m == cell_m:
        return cell_m, reason
    wide_m = math.ceil(wide_m * 2) / 2
    return wide_m, words(
        "heads.terrain.cell_widened",
        reason=reason,
        wide_m=wide_m,
        cell_m=cell_m,
        million_cells=area_m2 / cell_m**2 / 1e6,
    )


def _lattice(bounds: FloatArray, cell_m: float) -> tuple[int, int, int, int]:
    """Return left, bottom, right, top of the grid as whole numbers of cells."""
    west, south, east, north = bounds / cell_m
    return math.floor(west), math.floor(south), math.ceil(east), math.ceil(north)


def _heights(holding: Holding, cell_m: float, lattice: tuple[int, int, int, int]) -> FloatArray:
    """Return heights [m] at cell centres, northern row first."""
    left, bottom, right, top = lattice
    easting = (np.arange(left, right) + 0.5) * cell_m
    northing = (np.arange(top, bottom, -1) - 0.5) * cell_m
    return holding.surface.heights_m(easting[np.newaxis, :], northing[:, np.newaxis])


def _slope_degrees(wide: FloatArray, reach: int, cell_m: float) -> FloatArray:
    """Return the steepest slope [degrees] by central differences over twice the reach.

    Parameters
    ----------
    wide : array of float, shape (rows + 2 reach, columns + 2 reach)
        Heights [m] with ``reach`` more cells on each side than the result.
    reach : int
        Cells to either side.
    cell_m : float
    """
    inner = slice(reach, -reach)
    east = _gradient(wide[inner, :], reach, cell_m, axis=1)
    north = _gradient(wide[:, inner], reach, cell_m, axis=0)
    return np.degrees(np.arctan(np.hypot(east, north)))


def _gradient(heights: FloatArray, reach: int, cell_m: float, axis: int) -> FloatArray:
    """Return the rise per metre along an axis; one-sided where the other side is unknown."""
    lines = np.moveaxis(heights, axis, 0)
    before, here, after = lines[: -2 * reach], lines[reach:-reach], lines[2 * reach :]
    ahead, behind = (after - here) / (reach * cell_m), (here - before) / (reach * cell_m)
    rise = np.where(
        np.isnan(ahead), behind, np.where(np.isnan(behind), ahead, (ahead + behind) / 2)
    )
    return np.moveaxis(rise, 0, axis)


def _grid(values: FloatArray, transform: Affine, crs: pyproj.CRS) -> Grid:
    return Grid(np.ascontiguousarray(values), transform, crs)
