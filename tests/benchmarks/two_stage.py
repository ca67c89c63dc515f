"""The scheme made in two stages by peer libraries: fewest outlets first, then the pipe."""

from __future__ import annotations

from dataclasses import dataclass

import networkx as nx
import numpy as np
import numpy.typing as npt
import pulp
from spopt.locate import LSCP

from steps.layout.small_holdings import Case, graph_of


@dataclass(frozen=True)
class TwoStage:
    """Outlets and whole price of a scheme made in two stages."""

    outlets: int
    price: float


def two_stage(one: Case, source: int = 0) -> TwoStage:
    """Site the fewest outlets with spopt, then join them with networkx's Steiner heuristic.

    On the same sites, corridors and prices as the layout: location set covering (LSCP, solved by
    CBC), then `steiner_tree` by Mehlhorn's method.
    """
    nodes = one.corridors.nodes
    root = int(np.flatnonzero(nodes["source"] == source)[0])
    graph = graph_of(one.corridors)
    joined = nx.node_connected_component(graph, root)
    node_of = {int(s): int(n) for n, s in nodes["site"].items() if s >= 0}
    usable = np.array([node_of[site] in joined for site in range(len(one.candidates.sites))])
    served = (one.reach.walk_m.toarray() > 0)[usable]
    cost = np.where(_distinct(served[:, served.any(axis=0)].T), 1.0, 9.0)
    peer = LSCP.from_cost_matrix(cost, 2.0).solve(pulp.PULP_CBC_CMD(msg=False, timeLimit=300))
    chosen = [site for site, clients in enumerate(peer.fac2cli) if clients]
    sites = np.flatnonzero(usable)[chosen]
    terminals = [root, *(node_of[int(site)] for site in sites)]
    tree = nx.algorithms.approximation.steiner_tree(
        graph, terminals, weight="cost", method="mehlhorn"
    )
    price = tree.size(weight="cost") + len(sites) * one.project.prices.outlet_each
    return TwoStage(len(sites), float(price))


def _distinct(rows: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    """Return each kind of row once; packed into bytes, which sort fast."""
    packed = np.packbits(rows, axis=1)
    _, first = np.unique(packed.view(f"V{packed.shape[1]}").ravel(), return_index=True)
    return rows[np.sort(first)]
