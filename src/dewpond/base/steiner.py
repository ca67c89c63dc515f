"""Cheapest tree that joins given nodes of an undirected graph: a good one, and a bound on any.

Bare arrays, no geography. The tree comes from two constructions (Mehlhorn 1988; the
shortest-path heuristic of Takahashi and Matsuyama 1980) bettered by local search on key vertices
and key paths (moves as in Uchoa and Werneck 2012); the bound from dual ascent (Wong 1984).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt
import scipy.sparse as sp
from scipy.sparse.csgraph import connected_components, dijkstra, minimum_spanning_tree

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.intp]
BoolArray = npt.NDArray[np.bool_]

_ROOTS = 8  # shortest-path heuristic: roots tried
_STARTS = 3  # starts handed on to local search, Mehlhorn's among them
_BOUND_ROOTS = 3  # dual ascent: roots tried
_RELATIVE_GAIN = 1e-9  # smaller gains are rounding
_MOVES = 1000  # local search ends sooner; a stop against endless rounding


def steiner_tree(
    node_count: int, edges: npt.ArrayLike, costs: npt.ArrayLike, terminals: npt.ArrayLike
) -> IntArray:
    """Return a cheap tree that joins the terminals.

    Parameters
    ----------
    node_count : int
        Nodes are 0 to node_count - 1.
    edges : array_like of int, shape (m, 2)
        Ends of each undirected edge; parallel edges and loops may occur.
    costs : array_like of float, shape (m,)
        Cost of each edge, finite, zero or more.
    terminals : array_like of int
        Nodes to join; repeats do no harm.

    Returns
    -------
    array of int
        Positions of the chosen edges, ascending; every leaf of their tree is a terminal. Never
        dearer than Mehlhorn's tree, hence at most twice the least cost. Same input, same tree.

    Raises
    ------
    ValueError
        On costs below zero or not finite, or terminals that no path joins.
    """
    ends, cost = _checked(node_count, edges, costs)
    graph, label = _contracted(node_count, ends, cost)
    joined = np.unique(label[np.asarray(terminals, dtype=np.intp)])
    if joined.size <= 1:
        chosen: IntArray = np.empty(0, dtype=np.intp)
    else:
        _check_joined(graph, joined)
        chosen = graph.origin[_best_tree(graph, joined)]
    return _with_free_edges(node_count, ends, cost, chosen, np.asarray(terminals, dtype=np.intp))


def steiner_bound(
    node_count: int, edges: npt.ArrayLike, costs: npt.ArrayLike, terminals: npt.ArrayLike
) -> float:
    """Return a cost that no tree joining the terminals can undercut (dual ascent, Wong 1984).

    Parameters and errors as `steiner_tree`. Equal to the least cost when the graph is a tree;
    elsewhere usually within a few per cent.
    """
    ends, cost = _checked(node_count, edges, costs)
    graph, label = _contracted(node_count, ends, cost)
    joined = np.unique(label[np.asarray(terminals, dtype=np.intp)])
    if joined.size <= 1:
        return 0.0
    _check_joined(graph, joined)
    roots = joined[_spread(joined.size, _BOUND_ROOTS)]
    return max(_ascend(graph, int(root), joined) for root in roots)


@dataclass(frozen=True, eq=False)
class _Graph:
    """A simple graph with positive costs; each edge once, with tail < head, sorted."""

    count: int
    tail: IntArray
    head: IntArray
    cost: FloatArray
    origin: IntArray

    @cached_property
    def matrix(self) -> sp.csr_array:
        return _symmetric(self.count, self.tail, self.head, self.cost)

    @cached_property
    def _keys(self) -> IntArray:
        return self.tail * self.count + self.head

    def find(self, one: IntArray, other: IntArray) -> IntArray:
        """Return the positions of the edges between pairs of adjacent nodes."""
        keys = np.minimum(one, other) * self.count + np.maximum(one, other)
        return np.searchsorted(self._keys, keys).astype(np.intp)


def _checked(
    node_count: int, edges: npt.ArrayLike, costs: npt.ArrayLike
) -> tuple[IntArray, FloatArray]:
    ends = np.asarray(edges, dtype=np.intp).reshape(-1, 2)
    cost = np.asarray(costs, dtype=np.float64)
    if cost.shape != (len(ends),):
        raise ValueError(f"{len(ends)} edges need as many costs, found shape {cost.shape}")
    if not (np.isfinite(cost).all() and (cost >= 0).all()):
        raise ValueError("the cost of an edge must be finite and zero or more")
    if ends.size and not (ends.min() >= 0 and ends.max() < node_count):
        raise ValueError(f"the ends of an edge must be nodes 0 to {node_count - 1}")
    return ends, cost


def _check_joined(graph: _Graph, terminals: IntArray) -> None:
    _, component = connected_components(graph.matrix, directed=False)
    if np.unique(component[terminals]).size > 1:
        raise ValueError("the terminals lie in parts of the graph that no path joins")


def _symmetric(count: int, tail: IntArray, head: IntArray, cost: FloatArray) -> sp.csr_array:
    rows, columns = np.concatenate([tail, head]), np.concatenate([head, tail])
    return sp.csr_array(
        (np.concatenate([cost, cost]), (rows, columns)), shape=(count, count), dtype=np.float64
    )


def _contracted(
    node_count: int, ends: IntArray, cost: FloatArray
) -> tuple[_Graph, IntArray]:
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
    return _Graph(int(count), low[kept], high[kept], cost[kept], kept), label.astype(np.intp)


def _with_free_edges(
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
    graph = _Graph(node_count, low, high, weights, used)
    return np.sort(used[_tidy(graph, np.arange(used.size), np.unique(terminals))])


def _spread(size: int, wanted: int) -> IntArray:
    """Return up to ``wanted`` positions spread evenly over ``size``, the first among them."""
    return np.unique(np.linspace(0, size - 1, min(wanted, size)).round().astype(np.intp))


def _best_tree(graph: _Graph, terminals: IntArray) -> IntArray:
    starts = [_mehlhorn(graph, terminals)]
    grown = [_grow(graph, terminals, int(t)) for t in terminals[_spread(terminals.size, _ROOTS)]]
    grown.sort(key=lambda tree: float(graph.cost[tree].sum()))
    for tree in grown:
        if len(starts) < _STARTS and not any(np.array_equal(tree, other) for other in starts):
            starts.append(tree)
    trees = [_improve(graph, terminals, tree) for tree in starts]
    return min(trees, key=lambda tree: float(graph.cost[tree].sum()))


def _mehlhorn(graph: _Graph, terminals: IntArray) -> IntArray:
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
    links = _Graph(
        graph.count,
        low[kept].astype(np.intp),
        high[kept].astype(np.intp),
        length[kept],
        link[kept],
    )
    chosen = links.origin[_spanning(links, np.arange(kept.size))]
    feet = np.concatenate([graph.tail[chosen], graph.head[chosen]])
    path = _path_edges(graph, before, feet)
    return _tidy(graph, np.union1d(chosen, path), terminals)


def _grow(graph: _Graph, terminals: IntArray, root: int) -> IntArray:
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
        path = _path_edges(graph, before, target)
        chosen = np.union1d(chosen, path)
        inside[graph.tail[path]] = inside[graph.head[path]] = True
        wanted = wanted[~inside[wanted]]
    return _tidy(graph, chosen, terminals)


def _path_edges(graph: _Graph, before: npt.NDArray[np.int32], feet: IntArray) -> IntArray:
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


def _spanning(graph: _Graph, edges: IntArray) -> IntArray:
    """Return the edges of a least spanning forest of the part of the graph given by edges."""
    # Only the nodes in use: a matrix over the whole graph would cost more than the tree itself.
    used, inverse = np.unique(
        np.concatenate([graph.tail[edges], graph.head[edges]]), return_inverse=True
    )
    local = inverse.reshape(2, -1).astype(np.int32)  # scipy takes no wider index here
    part = sp.csr_array((graph.cost[edges], (local[0], local[1])), shape=(used.size, used.size))
    tree = minimum_spanning_tree(part).tocoo()
    return np.sort(graph.find(used[tree.row], used[tree.col]))


def _tidy(graph: _Graph, edges: IntArray, terminals: IntArray) -> IntArray:
    """Return a least spanning tree of the given edges without leaves that nobody asked for."""
    if edges.size == 0:
        return edges
    tree = _spanning(graph, edges)
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


def _improve(graph: _Graph, terminals: IntArray, tree: IntArray) -> IntArray:
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


def _degree(graph: _Graph, tree: IntArray) -> IntArray:
    ends = np.concatenate([graph.tail[tree], graph.head[tree]])
    return np.bincount(ends, minlength=graph.count).astype(np.intp)


def _key_nodes(graph: _Graph, terminals: IntArray, tree: IntArray) -> IntArray:
    """Return terminals and the nodes where the tree forks, ascending."""
    return np.union1d(terminals, np.flatnonzero(_degree(graph, tree) > 2))


def _respan(graph: _Graph, terminals: IntArray, tree: IntArray) -> IntArray:
    """Span the nodes of the tree afresh with all the edges between them."""
    inside = _degree(graph, tree) > 0
    return _tidy(graph, np.flatnonzero(inside[graph.tail] & inside[graph.head]), terminals)


def _insert(graph: _Graph, terminals: IntArray, tree: IntArray) -> IntArray:
    """Add the node that shortens the spanning tree of shortest paths most."""
    keys = _key_nodes(graph, terminals, tree)
    distance, before = dijkstra(
        graph.matrix, directed=False, indices=keys, return_predecessors=True
    )
    others = np.setdiff1d(np.flatnonzero(np.isfinite(distance[0])), keys)
    if others.size == 0:
        return tree
    lengths = _spanning_lengths(distance[:, keys], distance[:, others])
    best = int(np.argmin(lengths))
    if lengths[best] >= graph.cost[tree].sum() * (1 - _RELATIVE_GAIN):
        return tree
    return _expand(graph, terminals, np.append(keys, others[best]), keys, distance, before)


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


def _eliminate(graph: _Graph, terminals: IntArray, tree: IntArray) -> IntArray:
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
    graph: _Graph,
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
        found.append(_path_edges(graph, before[rows[start]], points[[end]]))
    return _tidy(graph, np.unique(np.concatenate(found)), terminals)


def _exchange(graph: _Graph, terminals: IntArray, tree: IntArray) -> IntArray:
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
            new = _path_edges(graph, before, np.array([best]))
            return _tidy(graph, np.union1d(rest, new), terminals)
    return tree


def _key_paths(graph: _Graph, tree: IntArray, keys: BoolArray) -> list[IntArray]:
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


def _side(graph: _Graph, edges: IntArray, node: int) -> BoolArray:
    """Return which nodes the edges join to the node, itself among them."""
    joints = sp.coo_array(
        (np.ones(edges.size), (graph.tail[edges], graph.head[edges])),
        shape=(graph.count, graph.count),
    )
    _, label = connected_components(joints, directed=False)
    same: BoolArray = label == label[node]
    return same


def _ascend(graph: _Graph, root: int, terminals: IntArray) -> float:
    """Raise the duals of root cuts until saturated arcs lead from the root to every terminal.

    A cut round a terminal is raised by its least reduced cost; the smallest cut comes first.
    Each rise adds to the bound, and reduced costs never fall below zero, so the bound is valid.
    """
    tail = np.concatenate([graph.tail, graph.head])
    head = np.concatenate([graph.head, graph.tail])
    reduced = np.concatenate([graph.cost, graph.cost])
    arcs_into = _arcs_by_head(graph.count, head)
    cuts = {int(t): _Cut(int(t), graph.count, arcs_into) for t in terminals if t != root}
    bound = 0.0
    while cuts:
        terminal = min(cuts, key=lambda t: (cuts[t].size, t))
        cut = cuts[terminal]
        entering = cut.spread(tail, reduced, arcs_into)
        # A cut that holds another waiting terminal is left to that one's smaller cut.
        if cut.inside[root] or any(cut.inside[t] for t in cuts if t != terminal):
            del cuts[terminal]
        elif cut.size <= min(other.size for other in cuts.values()):
            rise = float(reduced[entering].min())
            bound += rise
            # Taking off the least itself leaves exact zeros: saturation needs no tolerance.
            reduced[entering] -= rise
    return bound


def _arcs_by_head(count: int, head: IntArray) -> list[IntArray]:
    order = np.argsort(head, kind="stable")
    return np.split(order, np.searchsorted(head[order], np.arange(1, count)))


class _Cut:
    """The nodes from which saturated arcs lead to one terminal; it only grows."""

    def __init__(self, terminal: int, count: int, arcs_into: list[IntArray]) -> None:
        self.inside = np.zeros(count, dtype=bool)
        self.inside[terminal] = True
        self.size = 1
        self._entering = arcs_into[terminal]

    def spread(self, tail: IntArray, reduced: FloatArray, arcs_into: list[IntArray]) -> IntArray:
        """Take in what saturated arcs reach by now; return the arcs that enter from outside."""
        while True:
            self._entering = self._entering[~self.inside[tail[self._entering]]]
            new = np.unique(tail[self._entering[reduced[self._entering] == 0]])
            if new.size == 0:
                return self._entering
            self.inside[new] = True
            self.size += new.size
            self._entering = np.concatenate([self._entering, *(arcs_into[n] for n in new)])
