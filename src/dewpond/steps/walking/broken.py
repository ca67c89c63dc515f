"""Ways over broken ground, where walking round a rise can beat walking straight over it.

A grid graph with 32 moves from each cell, joined to the corners of the polygon and to the places
that are walked from. Moves whose straight line leaves the polygon are barred.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
import shapely
from scipy import ndimage

from dewpond.base.gridgraph import (
    HALF_MOVES,
    BoolArray,
    FloatArray,
    Forbidden,
    IntArray,
    build_grid_graph,
    least_costs,
)
from dewpond.steps.walking.routes import Room, Start
from dewpond.steps.walking.sight import bearing, look_around

JOIN_CELLS = 6.0
"""Corners and starts are joined straight to the cells in view this near [cells]."""


@dataclass(frozen=True, eq=False)
class Layout:
    """Where the cells of a room stand on the grid of heights.

    Attributes
    ----------
    cell_at : array of int, shape (rows, columns)
        Position of the cell with its centre there, else -1.
    whole : array of bool, shape (rows, columns)
        Cells that lie in the room altogether.
    first : tuple of int
        Row and column of ``cell_at[0, 0]`` in the grid of heights.
    """

    cell_at: IntArray
    whole: BoolArray
    first: tuple[int, int]


@dataclass(frozen=True, eq=False)
class BrokenGround:
    """The grid graph of one room; nodes are cell centres, then corners, then starts.

    Attributes
    ----------
    graph : scipy.sparse.csr_array, shape (n + r + s, n + r + s)
        Costs [m]; edges from starts run outward only.
    cells : array of int, shape (n,)
        Position in ``Room.points`` of each cell node.
    """

    graph: sp.csr_array
    cells: IntArray
    corner_count: int


def lay_broken_ground(room: Room, layout: Layout, starts: Sequence[Start]) -> BrokenGround:
    """Build the grid graph of a room with its corners and all the places walked from."""
    standing = layout.cell_at >= 0
    cells = layout.cell_at[standing]
    centres = room.points[:, cells].T
    grid = build_grid_graph(
        standing,
        _window_heights(room, layout),
        room.ground.cell_m,
        climb_weight=room.ground.climb_weight,
        forbidden=_leaves_polygon(room, centres, layout),
    )
    corner_cells = _joined(room, room.corners.at, centres)
    start_cells = _joined(room, np.array([start.at for start in starts]), centres)
    n, r, s = cells.size, len(room.corners), len(starts)
    blocks = [
        [grid.cost, corner_cells.T, sp.csr_array((n, s))],
        [corner_cells, room.link_cost, sp.csr_array((r, s))],
        [start_cells, _seeds(starts, r), sp.csr_array((s, s))],
    ]
    return BrokenGround(sp.block_array(blocks, format="csr"), cells, r)


def walk_broken_ground(
    broken: BrokenGround, positions: IntArray, limit_m: float
) -> Iterator[tuple[int, FloatArray, FloatArray]]:
    """Yield for each start its position and the least costs to cell nodes and to corners.

    Costs are infinite beyond ``limit_m``.
    """
    n, r = broken.cells.size, broken.corner_count
    for chunk, cost in least_costs(broken.graph, n + r + positions, limit_m):
        for position, row in zip(positions[chunk], cost, strict=True):
            yield int(position), row[:n], row[n : n + r]


def _window_heights(room: Room, layout: Layout) -> FloatArray:
    transform = room.ground.transform
    rows, columns = layout.cell_at.shape
    row = np.arange(rows, dtype=np.float64)[:, None] + (layout.first[0] + 0.5)
    column = np.arange(columns, dtype=np.float64)[None, :] + (layout.first[1] + 0.5)
    x, y = np.broadcast_arrays(transform.c + column * transform.a, transform.f + row * transform.e)
    return room.ground.heights_m(x, y)


def _leaves_polygon(room: Room, centres: FloatArray, layout: Layout) -> Forbidden:
    """Make the test for barred moves; only moves near the boundary are tested exactly."""
    reach = 2 * max(max(move) for move in HALF_MOVES) + 1
    deep = ndimage.binary_erosion(layout.whole, np.ones((reach, reach), dtype=bool))
    deep = deep[layout.cell_at >= 0]
    shapely.prepare(room.polygon)

    def leaves(start: IntArray, end: IntArray) -> BoolArray:
        barred: BoolArray = ~(deep[start] | deep[end])
        doubtful = np.flatnonzero(barred)
        ends = np.stack([centres[start[doubtful]], centres[end[doubtful]]], axis=1)
        barred[doubtful] = ~shapely.covers(room.polygon, shapely.linestrings(ends))
        return barred

    return leaves


def _joined(room: Room, places: FloatArray, centres: FloatArray) -> sp.csr_array:
    """Straight costs from places to the cell centres near them and in view, shape (k, n)."""
    radius_m = JOIN_CELLS * room.ground.cell_m
    rows, columns = [np.zeros(0, dtype=np.intp)], [np.zeros(0, dtype=np.intp)]
    for position, at in enumerate(places):
        offset = (centres - at).T
        near = np.flatnonzero(offset[0] ** 2 + offset[1] ** 2 <= radius_m**2)
        view = look_around(at, room.walls, radius_m)
        seen = near[view.sees(offset[:, near], bearing(offset[:, near]))]
        rows.append(np.full(seen.size, position))
        columns.append(seen)
    row, column = np.concatenate(rows), np.concatenate(columns)
    start, end = places[row].reshape(-1, 2), centres[column]
    cost = np.hypot(*(end - start).T) + room.ground.straight_extra_m(start, end)
    cost = np.maximum(cost, 1e-9)  # a stored zero would be read as no edge
    return sp.coo_array((cost, (row, column)), shape=(len(places), len(centres))).tocsr()


def _seeds(starts: Sequence[Start], corners: int) -> sp.csr_array:
    row = np.repeat(np.arange(len(starts)), [start.corner.size for start in starts])
    column = np.concatenate([start.corner for start in starts])
    cost = np.maximum(np.concatenate([start.cost for start in starts]), 1e-9)
    return sp.coo_array((cost, (row, column)), shape=(len(starts), corners)).tocsr()
