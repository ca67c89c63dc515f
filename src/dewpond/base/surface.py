"""Height of the ground anywhere, from one or more elevation rasters left on their own grids.

The rasters are never warped: a point is carried to the raster's CRS and its height taken there
by bilinear interpolation, so no smoothing is added to the data as delivered.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
import pyproj
from affine import Affine

FloatArray = npt.NDArray[np.float64]

_BLOCK_POINTS = 1_000_000


@dataclass(frozen=True, eq=False)
class Grid:
    """A raster in memory: values, placement and CRS together.

    Attributes
    ----------
    values : array of float64, shape (rows, columns)
        NaN where nothing is known. Row 0 is the northern edge when ``transform.e`` is negative.
    transform : Affine
        From (column, row) of a cell's corner to coordinates in ``crs``.
    crs : pyproj.CRS
        Any CRS, geographic or projected, in the axis order easting (longitude) first.
    """

    values: FloatArray
    transform: Affine
    crs: pyproj.CRS

    def __repr__(self) -> str:
        rows, columns = self.values.shape
        return f"Grid({rows} x {columns}, {self.crs.to_string()[:40]}, cell {self.transform.a:g})"


@dataclass(frozen=True, eq=False)
class Surface:
    """Ground heights from rasters in order of preference; the first that knows a point wins.

    Attributes
    ----------
    layers : tuple of Grid
        Heights in metres, each on its own grid and CRS.
    crs : pyproj.CRS
        Working CRS in which points are asked for.
    posting_m : float
        Spacing of the finest raster, in metres on the ground.
    error_m : callable, optional
        Expected error of the rasters [m] at eastings and northings of ``crs``, taken off their
        heights; left out, none.
    """

    layers: tuple[Grid, ...]
    crs: pyproj.CRS
    posting_m: float
    error_m: Callable[[FloatArray, FloatArray], FloatArray] | None = None

    def __repr__(self) -> str:
        grids = ", ".join(repr(layer) for layer in self.layers)
        return f"Surface({grids}; posting {self.posting_m:.4g} m, asked in {self.crs.name})"

    def heights_m(self, easting_m: npt.ArrayLike, northing_m: npt.ArrayLike) -> FloatArray:
        """Return ground heights [m] at points of the working CRS, NaN where no raster knows.

        Parameters
        ----------
        easting_m, northing_m : array_like of float, any equal shape
            Coordinates in ``crs`` [m].
        """
        easting, northing = np.broadcast_arrays(
            np.asarray(easting_m, dtype=np.float64), np.asarray(northing_m, dtype=np.float64)
        )
        heights = np.full(easting.size, np.nan)
        flat_easting, flat_northing = easting.ravel(), northing.ravel()
        # Interpolation holds some twenty values a point; blocks keep that within 200 MB.
        for start in range(0, heights.size, _BLOCK_POINTS):
            block = slice(start, start + _BLOCK_POINTS)
            heights[block] = self._block_heights_m(flat_easting[block], flat_northing[block])
        return heights.reshape(easting.shape)

    def _block_heights_m(self, easting: FloatArray, northing: FloatArray) -> FloatArray:
        heights = np.full(easting.shape, np.nan)
        for layer in self.layers:
            missing = np.isnan(heights)
            if not missing.any():
                break
            x, y = _carry(easting[missing], northing[missing], self.crs, layer.crs)
            heights[missing] = interpolate(layer, x, y)
        if self.error_m is not None:
            heights -= self.error_m(easting, northing)
        return heights


def interpolate(grid: Grid, x: FloatArray, y: FloatArray) -> FloatArray:
    """Return bilinear values of a grid at points given in the grid's own CRS.

    Within half a cell of the edge the outermost cells carry on unchanged. A point whose own
    cell is unknown is unknown; unknown neighbours are left out and the weights made up to one.
    """
    rows, columns = grid.values.shape
    column, row = carry_by(~grid.transform, x, y)
    inside = (column >= 0) & (column <= columns) & (row >= 0) & (row <= rows)
    own_column = np.minimum(np.where(inside, column, 0.0).astype(np.intp), columns - 1)
    own_row = np.minimum(np.where(inside, row, 0.0).astype(np.intp), rows - 1)
    column = np.clip(np.where(inside, column, 0.0) - 0.5, 0, columns - 1)
    row = np.clip(np.where(inside, row, 0.0) - 0.5, 0, rows - 1)
    left = np.minimum(column.astype(np.intp), max(columns - 2, 0))
    top = np.minimum(row.astype(np.intp), max(rows - 2, 0))
    across, down = column - left, row - top
    right, bottom = np.minimum(left + 1, columns - 1), np.minimum(top + 1, rows - 1)
    total = np.zeros(x.shape)
    weight_sum = np.zeros(x.shape)
    for r, c, weight in (
        (top, left, (1 - down) * (1 - across)),
        (top, right, (1 - down) * across),
        (bottom, left, down * (1 - across)),
        (bottom, right, down * across),
    ):
        value = grid.values[r, c]
        known = np.isfinite(value)
        total += np.where(known, value * weight, 0.0)
        weight_sum += np.where(known, weight, 0.0)
    own = np.isfinite(grid.values[own_row, own_column])
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(inside & own, total / weight_sum, np.nan)


def carry_by(transform: Affine, x: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return points carried by an affine transform, arrays of any equal shape."""
    return (
        transform.a * x + transform.b * y + transform.c,
        transform.d * x + transform.e * y + transform.f,
    )


def cut_from(
    transform: Affine, column: float, row: float, wider: float = 1.0, taller: float = 1.0
) -> Affine:
    """Return the transform of a part of a raster.

    Parameters
    ----------
    transform : Affine
        Of the whole raster.
    column, row : float
        Corner at which the part begins.
    wider, taller : float
        Cells of the whole that one cell of the part spans.
    """
    return Affine(
        transform.a * wider,
        transform.b * taller,
        transform.a * column + transform.b * row + transform.c,
        transform.d * wider,
        transform.e * taller,
        transform.d * column + transform.e * row + transform.f,
    )


def _carry(
    x: FloatArray, y: FloatArray, source: pyproj.CRS, target: pyproj.CRS
) -> tuple[FloatArray, FloatArray]:
    if source == target:
        return x, y
    carried_x, carried_y = transformer(source, target).transform(x, y)
    return np.asarray(carried_x), np.asarray(carried_y)


@lru_cache(maxsize=64)
def transformer(source: pyproj.CRS, target: pyproj.CRS) -> pyproj.Transformer:
    """Return the transformer between two CRSs, easting or longitude first; made once a pair."""
    return pyproj.Transformer.from_crs(source, target, always_xy=True)
