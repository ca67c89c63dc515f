"""Shrinks the pipe graph: loops, doubles, detours, dead ends and through nodes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from scipy.sparse import csgraph

from dewpond.base.jointdesign.problem import BoolArray, FloatArray, IntArray

# The shortest ways between all nodes are held in memory only up to this many nodes.
_MOST_NODES_FOR_ALL_WAYS = 6000
_SAME = 1e-9


@dataclass(frozen=True, eq=False)
class PipeGraph:
    """Undirected graph in which each edge stands for one or more edges of the given graph.

    Attributes
    ----------
    start, end : array of int, shape (m,)
    cost : array of float, shape (m,)
    parts : tuple of tuple of int
        Positions of the given edges that each edge stands for.
    """

    start: IntArray
    end: IntArray
    cost: FloatArray
    parts: tuple[tuple[int, ...], ...]

    def take(self, rows: IntArray) -> PipeGraph:
        """Return the graph of some edges only."""
        parts = tuple(self.parts[row] for row in rows)
        return PipeGraph(self.start[rows], self.end[rows], self.cost[rows], parts)


def shrink_graph(graph: PipeGraph, n_nodes: int, keep: BoolArray) -> PipeGraph:
    """Remove what no cheapest tree needs; nodes in `keep` (sites, sources) stay as they are."""
    while True:
        smaller = _without_detours(_without_doubles(graph), n_nodes)
        smaller = _without_doubles(_contract(smaller, n_nodes, keep))
        if len(smaller.cost) == len(graph.cost):
            return smaller
        graph = smaller


def _without_doubles(graph: PipeGraph) -> PipeGraph:
    """Drop loops and keep the cheapest of parallel edges, the earliest of equal ones."""
    low, high = np.minimum(graph.start, graph.end), np.maximum(graph.start, graph.end)
    order = np.lexsort((np.arange(len(low)), graph.cost, high, low))
    order = order[low[order] != high[order]]
    is_new = np.ones(len(order), dtype=bool)
    is_new[1:] = (np.diff(low[order]) != 0) | (np.diff(high[order]) != 0)
    return graph.take(np.sort(order[is_new]))


def _without_detours(graph: PipeGraph, n_nodes: int) -> PipeGraph:
    """Drop edges dearer than another way between their ends (long-edge test)."""
    if n_nodes > _MOST_NODES_FOR_ALL_WAYS or not len(graph.cost):
        return graph
    lengths = np.maximum(graph.cost, 1e-12)
    matrix = sp.csr_array((lengths, (graph.start, graph.end)), shape=(n_nodes, n_nodes))
    way = csgraph.dijkstra(matrix, directed=False)
    needed = graph.cost <= way[graph.start, graph.end] * (1 + _SAME) + _SAME
    return graph.take(np.flatnonzero(needed))


def _contract(graph: PipeGraph, n_nodes: int, keep: BoolArray) -> PipeGraph:
    """Cut off dead ends and join the two edges at each through node."""
    start, end = graph.start.tolist(), graph.end.tolist()
    cost, parts = graph.cost.tolist(), list(graph.parts)
    at: list[set[int]] = [set() for _ in range(n_nodes)]
    for edge, ends in enumerate(zip(start, end, strict=True)):
        for node in ends:
            at[node].add(edge)
    waiting = [node for node in range(n_nodes) if not keep[node] and len(at[node]) in (1, 2)]
    alive = np.ones(len(cost), dtype=bool)
    while waiting:
        node = waiting.pop()
        if keep[node] or len(at[node]) not in (1, 2):
            continue
        around = sorted(at[node])
        others = [start[edge] + end[edge] - node for edge in around]
        for edge, other in zip(around, others, strict=True):
            alive[edge] = False
            at[other].discard(edge)
        at[node].clear()
        if len(around) == 2 and others[0] != others[1]:
            first, second = around
            start[first], end[first] = others
            cost[first] += cost[second]
            parts[first] = parts[first] + parts[second]
            alive[first] = True
            for other in others:
                at[other].add(first)
        waiting.extend(other for other in others if not keep[other])
    joined = PipeGraph(np.array(start, dtype=np.int64), np.array(end, dtype=np.int64),
                       np.array(cost, dtype=float), tuple(parts))  # fmt: skip
    return joined.take(np.flatnonzero(alive))
