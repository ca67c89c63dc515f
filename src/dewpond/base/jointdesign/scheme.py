"""A whole scheme on a network: its tree, its outlets and what it costs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from scipy.sparse import csgraph

from dewpond.base.jointdesign.network import Network
from dewpond.base.jointdesign.problem import BoolArray, FloatArray, IntArray

_LEAST_LENGTH = 1e-9


@dataclass(frozen=True, eq=False)
class Scheme:
    """A tree of arcs away from the super-root, and the outlets on it.

    Attributes
    ----------
    arcs : array of int
        Arcs of the tree, ascending.
    outlets : array of bool, shape (s,)
        Chosen sites.
    nodes : array of bool, shape (n,)
        Nodes that the tree touches.
    cost : float
        Whole cost, with the penalty for broken limits.
    """

    arcs: IntArray
    outlets: BoolArray
    nodes: BoolArray
    cost: float


class SchemeMaker:
    """Turns sets of nodes and outlets into cheapest trees; holds the arcs laid out by rows.

    Parameters
    ----------
    network : Network
    """

    def __init__(self, network: Network) -> None:
        self.network = network
        self.size = network.n_nodes + 1
        numbered = sp.csr_array(
            (np.arange(1, network.n_arcs + 1), (network.tail, network.head)),
            (self.size, self.size),
        )
        # scipy's graph routines take 32-bit indices only.
        self._indices = numbered.indices.astype(np.int32)
        self._indptr = numbered.indptr.astype(np.int32)
        self._arc_at = numbered.data - 1
        self._tail_at = network.tail[self._arc_at]
        self._head_at = network.head[self._arc_at]
        self.by_site = network.groups_by_site.astype(float)

    def matrix(self, arc_length: FloatArray) -> sp.csr_array:
        """Return the arcs as a matrix of lengths, shape (n + 1, n + 1)."""
        data = np.maximum(arc_length, _LEAST_LENGTH)[self._arc_at]
        return sp.csr_array((data, self._indices, self._indptr), (self.size, self.size))

    def cover(self, outlets: BoolArray) -> IntArray:
        """Return how many chosen sites serve each group, shape (g,)."""
        return np.asarray(self.network.groups @ outlets.astype(np.int32))

    def groups_of(self, site: int) -> IntArray:
        """Return the groups that a site serves."""
        rows = self.network.groups_by_site
        return np.asarray(rows.indices[rows.indptr[site] : rows.indptr[site + 1]])

    def build(self, nodes: BoolArray, outlets: BoolArray) -> Scheme | None:
        """Return the cheapest tree on some nodes that joins the outlets; None if none does.

        Parameters
        ----------
        nodes : array of bool, shape (n + 1,)
            Nodes the tree may use; the super-root is always one of them.
        outlets : array of bool, shape (s,)
        """
        network = self.network
        inside = nodes.copy()
        inside[network.root] = True
        usable = inside[self._tail_at] & inside[self._head_at]
        if not network.several_sources:
            usable &= self._one_source(inside)
        arcs = self._arc_at[usable]
        lengths = np.maximum(network.arc_cost[arcs], _LEAST_LENGTH)
        indptr = np.concatenate([[0], np.cumsum(usable)])[self._indptr].astype(np.int32)
        graph = sp.csr_array((lengths, self._indices[usable], indptr), (self.size, self.size))
        tree = csgraph.minimum_spanning_tree(graph)
        order, before = csgraph.breadth_first_order(tree, network.root, directed=False)
        return self._prune(order, before, outlets)

    def _one_source(self, inside: BoolArray) -> BoolArray:
        """Return which stored arcs stay when only the cheapest source inside may open."""
        network = self.network
        cost = np.where(inside[network.source_node], network.source_cost, np.inf)
        best = network.source_node[int(np.argmin(cost))]
        return np.asarray((self._tail_at != network.root) | (self._head_at == best))

    def _prune(self, order: IntArray, before: IntArray, outlets: BoolArray) -> Scheme | None:
        network = self.network
        needed = np.zeros(self.size, dtype=bool)
        needed[network.site_node[outlets]] = True
        reached = np.zeros(self.size, dtype=bool)
        reached[order] = True
        if np.any(needed & ~reached):
            return None
        above, below = before.tolist(), order[:0:-1].tolist()
        keep = needed.tolist()
        for node in below:
            if keep[node]:
                keep[above[node]] = True
        kept = np.array(keep)
        kept[network.root] = True
        heads = np.flatnonzero(kept[:-1])
        arcs = np.sort(self._arc_between(before[heads], heads))
        return Scheme(arcs, outlets, kept[:-1], self.cost(arcs, outlets))

    def _arc_between(self, tail: IntArray, head: IntArray) -> IntArray:
        flat = self._tail_at.astype(np.int64) * self.size + self._head_at
        return np.asarray(
            self._arc_at[np.searchsorted(flat, tail.astype(np.int64) * self.size + head)]
        )

    def cost(self, arcs: IntArray, outlets: BoolArray) -> float:
        """Return the whole cost of a scheme."""
        network = self.network
        broken = network.limit_excess(outlets).sum() * network.limit_penalty
        return float(network.arc_cost[arcs].sum() + network.site_cost[outlets].sum() + broken)
