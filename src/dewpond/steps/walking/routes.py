"""Shortest ways inside one polygon, exact in plan: straight where in view, else round corners.

A shortest way inside a polygon bends only at corners that stand out into it, and only tautly.
So the ways from a point are: straight to all that is in view; and along a small graph of corners
that see each other, then straight from the last corner to what lies tautly beyond it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
import shapely

from dewpond.base.gridgraph import FloatArray, IntArray, least_costs, symmetric_graph
from dewpond.steps.walking.corners import Corners, standing_corners
from dewpond.steps.walking.ground import Ground
from dewpond.steps.walking.sight import View, Walls, look_around, polygon_walls


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
    points : array of float, shape (n, 2)
        Where the cells stand [m], in order of falling northing rows.
    ground : Ground
    """

    polygon: shapely.Polygon
    walls: Walls
    corners: Corners
    link_cost: sp.csr_array
    link_plan: sp.csr_array
    points: FloatArray
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
    """Cells that lie tautly beyond a corner and in its view, nearest first."""

    corner: int
    cell: IntArray
    cost: FloatArray
    plan: FloatArray


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
        ground,
    )


def start_from(room: Room, at: FloatArray, limit_m: float) -> Start:
    """Look around from a place and price its straight ways to the corners in view."""
    view = look_around(at, room.walls, limit_m)
    away = (at - room.corners.at).T
    near = np.hypot(away[0], away[1]) <= limit_m
    corner = np.flatnonzero(near & room.corners.bent_round(slice(None), away))
    offset = (room.corners.front - at).T
    corner = corner[view.sees(offset[:, corner], np.arctan2(offset[1, corner], offset[0, corner]))]
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
    seeds = sp.coo_array(
        (np.concatenate(costs), (first, np.concatenate([start.corner for start in starts]))),
        shape=(count, total),
    ).tocsr()
    graph = sp.block_array([[links, None], [seeds, sp.csr_array((count, count))]], format="csr")
    answer = np.full((count, total), np.inf)
    for chunk, cost in least_costs(graph, total + np.arange(count), limit_m):
        answer[chunk] = cost[:, :total]
    return answer


def cells_beyond(room: Room, corner: int, radius_m: float) -> list[Beyond]:
    """Find the cells beyond a corner, for either way of bending round it."""
    at = room.corners.at[corner]
    near = _within(room.points, at, radius_m)
    offset = (room.points[near] - at).T
    sides = [side(corner, offset) for side in (room.corners.ahead, room.corners.behind)]
    if not (sides[0].any() or sides[1].any()):
        return []
    view = look_around(at, room.walls, radius_m)
    found = []
    for side in sides:
        cell, there = near[side], offset[:, side]
        angle = np.arctan2(there[1], there[0])
        seen = view.sees(there, angle)
        cell, there, angle = cell[seen], there[:, seen], angle[seen]
        if cell.size:
            found.append(_priced(room, corner, cell, there, angle))
    return found


def straight_costs(room: Room, start: Start, limit_m: float) -> tuple[FloatArray, FloatArray]:
    """Return cost and plan length of straight ways to the cells in view, infinite elsewhere."""
    cost = np.full(len(room.points), np.inf)
    plan = np.full(len(room.points), np.inf)
    near = _within(room.points, start.at, limit_m)
    offset = (room.points[near] - start.at).T
    angle = np.arctan2(offset[1], offset[0])
    seen = start.view.sees(offset, angle)
    near, offset, angle = near[seen], offset[:, seen], angle[seen]
    plan[near] = np.hypot(offset[0], offset[1])
    cost[near] = plan[near] + room.ground.extra_from_m(start.at, angle, plan[near])
    return cost, plan


def lower_round_corners(
    best: FloatArray, corner_cost: FloatArray, beyond: Sequence[Beyond], limit_m: float
) -> None:
    """Lower costs of cells in place wherever a way round a corner is cheaper."""
    for field in beyond:
        room_left_m = limit_m - corner_cost[field.corner]
        if room_left_m > 0:
            count = int(np.searchsorted(field.cost, room_left_m, side="right"))
            cell = field.cell[:count]
            way = corner_cost[field.corner] + field.cost[:count]
            best[cell] = np.minimum(best[cell], way)


def shorten_round_corners(
    best: FloatArray, corner_plan: FloatArray, beyond: Sequence[Beyond], limit_m: float
) -> None:
    """Lower plan lengths of cells in place wherever a way round a corner is shorter in plan."""
    for field in beyond:
        if corner_plan[field.corner] < limit_m:
            way = corner_plan[field.corner] + field.plan
            best[field.cell] = np.minimum(best[field.cell], way)


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
        others = others[view.sees(there, np.arctan2(there[1], there[0]))]
        starts.append(np.full(others.size, corner))
        ends.append(others)
    return np.concatenate(starts), np.concatenate(ends)


def _within(points: FloatArray, at: FloatArray, radius_m: float) -> IntArray:
    offset = points - at
    return np.flatnonzero(offset[:, 0] ** 2 + offset[:, 1] ** 2 <= radius_m**2)


def _priced(
    room: Room, corner: int, cell: IntArray, offset: FloatArray, angle: FloatArray
) -> Beyond:
    plan = np.hypot(offset[0], offset[1])
    cost = plan + room.ground.extra_from_m(room.corners.at[corner], angle, plan)
    order = np.argsort(cost, kind="stable")
    return Beyond(corner, cell[order], cost[order], plan[order])
