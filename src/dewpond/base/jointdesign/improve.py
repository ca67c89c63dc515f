"""Local search: tears down part of a scheme and rebuilds it, and exchanges paths.

Tearing down the outlets around a site and growing back at slightly shaken prices covers adding,
dropping, swapping and moving outlets; trying single nodes in and out of the tree exchanges paths.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from dewpond.base.jointdesign.construct import construct, tidy
from dewpond.base.jointdesign.problem import BoolArray, FloatArray
from dewpond.base.jointdesign.scheme import Scheme, SchemeMaker

_BETTER = 1e-6
_SHAKE = 0.3
_TRUST = (0.0, 0.5, 0.9)
_LARGEST_SHARE = 0.35
_MOST_TORN = 12


def improve(
    maker: SchemeMaker,
    scheme: Scheme,
    random: np.random.Generator,
    attempts: int,
    out_of_time: Callable[[], bool],
    hint: tuple[FloatArray, FloatArray] | None = None,
) -> Scheme:
    """Return the best scheme found in a number of attempts to tear down and rebuild.

    Parameters
    ----------
    maker : SchemeMaker
    scheme : Scheme
        Where to start.
    random : numpy.random.Generator
    attempts : int
    out_of_time : callable
        Asked before each attempt.
    hint : tuple of arrays, shapes (a,) and (s,), optional
        How much a relaxed solution uses each arc and site, 0 to 1; what it uses looks cheaper
        in some of the attempts.
    """
    best = scheme
    if hint is None:
        hint = np.zeros(maker.network.n_arcs), np.zeros(maker.network.n_sites)
    for _ in range(attempts):
        if out_of_time() or not best.outlets.any():
            break
        candidate = _rebuild(maker, best, random, hint)
        if candidate is None or candidate.cost > best.cost + _BETTER:
            continue
        if candidate.cost < best.cost - _BETTER:
            changed = candidate.nodes != best.nodes
            candidate = exchange_nodes(maker, candidate, changed)
        best = candidate
    return best


def _rebuild(
    maker: SchemeMaker,
    scheme: Scheme,
    random: np.random.Generator,
    hint: tuple[FloatArray, FloatArray],
) -> Scheme | None:
    """Tear down the outlets nearest to a random site, and grow back at shaken prices."""
    network = maker.network
    centre = int(network.site_node[random.integers(network.n_sites)])
    far = maker.pipe_to_sites(centre)
    standing = np.flatnonzero(scheme.outlets)
    most = max(2, min(_MOST_TORN, int(_LARGEST_SHARE * len(standing))))
    count = int(random.integers(1, most + 1))
    torn = standing[np.argsort(far[standing], kind="stable")[:count]]
    outlets = scheme.outlets.copy()
    outlets[torn] = False
    outlets |= network.forced
    stump = maker.build(np.append(scheme.nodes, True), outlets)
    if stump is None:
        return None
    nodes = np.append(stump.nodes, False)
    if not nodes.any():
        nodes[network.source_node[0]] = True
    shaken = 1.0 + _SHAKE * random.random(network.n_edges)
    trust = random.choice(_TRUST)
    arcs = network.arc_cost * (1.0 - trust * hint[0])
    arcs[: 2 * network.n_edges] *= np.concatenate([shaken, shaken])
    sites = network.site_cost * (1.0 - trust * hint[1])
    sites *= 1.0 + _SHAKE * random.random(network.n_sites)
    # The torn outlets are not put back at once.
    sites[torn] *= 1.0 + random.random()
    return construct(maker, arcs, sites, nodes=nodes, outlets=outlets)


def exchange_nodes(maker: SchemeMaker, scheme: Scheme, changed: BoolArray | None = None) -> Scheme:
    """Try each node beside the tree in it, and each bare node of the tree out of it.

    Parameters
    ----------
    maker : SchemeMaker
    scheme : Scheme
    changed : array of bool, shape (n,), optional
        Nodes at or beside which to try; all by default.
    """
    near = None if changed is None else _with_neighbours(maker, changed)
    improved = True
    while improved:
        improved = False
        for node in _exchangeable(maker, scheme):
            if near is not None and not near[node]:
                continue
            nodes = np.append(scheme.nodes, True)
            nodes[node] = not nodes[node]
            candidate = maker.build(nodes, scheme.outlets)
            if candidate is not None and candidate.cost < scheme.cost - _BETTER:
                cleaned = tidy(maker, np.append(candidate.nodes, True), candidate.outlets)
                scheme, improved = cleaned or candidate, True
    return scheme


def _with_neighbours(maker: SchemeMaker, nodes: BoolArray) -> BoolArray:
    start, end = maker.network.edge_start, maker.network.edge_end
    wider = nodes.copy()
    wider[end[nodes[start]]] = True
    wider[start[nodes[end]]] = True
    return wider


def _exchangeable(maker: SchemeMaker, scheme: Scheme) -> list[int]:
    network = maker.network
    start, end = network.edge_start, network.edge_end
    inside = scheme.nodes
    touching = np.bincount(start[inside[end]], minlength=network.n_nodes) + np.bincount(
        end[inside[start]], minlength=network.n_nodes
    )
    bare = np.ones(network.n_nodes, dtype=bool)
    bare[network.site_node[scheme.outlets]] = False
    bare[network.source_node] = False
    found: BoolArray = np.where(inside, bare, touching >= 3)
    return np.flatnonzero(found).tolist()
