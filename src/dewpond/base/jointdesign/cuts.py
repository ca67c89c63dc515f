"""Finds directed cuts that a fractional scheme breaks.

For a group and a set W of nodes without the super-root, any scheme either brings pipe into W or
serves the group from a site outside W:

    sum of x over arcs entering W + sum of y over the group's sites outside W >= 1.

A forced site is a group of its own. A most violated W is a least cut between the super-root and
a sink that hangs from the group's sites by arcs as wide as their outlet variables.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from scipy.sparse import csgraph

from dewpond.base.jointdesign.network import Network
from dewpond.base.jointdesign.problem import BoolArray, FloatArray, IntArray

# Flows are found in whole numbers: this many units for a variable at one.
_UNITS = 1_000_000
# Each arc gets this much for nothing, so that among equal cuts the one of fewest arcs is found.
_CREEP = 8
_VIOLATION = 0.01


@dataclass(frozen=True)
class Cut:
    """One row: the sum of some arc and site variables is at least one.

    Attributes
    ----------
    arcs, sites : array of int
        Arcs and sites with coefficient one.
    """

    arcs: IntArray
    sites: IntArray

    def key(self) -> bytes:
        """Return what tells this cut from all others."""
        return self.arcs.tobytes() + b"|" + self.sites.tobytes()


class CutFinder:
    """Least cuts on one network; the matrix is laid out once and only refilled.

    Parameters
    ----------
    network : Network
    """

    def __init__(self, network: Network) -> None:
        self.network = network
        self.sink = network.n_nodes + 1
        nodes = np.unique(network.site_node)
        above = np.concatenate([network.tail, nodes])
        below = np.concatenate([network.head, np.full(len(nodes), self.sink)])
        pairs = np.unique(
            np.concatenate([np.stack([above, below], 1), np.stack([below, above], 1)]), axis=0
        )
        size = self.sink + 1
        pattern = sp.csr_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), (size, size))
        self._indices = pattern.indices.astype(np.int32)
        self._indptr = pattern.indptr.astype(np.int32)
        self._shape = (size, size)
        flat = pairs[:, 0] * size + pairs[:, 1]
        self._arc_slot = np.searchsorted(flat, network.tail * size + network.head)
        self._sink_slot = np.full(network.n_nodes, -1)
        self._sink_slot[nodes] = np.searchsorted(flat, nodes * size + self.sink)
        # Position of the reverse of each stored pair, to turn a residual graph round.
        self._reverse = np.searchsorted(flat, pairs[:, 1] * size + pairs[:, 0])

    def find(
        self, arc_value: FloatArray, site_value: FloatArray, members: IntArray, depth: int
    ) -> list[Cut]:
        """Return violated cuts for one group, nested up to `depth` deep.

        Parameters
        ----------
        arc_value : array of float, shape (a,)
        site_value : array of float, shape (s,)
        members : array of int
            Sites that serve the group.
        depth : int
            How often a found cut is saturated and another one looked for.
        """
        network = self.network
        capacity = np.zeros(len(self._indices), dtype=np.int32)
        capacity[self._arc_slot] = np.rint(arc_value * _UNITS) + _CREEP
        weight = np.bincount(
            network.site_node[members], site_value[members], minlength=network.n_nodes
        )
        at = np.flatnonzero(weight)
        capacity[self._sink_slot[at]] = np.rint(weight[at] * _UNITS)
        cuts: list[Cut] = []
        for _ in range(depth):
            matrix = sp.csr_array((capacity, self._indices, self._indptr), self._shape)
            result = csgraph.maximum_flow(matrix, network.root, self.sink)
            if result.flow_value >= (1 - _VIOLATION) * _UNITS:
                break
            within = self._behind(capacity - result.flow.data)
            cut = self.cut_around(within, members)
            cuts.append(cut)
            capacity[self._arc_slot[cut.arcs]] = _UNITS
            capacity[self._sink_slot[network.site_node[cut.sites]]] = _UNITS
        return cuts

    def cut_around(self, within: BoolArray, members: IntArray) -> Cut:
        """Return the cut that encloses the nodes `within`, shape (n,), for the group."""
        network = self.network
        inside = np.append(within[: network.n_nodes], False)
        arcs = np.flatnonzero(inside[network.head] & ~inside[network.tail])
        return Cut(arcs, members[~inside[network.site_node[members]]])

    def _behind(self, residual: IntArray) -> BoolArray:
        """Return the nodes from which flow could still reach the sink, shape (n + 2,)."""
        # The residual graph turned round: slot (v, u) holds what is left from u to v.
        turned = residual[self._reverse]
        open_slots = turned > 0
        indptr = np.concatenate([[0], np.cumsum(open_slots)])[self._indptr]
        graph = sp.csr_array((turned[open_slots], self._indices[open_slots], indptr), self._shape)
        seen = csgraph.breadth_first_order(graph, self.sink, return_predecessors=False)
        within = np.zeros(self._shape[0], dtype=bool)
        within[seen] = True
        return within
