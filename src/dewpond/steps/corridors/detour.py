"""A way between two parts that no straight line joins: round the corners of forbidden ground."""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp
import shapely
from scipy.sparse.csgraph import dijkstra

from dewpond.steps.corridors.linework import ObjectArray, lines_between

# The way keeps this far from forbidden ground, and rounds its corners this coarsely [m].
_CLEAR_M = 1.0
_COARSE_M = 0.5


def way_round(
    here: shapely.Geometry, there: shapely.Geometry, forbidden: shapely.Geometry
) -> shapely.LineString | None:
    """Return the shortest way from one geometry to another past corners, or None.

    A visibility graph over the corners of the forbidden ground; the first and last legs run from
    a corner straight to the nearest place on either geometry.
    """
    grown = shapely.buffer(forbidden, _CLEAR_M + _COARSE_M, join_style="mitre")
    corners = np.unique(shapely.get_coordinates(shapely.simplify(grown, _COARSE_M)), axis=0)
    count = len(corners)
    if count == 0:
        return None
    points = shapely.points(corners)
    first = shapely.shortest_line(here, points)
    last = shapely.shortest_line(points, there)
    one, other = np.triu_indices(count, k=1)
    between = lines_between(corners[one], corners[other])
    tail = np.concatenate([np.full(count, count), one, np.arange(count)])
    head = np.concatenate([np.arange(count), other, np.full(count, count + 1)])
    legs: ObjectArray = np.concatenate([first, between, last])
    free = ~shapely.intersects(forbidden, legs)
    matrix = sp.csr_array(
        (np.maximum(shapely.length(legs[free]), 1e-6), (tail[free], head[free])),
        shape=(count + 2, count + 2),
    )
    distance, before = dijkstra(matrix, directed=False, indices=count, return_predecessors=True)
    if not np.isfinite(distance[count + 1]):
        return None
    way = [int(before[count + 1])]
    while before[way[-1]] != count:
        way.append(int(before[way[-1]]))
    start = shapely.get_coordinates(first[way[-1]])[0]
    stop = shapely.get_coordinates(last[way[0]])[-1]
    return shapely.LineString(np.vstack([start, corners[way[::-1]], stop]))
