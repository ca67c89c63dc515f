"""Shortest ways inside one polygon, exact in plan: straight where in view, else round corners.

A shortest way inside a polygon bends only at corners that stand out into it, and only tautly.
So the ways from a point are: straight to all that is in view; and along a small graph of corners
that see each other, then straight from the last corner to what lies tautly beyond it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy.sparse as sp
import shapely

from dewpond.base.gridgraph import FloatArray, IntArray, least_costs, symmetric_graph
from dewpond.steps.walking.corners import Corners, standing_corners
from dewpond.steps.walking.ground import Costs, Ground
from dewpond.steps.walking.sight import View, Walls, bearing, look_around, polygon_walls

Cells = npt.NDArray[np.int32]

SAMPLE = 7
"""Plan lengths, needed only to judge the ground, are found for one cell in so many."""


@dataclass(frozen=True, eq=False)
class Room:
    """One connected piece of a paddock, with what its shape alone decides.

    Attributes
    ----------
    polygon : shapely.Polygon
    walls : Walls
    corners : Corners
    link_cost, link_plan : scipy.sparse.csr_array, shape (r, r)
        Cost and plan length [m] of the straight ways between corners that see each other.
    points : array of float, shape (2, n)
        Where the cells stand [m], row after row from north to south.
    southing : array of float, shape (2, n)
        Highest southing [m] so far and lowest from here on, for finding cells by row.
    ground : Ground
    """

    polygon: shapely.Polygon
    walls: Walls
    corners: Corners
    link_cost: sp.csr_array
    link_plan: sp.csr_array
    points: FloatArray
    southing: FloatArray
    ground: Ground


@dataclass(frozen=True, eq=False)
class Start:
    """A place to walk from, what it sees, and its straight ways to the corners."""

    at: FloatArray
    view: View
    corner: IntArray
    cost: FloatArray
    plan: FloatArray


@dataclass(frozen=True, eq=False)
class Beyond:
    """Cells that lie tautly beyond a corner and in its view.

    Attributes
    ----------
    corner : int
    least : float
        Lowest cost among them [m].
    cell : array of int32, shape (k,)
        Ascending.
    cost : array of float32, shape (k,)
        Of the straight way from the corner [m].
    sample : array of int32, shape (l,)
        Which of the sampled cells (every `SAMPLE`-th) are among them.
    plan : array of float32, shape (l,)
        Plan length to those [m].
    """

    corner: int
    least: float
    cell: Cells
    cost: Costs
    sample: Cells
    plan: Costs


def make_room(
    polygon: shapely.Polygon, points: FloatArray, ground: Ground, limit_m: float
) -> Room:
    """Find the walls and corners of a polygon and the links between its corners."""
    walls, corners = polygon_walls(polygon), standing_corners(polygon)
    start, end = _corner_links(walls, corners, limit_m)
    plan = np.hypot(*(corners.at[end] - corners.at[start]).T)
    cost = plan + ground.straight_extra_m(corners.at[start], corners.at[end])
    count = len(corners)
    return Room(
        polygon,
        walls,
        corners,
        symmetric_graph(count, start, end, cost),
        symmetric_graph(count, start, end, plan),
        points,
        np.array(
            [
                np.maximum.accumulate(-points[1]),
                np.minimum.accumulate(-points[1, ::-1])[::-1],
            ]
        ),
        ground,
    )


def start_from(room: Room, at: FloatArray, limit_m: float) -> Start:
    """Look around from a place and price its straight ways to the corners in view."""
    view = look_around(at, room.walls, limit_m)
    away = (at - room.corners.at).T
    near = np.hypot(away[0], away[1]) <= limit_m
    corner = np.flatnonzero(near & room.corners.bent_round(slice(None), away))
    offset = (room.corners.front - at).T
    corner = corner[view.sees(offset[:, corner], bearing(offset[:, corner]))]
    there = room.corners.at[corner]
    plan = np.hypot(*(there - at).T)
    extra = room.ground.straight_extra_m(np.broadcast_to(at, there.shape), there)
    return Start(at, view, corner, plan + extra, plan)


def corner_costs(
    links: sp.csr_array, starts: Sequence[Start], costs: Sequence[FloatArray], limit_m: float
) -> FloatArray:
    """Return least costs from starts to corners, shape (s, r), infinite beyond the limit."""
    count, total = len(starts), links.shape[0]
    if total == 0:
        return np.zeros((count, 0))
    first = np.repeat(np.arange(count), [start.corner.size for start in starts])
    entries = sp.coo_array(
        (np.concatenate(costs), (first, np.concatenate([start.corner for start in starts]))),
        shape=(count, total),
    ).tocsr()
    graph = sp.block_array([[links, None], [entries, sp.csr_array((count, count))]], format="csr")
    answer = np.full((count, total), np.inf)
    for chunk, cost in least_costs(graph, total + np.arange(count), limit_m):
        answer[chunk] = cost[:, :total]
    return answer


def cells_beyond(room: Room, corner: int, radius_m: float) -> list[Beyond]:
    """Find the cells beyond a corner, for either way of bending round it."""
    at = room.corners.at[corner]
    near, offset = _within(room, at, radius_m)
    sides = [side(corner, offset) for side in (room.corners.ahead, room.corners.behind)]
    if not (sides[0].any() or sides[1].any()):
        return []
    view = look_around(at, room.walls, radius_m)
    found = []
    for side in sides:
        cell, there = near[side], offset[:, side]
        towards = bearing(there)
        seen = view.sees(there, towards)
        if seen.any():
            found.append(_priced(room, corner, cell[seen], there[:, seen], towards[seen]))
    return found


def straight_costs(
    room: Room, start: Start, limit_m: float
) -> tuple[IntArray, FloatArray, FloatArray]:
    """Return the cells in view, and cost and plan length [m] of the straight ways to them."""
    near, offset = _within(room, start.at, limit_m)
    towards = bearing(offset)
    seen = np.flatnonzero(start.view.sees(offset, towards))
    if seen.size < near.size:
        near, offset, towards = near[seen], offset[:, seen], towards[seen]
    plan = _length(offset)
    return near, plan + room.ground.extra_from_m(start.at, towards, plan), plan


def lower_round_corners(
    best: Costs, corner_cost: FloatArray, beyond: Sequence[Beyond], limit_m: float
) -> None:
    """Lower costs of cells in place wherever a way round a corner is cheaper.

    Some ways found may be longer than the limit; the caller drops them.
    """
    for field in beyond:
        before = float(corner_cost[field.corner])
        if before + field.least <= limit_m:
            way = field.cost + np.float32(before)
            best[field.cell] = np.minimum(best[field.cell], way)


def shorten_round_corners(
    best: Costs, corner_plan: FloatArray, beyond: Sequence[Beyond], limit_m: float
) -> None:
    """Lower plan lengths of sampled cells in place where a way round a corner is shorter."""
    for field in beyond:
        before = float(corner_plan[field.corner])
        if before < limit_m:
            way = field.plan + np.float32(before)
            best[field.sample] = np.minimum(best[field.sample], way)


def _corner_links(walls: Walls, corners: Corners, limit_m: float) -> tuple[IntArray, IntArray]:
    """Pairs of corners in view of each other that a taut way may join, each pair once."""
    starts, ends = [np.zeros(0, dtype=np.intp)], [np.zeros(0, dtype=np.intp)]
    for corner in range(len(corners) - 1):
        others = np.arange(corner + 1, len(corners))
        offset = (corners.at[others] - corners.at[corner]).T
        useful = corners.ahead(corner, offset) | corners.behind(corner, offset)
        useful &= corners.bent_round(others, -offset)
        useful &= np.hypot(offset[0], offset[1]) <= limit_m
        if not useful.any():
            continue
        others = others[useful]
        view = look_around(corners.at[corner], walls, limit_m + 1.0)
        there = (corners.front[others] - corners.at[corner]).T
        others = others[view.sees(there, bearing(there))]
        starts.append(np.full(others.size, corner))
        ends.append(others)
    return np.concatenate(starts), np.concatenate(ends)


def _within(room: Room, at: FloatArray, radius_m: float) -> tuple[IntArray, FloatArray]:
    """Return the cells within a radius and their offsets [m], shape (2, k)."""
    first = int(np.searchsorted(room.southing[0], -at[1] - radius_m))
    last = int(np.searchsorted(room.southing[1], -at[1] + radius_m, side="right"))
    offset = room.points[:, first:last] - at[:, None]
    square = np.square(offset[0])
    square += np.square(offset[1])
    near = np.flatnonzero(square <= radius_m**2)
    if near.size < offset.shape[1]:
        offset = np.take(offset, near, axis=1)
    return near + first, offset


def _length(offset: FloatArray) -> FloatArray:
    length = np.square(offset[0])
    length += np.square(offset[1])
    np.sqrt(length, out=length)
    return np.asarray(length)


def _priced(
    room: Room, corner: int, cell: IntArray, offset: FloatArray, towards: FloatArray
) -> Beyond:
    plan = _length(offset)
    cost = plan + room.ground.extra_from_m(room.corners.at[corner], towards, plan)
    sampled = cell % SAMPLE == 0
    return Beyond(
        corner,
        float(cost.min()),
        cell.astype(np.int32),
        cost.astype(np.float32),
        (cell[sampled] // SAMPLE).astype(np.int32),
        plan[sampled].astype(np.float32),
    )
