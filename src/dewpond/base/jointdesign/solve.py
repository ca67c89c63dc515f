"""The joint choice of outlets and pipe, from the problem as given to the proven scheme."""

from __future__ import annotations

import numpy as np

from dewpond.base.errors import SolverError
from dewpond.base.jointdesign.ascent import Ascent, ascend
from dewpond.base.jointdesign.blocks import BLOCK_NODES, raise_by_blocks
from dewpond.base.jointdesign.bounding import RootBounding
from dewpond.base.jointdesign.branch import finish
from dewpond.base.jointdesign.check import check_problem
from dewpond.base.jointdesign.construct import construct
from dewpond.base.jointdesign.fixing import useless_parts
from dewpond.base.jointdesign.improve import exchange_nodes, improve
from dewpond.base.jointdesign.master import Master
from dewpond.base.jointdesign.prefer import shorten_walks
from dewpond.base.jointdesign.problem import (
    BoolArray,
    IntArray,
    JointDesign,
    JointLimits,
    JointProblem,
)
from dewpond.base.jointdesign.reduce import Reduction, reduce_problem
from dewpond.base.jointdesign.scheme import SchemeMaker
from dewpond.base.jointdesign.search import SAME_COST, Search, from_given, from_start
from dewpond.base.progress import Progress

_ASCENTS = 4
# Share of the attempts made before anything is known of where good schemes run.
_FIRST_SHARE = 0.1
# A network is laid out anew once this share of its edges and sites is struck out.
_WORTH_SHRINKING = 0.1
_MOST_SHRINKS = 4
# Networks of more nodes are first bounded block by block.
_LARGE = 3 * BLOCK_NODES


def design_jointly(
    problem: JointProblem, limits: JointLimits, *, progress: Progress | None = None
) -> JointDesign:
    """Choose outlets and the pipe that joins them to a source at least whole cost.

    Parameters
    ----------
    problem : JointProblem
    limits : JointLimits
    progress : callable, optional
        Told the share of the work that is done.

    Returns
    -------
    JointDesign
        The best scheme found with a lower bound that holds for every scheme. Groups that no
        allowed site joined to a source can serve are left out and named.

    Raises
    ------
    InputError
        When arrays do not fit together or a price is negative.
    SolverError
        When the linear programme fails.
    """
    check_problem(problem, limits)
    search = Search(problem, limits, progress, np.random.default_rng(limits.random_state))
    whole = reduce_problem(problem)
    network = whole.network
    if not network.n_groups and not network.forced.any() and not network.has_limits:
        return _empty(search, whole)
    reduction, ascents = _start(search, whole)
    if not search.is_proven() and not search.out_of_time():
        _close(search, reduction, ascents)
    return _report(search, whole)


def _start(search: Search, whole: Reduction) -> tuple[Reduction, list[Ascent]]:
    """First schemes, first bounds, and a network without what they strike out."""
    problem = search.problem
    edges = np.zeros(len(problem.edge_cost), dtype=bool)
    sites = np.zeros(len(problem.site_cost), dtype=bool)
    reduction = whole
    for turn in range(_MOST_SHRINKS + 1):
        maker = SchemeMaker(reduction.network)
        if turn == 0:
            _first_schemes(search, reduction, maker)
        ascents = _ascents(search, reduction)
        for ascent in ascents:
            search.raise_bound(ascent.bound)
        dead_arcs, dead_sites = _useless(search, reduction, ascents)
        count = reduction.network.n_edges
        dead_edges = dead_arcs[:count] & dead_arcs[count : 2 * count]
        gain = dead_edges.mean() + dead_sites.mean()
        if search.is_proven() or turn == _MOST_SHRINKS or gain < _WORTH_SHRINKING:
            break
        for edge in np.flatnonzero(dead_edges):
            edges[list(reduction.edges[edge])] = True
        sites[reduction.sites[dead_sites]] = True
        reduction = reduce_problem(problem, edges, sites)
    return reduction, ascents


