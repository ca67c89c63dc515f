"""Bounds a large network block by block; the bounds add up.

Every arc belongs to the block of its head. In a block, pipe may come in at any node on its rim at
the least price of the arcs that enter there, and only groups that lie wholly inside are served.
The cheapest way to do so is a lower bound on what any scheme spends on the arcs and sites of the
block; its reduced costs are what is not paid for yet. From that, dual ascent over the whole
network pays for the trunks between the blocks and for the groups astride them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from scipy.sparse import csgraph

from dewpond.base.jointdesign.ascent import Ascent, ascend
from dewpond.base.jointdesign.cuts import Cut, CutFinder
from dewpond.base.jointdesign.master import Master, Relaxed
from dewpond.base.jointdesign.network import Network
from dewpond.base.jointdesign.problem import BoolArray, FloatArray, IntArray
from dewpond.base.jointdesign.search import Search

BLOCK_NODES = 300
_WAYS = 2
_ROUNDS = 16
_SHARE, _DEPTH = 0.5, 6


@dataclass(frozen=True, eq=False)
class _Block:
    """A network cut out of a larger one, and where its parts come from.

    Attributes
    ----------
    network : Network
    edges, sites : array of int
        Given number of each edge and site.
    entries : tuple of arrays of int
        Given arcs that enter at each source of the block.
    """

    network: Network
    edges: IntArray
    sites: IntArray
    entries: tuple[IntArray, ...]


def raise_by_blocks(search: Search, network: Network) -> Ascent:
    """Return the best bound from a few ways to part the network, with the cuts of all of them."""
    best: Ascent | None = None
    cuts: list[Cut] = []
    for _ in range(_WAYS):
        found = _one_way(search, network)
        cuts += found.cuts
        if best is None or found.bound > best.bound:
            best = found
        search.raise_bound(found.bound)
        if search.is_proven() or search.seconds_left < 0.5 * search.limits.seconds:
            break
    if best is None:
        best = ascend(network)
    return Ascent(best.bound, best.arc_left, best.site_left, cuts)


def _one_way(search: Search, network: Network) -> Ascent:
    """Bound each block at whole prices, then pay across blocks from what is left."""
    arcs, sites = network.arc_cost.copy(), network.site_cost.copy()
    bound, cuts = 0.0, []
    label = _parts(network, search.random)
    for number in range(int(label.max()) + 1):
        block = _cut_out(network, label == number, arcs, sites)
        if block is None or search.out_of_time():
            continue
        relaxed, found = _bound_block(search, block.network)
        cuts += [_to_whole(network, block, cut) for cut in found]
        if relaxed is not None and np.isfinite(relaxed.value):
            bound += relaxed.value
            _take_over(network, block, relaxed, arcs, sites)
    forced = network.forced
    bound += float(sites[forced].sum())
    sites[forced] = 0.0
    return ascend(network, start=Ascent(bound, arcs, sites, cuts))


def _parts(network: Network, random: np.random.Generator) -> IntArray:
    """Return the block of each node: that of the nearest of some random nodes."""
    count = max(1, round(network.n_nodes / BLOCK_NODES))
    centres = np.sort(random.permutation(network.n_nodes)[:count])
    graph = network.distances(network.arc_cost)
    _, _, nearest = csgraph.dijkstra(
        graph, indices=centres, min_only=True, return_predecessors=True
    )
    return np.asarray(np.searchsorted(centres, nearest[: network.n_nodes]), dtype=np.int64)


def _cut_out(
    network: Network, inside: BoolArray, arcs: FloatArray, sites: FloatArray
) -> _Block | None:
    """Return the block over the nodes `inside` at what is left of the prices."""
    start, end, count = network.edge_start, network.edge_end, network.n_edges
    edges = np.flatnonzero(inside[start] & inside[end])
    own_sites = np.flatnonzero(inside[network.site_node])
    size = np.diff(network.groups.indptr)
    within = network.groups @ inside[network.site_node].astype(np.int32)
    groups = np.flatnonzero(within == size)
    if not len(groups) and not network.forced[own_sites].any():
        return None
    number = np.cumsum(inside) - 1
    within_or_root = np.append(inside, False)
    entering = np.flatnonzero(within_or_root[network.head] & ~within_or_root[network.tail])
    entering = entering[np.argsort(network.head[entering], kind="stable")]
    rim, first = np.unique(network.head[entering], return_index=True)
    entries = tuple(np.split(entering, first[1:]))
    leaving = np.zeros(network.n_nodes, dtype=bool)
    leaving[start[inside[start] & ~inside[end]]] = True
    leaving[end[inside[end] & ~inside[start]]] = True
    part = Network(
        n_nodes=int(inside.sum()),
        edge_start=number[start[edges]],
        edge_end=number[end[edges]],
        edge_cost=arcs[edges],
        back_cost=arcs[edges + count],
        source_node=number[rim],
        source_cost=np.array([arcs[entry].min() for entry in entries]),
        site_node=number[network.site_node[own_sites]],
        site_cost=sites[own_sites],
        forced=network.forced[own_sites],
        groups=sp.csr_array(network.groups[groups][:, own_sites]),
        several_sources=True,
        limit_matrix=sp.csr_array((0, len(own_sites))),
        limit_lower=np.empty(0),
        limit_upper=np.empty(0),
        limit_penalty=0.0,
        leads_out=leaving[inside],
    )
    return _Block(part, edges, own_sites, entries)


def _bound_block(search: Search, network: Network) -> tuple[Relaxed | None, list[Cut]]:
    """Return the last solved relaxed problem of a block, and the cuts worth handing on.

    They are those that hold up its bound and those it still breaks. All cuts together are some
    twenty times as many, and slow down the programme of the whole network for nothing.
    """
    master, finder = Master(network), CutFinder(network)
    tight: list[Cut] = []
    found: list[Cut] = []
    master.add_cuts(ascend(network).cuts)
    rows = np.split(network.groups.indices.astype(np.int64), network.groups.indptr[1:-1])
    members = [row for row in rows if len(row)]
    relaxed: Relaxed | None = None
    for _ in range(_ROUNDS):
        solved = master.solve(search.seconds_left)
        if solved is None:
            break
        relaxed, tight, found = solved, master.tight_cuts(), []
        wanted = max(8, int(_SHARE * len(members)))
        for group in search.random.permutation(len(members)):
            more = finder.find(relaxed.arcs, relaxed.sites, members[group], _DEPTH)
            found += more
            wanted -= bool(more)
            if wanted <= 0:
                break
        master.drop_idle_cuts()
        if not master.add_cuts(found):
            break
    return relaxed, tight + found


def _take_over(
    network: Network, block: _Block, relaxed: Relaxed, arcs: FloatArray, sites: FloatArray
) -> None:
    """Leave of the prices what the block did not use, in place."""
    inner, count = block.network.n_edges, network.n_edges
    price = np.maximum(relaxed.arc_price, 0.0)
    arcs[block.edges] = price[:inner]
    arcs[block.edges + count] = price[inner : 2 * inner]
    used = np.maximum(block.network.source_cost - price[2 * inner :], 0.0)
    for entry, spent in zip(block.entries, used, strict=True):
        arcs[entry] = np.maximum(arcs[entry] - spent, 0.0)
    # Forced sites are paid for in full by the block.
    left = np.where(block.network.forced, 0.0, relaxed.site_price)
    sites[block.sites] = np.maximum(left, 0.0)


def _to_whole(network: Network, block: _Block, cut: Cut) -> Cut:
    """Return a cut of the block as one of the whole network."""
    inner, count = block.network.n_edges, network.n_edges
    pipe = cut.arcs[cut.arcs < 2 * inner]
    forward = np.where(pipe < inner, 0, count)
    given = [block.edges[pipe % inner] + forward] if inner else []
    given += [block.entries[source] for source in cut.arcs[cut.arcs >= 2 * inner] - 2 * inner]
    arcs = np.sort(np.concatenate(given)) if given else np.empty(0, dtype=np.int64)
    return Cut(arcs, block.sites[cut.sites])
