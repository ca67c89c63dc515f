"""The priced graph, made small: no dead ends, no chains, no way that another undercuts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy.sparse as sp
import shapely
from scipy.sparse.csgraph import connected_components, dijkstra

from dewpond.base.surface import FloatArray
from dewpond.steps.corridors.linework import (
    OPEN_GROUND,
    IntArray,
    ObjectArray,
    grid_keys,
    line_ends,
)

# Least weight in searches, since scipy takes zero for no line at all.
_NEXT_TO_NOTHING = 1e-9
# Searches are run for so many nodes at a time, to bound the memory they take.
_CHUNK = 256


@dataclass(frozen=True, eq=False)
class Edges:
    """Edges with their price, ends by node number.

    Attributes
    ----------
    start, end : arrays of int, shape (m,)
    lines, laying : arrays of LineString and of text, shape (m,)
    length_m, cost : arrays of float, shape (m,)
    tracks, watercourses : arrays of int, shape (m,)
        Crossings of each.
    """

    start: IntArray
    end: IntArray
    lines: ObjectArray
    laying: ObjectArray
    length_m: FloatArray
    cost: FloatArray
    tracks: IntArray
    watercourses: IntArray

    def take(self, positions: npt.NDArray[np.bool_] | IntArray) -> Edges:
        """Return some of the edges."""
        return Edges(*(getattr(self, name)[positions] for name in self.__dataclass_fields__))


def simplify(edges: Edges, kept: npt.NDArray[np.bool_]) -> Edges:
    """Return the edges that a cheapest way between kept nodes can use, chains made one edge.

    Parameters
    ----------
    edges : Edges
    kept : array of bool, shape (n nodes,)
        Nodes that must stay, such as sites and sources.
    """
    edges = _without_undercut(_cheapest_of_parallel(edges), len(kept))
    while True:
        count = len(edges.start)
        edges = _without_dead_ends(edges, kept)
        edges = _cheapest_of_parallel(_without_chains(edges, kept))
        if len(edges.start) == count:
            return edges


def _degree(edges: Edges, count: int) -> IntArray:
    both = np.concatenate([edges.start, edges.end])
    return np.bincount(both, minlength=count).astype(np.intp)


def _cheapest_of_parallel(edges: Edges) -> Edges:
    """Drop loops and all but the cheapest edge between two nodes."""
    low, high = np.minimum(edges.start, edges.end), np.maximum(edges.start, edges.end)
    order = np.lexsort((edges.length_m, edges.cost, high, low))
    order = order[low[order] != high[order]]
    first = np.ones(order.size, dtype=bool)
    first[1:] = (np.diff(low[order]) != 0) | (np.diff(high[order]) != 0)
    return edges.take(np.sort(order[first]))


def _without_undercut(edges: Edges, count: int) -> Edges:
    """Drop ways over open ground that cost more than another way between the same nodes."""
    asked = np.flatnonzero(edges.laying == OPEN_GROUND)
    if asked.size == 0:
        return edges
    weights = np.maximum(edges.cost, _NEXT_TO_NOTHING)
    matrix = sp.csr_array(
        (weights, (edges.start.astype(np.int32), edges.end.astype(np.int32))),
        shape=(count, count),
    )
    starts, row = np.unique(edges.start[asked], return_inverse=True)
    limit = float(weights[asked].max())
    keep = np.ones(len(edges.start), dtype=bool)
    for low in range(0, starts.size, _CHUNK):
        distance = dijkstra(
            matrix, directed=False, indices=starts[low : low + _CHUNK], limit=limit
        )
        here = (row >= low) & (row < low + _CHUNK)
        least = distance[row[here] - low, edges.end[asked[here]]]
        keep[asked[here]] = weights[asked[here]] <= least * (1 + 1e-9)
    return edges.take(keep)


def _without_dead_ends(edges: Edges, kept: npt.NDArray[np.bool_]) -> Edges:
    while True:
        bare = (_degree(edges, len(kept)) == 1) & ~kept
        dead = bare[edges.start] | bare[edges.end]
        if not dead.any():
            return edges
        edges = edges.take(~dead)


def _without_chains(edges: Edges, kept: npt.NDArray[np.bool_]) -> Edges:
    """Make one edge of each run of edges, laid alike, between nodes that matter."""
    label, count = _chains(edges, kept)
    size = np.bincount(label, minlength=count)
    alone = size[label] == 1
    runs = [np.flatnonzero(label == chain) for chain in np.flatnonzero(size > 1)]
    merged = [_merge(edges, run) for run in runs]
    whole = [edge for edge in merged if edge is not None]
    if not runs:
        return edges
    rest = edges.take(alone)
    return Edges(
        *(
            np.concatenate([getattr(rest, name), *(getattr(edge, name) for edge in whole)])
            for name in Edges.__dataclass_fields__
        )
    )


def _chains(edges: Edges, kept: npt.NDArray[np.bool_]) -> tuple[IntArray, int]:
    """Give a number to the runs of edges that pass through nodes of two edges laid alike."""
    total = len(edges.start)
    at = np.concatenate([edges.start, edges.end])
    edge = np.tile(np.arange(total), 2)
    plain = (_degree(edges, len(kept)) == 2) & ~kept
    inner = plain[at]
    order = np.lexsort((edge[inner], at[inner]))
    pairs = edge[inner][order].reshape(-1, 2)
    alike = edges.laying[pairs[:, 0]] == edges.laying[pairs[:, 1]]
    joints = sp.coo_array(
        (np.ones(int(alike.sum())), (pairs[alike, 0], pairs[alike, 1])), shape=(total, total)
    )
    count, label = connected_components(joints, directed=False)
    return label.astype(np.intp), int(count)


def _merge(edges: Edges, run: IntArray) -> Edges | None:
    """Return one edge for a run of edges, or None for a ring that leads nowhere."""
    both = np.concatenate([edges.start[run], edges.end[run]])
    nodes, times = np.unique(both, return_counts=True)
    tips = nodes[times == 1]
    if tips.size != 2:
        return None
    line = shapely.line_merge(shapely.multilinestrings(list(edges.lines[run])))
    own = np.flatnonzero((edges.start[run] == tips[0]) | (edges.end[run] == tips[0]))[0]
    at_start = edges.start[run[own]] == tips[0]
    corner = line_ends(edges.lines[run[[own]]])[0, 0 if at_start else 1]
    if (grid_keys(line_ends(np.array([line]))[0, 0]) != grid_keys(corner)).any():
        line = line.reverse()
    return Edges(
        tips[:1],
        tips[1:],
        np.array([line], dtype=object),
        edges.laying[run[:1]],
        *(np.array([getattr(edges, name)[run].sum()])
          for name in ("length_m", "cost", "tracks", "watercourses")),
    )  # fmt: skip
