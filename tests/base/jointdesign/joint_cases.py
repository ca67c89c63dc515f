"""Random joint problems, small enough to solve by trying everything."""

from __future__ import annotations

import itertools

import networkx as nx
import numpy as np
import scipy.sparse as sp
from scipy.spatial import Delaunay

from dewpond.base.jointdesign import JointProblem


def random_problem(
    random_state: int,
    *,
    n_nodes: int = 9,
    n_sites: int = 6,
    n_groups: int = 6,
    n_roots: int = 1,
    reach: float = 0.45,
    **changes: object,
) -> JointProblem:
    """Nodes at random in a unit square, joined by a Delaunay graph; groups reach near sites."""
    random = np.random.default_rng(random_state)
    place = random.random((n_nodes, 2))
    corners = Delaunay(place).simplices
    pairs = np.vstack([corners[:, [0, 1]], corners[:, [1, 2]], corners[:, [0, 2]]])
    edges = np.unique(np.sort(pairs, axis=1), axis=0)
    length = np.hypot(*(place[edges[:, 0]] - place[edges[:, 1]]).T)
    site_node = random.permutation(n_nodes)[:n_sites]
    cell = random.random((n_groups, 2))
    walk = np.hypot(*(cell[:, None, :] - place[site_node][None, :, :]).transpose(2, 0, 1))
    near = walk <= np.maximum(reach, walk.min(axis=1, keepdims=True))
    given: dict[str, object] = {
        "n_nodes": n_nodes,
        "edges": edges,
        "edge_cost": np.round(100 * length * random.uniform(0.5, 1.5, len(length)), 1),
        "site_node": site_node,
        "site_cost": np.round(random.uniform(5, 40, n_sites), 1),
        "root_node": random.permutation(n_nodes)[:n_roots],
        "groups": sp.csr_array(near),
    }
    return JointProblem(**{**given, **changes})  # type: ignore[arg-type]


def cheapest_by_trial(problem: JointProblem) -> float:
    """Return the least whole cost over every set of sites, of nodes and of sources."""
    cost = _tree_costs(problem)
    groups = problem.groups.toarray() > 0
    allowed = np.ones(len(problem.site_node), dtype=bool)
    allowed[problem.forbidden_sites] = False
    best = np.inf
    for chosen in itertools.product([False, True], repeat=len(problem.site_node)):
        outlets = np.array(chosen)
        if np.any(outlets & ~allowed) or not outlets[problem.forced_sites].all():
            continue
        if not (groups & outlets).any(axis=1).all() or not _keeps_limits(problem, outlets):
            continue
        needed = frozenset(problem.site_node[outlets].tolist())
        tree = min((price for nodes, price in cost.items() if needed <= nodes), default=np.inf)
        best = min(best, problem.site_cost[outlets].sum() + tree)
    return float(best)


def _keeps_limits(problem: JointProblem, outlets: np.ndarray) -> bool:
    if problem.limit_matrix is None:
        return True
    value = problem.limit_matrix @ outlets.astype(float)
    lower = -np.inf if problem.limit_lower is None else problem.limit_lower
    upper = np.inf if problem.limit_upper is None else problem.limit_upper
    return bool(np.all((value >= lower) & (value <= upper)))


def _tree_costs(problem: JointProblem) -> dict[frozenset[int], float]:
    """Return, for each set of nodes that some open sources can join, the price of doing so."""
    super_root = -1
    opening = problem.root_cost if problem.root_cost is not None else np.zeros(99)
    costs: dict[frozenset[int], float] = {frozenset(): 0.0}
    roots = range(len(problem.root_node))
    most = len(problem.root_node) if problem.several_roots else 1
    for count in range(1, most + 1):
        for opened in itertools.combinations(roots, count):
            graph = _with_sources(problem, opened, super_root)
            price = sum(opening[root] for root in opened)
            for size in range(1, problem.n_nodes + 1):
                for nodes in itertools.combinations(range(problem.n_nodes), size):
                    part = graph.subgraph([super_root, *nodes])
                    if nx.is_connected(part):
                        tree = nx.minimum_spanning_tree(part).size("weight") + price
                        key = frozenset(nodes)
                        costs[key] = min(costs.get(key, np.inf), tree)
    return costs


def _with_sources(problem: JointProblem, opened: tuple[int, ...], super_root: int) -> nx.Graph:
    graph = nx.Graph()
    graph.add_nodes_from(range(problem.n_nodes))
    for (start, end), cost in zip(problem.edges, problem.edge_cost, strict=True):
        known = graph.get_edge_data(int(start), int(end), {"weight": np.inf})["weight"]
        graph.add_edge(int(start), int(end), weight=min(float(cost), known))
    for root in opened:
        graph.add_edge(super_root, int(problem.root_node[root]), weight=0.0)
    return graph


def check_scheme(problem: JointProblem, design: object) -> None:
    """Fail unless the chosen parts are a whole scheme of the stated cost."""
    groups = problem.groups.toarray() > 0
    sites, edges, roots = design.sites, design.edges, design.roots  # type: ignore[attr-defined]
    served = groups[:, sites].any(axis=1)
    unreachable = design.unreachable_groups  # type: ignore[attr-defined]
    assert np.flatnonzero(~served).tolist() == list(unreachable)
    graph = nx.Graph()
    graph.add_node("water")
    graph.add_edges_from(("water", int(problem.root_node[root])) for root in roots)
    graph.add_edges_from(map(tuple, np.asarray(problem.edges)[edges].tolist()))
    joined = nx.node_connected_component(graph, "water")
    assert {int(node) for node in problem.site_node[sites]} <= joined
    opening = 0.0 if problem.root_cost is None else problem.root_cost[roots].sum()
    cost = problem.edge_cost[edges].sum() + problem.site_cost[sites].sum() + opening
    broken = design.broken_limits  # type: ignore[attr-defined]
    if not len(broken):
        np.testing.assert_allclose(design.cost, cost, rtol=1e-9, atol=1e-6)  # type: ignore[attr-defined]
