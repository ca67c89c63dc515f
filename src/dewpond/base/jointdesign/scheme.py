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
        Prices must be the same both ways along an edge.
    """

    def __init__(self, network: Network) -> None:
        self.network = network
        self.size = network.n_nodes + 1
        numbered = sp.csr_array(
            (np.arange(1, network.n_arcs + 1), (network.tail, network.head)),
            (self.size, self.size),
        )
        # scipy's graph routines take 32-bit indices only.
        self._graph = sp.csr_array(
            (
                np.zeros(network.n_arcs),
                numbered.indices.astype(np.int32),
                numbered.indptr.astype(np.int32),
            ),
            (self.size, self.size),
        )
        self._arc_at = numbered.data - 1
        self.by_site = network.groups_by_site.astype(float)
        # Links are edges, then sources, cheapest first, for trees after Kruskal.
        forward = np.delete(
            np.arange(network.n_arcs), network.n_edges + np.arange(network.n_edges)
        )
        self._link = forward[np.argsort(network.arc_cost[forward], kind="stable")]
        self._link_tail = network.tail[self._link]
        self._link_head = network.head[self._link]
        self._from_centre: dict[int, FloatArray] = {}

    def matrix(self, arc_length: FloatArray) -> sp.csr_array:
        """Return the arcs as a matrix of lengths, shape (n + 1, n + 1).

        It is the same matrix each time, refilled: laying one out anew costs more than a search in
        it.
        """
        self._graph.data[:] = np.maximum(arc_length, _LEAST_LENGTH)[self._arc_at]
        return self._graph

    def pipe_to_sites(self, node: int) -> FloatArray:
        """Return the price of the cheapest pipe from a node to each site, shape (s,)."""
        if node not in self._from_centre:
            graph = self.matrix(self.network.arc_cost)
            far = csgraph.dijkstra(graph, indices=node)
            self._from_centre[node] = far[self.network.site_node]
        return self._from_centre[node]

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
        usable = inside[self._link_tail] & inside[self._link_head]
        if not network.several_sources:
            usable &= self._one_source(inside)
        needed = network.site_node[outlets]
        arcs = self._tree(np.flatnonzero(usable), needed.tolist())
        if arcs is None:
            return None
        touched = np.zeros(network.n_nodes, dtype=bool)
        touched[network.head[arcs]] = True
        return Scheme(arcs, outlets, touched, self.cost(arcs, outlets))

    def _one_source(self, inside: BoolArray) -> BoolArray:
        """Return which links stay when only the cheapest source inside may open."""
        network = self.network
        cost = np.where(inside[network.source_node], network.source_cost, np.inf)
        best = network.source_node[int(np.argmin(cost))]
        return np.asarray((self._link_tail != network.root) | (self._link_head == best))

    def _tree(self, usable: IntArray, needed: list[int]) -> IntArray | None:
        """Return the arcs of the cheapest tree over usable links, without idle branches.

        A loop in plain Python: the trees have some dozens of nodes, fewer than it takes for
        scipy's routines to earn back the laying out of their matrices.
        """
        beside = self._spanning(usable)
        root = self.network.root
        above = {root: (root, 0)}
        order = [root]
        for node in order:
            for other, arc in beside.get(node, ()):
                if other not in above:
                    above[other] = node, arc
                    order.append(other)
        if any(node not in above for node in needed):
            return None
        keep = set(needed)
        arcs = []
        for node in reversed(order[1:]):
            if node in keep:
                tail, arc = above[node]
                keep.add(tail)
                arcs.append(arc)
        return np.array(sorted(arcs), dtype=np.int64)

    def _spanning(self, usable: IntArray) -> dict[int, list[tuple[int, int]]]:
        """Return the cheapest forest over usable links: what is beside each node, and the arc."""
        edges = self.network.n_edges
        group = list(range(self.size))
        beside: dict[int, list[tuple[int, int]]] = {}
        links = zip(
            self._link[usable].tolist(),
            self._link_tail[usable].tolist(),
            self._link_head[usable].tolist(),
            strict=True,
        )
        for arc, tail, head in links:
            first, second = tail, head
            while group[first] != first:
                group[first] = first = group[group[first]]
            while group[second] != second:
                group[second] = second = group[group[second]]
            if first != second:
                group[first] = second
                beside.setdefault(tail, []).append((head, arc))
                beside.setdefault(head, []).append((tail, arc + edges))
        return beside

    def cost(self, arcs: IntArray, outlets: BoolArray) -> float:
        """Return the whole cost of a scheme."""
        network = self.network
        price = network.arc_cost[arcs].sum() + network.site_cost[outlets].sum()
        if network.has_limits:
            price += network.limit_excess(outlets).sum() * network.limit_penalty
        return float(price)
