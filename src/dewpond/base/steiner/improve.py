"""Local search: a tree bettered by moves on its key nodes and key paths."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import scipy.sparse as sp
from scipy.sparse.csgraph import connected_components, dijkstra, minimum_spanning_tree

from dewpond.base.steiner.graph import (
    BoolArray,
    FloatArray,
    Graph,
    IntArray,
    path_edges,
    tidy,
)

_RELATIVE_GAIN = 1e-9  # smaller gains are rounding
_MOVES = 1000  # local search ends sooner; a stop against endless rounding


def improve_tree(graph: Graph, terminals: IntArray, tree: IntArray) -> IntArray:
    """Better a tree by one move after another until none of them gains."""
    moves = (_respan, _insert, _eliminate, _exchange)
    cost = float(graph.cost[tree].sum())
    move, idle = 0, 0
    for _ in range(_MOVES):
        other = moves[move](graph, terminals, tree)
        other_cost = float(graph.cost[other].sum())
        if other_cost < cost * (1 - _RELATIVE_GAIN):
            tree, cost, idle = other, other_cost, 0
            continue
        idle += 1
        if idle == len(moves):
            break
        move = (move + 1) % len(moves)
    return tree


def _degree(graph: Graph, tree: IntArray) -> IntArray:
    ends = np.concatenate([graph.tail[tree], graph.head[tree]])
    return np.bincount(ends, minlength=graph.count).astype(np.intp)


def _key_nodes(graph: Graph, terminals: IntArray, tree: IntArray) -> IntArray:
    """Return terminals and the nodes where the tree forks, ascending."""
    return np.union1d(terminals, np.flatnonzero(_degree(graph, tree) > 2))


def _respan(graph: Graph, terminals: IntArray, tree: IntArray) -> IntArray:
    """Span the nodes of the tree afresh with all the edges between them."""
    inside = _degree(graph, tree) > 0
    return tidy(graph, np.flatnonzero(inside[graph.tail] & inside[graph.head]), terminals)


def _insert(graph: Graph, terminals: IntArray, tree: IntArray) -> IntArray:
    """Add the node that shortens the spanning tree of shortest paths most."""
    keys = _key_nodes(graph, terminals, tree)
    distance, before = dijkstra(
        graph.matrix, directed=False, indices=keys, return_predecessors=True
    )
    others = _worth_inserting(distance, keys)
    if others.size == 0:
        return tree
    lengths = _spanning_lengths(distance[:, keys], distance[:, others])
    best = int(np.argmin(lengths))
    if lengths[best] >= graph.cost[tree].sum() * (1 - _RELATIVE_GAIN):
        return tree
    return _expand(graph, terminals, np.append(keys, others[best]), keys, distance, before)


def _worth_inserting(distance: FloatArray, keys: IntArray) -> IntArray:
    """Return the nodes that could shorten the spanning tree of shortest paths between keys.

    A node gains only as a fork of three or more branches, and each of these replaces a longer
    edge of the tree; so three keys must lie nearer to it than the longest edge.
    """
    if keys.size < 3:
        return np.empty(0, dtype=np.intp)
    longest = minimum_spanning_tree(distance[:, keys]).data.max()
    third = np.partition(distance, 2, axis=0)[2]
    return np.setdiff1d(np.flatnonzero(third < longest), keys)


def _spanning_lengths(between: FloatArray, to_extra: FloatArray) -> FloatArray:
    """Return the length of the least spanning tree of k points and one more, for each extra.

    Prim's algorithm, run for all extras side by side.

    Parameters
    ----------
    between : array, shape (k, k)
        Distances between the points.
    to_extra : array, shape (k, v)
        Distances from the points to each extra.
    """
    count, extras = to_extra.shape
    row = np.arange(extras)
    nearest = np.empty((extras, count + 1))
    nearest[:, :count] = between[0]
    nearest[:, count] = to_extra[0]
    nearest[:, 0] = np.inf
    open_ = np.ones((extras, count + 1), dtype=bool)
    open_[:, 0] = False
    total = np.zeros(extras)
    from_extra = np.ascontiguousarray(to_extra.T)
    for _ in range(count):
        joined = np.argmin(nearest, axis=1)
        total += nearest[row, joined]
        open_[row, joined] = False
        is_extra = joined == count
        point = np.where(is_extra, 0, joined)
        step = np.where(is_extra[:, None], from_extra, between[point])
        np.minimum(nearest[:, :count], step, out=nearest[:, :count])
        np.minimum(
            nearest[:, count],
            np.where(is_extra, np.inf, to_extra[point, row]),
            out=nearest[:, count],
        )
        nearest[~open_] = np.inf
    return total


def _eliminate(graph: Graph, terminals: IntArray, tree: IntArray) -> IntArray:
    """Leave out the fork without which the spanning tree of shortest paths is shortest."""
    keys = _key_nodes(graph, terminals, tree)
    forks = np.flatnonzero(~np.isin(keys, terminals))
    if forks.size == 0:
        return tree
    distance, before = dijkstra(
        graph.matrix, directed=False, indices=keys, return_predecessors=True
    )
    between = distance[:, keys]
    lengths = np.array([_dense_span_length(np.delete(np.arange(keys.size), f), between)
                        for f in forks])  # fmt: skip
    best = int(np.argmin(lengths))
    if lengths[best] >= graph.cost[tree].sum() * (1 - _RELATIVE_GAIN):
        return tree
    left = np.delete(keys, forks[best])
    return _expand(graph, terminals, left, keys, distance, before)


def _dense_span_length(points: IntArray, between: FloatArray) -> float:
    return float(minimum_spanning_tree(between[np.ix_(points, points)]).sum())


def _expand(
    graph: Graph,
    terminals: IntArray,
    points: IntArray,
    searched: IntArray,
    distance: FloatArray,
    before: npt.NDArray[np.int32],
) -> IntArray:
    """Turn the spanning tree of shortest paths between points into a tree of edges.

    ``distance`` and ``before`` hold one row per node of ``searched``; at most the last of the
    points is not among these.
    """
    row_of = np.full(graph.count, -1, dtype=np.intp)
    row_of[searched] = np.arange(searched.size)
    rows = row_of[points]
    between = np.where(rows[:, None] >= 0, distance[rows][:, points], distance[rows][:, points].T)
    last = points.size - 1
    if rows[last] < 0:
        between[last, :last] = distance[rows[:last], points[last]]
        between[last, last] = 0.0
    spanning = minimum_spanning_tree(between).tocoo()
    found = [np.empty(0, dtype=np.intp)]
    for one, other in zip(spanning.row, spanning.col, strict=True):
        start, end = (one, other) if rows[one] >= 0 else (other, one)
        found.append(path_edges(graph, before[rows[start]], points[[end]]))
    return tidy(graph, np.unique(np.concatenate(found)), terminals)


def _exchange(graph: Graph, terminals: IntArray, tree: IntArray) -> IntArray:
    """Replace the first key path for which a cheaper way between its two sides exists."""
    keys = np.zeros(graph.count, dtype=bool)
    keys[_key_nodes(graph, terminals, tree)] = True
    for path in _key_paths(graph, tree, keys):
        rest = np.setdiff1d(tree, path)
        touched = np.concatenate([graph.tail[path], graph.head[path]])
        ends = np.unique(touched[keys[touched]])
        side = _side(graph, rest, int(ends[0]))
        far = np.zeros(graph.count, dtype=bool)
        far[graph.tail[rest]] = far[graph.head[rest]] = True
        far[ends] = True
        far &= ~side
        price = float(graph.cost[path].sum())
        distance, before, _ = dijkstra(
            graph.matrix,
            directed=False,
            indices=np.flatnonzero(side),
            min_only=True,
            return_predecessors=True,
            limit=price,
        )
        targets = np.flatnonzero(far)
        best = targets[int(np.argmin(distance[targets]))]
        if distance[best] < price * (1 - _RELATIVE_GAIN):
            new = path_edges(graph, before, np.array([best]))
            return tidy(graph, np.union1d(rest, new), terminals)
    return tree


def _key_paths(graph: Graph, tree: IntArray, keys: BoolArray) -> list[IntArray]:
    """Split the tree at its key nodes into paths, dearest first."""
    tail, head = graph.tail[tree], graph.head[tree]
    # Edges that share a node other than a key node belong to one path.
    ends = np.concatenate([tail, head])
    edge = np.tile(np.arange(tree.size), 2)
    plain = ~keys[ends]
    order = np.lexsort((edge[plain], ends[plain]))
    at, which = ends[plain][order], edge[plain][order]
    same = np.flatnonzero(np.diff(at) == 0)
    joints = sp.coo_array(
        (np.ones(same.size), (which[same], which[same + 1])), shape=(tree.size, tree.size)
    )
    count, label = connected_components(joints, directed=False)
    price = np.bincount(label, weights=graph.cost[tree], minlength=count)
    return [tree[label == path] for path in np.argsort(-price, kind="stable")]


def _side(graph: Graph, edges: IntArray, node: int) -> BoolArray:
    """Return which nodes the edges join to the node, itself among them."""
    joints = sp.coo_array(
        (np.ones(edges.size), (graph.tail[edges], graph.head[edges])),
        shape=(graph.count, graph.count),
    )
    _, label = connected_components(joints, directed=False)
    same: BoolArray = label == label[node]
    return same
