"""Time and cost of the pipe tree beside networkx, same graph, same run."""

from __future__ import annotations

import time

import networkx as nx
import numpy as np
import pytest
from scipy.spatial import Delaunay

from dewpond.base.steiner import steiner_bound, steiner_tree


@pytest.mark.benchmark
@pytest.mark.parametrize(("nodes", "terminals"), [(500, 15), (1000, 40), (3000, 60)])
def test_tree_beside_mehlhorn_of_networkx(nodes, terminals):
    random = np.random.default_rng(nodes)
    points = random.uniform(0, 2000, size=(nodes, 2))
    triangles = Delaunay(points).simplices
    edges = np.vstack([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]])
    edges = np.unique(np.sort(edges, axis=1), axis=0)
    length = np.hypot(*(points[edges[:, 0]] - points[edges[:, 1]]).T)
    costs = length * random.uniform(1, 1.5, size=len(edges))
    asked = random.choice(nodes, size=terminals, replace=False)
    graph = nx.Graph()
    graph.add_weighted_edges_from(
        (int(a), int(b), float(c)) for (a, b), c in zip(edges, costs, strict=True)
    )

    began = time.perf_counter()
    peer = nx.algorithms.approximation.steiner_tree(graph, asked.tolist(), method="mehlhorn")
    peer_s = time.perf_counter() - began
    began = time.perf_counter()
    cost = costs[steiner_tree(nodes, edges, costs, asked)].sum()
    tree_s = time.perf_counter() - began
    began = time.perf_counter()
    bound = steiner_bound(nodes, edges, costs, asked)
    bound_s = time.perf_counter() - began

    peer_cost = peer.size(weight="weight")
    print(
        f"\n{nodes} nodes, {terminals} terminals: cost {cost / peer_cost:.4f} of networkx, "
        f"proven gap {(cost - bound) / cost:.2%}, "
        f"networkx {(peer_cost - bound) / peer_cost:.2%}; "
        f"time {tree_s:.2f} s + bound {bound_s:.2f} s, networkx {peer_s:.2f} s, "
        f"ratio {(tree_s + bound_s) / peer_s:.1f}"
    )
    assert cost <= peer_cost * (1 + 1e-9)
