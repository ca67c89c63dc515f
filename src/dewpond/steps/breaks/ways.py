"""Shortest ways inside a polygon, from one place to many, exact in plan.

A shortest way is straight or bends only at corners that stand out into the polygon (Lee &
Preparata, Networks 14 (1984), 393-410, cited from memory), so it is enough to link those corners
where they see each other.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
import shapely
from scipy.sparse.csgraph import dijkstra

from dewpond.base.surface import FloatArray

_SLACK_M = 0.01
"""A way may run along a fence: it is in view when it lies within the polygon to a centimetre."""


@dataclass(frozen=True, eq=False)
class Room:
    """A polygon with the corners that ways bend round.

    Attributes
    ----------
    shape, slack : Polygon
        The polygon, and the same a centimetre wider.
    corners : array of float, shape (c, 2)
    apart_m : array of float, shape (c, c)
        Straight distance between corners that see each other, infinite where they do not.
    """

    shape: shapely.Geometry
    slack: shapely.Geometry
    corners: FloatArray
    apart_m: FloatArray

    def ways_from(self, start: FloatArray, ends: FloatArray) -> list[shapely.LineString | None]:
        """Return the shortest way in plan to each end; None where there is none.

        Parameters
        ----------
        start : array of float, shape (2,)
        ends : array of float, shape (n, 2)
        """
        count = len(self.corners)
        first = _seen_m(self.slack, start[None, :], self.corners)[0]
        to_end = _seen_m(self.slack, np.vstack([start, self.corners]), ends)
        graph = np.full((count + 1, count + 1), np.inf)
        graph[0, 1:], graph[1:, 0], graph[1:, 1:] = first, first, self.apart_m
        links = sp.csr_array(np.where(np.isfinite(graph), graph, 0.0))
        along, before = dijkstra(links, indices=0, return_predecessors=True)
        total = along[:, None] + to_end
        last = np.argmin(total, axis=0)
        nodes = np.vstack([start, self.corners])
        return [
            _line(nodes, before, int(corner), end) if np.isfinite(length) else None
            for corner, end, length in zip(last, ends, total.min(axis=0), strict=True)
        ]


def room(shape: shapely.Geometry) -> Room:
    """Return a polygon ready to find ways in."""
    slack = shape.buffer(_SLACK_M, join_style="mitre")
    shapely.prepare(slack)
    corners = _standing_corners(shape)
    return Room(shape, slack, corners, _seen_m(slack, corners, corners))


def _standing_corners(shape: shapely.Geometry) -> FloatArray:
    """Return the vertices with an inner angle above 180 degrees, holes included."""
    found = [np.empty((0, 2))]
    for polygon in shapely.get_parts(shapely.orient_polygons(shape)):
        for ring in shapely.get_rings(polygon):
            at = shapely.get_coordinates(ring)[:-1]
            before, after = at - np.roll(at, 1, axis=0), np.roll(at, -1, axis=0) - at
            turn = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
            found.append(at[turn < -1e-9])
    return np.concatenate(found)


def _seen_m(slack: shapely.Geometry, starts: FloatArray, ends: FloatArray) -> FloatArray:
    """Return straight distances, shape (starts, ends), infinite where out of view."""
    pairs = np.empty((len(starts), len(ends), 2, 2))
    pairs[:, :, 0], pairs[:, :, 1] = starts[:, None], ends[None, :]
    if not pairs.size:
        return np.empty((len(starts), len(ends)))
    distance = np.hypot(*np.moveaxis(pairs[:, :, 1] - pairs[:, :, 0], -1, 0))
    lines = shapely.linestrings(pairs.reshape(-1, 2, 2)).reshape(distance.shape)
    # Nothing is kept at zero: a graph takes that for no link at all.
    return np.where(shapely.covers(slack, lines), np.maximum(distance, 1e-9), np.inf)


def _line(
    nodes: FloatArray, before: FloatArray, corner: int, end: FloatArray
) -> shapely.LineString:
    way = [end]
    while corner >= 0:
        way.append(nodes[corner])
        corner = int(before[corner])
    return shapely.LineString(way[::-1])
