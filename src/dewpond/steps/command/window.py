"""The window of ground that is looked at: its cell, its extent and its heights."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import shapely
from affine import Affine

from dewpond.base.model import Holding
from dewpond.base.surface import FloatArray, Grid

# What follows is common practice, no source.
_LEAST_CELL_M, _GREATEST_CELL_M = 2.0, 10.0
_MOST_CELLS = 250_000
_MARGIN_M = 60.0
_STEP_M = 0.5


def lay_window(holding: Holding, cell_m: float | None, also: Sequence[shapely.Geometry]) -> Grid:
    """Return ground heights [m] on square cells over all paddocks and whatever else is named.

    Parameters
    ----------
    holding : Holding
    cell_m : float or None
        Left out, the posting of the heights between 2 and 10 m. Either is widened, to a whole
        half metre, where it would make more than 250,000 cells.
    also : sequence of geometries
        What must lie in the window besides, working CRS.

    Returns
    -------
    Grid
        North up, corners on whole multiples of the cell, NaN where no raster knows the ground.
    """
    shapes = [*holding.paddocks.geometry, *also]
    west, south, east, north = shapely.total_bounds(np.array(shapes, dtype=object))
    bounds = np.array([west - _MARGIN_M, south - _MARGIN_M, east + _MARGIN_M, north + _MARGIN_M])
    usual = min(max(holding.surface.posting_m, _LEAST_CELL_M), _GREATEST_CELL_M)
    cell = _within_reason(cell_m if cell_m is not None else round(usual, 1), bounds)
    left, bottom = (math.floor(value / cell) for value in bounds[:2])
    right, top = (math.ceil(value / cell) for value in bounds[2:])
    easting = (np.arange(left, right) + 0.5) * cell
    northing = (np.arange(top, bottom, -1) - 0.5) * cell
    heights = holding.surface.heights_m(easting[None, :], northing[:, None])
    transform = Affine(cell, 0.0, left * cell, 0.0, -cell, top * cell)
    return Grid(np.ascontiguousarray(heights), transform, holding.crs)


def centres_of(grid: Grid) -> FloatArray:
    """Return easting and northing of every cell centre, row by row, shape (cells, 2)."""
    rows, columns = grid.values.shape
    transform = grid.transform
    easting = transform.c + (np.arange(columns) + 0.5) * transform.a
    northing = transform.f + (np.arange(rows) + 0.5) * transform.e
    return np.column_stack([np.tile(easting, rows), np.repeat(northing, columns)])


def _within_reason(cell_m: float, bounds: FloatArray) -> float:
    area_m2 = float((bounds[2] - bounds[0]) * (bounds[3] - bounds[1]))
    least_m = math.sqrt(area_m2 / _MOST_CELLS)
    return cell_m if cell_m >= least_m else math.ceil(least_m / _STEP_M) * _STEP_M
