"""Grazed cells: one row for each piece of ground that the walking grid cuts from a paddock."""

from __future__ import annotations

import numpy as np
import pandas as pd
import shapely
from affine import Affine
from scipy.spatial import cKDTree

from dewpond.base.gridgraph import BoolArray, FloatArray, IntArray

LEAST_SHARE_OF_CELL = 0.02
"""A piece smaller than this share of a cell is counted in with a neighbour."""

NEIGHBOURS = 8
"""Of so many neighbours, the nearest in view takes in a small piece."""


def cut_cells(paddock: shapely.Geometry, transform: Affine) -> pd.DataFrame:
    """Cut one paddock into cells of the walking grid.

    A cell that a fence cuts in two gives a piece on either side. Each piece is stood for by the
    centre of its cell where that lies in it, else by a point inside the piece.

    Returns
    -------
    DataFrame
        Columns ``row``, ``column`` (cell of the grid), ``easting_m``, ``northing_m``,
        ``area_m2`` (sums to the area of the paddock), ``centred`` (whether the point is the
        centre of its cell) and ``whole`` (whether no fence comes near the cell), in order of
        row, then column; at least one row.
    """
    shapely.prepare(paddock)
    row, column = _window(paddock, transform)
    cut = _cut_by_fence(paddock, transform, row, column)
    whole_row, whole_column = row[~cut], column[~cut]
    x, y = _centres(transform, whole_row, whole_column)
    inside = shapely.contains_xy(paddock, x, y)
    cell_m2 = abs(transform.a * transform.e)
    whole = _table(whole_row[inside], whole_column[inside], x[inside], y[inside], cell_m2, True)
    pieces = _pieces(paddock, transform, row[cut], column[cut])
    whole["whole"], pieces["whole"] = True, False
    cells = pd.concat([part for part in (whole, pieces) if len(part)], ignore_index=True)
    cells = cells.sort_values(["row", "column", "northing_m", "easting_m"], ignore_index=True)
    return _fold_slivers(paddock, cells, cell_m2)


def _window(paddock: shapely.Geometry, transform: Affine) -> tuple[IntArray, IntArray]:
    west, south, east, north = shapely.bounds(paddock)
    left, top = ~transform @ (west, north)
    right, bottom = ~transform @ (east, south)
    rows, columns = np.meshgrid(
        np.arange(int(np.floor(top)), int(np.floor(bottom)) + 1),
        np.arange(int(np.floor(left)), int(np.floor(right)) + 1),
        indexing="ij",
    )
    return rows.ravel().astype(np.intp), columns.ravel().astype(np.intp)


def _centres(transform: Affine, row: IntArray, column: IntArray) -> tuple[FloatArray, FloatArray]:
    x = transform.c + (column + 0.5) * transform.a
    y = transform.f + (row + 0.5) * transform.e
    return x.astype(np.float64), y.astype(np.float64)


def _boxes(transform: Affine, row: IntArray, column: IntArray) -> np.ndarray:
    x, y = _centres(transform, row, column)
    half_x, half_y = abs(transform.a) / 2, abs(transform.e) / 2
    return np.asarray(shapely.box(x - half_x, y - half_y, x + half_x, y + half_y))


def _cut_by_fence(
    paddock: shapely.Geometry, transform: Affine, row: IntArray, column: IntArray
) -> BoolArray:
    """Which cells the boundary passes through; only cells near it are tested exactly."""
    rows, columns = int(np.ptp(row)) + 1, int(np.ptp(column)) + 1
    boundary = shapely.boundary(paddock)
    shapely.prepare(boundary)
    step = abs(transform.a)
    at = shapely.get_coordinates(shapely.segmentize(boundary, step))
    near = np.zeros((rows + 2, columns + 2), dtype=bool)
    at_column, at_row = ~transform @ (at[:, 0], at[:, 1])
    at_row = np.floor(at_row).astype(np.intp) - row.min() + 1
    at_column = np.floor(at_column).astype(np.intp) - column.min() + 1
    for down in (-1, 0, 1):
        for across in (-1, 0, 1):
            beside = (
                np.clip(at_row + down, 0, rows + 1),
                np.clip(at_column + across, 0, columns + 1),
            )
            near[beside] = True
    candidate = np.flatnonzero(near[row - row.min() + 1, column - column.min() + 1])
    cut = np.zeros(row.size, dtype=bool)
    boxes = _boxes(transform, row[candidate], column[candidate])
    cut[candidate] = shapely.intersects(boundary, boxes)
    return cut


def _pieces(
    paddock: shapely.Geometry, transform: Affine, row: IntArray, column: IntArray
) -> pd.DataFrame:
    clipped = shapely.intersection(paddock, _boxes(transform, row, column))
    parts, cell = shapely.get_parts(clipped, return_index=True)
    areas = shapely.area(parts)
    parts, cell, areas = parts[areas > 0], cell[areas > 0], areas[areas > 0]
    centre_x, centre_y = _centres(transform, row[cell], column[cell])
    centred = shapely.contains_xy(parts, centre_x, centre_y)
    points = shapely.get_coordinates(shapely.point_on_surface(parts))
    x = np.where(centred, centre_x, points[:, 0])
    y = np.where(centred, centre_y, points[:, 1])
    return _table(row[cell], column[cell], x, y, areas, centred)


def _table(
    row: IntArray,
    column: IntArray,
    x: FloatArray,
    y: FloatArray,
    area: FloatArray | float,
    centred: BoolArray | bool,
) -> pd.DataFrame:
    table = pd.DataFrame({"row": row, "column": column, "easting_m": x, "northing_m": y})
    table["area_m2"] = area
    table["centred"] = centred
    return table


def _fold_slivers(paddock: shapely.Geometry, cells: pd.DataFrame, cell_m2: float) -> pd.DataFrame:
    area = cells["area_m2"].to_numpy(copy=True)
    kept = area >= LEAST_SHARE_OF_CELL * cell_m2
    if kept.all():
        return cells
    if not kept.any():
        kept[np.argmax(area)] = True
    points = cells[["easting_m", "northing_m"]].to_numpy()
    nearest = _nearest_in_view(paddock, points[~kept], points[kept])
    np.add.at(area, np.flatnonzero(kept)[nearest], area[~kept])
    return cells.assign(area_m2=area)[kept].reset_index(drop=True)


def _nearest_in_view(
    paddock: shapely.Geometry, places: FloatArray, others: FloatArray
) -> IntArray:
    """Position of the nearest of some others with no fence between; failing that, the nearest."""
    count = min(NEIGHBOURS, len(others))
    _, near = cKDTree(others).query(places, k=np.arange(1, count + 1))
    ends = np.stack([np.broadcast_to(places[:, None], (*near.shape, 2)), others[near]], axis=2)
    clear = shapely.covers(paddock, shapely.linestrings(ends))
    return np.asarray(near[np.arange(len(places)), clear.argmax(axis=1)], dtype=np.intp)
