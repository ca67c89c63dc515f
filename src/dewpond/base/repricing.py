"""Prices of corridors made true to the pipe sizes that a scheme came to."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import scipy.sparse as sp
from scipy.sparse.csgraph import dijkstra

from dewpond.base.model import Corridors, Layout, Network
from dewpond.base.surface import FloatArray

# Least weight in searches, since scipy takes zero for no line at all [m].
_NEXT_TO_NOTHING_M = 1e-9


def repriced(
    corridors: Corridors, network: Network, extra_per_m: Mapping[str, float]
) -> Corridors:
    """Return corridors priced with the sizes of the pipes laid along them.

    Edges of the scheme take the price of their own pipe. Any other edge takes that of the pipe
    nearest to it along the corridors, whose water it would carry on. Pipe that is there already
    stays free.

    Parameters
    ----------
    corridors : Corridors
        As first priced, whatever was made of them since: prices do not add up over rounds.
    network : Network
        The scheme; its pipes name their edges.
    extra_per_m : mapping of str to float
        By name of a pipe of the network, what a metre of its size costs more (or less, negative)
        than the price per metre in the corridors allows for.

    Returns
    -------
    Corridors
        With another ``cost``, never below zero.
    """
    pipes = network.pipes
    if not len(pipes):
        return corridors
    edges = corridors.edges
    own = np.full(len(edges), np.nan)
    for name, labels in pipes["edges"].items():
        own[list(labels)] = extra_per_m[str(name)]
    extra = np.where(np.isnan(own), _of_nearest(corridors, own), own)
    new = (edges["laying"] != "existing").to_numpy()
    cost = edges["cost"].to_numpy(dtype=np.float64)
    length_m = edges["length_m"].to_numpy(dtype=np.float64)
    cost = np.where(new, np.maximum(cost + extra * length_m, 0.0), cost)
    return replace(corridors, edges=edges.assign(cost=cost))


def laying_cost(layout: Layout, priced: Corridors, corridors: Corridors) -> float:
    """Return the price of laying the pipe of a layout, pipe itself left out.

    Parameters
    ----------
    layout : Layout
        As chosen on `priced`; its price may hold wayleaves besides.
    priced, corridors : Corridors
        With the pipe's own price, from `repriced`, and without it.
    """
    edges = list(layout.edges)
    pipe = priced.edges.loc[edges, "cost"].sum() - corridors.edges.loc[edges, "cost"].sum()
    return float(layout.pipe_cost - pipe)


def _of_nearest(corridors: Corridors, own: FloatArray) -> FloatArray:
    """Return for each edge the price of the pipe nearest to its nearer end, 0 where none is."""
    edges = corridors.edges
    ends = edges[["start", "end"]].to_numpy(dtype=np.int32)
    length_m = np.maximum(edges["length_m"].to_numpy(dtype=np.float64), _NEXT_TO_NOTHING_M)
    count = len(corridors.nodes)
    matrix = sp.csr_array((length_m, (ends[:, 0], ends[:, 1])), shape=(count, count))
    laid = np.flatnonzero(~np.isnan(own))
    # A node where pipes of two prices meet takes the greater, which is that of the trunk.
    at_node = np.full(count, -np.inf)
    np.maximum.at(at_node, ends[laid].ravel(), np.repeat(own[laid], 2))
    starts = np.flatnonzero(np.isfinite(at_node))
    distance, _, nearest = dijkstra(
        matrix, directed=False, indices=starts, min_only=True, return_predecessors=True
    )
    price = np.where(np.isfinite(distance), at_node[np.maximum(nearest, 0)], 0.0)
    nearer = np.where(distance[ends[:, 0]] <= distance[ends[:, 1]], ends[:, 0], ends[:, 1])
    return np.asarray(price[nearer])
