"""Cheapest pipe tree from a source to the chosen outlets, with a bound on any other."""

from __future__ import annotations

import time

import numpy as np
import numpy.typing as npt
import scipy.sparse as sp
from scipy.sparse.csgraph import connected_components

from dewpond.base.model import Corridors, Holding, Network, Proof, Siting
from dewpond.base.settings import DesignSettings
from dewpond.base.steiner import steiner_bound, steiner_tree
from dewpond.steps.routing.network import build_network

IntArray = npt.NDArray[np.intp]

# A gap below this share is rounding: cost and bound are the same [share].
_CLOSED = 1e-6


def route_pipe(
    holding: Holding, corridors: Corridors, siting: Siting, design: DesignSettings
) -> Network:
    """Join the chosen outlets to the source by a cheap tree of pipe along the corridors.

    Parameters
    ----------
    holding : Holding
        Its sources; ``design.source`` names the one to use, else the first.
    corridors : Corridors
    siting : Siting
        Chosen sites; those that no corridor joins to the source are left out and reported.
    design : DesignSettings

    Returns
    -------
    Network
        Pipes run between the source, forks and outlets, in the direction of flow, numbered
        outward by distance along the pipe. ``proof`` holds the price of the tree and a price that
        no tree along these corridors can undercut.
    """
    began = time.perf_counter()
    source = _source_position(holding, design)
    root = int(np.flatnonzero(corridors.nodes["source"].to_numpy() == source)[0])
    node_of_site = _node_of_site(corridors)
    joined, apart = _split_by_reach(corridors, root, node_of_site[list(siting.sites)])
    sites = np.array(siting.sites, dtype=np.intp)
    terminals = np.concatenate([[root], node_of_site[sites[joined]]]).astype(np.intp)

    ends = corridors.edges[["start", "end"]].to_numpy(dtype=np.intp)
    costs = corridors.edges["cost"].to_numpy(dtype=np.float64)
    tree = steiner_tree(len(corridors.nodes), ends, costs, terminals)
    bound = steiner_bound(len(corridors.nodes), ends, costs, terminals)
    value = float(costs[tree].sum())
    # The bound adds up in another order than the cost, so it may pass it by a rounding.
    proof = _proof(value, min(bound, value), time.perf_counter() - began)

    name = holding.sources[source].name
    nodes, pipes = build_network(corridors, tree, root, set(sites[joined].tolist()), name)
    unconnected = tuple(int(site) for site in sites[apart])
    warnings = tuple(_unconnected_warning(corridors, int(s), node_of_site, name)
                     for s in unconnected)  # fmt: skip
    return Network(source, nodes, pipes, unconnected, proof, warnings)


def _source_position(holding: Holding, design: DesignSettings) -> int:
    names = [source.name for source in holding.sources]
    return names.index(design.source) if design.source is not None else 0


def _node_of_site(corridors: Corridors) -> IntArray:
    site = corridors.nodes["site"].to_numpy(dtype=np.intp)
    node = np.flatnonzero(site >= 0)
    found = np.full(int(site.max(initial=-1)) + 1, -1, dtype=np.intp)
    found[site[node]] = node
    return found


def _split_by_reach(
    corridors: Corridors, root: int, nodes: IntArray
) -> tuple[npt.NDArray[np.bool_], npt.NDArray[np.bool_]]:
    """Tell which nodes hang together with the root, and which do not."""
    count = len(corridors.nodes)
    start, end = (corridors.edges[column].to_numpy(dtype=np.intp) for column in ("start", "end"))
    joints = sp.coo_array((np.ones(len(start)), (start, end)), shape=(count, count))
    _, label = connected_components(joints, directed=False)
    joined: npt.NDArray[np.bool_] = label[nodes] == label[root]
    return joined, ~joined


def _proof(value: float, bound: float, seconds: float) -> Proof:
    closed = value - bound <= _CLOSED * max(value, 1.0)
    status = "optimal" if closed else "heuristic tree; bound by dual ascent"
    return Proof(value, bound, seconds, status)


def _unconnected_warning(
    corridors: Corridors, site: int, node_of_site: IntArray, source: str
) -> str:
    point = corridors.nodes.geometry.iloc[node_of_site[site]]
    return (
        f"The outlet at easting {point.x:.0f}, northing {point.y:.0f} cannot be joined to "
        f'source "{source}": keep-outs close every way; open one, or give a track or existing '
        "pipe in [features]"
    )
