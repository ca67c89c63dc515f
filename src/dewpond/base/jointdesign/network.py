"""The directed form of a joint problem: every edge twice, and arcs from a super-root."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import scipy.sparse as sp
from scipy.sparse import csgraph

from dewpond.base.jointdesign.problem import BoolArray, FloatArray, IntArray


@dataclass(frozen=True, eq=False)
class Network:
    """Arcs, sites and groups after reduction; node `root` is a super-root before all sources.

    Attributes
    ----------
    n_nodes : int
        Nodes without the super-root, which has the number `n_nodes`.
    edge_start, edge_end, edge_cost : arrays, shape (m,)
        Undirected edges; arc e runs forward along edge e and arc m + e backward.
    source_node, source_cost : arrays, shape (r,)
        Arc 2 m + i runs from the super-root to source i.
    site_node, site_cost : arrays, shape (s,)
        Sites; none is forbidden any more.
    forced : array of bool, shape (s,)
        Sites that must be chosen.
    groups : csr_array, shape (g, s)
        Ones where a site serves a group; sorted indices.
    several_sources : bool
        Whether more than one source may be opened.
    limit_matrix, limit_lower, limit_upper
        Linear limits on the sites (no rows when there is none).
    limit_penalty : float
        Price of each unit by which a limit is broken.
    back_cost : array of float, shape (m,), optional
        Price of each edge taken backward, where it differs.
    leads_out : array of bool, shape (n,), optional
        Nodes from which pipe may lead out of the network, where it is part of a larger one.
    """

    n_nodes: int
    edge_start: IntArray
    edge_end: IntArray
    edge_cost: FloatArray
    source_node: IntArray
    source_cost: FloatArray
    site_node: IntArray
    site_cost: FloatArray
    forced: BoolArray
    groups: sp.csr_array
    several_sources: bool
    limit_matrix: sp.csr_array
    limit_lower: FloatArray
    limit_upper: FloatArray
    limit_penalty: float
    back_cost: FloatArray | None = None
    leads_out: BoolArray | None = None

    @property
    def n_edges(self) -> int:
        """Number of undirected edges."""
        return len(self.edge_cost)

    @property
    def n_arcs(self) -> int:
        """Number of arcs, those from the super-root included."""
        return 2 * len(self.edge_cost) + len(self.source_node)

    @property
    def n_sites(self) -> int:
        """Number of sites."""
        return len(self.site_cost)

    @property
    def n_groups(self) -> int:
        """Number of groups."""
        return int(self.groups.shape[0])

    @property
    def root(self) -> int:
        """Number of the super-root."""
        return self.n_nodes

    @cached_property
    def tail(self) -> IntArray:
        """Node each arc leaves."""
        above = np.full(len(self.source_node), self.root, dtype=np.int64)
        return np.concatenate([self.edge_start, self.edge_end, above])

    @cached_property
    def head(self) -> IntArray:
        """Node each arc enters."""
        return np.concatenate([self.edge_end, self.edge_start, self.source_node])

    @cached_property
    def arc_cost(self) -> FloatArray:
        """Price of each arc."""
        back = self.edge_cost if self.back_cost is None else self.back_cost
        return np.concatenate([self.edge_cost, back, self.source_cost])

    @cached_property
    def has_limits(self) -> bool:
        """Whether any limit row binds the sites."""
        return bool(self.limit_matrix.shape[0])

    @cached_property
    def groups_by_site(self) -> sp.csr_array:
        """Transpose of `groups`, by rows."""
        return sp.csr_array(self.groups.T.tocsr())

    def limit_excess(self, chosen: BoolArray) -> FloatArray:
        """Return by how much each limit row is broken, shape (k,)."""
        value = self.limit_matrix @ chosen.astype(float)
        below = np.maximum(self.limit_lower - value, 0.0)
        return np.asarray(np.maximum(below, value - self.limit_upper).clip(0.0))

    def distances(self, arc_length: FloatArray) -> sp.csr_array:
        """Return the arcs as a csr matrix of lengths, shape (n + 1, n + 1).

        Lengths of zero are lifted to 1e-12, because a stored zero would mean no arc.
        """
        size = self.n_nodes + 1
        return sp.csr_array(
            (np.maximum(arc_length, 1e-12), (self.tail, self.head)), shape=(size, size)
        )


def components(n_nodes: int, start: IntArray, end: IntArray) -> IntArray:
    """Return the number of the connected part that each node lies in, shape (n,)."""
    graph = sp.csr_array((np.ones(len(start)), (start, end)), shape=(n_nodes, n_nodes))
    return np.asarray(csgraph.connected_components(graph, directed=False)[1], dtype=np.int64)


def reachable(n_nodes: int, start: IntArray, end: IntArray, sources: IntArray) -> BoolArray:
    """Return which nodes are joined to any of the sources, shape (n,)."""
    part = components(n_nodes, start, end)
    return np.isin(part, part[sources])
