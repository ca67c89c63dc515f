"""Making the graph small keeps every cheapest way between the nodes that matter."""

from __future__ import annotations

import networkx as nx
import numpy as np
import pytest
import shapely
from scipy.spatial import Delaunay

from dewpond.steps.corridors.graph import Edges, simplify


def _random_edges(random_state):
    random = np.random.default_rng(random_state)
    points = np.round(random.uniform(0, 1000, size=(60, 2)), 3)
    triangles = Delaunay(points).simplices
    pairs = np.vstack([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]])
    pairs = np.unique(np.sort(pairs, axis=1), axis=0)
    pairs = pairs[random.uniform(size=len(pairs)) < 0.55].astype(np.intp)
    lines = shapely.linestrings(points[pairs])
    length_m = shapely.length(lines)
    laying = random.choice(np.array(["fence", "open ground"], dtype=object), size=len(pairs))
    tracks = random.integers(0, 2, size=len(pairs))
    cost = length_m * random.uniform(1, 2, size=len(pairs)) + 20 * tracks
    edges = Edges(pairs[:, 0], pairs[:, 1], lines, laying, length_m, cost, tracks, tracks * 0)
    kept = np.zeros(60, dtype=bool)
    kept[random.choice(60, size=15, replace=False)] = True
    return points, edges, kept


def _costs(edges, kept):
    graph = nx.Graph()
    graph.add_nodes_from(range(len(kept)))
    for start, end, cost in zip(edges.start, edges.end, edges.cost, strict=True):
        graph.add_edge(int(start), int(end), cost=cost)
    nodes = np.flatnonzero(kept).tolist()
    found = [nx.single_source_dijkstra_path_length(graph, node, weight="cost") for node in nodes]
    return np.array([[way.get(node, np.inf) for node in nodes] for way in found])


@pytest.mark.parametrize("random_state", range(15))
def test_cheapest_ways_stay_as_they_were(random_state):
    points, edges, kept = _random_edges(random_state)
    small = simplify(edges, kept)
    np.testing.assert_allclose(_costs(small, kept), _costs(edges, kept))
    assert len(small.start) < len(edges.start)
    degree = np.bincount(np.concatenate([small.start, small.end]), minlength=60)
    assert not ((degree == 1) & ~kept).any()
    for start, end, line, length_m in zip(
        small.start, small.end, small.lines, small.length_m, strict=True
    ):
        ends = shapely.get_coordinates(line)[[0, -1]]
        np.testing.assert_allclose(ends, points[[start, end]], atol=1e-9)
        assert line.length == pytest.approx(length_m)
