"""Dual ascent: a quick lower bound, with the cuts and reduced costs that prove it.

After Wong, "A dual ascent approach for Steiner tree problems on a directed graph",
Mathematical Programming 28 (1984): each group holds the set of nodes that reach it over arcs
already paid for; the group with the fewest arcs into its set pays for them until one is free.
"""

from __future__ import annotations

import heapq
from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp

from dewpond.base.jointdesign.cuts import Cut
from dewpond.base.jointdesign.network import Network
from dewpond.base.jointdesign.problem import BoolArray, FloatArray, IntArray

_FREE = 1e-7


@dataclass(frozen=True, eq=False)
class Ascent:
    """What dual ascent proves.

    Attributes
    ----------
    bound : float
        Sum of what the groups paid.
    arc_left, site_left : array of float
        Price of each arc and site that nobody has paid for yet (reduced costs).
    cuts : list of Cut
        The cuts that were paid.
    """

    bound: float
    arc_left: FloatArray
    site_left: FloatArray
    cuts: list[Cut]


class _Payer:
    """One group, the nodes that reach it for nothing, and the arcs that enter them."""

    def __init__(self, members: IntArray) -> None:
        self.members = members
        self.within: BoolArray | None = None


def ascend(network: Network, order: IntArray | None = None, start: Ascent | None = None) -> Ascent:
    """Pay for cuts until every group is joined to the super-root.

    Parameters
    ----------
    network : Network
    order : array of int, shape (g,), optional
        Rank of each group among those with equally many arcs to pay.
    start : Ascent, optional
        What was proven and paid before.
    """
    return _Ascending(network, start).run(order)


class _Ascending:
    def __init__(self, network: Network, start: Ascent | None) -> None:
        self.network = network
        self.arc_left = network.arc_cost.copy()
        self.site_left = network.site_cost.copy()
        # Forced sites are paid for from the start.
        self.bound = float(self.site_left[network.forced].sum())
        self.site_left[network.forced] = 0.0
        size = network.n_nodes + 1
        arcs = np.arange(network.n_arcs)
        self.into = sp.csr_array((arcs, (network.head, arcs)), (size, network.n_arcs))
        self.cuts: list[Cut] = []
        if start is not None:
            self.bound, self.cuts = start.bound, list(start.cuts)
            self.arc_left, self.site_left = start.arc_left.copy(), start.site_left.copy()

    def run(self, order: IntArray | None) -> Ascent:
        members = self._payers()
        rank = np.arange(len(members)) if order is None else np.append(
            order, np.arange(len(order), len(members))
        )  # fmt: skip
        within = [np.zeros(self.network.n_nodes + 1, dtype=bool) for _ in members]
        heap = [(0, int(rank[group]), group) for group in range(len(members))]
        heapq.heapify(heap)
        while heap:
            size, place, group = heapq.heappop(heap)
            inside = within[group]
            arcs, sites = self._entering(inside, members[group])
            if inside[self.network.root]:
                continue
            if len(arcs) + len(sites) > size and heap and heap[0][0] < len(arcs) + len(sites):
                heapq.heappush(heap, (len(arcs) + len(sites), place, group))
                continue
            self._pay(arcs, sites)
            heapq.heappush(heap, (len(arcs) + len(sites), place, group))
        return Ascent(self.bound, self.arc_left, self.site_left, self.cuts)

    def _payers(self) -> list[IntArray]:
        groups = self.network.groups
        rows = np.split(groups.indices.astype(np.int64), groups.indptr[1:-1]) if groups.nnz else []
        return [*rows, *np.flatnonzero(self.network.forced)[:, None]]

    def _entering(self, inside: BoolArray, members: IntArray) -> tuple[IntArray, IntArray]:
        """Let the set grow over free arcs, then return the arcs and sites that enter it."""
        network = self.network
        free = members[self.site_left[members] <= _FREE]
        inside[network.site_node[free]] = True
        while not inside[network.root]:
            arcs = np.flatnonzero(inside[network.head] & ~inside[network.tail])
            open_arcs = arcs[self.arc_left[arcs] <= _FREE]
            if not len(open_arcs):
                break
            inside[network.tail[open_arcs]] = True
        else:
            arcs = np.empty(0, dtype=np.int64)
        return arcs, members[~inside[network.site_node[members]]]

    def _pay(self, arcs: IntArray, sites: IntArray) -> None:
        least = np.inf
        if len(arcs):
            least = float(self.arc_left[arcs].min())
        if len(sites):
            least = min(least, float(self.site_left[sites].min()))
        self.arc_left[arcs] -= least
        self.site_left[sites] -= least
        self.bound += least
        self.cuts.append(Cut(arcs, sites))
