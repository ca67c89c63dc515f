"""Finishes the proof: a mixed-integer programme on the gathered cuts, more added as needed."""

from __future__ import annotations

from typing import Any

import highspy
import numpy as np

from dewpond.base.errors import SolverError
from dewpond.base.jointdesign.bounding import RootBounding
from dewpond.base.jointdesign.construct import construct
from dewpond.base.jointdesign.cuts import Cut
from dewpond.base.jointdesign.improve import exchange_nodes
from dewpond.base.jointdesign.master import Relaxed
from dewpond.base.jointdesign.problem import FloatArray
from dewpond.base.jointdesign.search import SAME_COST, Search, from_given
from dewpond.base.optimiser import quiet_solver

_MOST_LOOPS = 200


def finish(search: Search, root: RootBounding) -> None:
    """Solve, add the cuts that the answer breaks, and again until it is a tree.

    Every solve proves a bound, because it knows fewer rules than the whole problem.
    """
    solver = _integer_solver(root)
    _stop_when_proven(search, solver)
    for _ in range(_MOST_LOOPS):
        if search.is_proven() or search.out_of_time() or search.nodes >= search.limits.nodes:
            return
        answer = _solve(search, root, solver)
        if answer is None:
            return
        _offer(search, root, answer)
        cuts = _broken_cuts(root, answer)
        before = root.master.solver.getNumRow()
        if not root.master.add_cuts(cuts):
            return
        _copy_rows(root.master.solver, solver, before)


def _integer_solver(root: RootBounding) -> highspy.Highs:
    # The schemes come from our own heuristics, which know the trees; the solver spends its time
    # on the proof.
    options = {"threads": 1, "random_seed": 0, "mip_heuristic_effort": 0.0}
    solver = quiet_solver(options)
    solver.passModel(root.master.solver.getLp())
    count = root.network.n_arcs + root.network.n_sites
    kinds = np.full(count, int(highspy.HighsVarType.kInteger), dtype=np.uint8)
    solver.changeColsIntegrality(count, np.arange(count, dtype=np.int32), kinds)
    return solver


def _stop_when_proven(search: Search, solver: highspy.Highs) -> None:
    """Let the solver stop as soon as its bound proves the best scheme good enough."""

    def look(event: Any) -> None:
        if event.data_out.mip_dual_bound >= search.best_cost * (1 - search.limits.gap):
            event.interrupt()

    solver.cbMipInterrupt += look


def _copy_rows(source: highspy.Highs, target: highspy.Highs, first: int) -> None:
    rows = np.arange(first, source.getNumRow(), dtype=np.int32)
    count, lower, upper, nonzeros = source.getRows(len(rows), rows)[1:5]
    starts, columns, values = source.getRowsEntries(len(rows), rows)[1:4]
    target.addRows(count, lower, upper, nonzeros, starts, columns, values)


def _solve(search: Search, root: RootBounding, solver: highspy.Highs) -> Relaxed | None:
    """Return the best answer to the gathered rows; None when nothing better than known exists."""
    _start_from_best(search, root, solver)
    # The gap that counts is that to the best tree known, which no option of the solver knows: its
    # own best answer may be cheaper and no tree. `_stop_when_proven` watches it.
    solver.setOptionValue("mip_rel_gap", 0.0)
    solver.setOptionValue("mip_abs_gap", SAME_COST * search.best_cost)
    solver.setOptionValue("mip_max_nodes", search.limits.nodes - search.nodes)
    solver.setOptionValue("time_limit", float(search.seconds_left))
    solver.setOptionValue("objective_bound", search.best_cost * (1 - 0.1 * SAME_COST))
    solver.run()
    status, info = solver.getModelStatus(), solver.getInfo()
    search.nodes += max(1, int(info.mip_node_count))
    kind = highspy.HighsModelStatus
    if status in (kind.kInfeasible, kind.kObjectiveBound):
        search.raise_bound(search.best_cost)
        return None
    if status not in (kind.kOptimal, kind.kTimeLimit, kind.kSolutionLimit, kind.kInterrupt):
        raise SolverError(f"the search stopped: {solver.modelStatusToString(status)}")
    search.raise_bound(float(info.mip_dual_bound))
    if status == kind.kTimeLimit:
        search.out_of_time()
    if not np.isfinite(info.objective_function_value) or info.primal_solution_status != 2:
        return None
    return _rounded(root, np.array(solver.getSolution().col_value))


def _start_from_best(search: Search, root: RootBounding, solver: highspy.Highs) -> None:
    """Give the solver the best scheme, where the network left still holds it."""
    scheme = from_given(search, root.reduction, root.maker)
    if scheme is None or scheme.cost > search.best_cost * (1 + SAME_COST):
        return
    network = root.network
    value = network.limit_matrix @ scheme.outlets.astype(float)
    below = np.maximum(network.limit_lower - value, 0.0)
    above = np.maximum(value - network.limit_upper, 0.0)
    arcs = np.zeros(network.n_arcs)
    arcs[scheme.arcs] = 1.0
    start = highspy.HighsSolution()
    start.col_value = np.concatenate([arcs, scheme.outlets, below, above]).tolist()
    solver.setSolution(start)


def _rounded(root: RootBounding, value: FloatArray) -> Relaxed:
    arcs, end = root.network.n_arcs, root.network.n_arcs + root.network.n_sites
    whole = np.rint(value)
    none = np.empty(0)
    return Relaxed(0.0, whole[:arcs], whole[arcs:end], none, none)


def _offer(search: Search, root: RootBounding, answer: Relaxed) -> None:
    """Take the answer as it is, or complete it to a scheme where it falls apart."""
    network = root.network
    edges = network.n_edges
    nodes = np.zeros(network.n_nodes + 1, dtype=bool)
    used_arcs = answer.arcs > 0
    nodes[network.tail[used_arcs]] = nodes[network.head[used_arcs]] = True
    outlets = answer.sites > 0
    if not np.any(root.maker.cover(outlets) == 0):
        whole = root.maker.build(nodes, outlets)
        if whole is not None:
            search.offer(root.reduction, whole)
            return
    used = np.maximum(answer.arcs[:edges], answer.arcs[edges : 2 * edges])
    price = np.concatenate([used, used, answer.arcs[2 * edges :]])
    source = int(np.argmax(answer.arcs[2 * edges :]))
    scheme = construct(
        root.maker,
        network.arc_cost * (1 - price),
        network.site_cost * (1 - answer.sites),
        source=source,
    )
    if scheme is not None and scheme.cost < 1.02 * search.best_cost:
        scheme = exchange_nodes(root.maker, scheme)
    search.offer(root.reduction, scheme)


def _broken_cuts(root: RootBounding, answer: Relaxed) -> list[Cut]:
    cuts: list[Cut] = []
    for members in root.members:
        cuts += root.finder.find(answer.arcs, answer.sites, members, 3)
    return cuts