def _first_schemes(search: Search, reduction: Reduction, maker: SchemeMaker) -> None:
    network = reduction.network
    search.offer(reduction, from_start(search, reduction, maker))
    starts = range(1 if network.several_sources else len(network.source_node))
    for source in starts:
        scheme = construct(maker, network.arc_cost, network.site_cost, source=source)
        search.offer(reduction, scheme)
    scheme = from_given(search, reduction, maker)
    if scheme is not None:
        scheme = exchange_nodes(maker, scheme)
        attempts = search.attempts(_FIRST_SHARE)
        scheme = improve(maker, scheme, search.random, attempts, search.out_of_time)
        search.offer(reduction, scheme)


def _ascents(search: Search, reduction: Reduction) -> list[Ascent]:
    network = reduction.network
    orders: list[IntArray | None] = [None]
    more = 0 if network.n_nodes > _LARGE else _ASCENTS - 1
    orders += [search.random.permutation(network.n_groups) for _ in range(more)]
    found = [ascend(network, order) for order in orders]
    return sorted(found, key=lambda ascent: -ascent.bound)


def _useless(
    search: Search, reduction: Reduction, ascents: list[Ascent]
) -> tuple[BoolArray, BoolArray]:
    network = reduction.network
    arcs = np.zeros(network.n_arcs, dtype=bool)
    sites = np.zeros(network.n_sites, dtype=bool)
    for ascent in ascents:
        more_arcs, more_sites = useless_parts(
            network, ascent.bound, search.best_cost, ascent.arc_left, ascent.site_left
        )
        arcs, sites = arcs | more_arcs, sites | more_sites
    return arcs, sites


def _close(search: Search, reduction: Reduction, ascents: list[Ascent]) -> None:
    network = reduction.network
    maker, master = SchemeMaker(network), Master(network)
    root = RootBounding(search, reduction, maker, master)
    if network.n_nodes > _LARGE:
        raised = raise_by_blocks(search, network)
        root.strike_out(raised.bound, raised.arc_left, raised.site_left)
        master.add_cuts(raised.cuts)
    else:
        for ascent in ascents[:2]:
            master.add_cuts(ascent.cuts)
    relaxed = root.run()
    if relaxed is None or search.is_proven() or search.out_of_time():
        return
    if not np.isfinite(relaxed.value):
        # Nothing cheaper than the best scheme is left.
        search.raise_bound(search.best_cost)
        return
    root.polish(relaxed)
    root.fix(relaxed)
    finish(search, root)


def _empty(search: Search, whole: Reduction) -> JointDesign:
    none = np.empty(0, dtype=np.int64)
    return JointDesign(
        none, none, none, 0.0, 0.0, "optimal", 0, 0, search.seconds, True,
        whole.unreachable_groups, whole.unreachable_sites, none,
    )  # fmt: skip


def _report(search: Search, whole: Reduction) -> JointDesign:
    best, problem = search.best, search.problem
    if best is None:
        raise SolverError("no scheme was built although every group can be served")
    broken = np.empty(0, dtype=np.int64)
    if whole.network.has_limits:
        chosen = np.isin(whole.sites, best.sites)
        broken = np.flatnonzero(whole.network.limit_excess(chosen) > 1e-6)
    best = shorten_walks(problem, best)
    search.tell(1.0)
    return JointDesign(
        best.sites, best.edges, best.roots, best.cost, min(search.bound, best.cost),
        _status(search), search.rounds, search.nodes, search.seconds, not search.cut_short,
        whole.unreachable_groups, whole.unreachable_sites, broken,
    )  # fmt: skip


def _status(search: Search) -> str:
    if search.best_cost - search.bound <= SAME_COST * search.best_cost:
        return "optimal"
    if search.is_proven():
        return "within gap"
    if search.cut_short:
        return "time limit"
    if search.nodes >= search.limits.nodes:
        return "node limit"
    return "round limit"
