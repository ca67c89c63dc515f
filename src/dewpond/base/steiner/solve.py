"""Cheapest tree that joins given nodes of an undirected graph: a good one, and a bound on any.

Bare arrays, no geography. The tree comes from two constructions (Mehlhorn 1988; the
shortest-path heuristic of Takahashi and Matsuyama 1980) bettered by local search on key vertices
and key paths (moves as in Uchoa and Werneck 2012); the bound from dual ascent (Wong 1984).
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from dewpond.base.steiner.bound import dual_ascent
from dewpond.base.steiner.construct import grown_tree, mehlhorn_tree
from dewpond.base.steiner.graph import (
    Graph,
    IntArray,
    add_free_edges,
    check_joined,
    checked,
    contract,
)
from dewpond.base.steiner.improve import improve_tree

_ROOTS = 8  # shortest-path heuristic: roots tried
_STARTS = 3  # starts handed on to local search, Mehlhorn's among them
_BOUND_ROOTS = 3  # dual ascent: roots tried


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
    ends, cost = checked(node_count, edges, costs)
    graph, label = contract(node_count, ends, cost)
    joined = np.unique(label[np.asarray(terminals, dtype=np.intp)])
    if joined.size <= 1:
        chosen: IntArray = np.empty(0, dtype=np.intp)
    else:
        check_joined(graph, joined)
        chosen = graph.origin[_best_tree(graph, joined)]
    return add_free_edges(node_count, ends, cost, chosen, np.asarray(terminals, dtype=np.intp))


def steiner_bound(
    node_count: int, edges: npt.ArrayLike, costs: npt.ArrayLike, terminals: npt.ArrayLike
) -> float:
    """Return a cost that no tree joining the terminals can undercut (dual ascent, Wong 1984).

    Parameters and errors as `steiner_tree`. Equal to the least cost when the graph is a tree;
    elsewhere usually within a few per cent.
    """
    ends, cost = checked(node_count, edges, costs)
    graph, label = contract(node_count, ends, cost)
    joined = np.unique(label[np.asarray(terminals, dtype=np.intp)])
    if joined.size <= 1:
        return 0.0
    check_joined(graph, joined)
    roots = joined[_spread(joined.size, _BOUND_ROOTS)]
    return max(dual_ascent(graph, int(root), joined) for root in roots)


def _spread(size: int, wanted: int) -> IntArray:
    """Return up to ``wanted`` positions spread evenly over ``size``, the first among them."""
    return np.unique(np.linspace(0, size - 1, min(wanted, size)).round().astype(np.intp))


def _best_tree(graph: Graph, terminals: IntArray) -> IntArray:
    starts = [mehlhorn_tree(graph, terminals)]
    grown = [
        grown_tree(graph, terminals, int(t)) for t in terminals[_spread(terminals.size, _ROOTS)]
    ]
    grown.sort(key=lambda tree: float(graph.cost[tree].sum()))
    for tree in grown:
        if len(starts) < _STARTS and not any(np.array_equal(tree, other) for other in starts):
            starts.append(tree)
    trees = [improve_tree(graph, terminals, tree) for tree in starts]
    return min(trees, key=lambda tree: float(graph.cost[tree].sum()))
