"""The graph as arrays, made simple, and the parts every construction of a tree needs."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt
import scipy.sparse as sp
from scipy.sparse.csgraph import connected_components, minimum_spanning_tree

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.intp]
BoolArray = npt.NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Graph:
    """A simple graph with positive costs; each edge once, with tail < head, sorted."""

    count: int
    tail: IntArray
    head: IntArray
    cost: FloatArray
    origin: IntArray

    @cached_property
    def matrix(self) -> sp.csr_array:
        """The costs as a symmetric sparse matrix."""
        return _symmetric(self.count, self.tail, self.head, self.cost)

    @cached_property
    def _keys(self) -> IntArray:
        return self.tail * self.count + self.head

    def find(self, one: IntArray, other: IntArray) -> IntArray:
        """Return the positions of the edges between pairs of adjacent nodes."""
        keys = np.minimum(one, other) * self.count + np.maximum(one, other)
        return np.searchsorted(self._keys, keys).astype(np.intp)


def checked(
    node_count: int, edges: npt.ArrayLike, costs: npt.ArrayLike
) -> tuple[IntArray, FloatArray]:
    """Return the input as arrays; raise ValueError where it is not a graph with costs."""
    ends = np.asarray(edges, dtype=np.intp).reshape(-1, 2)
    cost = np.asarray(costs, dtype=np.float64)
    if cost.shape != (len(ends),):
        raise ValueError(f"{len(ends)} edges need as many costs, found shape {cost.shape}")
    if not (np.isfinite(cost).all() and (cost >= 0).all()):
        raise ValueError("the cost of an edge must be finite and zero or more")
    if ends.size and not (ends.min() >= 0 and ends.max() < node_count):
        raise ValueError(f"the ends of an edge must be nodes 0 to {node_count - 1}")
    return ends, cost


def check_joined(graph: Graph, terminals: IntArray) -> None:
    """Raise ValueError when no tree can join the terminals."""
    _, component = connected_components(graph.matrix, directed=False)
    if np.unique(component[terminals]).size > 1:
        raise ValueError("the terminals lie in parts of the graph that no path joins")


def _symmetric(count: int, tail: IntArray, head: IntArray, cost: FloatArray) -> sp.csr_array:
    rows, columns = np.concatenate([tail, head]), np.concatenate([head, tail])
    return sp.csr_array(
        (np.concatenate([cost, cost]), (rows, columns)), shape=(count, count), dtype=np.float64
    )


def contract(node_count: int, ends: IntArray, cost: FloatArray) -> tuple[Graph, IntArray]:
    """Merge nodes that free edges join, drop loops, keep the cheapest of parallel edges.

    Free edges would vanish in scipy's sparse matrices, and no choice is lost without them.
    """
    free = cost == 0
    joints = sp.coo_array(
        (np.ones(int(free.sum())), (ends[free, 0], ends[free, 1])), shape=(node_count, node_count)
    )
    count, label = connected_components(joints, directed=False)
    low = np.minimum(label[ends[:, 0]], label[ends[:, 1]]).astype(np.intp)
    high = np.maximum(label[ends[:, 0]], label[ends[:, 1]]).astype(np.intp)
    order = np.lexsort((cost, high, low))
    order = order[low[order] != high[order]]
    fresh = np.ones(order.size, dtype=bool)
    fresh[1:] = (np.diff(low[order]) != 0) | (np.diff(high[order]) != 0)
    kept = order[fresh]
    return Graph(int(count), low[kept], high[kept], cost[kept], kept), label.astype(np.intp)


def add_free_edges(
    node_count: int, ends: IntArray, cost: FloatArray, chosen: IntArray, terminals: IntArray
) -> IntArray:
    """Put free edges back where the tree needs them, and no others."""
    used = np.union1d(chosen, np.flatnonzero((cost == 0) & (ends[:, 0] != ends[:, 1])))
    low, high = ends[used].min(axis=1), ends[used].max(axis=1)
    # Free edges weigh less than chosen ones, so that a spanning tree keeps every joint.
    order = np.lexsort((used, cost[used] > 0, high, low))
    fresh = np.ones(order.size, dtype=bool)
    fresh[1:] = (np.diff(low[order]) != 0) | (np.diff(high[order]) != 0)
    used = used[order[fresh]]
    low, high = low[order[fresh]], high[order[fresh]]
    weights = np.where(cost[used] > 0, 2.0, 1.0)
    graph = Graph(node_count, low, high, weights, used)
    return np.sort(used[tidy(graph, np.arange(used.size), np.unique(terminals))])


def path_edges(graph: Graph, before: npt.NDArray[np.int32], feet: IntArray) -> IntArray:
    """Return the edges on the ways back from the given nodes to where the search began."""
    found = []
    node = np.unique(feet)
    node = node[before[node] >= 0]
    seen = np.zeros(graph.count, dtype=bool)
    while node.size:
        seen[node] = True
        earlier = before[node].astype(np.intp)
        found.append(graph.find(node, earlier))
        node = np.unique(earlier)
        node = node[(before[node] >= 0) & ~seen[node]]
    return np.unique(np.concatenate(found)) if found else np.empty(0, dtype=np.intp)


def spanning(graph: Graph, edges: IntArray) -> IntArray:
    """Return the edges of a least spanning forest of the part of the graph given by edges."""
    # Only the nodes in use: a matrix over the whole graph would cost more than the tree itself.
    used, inverse = np.unique(
        np.concatenate([graph.tail[edges], graph.head[edges]]), return_inverse=True
    )
    local = inverse.reshape(2, -1).astype(np.int32)  # scipy takes no wider index here
    part = sp.csr_array((graph.cost[edges], (local[0], local[1])), shape=(used.size, used.size))
    tree = minimum_spanning_tree(part).tocoo()
    return np.sort(graph.find(used[tree.row], used[tree.col]))


def tidy(graph: Graph, edges: IntArray, terminals: IntArray) -> IntArray:
    """Return a least spanning tree of the given edges without leaves that nobody asked for."""
    if edges.size == 0:
        return edges
    tree = spanning(graph, edges)
    asked = np.zeros(graph.count, dtype=bool)
    asked[terminals] = True
    while tree.size:
        degree = np.bincount(
            np.concatenate([graph.tail[tree], graph.head[tree]]), minlength=graph.count
        )
        bare = (degree == 1) & ~asked
        kept = ~(bare[graph.tail[tree]] | bare[graph.head[tree]])
        if kept.all():
            break
        tree = tree[kept]
    return tree
