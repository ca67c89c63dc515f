"""The exact shortest way inside a polygon, by a plain visibility graph: slow, and independent."""

from __future__ import annotations

import networkx as nx
import numpy as np
import shapely


def exact_walks(polygon: shapely.Polygon, source: np.ndarray, goals: np.ndarray) -> np.ndarray:
    """Return lengths of the shortest ways from a source to goals, infinite where there is none.

    Every vertex is joined to every other where the straight line stays in the polygon, widened
    by a tenth of a millimetre for rounding.
    """
    vertices = np.unique(shapely.get_coordinates(polygon), axis=0)
    wide = polygon.buffer(1e-4, join_style="mitre")
    shapely.prepare(wide)
    graph = nx.Graph()
    places = np.vstack([source, vertices])
    graph.add_nodes_from(range(len(places)))
    first, second, length = _visible(wide, places, places, *np.triu_indices(len(places), 1))
    graph.add_weighted_edges_from(
        zip(first.tolist(), second.tolist(), length.tolist(), strict=True)
    )
    cost = nx.single_source_dijkstra_path_length(graph, 0)
    reach = np.array([cost.get(node, np.inf) for node in range(len(places))])
    goal, node = (part.ravel() for part in np.indices((len(goals), len(places))))
    goal, node, length = _visible(wide, goals, places, goal, node)
    best = np.full(len(goals), np.inf)
    np.minimum.at(best, goal, reach[node] + length)
    return best


def _visible(
    polygon: shapely.Geometry, one: np.ndarray, two: np.ndarray, i: np.ndarray, j: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    lines = shapely.linestrings(np.stack([one[i], two[j]], axis=1))
    seen = shapely.covers(polygon, lines)
    return i[seen], j[seen], shapely.length(lines[seen])
