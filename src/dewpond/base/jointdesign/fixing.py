"""Strikes out arcs and sites that no scheme cheaper than the best known one can use.

With a lower bound and its reduced costs, a scheme that uses an arc costs at least the bound plus
the reduced costs along the cheapest way from the super-root through that arc to an outlet.
"""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp
from scipy.sparse import csgraph

from dewpond.base.jointdesign.network import Network
from dewpond.base.jointdesign.problem import BoolArray, FloatArray

_LEAST = 1e-12
# Safety against rounding in the bound, as a share of the best cost.
_MARGIN = 1e-7


def useless_parts(
    network: Network,
    bound: float,
    best_cost: float,
    arc_price: FloatArray,
    site_price: FloatArray,
) -> tuple[BoolArray, BoolArray]:
    """Return which arcs and which sites no scheme below the best cost uses.

    Parameters
    ----------
    network : Network
    bound, best_cost : float
        Lower bound that the prices belong to, and cost of the best known scheme.
    arc_price, site_price : array of float
        Reduced costs; negative ones count as nothing, and infinite ones mark parts struck out
        before.
    """
    arcs, sites = np.maximum(arc_price, 0.0), np.maximum(site_price, 0.0)
    sites = np.where(network.forced, 0.0, sites)
    slack = best_cost * (1.0 + _MARGIN) + _MARGIN - bound
    to_node = _from_root(network, arcs)
    onward = _to_outlet(network, arcs, sites)
    through = to_node[network.tail] + arcs + onward[network.head]
    at_site = to_node[network.site_node] + sites
    return through > slack, (at_site > slack) & ~network.forced


def _from_root(network: Network, arcs: FloatArray) -> FloatArray:
    graph = network.distances(arcs)
    return np.asarray(csgraph.dijkstra(graph, indices=network.root))


def _to_outlet(network: Network, arcs: FloatArray, sites: FloatArray) -> FloatArray:
    """Return the cheapest way from each node to any outlet, shape (n + 1,)."""
    sink = network.n_nodes + 1
    cheapest = np.full(network.n_nodes, np.inf)
    np.minimum.at(cheapest, network.site_node, sites)
    ends = np.flatnonzero(np.isfinite(cheapest))
    graph = sp.csr_array(
        (
            np.maximum(np.concatenate([arcs, cheapest[ends]]), _LEAST),
            (
                np.concatenate([network.head, np.full(len(ends), sink)]),
                np.concatenate([network.tail, ends]),
            ),
        ),
        shape=(sink + 1, sink + 1),
    )
    return np.asarray(csgraph.dijkstra(graph, indices=sink)[:sink])
