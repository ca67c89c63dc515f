"""From the problem as given to the smallest network with the same least cost, and back."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp

from dewpond.base.jointdesign.cover import smallest_groups, tidy_rows, useful_sites
from dewpond.base.jointdesign.graph import PipeGraph, shrink_graph
from dewpond.base.jointdesign.network import Network, components, reachable
from dewpond.base.jointdesign.problem import BoolArray, FloatArray, IntArray, JointProblem


@dataclass(frozen=True, eq=False)
class Reduction:
    """A network, and what its numbers stand for in the problem as given.

    Attributes
    ----------
    network : Network
    sites : array of int
        Given site of each site of the network.
    edges : tuple of tuple of int
        Given edges of each edge of the network.
    nodes : array of int
        Given node of each node of the network.
    roots : array of int
        Given source of each source of the network.
    unreachable_groups, unreachable_sites : array of int
        Given groups that nothing can serve; forced sites that no pipe can reach.
    """

    network: Network
    sites: IntArray
    edges: tuple[tuple[int, ...], ...]
    nodes: IntArray
    roots: IntArray
    unreachable_groups: IntArray
    unreachable_sites: IntArray


def reduce_problem(
    problem: JointProblem,
    useless_edges: BoolArray | None = None,
    useless_sites: BoolArray | None = None,
) -> Reduction:
    """Leave out what no cheapest scheme needs and what cannot be reached at all.

    Parameters
    ----------
    problem : JointProblem
    useless_edges, useless_sites : array of bool, shapes (m,) and (s,), optional
        Edges and sites known to be in no scheme better than the best one found.
    """
    edges = np.asarray(problem.edges, dtype=np.int64).reshape(-1, 2)
    roots = _cheapest_sources(problem, edges)
    joined = reachable(problem.n_nodes, edges[:, 0], edges[:, 1], problem.root_node[roots])
    forced = np.zeros(len(problem.site_node), dtype=bool)
    forced[problem.forced_sites] = True
    allowed = joined[problem.site_node]
    allowed[problem.forbidden_sites] = False
    cut_off = np.flatnonzero(forced & ~allowed)
    forced &= allowed

    groups = tidy_rows(problem.groups)
    open_groups = groups @ allowed.astype(np.int32) > 0
    unreachable = np.flatnonzero(~open_groups)
    if useless_sites is not None:
        allowed &= ~useless_sites

    limited = _limited_sites(problem)
    sites, rows = _reduce_cover(problem, groups, allowed, forced, limited, open_groups)
    usable = joined[edges[:, 0]] if len(edges) else np.empty(0, dtype=bool)
    if useless_edges is not None:
        usable &= ~useless_edges
    graph = _reduce_graph(problem, edges, sites, roots, usable)
    nodes = _used_nodes(problem, graph, sites, roots)
    network = _network(problem, graph, nodes, sites, roots, forced, groups, rows)
    return Reduction(network, sites, graph.parts, nodes, roots, unreachable, cut_off)


def _limited_sites(problem: JointProblem) -> BoolArray:
    limited = np.zeros(len(problem.site_node), dtype=bool)
    if problem.limit_matrix is not None:
        limited[sp.csr_array(problem.limit_matrix).indices] = True
    return limited


def _reduce_cover(
    problem: JointProblem,
    groups: sp.csr_array,
    allowed: BoolArray,
    forced: BoolArray,
    limited: BoolArray,
    open_groups: BoolArray,
) -> tuple[IntArray, IntArray]:
    """Return the sites and the groups that stay."""
    waiting = open_groups & (groups @ forced.astype(np.int32) == 0)
    rows, sites = np.flatnonzero(waiting), np.flatnonzero(allowed)
    part = groups[rows][:, sites]
    useful = useful_sites(
        part, problem.site_node[sites], problem.site_cost[sites], (forced | limited)[sites]
    )
    sites = sites[useful]
    rows = rows[smallest_groups(tidy_rows(part[:, np.flatnonzero(useful)]))]
    return sites, rows


def _cheapest_sources(problem: JointProblem, edges: IntArray) -> IntArray:
    """Return one source for each node that has any, the cheapest.

    Where only one may be opened and the graph falls apart, only the sources in the part that
    serves the most groups are kept.
    """
    cost = _root_cost(problem)
    order = np.lexsort((np.arange(len(cost)), cost, problem.root_node))
    _, first = np.unique(problem.root_node[order], return_index=True)
    roots = np.sort(order[first])
    if problem.several_roots or len(roots) == 1:
        return roots
    part = components(problem.n_nodes, edges[:, 0], edges[:, 1])
    allowed = np.ones(len(problem.site_node), dtype=np.int32)
    allowed[problem.forbidden_sites] = 0
    groups = tidy_rows(problem.groups)
    at_site, at_root = part[problem.site_node], part[problem.root_node[roots]]
    served = [np.sum(groups @ (allowed * (at_site == one)) > 0) for one in at_root]
    return np.asarray(roots[at_root == at_root[np.argmax(served)]])


def _root_cost(problem: JointProblem) -> FloatArray:
    if problem.root_cost is None:
        return np.zeros(len(problem.root_node))
    return np.asarray(problem.root_cost, dtype=float)


def _reduce_graph(
    problem: JointProblem, edges: IntArray, sites: IntArray, roots: IntArray, usable: BoolArray
) -> PipeGraph:
    keep = np.zeros(problem.n_nodes, dtype=bool)
    keep[problem.site_node[sites]] = True
    keep[problem.root_node[roots]] = True
    inside = np.flatnonzero(usable)
    parts = tuple((int(edge),) for edge in inside)
    cost = np.asarray(problem.edge_cost, dtype=float)[inside]
    given = PipeGraph(edges[inside, 0], edges[inside, 1], cost, parts)
    return shrink_graph(given, problem.n_nodes, keep)


def _used_nodes(
    problem: JointProblem, graph: PipeGraph, sites: IntArray, roots: IntArray
) -> IntArray:
    used = np.zeros(problem.n_nodes, dtype=bool)
    used[problem.site_node[sites]] = True
    used[problem.root_node[roots]] = True
    used[graph.start] = used[graph.end] = True
    return np.flatnonzero(used)


def _network(
    problem: JointProblem,
    graph: PipeGraph,
    nodes: IntArray,
    sites: IntArray,
    roots: IntArray,
    forced: BoolArray,
    groups: sp.csr_array,
    rows: IntArray,
) -> Network:
    """Return the network over the nodes that are left, numbered anew."""
    number = np.full(problem.n_nodes, -1)
    number[nodes] = np.arange(len(nodes))
    matrix, lower, upper = _limits(problem, sites)
    site_cost = np.asarray(problem.site_cost, dtype=float)[sites]
    root_cost = _root_cost(problem)[roots]
    # No scheme gains more by breaking a limit than all pipe, outlets and sources together cost.
    penalty = 1.0 + float(graph.cost.sum() + site_cost.sum() + root_cost.sum())
    return Network(
        n_nodes=len(nodes),
        edge_start=number[graph.start],
        edge_end=number[graph.end],
        edge_cost=graph.cost,
        source_node=number[problem.root_node[roots]],
        source_cost=root_cost,
        site_node=number[problem.site_node[sites]],
        site_cost=site_cost,
        forced=forced[sites],
        groups=tidy_rows(groups[rows][:, sites]),
        several_sources=problem.several_roots,
        limit_matrix=matrix,
        limit_lower=lower,
        limit_upper=upper,
        limit_penalty=penalty,
    )


def _limits(problem: JointProblem, sites: IntArray) -> tuple[sp.csr_array, FloatArray, FloatArray]:
    if problem.limit_matrix is None:
        return sp.csr_array((0, len(sites))), np.empty(0), np.empty(0)
    matrix = sp.csr_array(problem.limit_matrix, dtype=float)[:, sites]
    rows = matrix.shape[0]
    lower = np.full(rows, -np.inf) if problem.limit_lower is None else problem.limit_lower
    upper = np.full(rows, np.inf) if problem.limit_upper is None else problem.limit_upper
    return sp.csr_array(matrix), np.asarray(lower, dtype=float), np.asarray(upper, dtype=float)
