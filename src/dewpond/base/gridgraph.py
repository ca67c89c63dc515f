"""A raster as a graph: moves between cells, priced over the ground, and ways of least cost.

Every cell of a mask is joined to 32 neighbours: the moves (1, 0), (1, 1), (2, 1), (3, 1) and
(3, 2) with their mirrors and turns. Directions lie at most 18.4 degrees apart, so on open level
ground the least way overstates the straight line by at most 1 / cos(9.2 degrees) - 1 = 1.3 %;
with 8 neighbours it would be 8.2 %. The search itself is scipy's ``csgraph.dijkstra``.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy.sparse as sp
from scipy.sparse.csgraph import dijkstra

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.intp]
BoolArray = npt.NDArray[np.bool_]
Forbidden = Callable[[IntArray, IntArray], BoolArray]

HALF_MOVES: tuple[tuple[int, int], ...] = (
    *((1, 0), (0, 1), (1, 1), (1, -1)),
    *((2, 1), (1, 2), (2, -1), (1, -2)),
    *((3, 1), (1, 3), (3, -1), (1, -3)),
    *((3, 2), (2, 3), (3, -2), (2, -3)),
)
"""The 32 moves as (rows, columns), one of each opposite pair."""

LONGEST_MOVE_CELLS = float(np.hypot(3, 2))
"""Length of the longest move [cells]: a cell with this much clear room has every move free."""


@dataclass(frozen=True, eq=False)
class GridGraph:
    """Cells of a mask as nodes, moves as edges.

    Attributes
    ----------
    node : array of int, shape (rows, columns)
        Node of each cell, -1 outside the mask. Nodes are numbered row by row.
    row, column : arrays of int, shape (n,)
        Cell of each node.
    cost : scipy.sparse.csr_array of float64, shape (n, n)
        Cost of each move [m], the same both ways; both directions are stored.
    """

    node: IntArray
    row: IntArray
    column: IntArray
    cost: sp.csr_array


def build_grid_graph(
    mask: BoolArray,
    height_m: FloatArray,
    cell_m: float,
    *,
    climb_weight: float = 0.0,
    forbidden: Forbidden | None = None,
) -> GridGraph:
    """Join every cell of a mask to its 32 neighbours, each move priced over the ground.

    A move costs its 3D length, taken in steps of about a cell through heights interpolated
    between cell centres, plus ``climb_weight`` for each metre of height gained or lost on it.

    Parameters
    ----------
    mask : array of bool, shape (rows, columns)
        Cells that may be stood on.
    height_m : array of float, shape (rows, columns)
        Ground height at cell centres [m]; finite on the mask and on cells beside it that a move
        passes.
    cell_m : float
        Side of a cell [m].
    climb_weight : float
        Cost of a metre of height, up or down [m/m].
    forbidden : callable, optional
        Given the start and end nodes of moves, shape (k,), says which are barred. Called once
        for each of the 16 directions with only the moves whose ends both lie on the mask.
    """
    node = np.full(mask.shape, -1, dtype=np.intp)
    row, column = np.nonzero(mask)
    node[row, column] = np.arange(row.size)
    parts = []
    for rows, columns in HALF_MOVES:
        start, end, cost = _moves(node, height_m, cell_m, rows, columns, climb_weight)
        if forbidden is not None and start.size:
            free = ~forbidden(start, end)
            start, end, cost = start[free], end[free], cost[free]
        parts.append((start, end, cost))
    start, end, cost = (np.concatenate(part) for part in zip(*parts, strict=True))
    return GridGraph(node, row, column, symmetric_graph(row.size, start, end, cost))


def symmetric_graph(count: int, start: IntArray, end: IntArray, cost: FloatArray) -> sp.csr_array:
    """Return a graph of ``count`` nodes with every edge stored in both directions."""
    both = (np.concatenate([start, end]), np.concatenate([end, start]))
    graph = sp.coo_array((np.concatenate([cost, cost]), both), shape=(count, count))
    return graph.tocsr()


def least_costs(
    graph: sp.csr_array, sources: IntArray, limit: float, *, memory_bytes: float = 64e6
) -> Iterator[tuple[slice, FloatArray]]:
    """Yield least costs from sources to all nodes, a few sources at a time.

    Parameters
    ----------
    graph : scipy.sparse.csr_array, shape (n, n)
        Edges are followed in their stored direction.
    sources : array of int, shape (s,)
        Nodes to start from.
    limit : float
        The search stops beyond this cost.
    memory_bytes : float
        Room for the dense answers; sets how many sources go together, at least one.

    Yields
    ------
    chunk : slice
        The positions in ``sources`` that this answer is for.
    cost : array of float64, shape (chunk, n)
        Infinite where out of reach.
    """
    together = max(1, int(memory_bytes // (8 * max(1, graph.shape[0]))))
    for first in range(0, len(sources), together):
        chunk = slice(first, min(first + together, len(sources)))
        cost = dijkstra(graph, directed=True, indices=sources[chunk], limit=limit)
        yield chunk, np.asarray(cost, dtype=np.float64)


def _moves(
    node: IntArray,
    height_m: FloatArray,
    cell_m: float,
    rows: int,
    columns: int,
    climb_weight: float,
) -> tuple[IntArray, IntArray, FloatArray]:
    """Start node, end node and cost of every move in one direction (``rows`` >= 0)."""
    total_rows, total_columns = node.shape
    top = slice(0, max(0, total_rows - rows))
    left = slice(max(0, -columns), max(0, total_columns - max(0, columns)))
    start = node[top, left]
    if start.size == 0:
        nothing = np.zeros(0, dtype=np.intp)
        return nothing, nothing, np.zeros(0)
    end = node[rows:, left.start + columns : left.stop + columns]
    cost = _ground_cost(height_m, cell_m, rows, columns, (top, left), climb_weight)
    kept = (start >= 0) & (end >= 0)
    return start[kept], end[kept], cost[kept]


def _ground_cost(
    height_m: FloatArray,
    cell_m: float,
    rows: int,
    columns: int,
    window: tuple[slice, slice],
    climb_weight: float,
) -> FloatArray:
    steps = max(rows, abs(columns))
    step_m = cell_m * float(np.hypot(rows, columns)) / steps
    before = height_m[window]
    cost = np.zeros(before.shape)
    for step in range(1, steps + 1):
        after = _height_at(height_m, window, rows * step / steps, columns * step / steps)
        rise = np.abs(after - before)
        cost += np.hypot(step_m, rise) + climb_weight * rise
        before = after
    return cost


def _height_at(
    height_m: FloatArray, window: tuple[slice, slice], rows: float, columns: float
) -> FloatArray:
    """Heights of a window moved by an offset that is whole in at least one direction."""
    low_row, low_column = int(np.floor(rows)), int(np.floor(columns))
    high_row, high_column = int(np.ceil(rows)), int(np.ceil(columns))
    share = (rows - low_row) + (columns - low_column)
    low = _moved(height_m, window, low_row, low_column)
    if share == 0.0:
        return low
    return (1.0 - share) * low + share * _moved(height_m, window, high_row, high_column)


def _moved(
    height_m: FloatArray, window: tuple[slice, slice], rows: int, columns: int
) -> FloatArray:
    top, left = window
    return height_m[top.start + rows : top.stop + rows, left.start + columns : left.stop + columns]
