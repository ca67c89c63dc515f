"""An exact shortest way inside a polygon, from shapely and networkx alone."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise

import networkx as nx
import numpy as np
import shapely
from shapely.geometry import Point
from shapely.geometry.base import BaseGeometry
from shapely.ops import nearest_points

Spot = tuple[float, float]


def shortest_way(shape: BaseGeometry, start: Spot, end: Spot) -> list[Spot]:
    """Return the turning points of the shortest way in plan: Lee & Preparata's visibility graph.

    A way may touch the fence. The ends are drawn onto the shape when they lie just off it.
    """
    ends = [_onto(shape, start), _onto(shape, end)]
    corners = shapely.get_coordinates(shape)
    spots = [*ends, *{(float(x), float(y)) for x, y in corners}]
    slack = shape.buffer(1e-6, join_style="mitre")
    shapely.prepare(slack)
    first, second = np.triu_indices(len(spots), 1)
    points = np.asarray(spots)
    lines = shapely.linestrings(np.stack([points[first], points[second]], axis=1))
    seen = shapely.covers(slack, lines)
    graph = nx.Graph()
    graph.add_nodes_from(range(len(spots)))
    graph.add_weighted_edges_from(
        (int(i), int(j), float(length))
        for i, j, length in zip(
            first[seen], second[seen], shapely.length(lines[seen]), strict=True
        )
    )
    return [spots[node] for node in nx.shortest_path(graph, 0, 1, weight="weight")]


def shortest_way_m(
    shape: BaseGeometry,
    start: Spot,
    end: Spot,
    height_m: Callable[[np.ndarray, np.ndarray], np.ndarray],
    step_m: float = 2.0,
) -> float:
    """Return the length over the ground of the way that is shortest in plan [m]."""
    total = 0.0
    for one, other in pairwise(shortest_way(shape, start, end)):
        length = float(np.hypot(other[0] - one[0], other[1] - one[1]))
        count = max(1, int(np.ceil(length / step_m)))
        share = np.linspace(0, 1, count + 1)
        levels = height_m(
            one[0] + share * (other[0] - one[0]), one[1] + share * (other[1] - one[1])
        )
        total += float(np.hypot(length / count, np.diff(levels)).sum())
    return total


def _onto(shape: BaseGeometry, spot: Spot) -> Spot:
    point = Point(spot)
    near = point if shape.covers(point) else nearest_points(shape, point)[0]
    return (near.x, near.y)
