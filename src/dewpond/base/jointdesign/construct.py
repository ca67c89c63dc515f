"""Builds whole schemes step by step: the next outlet is the one that serves most for its price."""

from __future__ import annotations

import numpy as np
from scipy.sparse import csgraph

from dewpond.base.jointdesign.problem import BoolArray, FloatArray
from dewpond.base.jointdesign.scheme import Scheme, SchemeMaker

_LEAST_PRICE = 1e-6


def construct(
    maker: SchemeMaker,
    arc_price: FloatArray,
    site_price: FloatArray,
    *,
    nodes: BoolArray | None = None,
    outlets: BoolArray | None = None,
    source: int | None = None,
) -> Scheme | None:
    """Grow a tree until every group is served, then tidy it.

    Parameters
    ----------
    maker : SchemeMaker
    arc_price, site_price : array of float
        Prices that guide the growth; the cost of the scheme is in the true ones.
    nodes, outlets : array of bool, shapes (n + 1,) and (s,), optional
        A partial scheme to start from.
    source : int, optional
        Source to start from when there is no partial scheme and only one may be opened.
    """
    network = maker.network
    chosen = network.forced.copy() if outlets is None else outlets | network.forced
    tree = np.zeros(maker.size, dtype=bool)
    if nodes is not None:
        tree |= nodes
    if network.several_sources:
        tree[network.root] = True
    elif nodes is None:
        tree[network.source_node[source or 0]] = True
    if not _grow(maker, arc_price, site_price, tree, chosen):
        return None
    return tidy(maker, tree, chosen)


def _grow(
    maker: SchemeMaker,
    arc_price: FloatArray,
    site_price: FloatArray,
    tree: BoolArray,
    chosen: BoolArray,
) -> bool:
    """Extend `tree` and `chosen` in place; return whether every group is served."""
    network = maker.network
    graph = maker.matrix(arc_price)
    rarity = 1.0 / np.maximum(np.diff(network.groups.indptr), 1)
    unserved = maker.cover(chosen) == 0
    joined = tree[network.site_node]
    while unserved.any() or np.any(chosen & ~joined) or _lacking(maker, chosen).any():
        far, before, _ = csgraph.dijkstra(
            graph, indices=np.flatnonzero(tree), return_predecessors=True, min_only=True
        )
        price = far[network.site_node] + np.where(chosen, 0.0, site_price)
        gain = maker.by_site @ (rarity * unserved)
        if network.has_limits:
            gain = _heed_limits(maker, chosen, gain)
        gain[chosen & ~joined] = rarity.sum() + 1.0
        gain[chosen & joined] = 0.0
        score = gain / (price + _LEAST_PRICE)
        best = int(np.argmax(score))
        if not score[best] > 0:
            return False
        chosen[best] = True
        node = int(network.site_node[best])
        while not tree[node]:
            tree[node] = True
            node = int(before[node])
        joined = tree[network.site_node]
        unserved[maker.groups_of(best)] = False
    return True


def _lacking(maker: SchemeMaker, chosen: BoolArray) -> BoolArray:
    """Return which limit rows stay below their least value although another site could help."""
    network = maker.network
    if not network.has_limits:
        return np.zeros(0, dtype=bool)
    value = network.limit_matrix @ chosen.astype(float)
    could = network.limit_matrix @ (~chosen).astype(float) > 0
    return np.asarray((value < network.limit_lower - 1e-9) & could)


def _heed_limits(maker: SchemeMaker, chosen: BoolArray, gain: FloatArray) -> FloatArray:
    """Draw towards rows that lack outlets, and away from rows that have as many as they may."""
    network = maker.network
    by_site = network.limit_matrix.T
    value = network.limit_matrix @ chosen.astype(float)
    helped = by_site @ _lacking(maker, chosen).astype(float)
    full = by_site @ (value > network.limit_upper - 1 + 1e-9).astype(float)
    wanted = gain + np.maximum(helped, 0.0)
    return np.asarray(np.where(full > 0, 1e-6 * wanted, wanted))


def tidy(maker: SchemeMaker, nodes: BoolArray, outlets: BoolArray) -> Scheme | None:
    """Build the tree on the nodes, drop superfluous outlets and pipe until nothing changes."""
    best = maker.build(nodes, outlets)
    while best is not None:
        fewer = _drop_outlets(maker, best)
        if fewer is None:
            return best
        following = maker.build(np.append(best.nodes, True), fewer)
        if following is None or following.cost >= best.cost - 1e-9:
            return best
        best = following
    return best


def _drop_outlets(maker: SchemeMaker, scheme: Scheme) -> BoolArray | None:
    """Return the outlets without the superfluous ones, dearest first; None if all are needed."""
    network = maker.network
    cover = maker.cover(scheme.outlets)
    spare = np.flatnonzero(scheme.outlets & ~network.forced)
    degree = np.bincount(
        np.concatenate([network.tail[scheme.arcs], network.head[scheme.arcs]]),
        minlength=maker.size,
    )
    # An outlet at the end of a branch takes its pipe with it.
    price = network.site_cost[spare] + 1e6 * (degree[network.site_node[spare]] == 1)
    outlets = scheme.outlets.copy()
    for site in spare[np.argsort(-price, kind="stable")]:
        groups = maker.groups_of(int(site))
        if len(groups) and cover[groups].min() < 2:
            continue
        if network.has_limits and _breaks_more(maker, outlets, int(site)):
            continue
        cover[groups] -= 1
        outlets[site] = False
    return outlets if outlets.sum() < scheme.outlets.sum() else None


def _breaks_more(maker: SchemeMaker, outlets: BoolArray, site: int) -> bool:
    without = outlets.copy()
    without[site] = False
    excess = maker.network.limit_excess
    return bool(excess(without).sum() > excess(outlets).sum() + 1e-9)
