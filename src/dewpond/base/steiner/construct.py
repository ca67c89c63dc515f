"""Two constructions of a first tree."""

from __future__ import annotations

import numpy as np
from scipy.sparse.csgraph import dijkstra

from dewpond.base.steiner.graph import Graph, IntArray, path_edges, spanning, tidy


def mehlhorn_tree(graph: Graph, terminals: IntArray) -> IntArray:
    """Join the terminals by the cheapest links between their nearest-terminal regions."""
    distance, before, nearest = dijkstra(
        graph.matrix, directed=False, indices=terminals, min_only=True, return_predecessors=True
    )
    one, other = nearest[graph.tail], nearest[graph.head]
    link = np.flatnonzero((one != other) & np.isfinite(distance[graph.tail]))
    length = distance[graph.tail[link]] + graph.cost[link] + distance[graph.head[link]]
    low, high = np.minimum(one[link], other[link]), np.maximum(one[link], other[link])
    order = np.lexsort((length, high, low))
    fresh = np.ones(order.size, dtype=bool)
    fresh[1:] = (np.diff(low[order]) != 0) | (np.diff(high[order]) != 0)
    kept = order[fresh]
    links = Graph(
        graph.count,
        low[kept].astype(np.intp),
        high[kept].astype(np.intp),
        length[kept],
        link[kept],
    )
    chosen = links.origin[spanning(links, np.arange(kept.size))]
    feet = np.concatenate([graph.tail[chosen], graph.head[chosen]])
    path = path_edges(graph, before, feet)
    return tidy(graph, np.union1d(chosen, path), terminals)


def grown_tree(graph: Graph, terminals: IntArray, root: int) -> IntArray:
    """Grow a tree from the root by the nearest terminal left, again and again."""
    inside = np.zeros(graph.count, dtype=bool)
    inside[root] = True
    wanted = terminals[terminals != root]
    chosen: IntArray = np.empty(0, dtype=np.intp)
    while wanted.size:
        distance, before, _ = dijkstra(
            graph.matrix,
            directed=False,
            indices=np.flatnonzero(inside),
            min_only=True,
            return_predecessors=True,
        )
        target = wanted[[int(np.argmin(distance[wanted]))]]
        path = path_edges(graph, before, target)
        chosen = np.union1d(chosen, path)
        inside[graph.tail[path]] = inside[graph.head[path]] = True
        wanted = wanted[~inside[wanted]]
    return tidy(graph, chosen, terminals)
