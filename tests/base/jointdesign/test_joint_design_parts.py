"""Each part of the optimiser on its own: reductions, bounds, cuts, fixing, schemes, checks."""

from __future__ import annotations

import tracemalloc
from dataclasses import replace

import networkx as nx
import numpy as np
import pytest
import scipy.sparse as sp
from joint_cases import cheapest_by_trial, random_problem

from dewpond.base.errors import InputError
from dewpond.base.jointdesign import JointLimits, JointProblem, blocks, design_jointly, solve
from dewpond.base.jointdesign.ascent import ascend
from dewpond.base.jointdesign.construct import construct
from dewpond.base.jointdesign.cover import smallest_groups, tidy_rows, useful_sites
from dewpond.base.jointdesign.cuts import CutFinder
from dewpond.base.jointdesign.fixing import useless_parts
from dewpond.base.jointdesign.graph import PipeGraph, shrink_graph
from dewpond.base.jointdesign.improve import improve
from dewpond.base.jointdesign.master import Master
from dewpond.base.jointdesign.reduce import reduce_problem
from dewpond.base.jointdesign.scheme import SchemeMaker
from dewpond.base.jointdesign.search import Search

RANDOM_STATES = range(6)
EXACT = JointLimits(restarts=20)


def _graph(edges: list[tuple[int, int, float]]) -> PipeGraph:
    start, end, cost = (np.array(column) for column in zip(*edges, strict=True))
    parts = tuple((edge,) for edge in range(len(edges)))
    return PipeGraph(start.astype(np.int64), end.astype(np.int64), cost.astype(float), parts)


# --- reductions -------------------------------------------------------------------------------


def test_groups_that_contain_another_are_left_out() -> None:
    groups = tidy_rows(
        sp.csr_array(np.array([[1, 1, 0], [1, 0, 0], [1, 1, 1], [0, 1, 1], [1, 0, 0]]))
    )
    assert smallest_groups(groups).tolist() == [1, 3]


def test_thousands_of_overlapping_groups_take_little_memory() -> None:
    """Every two of 6,000 groups share sites: all pairs at once would take some 400 MB."""
    random = np.random.default_rng(4)
    groups = tidy_rows(sp.csr_array(random.random((6_000, 40)) < 0.4))
    tracemalloc.start()
    found = smallest_groups(groups)
    _, peak_bytes = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert peak_bytes < 80e6
    members = [frozenset(row.tolist()) for row in np.split(groups.indices, groups.indptr[1:-1])]
    smallest = [members[row] for row in found]
    assert len(set(smallest)) == len(smallest)
    for one in smallest[:50]:
        assert not any(other < one for other in members)
    for one in members[:200]:
        assert any(other <= one for other in smallest)


def test_site_with_a_better_one_at_its_node_is_left_out() -> None:
    groups = tidy_rows(sp.csr_array(np.array([[1, 1, 0, 1], [0, 1, 0, 1]])))
    node, cost = np.array([5, 5, 5, 6]), np.array([3.0, 3.0, 1.0, 9.0])
    none = np.zeros(4, dtype=bool)
    assert useful_sites(groups, node, cost, none).tolist() == [False, True, False, True]
    keep = np.array([True, False, False, False])
    assert useful_sites(groups, node, cost, keep).tolist() == [True, True, False, True]


def test_of_two_equal_sites_one_stays() -> None:
    groups = tidy_rows(sp.csr_array(np.ones((1, 2))))
    useful = useful_sites(groups, np.zeros(2, int), np.ones(2), np.zeros(2, bool))
    assert useful.tolist() == [True, False]


def test_graph_loses_doubles_detours_dead_ends_and_through_nodes() -> None:
    graph = _graph(
        [(0, 1, 4.0), (1, 0, 3.0), (1, 2, 1.0), (2, 3, 1.0), (1, 3, 9.0), (3, 4, 1.0), (4, 4, 1.0)]
    )
    keep = np.array([True, False, False, True, False])
    small = shrink_graph(graph, 5, keep)
    assert sorted([int(small.start[0]), int(small.end[0])]) == [0, 3]
    assert small.cost.tolist() == [5.0]
    assert sorted(small.parts[0]) == [1, 2, 3]


@pytest.mark.parametrize("random_state", RANDOM_STATES)
def test_reduction_keeps_the_shortest_ways(random_state: int) -> None:
    problem = random_problem(random_state, n_nodes=40, n_sites=8)
    reduction = reduce_problem(problem)
    network = reduction.network
    given, small = nx.Graph(), nx.Graph()
    given.add_weighted_edges_from(
        (int(a), int(b), c) for (a, b), c in zip(problem.edges, problem.edge_cost, strict=True)
    )
    ends = zip(network.edge_start, network.edge_end, network.edge_cost, strict=True)
    small.add_weighted_edges_from((int(a), int(b), c) for a, b, c in ends)
    for site in range(1, network.n_sites):
        here, there = int(network.site_node[0]), int(network.site_node[site])
        before = nx.dijkstra_path_length(given, reduction.nodes[here], reduction.nodes[there])
        assert nx.dijkstra_path_length(small, here, there) == pytest.approx(before)
    for parts, cost in zip(reduction.edges, network.edge_cost, strict=True):
        assert problem.edge_cost[list(parts)].sum() == pytest.approx(cost)


# --- bounds -----------------------------------------------------------------------------------


@pytest.mark.parametrize("random_state", RANDOM_STATES)
def test_dual_ascent_is_a_feasible_dual_below_the_optimum(random_state: int) -> None:
    problem = random_problem(random_state)
    network = reduce_problem(problem).network
    ascent = ascend(network)
    assert ascent.arc_left.min() >= -1e-9
    assert ascent.site_left.min() >= -1e-9
    assert 0 < ascent.bound <= cheapest_by_trial(problem) + 1e-6


@pytest.mark.parametrize("random_state", RANDOM_STATES)
def test_every_cut_holds_for_every_scheme(random_state: int) -> None:
    problem = random_problem(random_state, n_nodes=40, n_sites=30, n_groups=40, reach=0.25)
    network = reduce_problem(problem).network
    maker, random = SchemeMaker(network), np.random.default_rng(random_state)
    finder = CutFinder(network)
    values = 0.2 * random.random(network.n_arcs), 0.2 * random.random(network.n_sites)
    cuts = ascend(network).cuts
    for group in range(network.n_groups):
        members = network.groups.indices[slice(*network.groups.indptr[group : group + 2])]
        found = finder.find(*values, members.astype(np.int64), 5)
        assert found
        assert values[0][found[0].arcs].sum() + values[1][found[0].sites].sum() < 1
        cuts += found
    for _ in range(4):
        shaken = network.arc_cost * random.uniform(0.5, 1.5, network.n_arcs)
        scheme = construct(maker, shaken, network.site_cost)
        assert scheme is not None
        arcs = np.isin(np.arange(network.n_arcs), scheme.arcs)
        assert all(arcs[cut.arcs].any() or scheme.outlets[cut.sites].any() for cut in cuts)


def test_cut_finder_is_silent_on_a_whole_scheme() -> None:
    network = reduce_problem(random_problem(4)).network
    maker, finder = SchemeMaker(network), CutFinder(network)
    scheme = construct(maker, network.arc_cost, network.site_cost)
    assert scheme is not None
    arcs = np.isin(np.arange(network.n_arcs), scheme.arcs).astype(float)
    for row in range(network.n_groups):
        members = network.groups.indices[slice(*network.groups.indptr[row : row + 2])]
        assert finder.find(arcs, scheme.outlets.astype(float), members.astype(np.int64), 3) == []


@pytest.mark.parametrize("random_state", RANDOM_STATES)
def test_fixing_keeps_the_optimum(random_state: int) -> None:
    problem = random_problem(random_state, n_nodes=30, n_sites=20, n_groups=25, reach=0.3)
    best = design_jointly(problem, EXACT)
    assert best.status == "optimal"
    reduction = reduce_problem(problem)
    network, ascent = reduction.network, ascend(reduction.network)
    slack_cost = best.cost * 1.0001
    arcs, sites = useless_parts(
        network, ascent.bound, slack_cost, ascent.arc_left, ascent.site_left
    )
    both = arcs[: network.n_edges] & arcs[network.n_edges : 2 * network.n_edges]
    struck = {part for edge in np.flatnonzero(both) for part in reduction.edges[edge]}
    assert not struck & set(best.edges.tolist())
    assert not set(reduction.sites[sites].tolist()) & set(best.sites.tolist())


def test_relaxed_value_rises_and_survives_dropped_cuts() -> None:
    network = reduce_problem(
        random_problem(2, n_nodes=60, n_sites=40, n_groups=60, reach=0.2)
    ).network
    master = Master(network)
    first = master.solve()
    assert master.add_cuts(ascend(network).cuts) > 0
    second = master.solve()
    assert first is not None
    assert second is not None
    assert second.value > first.value
    before = master.solver.getNumRow()
    for _ in range(8):
        master.drop_idle_cuts()
    third = master.solve()
    assert third is not None
    assert master.solver.getNumRow() < before
    assert third.value == pytest.approx(second.value, rel=1e-9)


# --- schemes ----------------------------------------------------------------------------------


@pytest.mark.parametrize("random_state", RANDOM_STATES)
def test_local_search_never_makes_a_scheme_dearer(random_state: int) -> None:
    network = reduce_problem(
        random_problem(random_state, n_nodes=60, n_sites=40, n_groups=60, reach=0.2)
    ).network
    maker = SchemeMaker(network)
    start = construct(maker, network.arc_cost, network.site_cost)
    assert start is not None
    better = improve(maker, start, np.random.default_rng(0), 30, lambda: False)
    assert better.cost <= start.cost
    assert maker.cover(better.outlets).min() >= 1
    recomputed = network.arc_cost[better.arcs].sum() + network.site_cost[better.outlets].sum()
    assert better.cost == pytest.approx(recomputed)


@pytest.mark.parametrize("random_state", RANDOM_STATES)
def test_tree_of_given_nodes_is_the_least_spanning_tree(random_state: int) -> None:
    each_alone = sp.csr_array(np.eye(25))
    problem = random_problem(random_state, n_nodes=25, n_sites=25, groups=each_alone)
    network = reduce_problem(problem).network
    maker = SchemeMaker(network)
    outlets = np.ones(network.n_sites, dtype=bool)
    scheme = maker.build(np.ones(network.n_nodes + 1, dtype=bool), outlets)
    assert scheme is not None
    graph = nx.Graph()
    ends = zip(network.edge_start, network.edge_end, network.edge_cost, strict=True)
    graph.add_weighted_edges_from((int(a), int(b), c) for a, b, c in ends)
    least = nx.minimum_spanning_tree(graph).size("weight")
    assert network.arc_cost[scheme.arcs].sum() == pytest.approx(least)


# --- checks -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("field", "value", "said"),
    [
        ("edge_cost", np.array([-1.0] * 20), "price is negative"),
        ("site_cost", np.ones(2), "does not fit"),
        ("site_cost", np.full(6, np.nan), "not a number"),
        ("site_node", np.array([0, 1, 2, 3, 4, 99]), "node that is not there"),
        ("root_node", np.empty(0, dtype=int), "no source"),
        ("forced_sites", np.array([6]), "site that is not there"),
        ("limit_matrix", sp.csr_array((2, 5)), "does not fit"),
    ],
)
def test_arrays_that_do_not_fit_are_refused(field: str, value: object, said: str) -> None:
    wrong: JointProblem = replace(random_problem(0), **{field: value})  # type: ignore[arg-type]
    with pytest.raises(InputError, match=said):
        design_jointly(wrong, EXACT)


def test_all_faults_come_at_once() -> None:
    wrong = replace(
        random_problem(0), site_cost=np.ones(2), forced_sites=np.array([1]),
        forbidden_sites=np.array([1]),
    )  # fmt: skip
    with pytest.raises(InputError) as caught:
        design_jointly(wrong, JointLimits(gap=-1.0, seconds=0.0))
    assert len(caught.value.faults) == 4


# --- blocks -----------------------------------------------------------------------------------


@pytest.mark.parametrize("random_state", RANDOM_STATES)
def test_bounds_of_blocks_add_up_to_less_than_the_optimum(
    random_state: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(blocks, "BLOCK_NODES", 15)
    problem = random_problem(
        random_state, n_nodes=60, n_sites=45, n_groups=60, n_roots=2, reach=0.15
    )
    best = design_jointly(problem, EXACT)
    assert best.status == "optimal"
    search = Search(problem, EXACT, None, np.random.default_rng(random_state))
    reduction = reduce_problem(problem)
    raised = blocks.raise_by_blocks(search, reduction.network)
    assert 0 < raised.bound <= best.cost + 1e-6
    network = reduction.network
    arcs, sites = useless_parts(
        network, raised.bound, best.cost * 1.0001, raised.arc_left, raised.site_left
    )
    both = arcs[: network.n_edges] & arcs[network.n_edges : 2 * network.n_edges]
    struck = {part for edge in np.flatnonzero(both) for part in reduction.edges[edge]}
    assert not struck & set(best.edges.tolist())
    assert not set(reduction.sites[sites].tolist()) & set(best.sites.tolist())
    maker = SchemeMaker(network)
    for turn in range(3):
        shaken = network.arc_cost * np.random.default_rng(turn).uniform(0.5, 1.5, network.n_arcs)
        scheme = construct(maker, shaken, network.site_cost)
        assert scheme is not None
        used = np.isin(np.arange(network.n_arcs), scheme.arcs)
        assert all(used[cut.arcs].any() or scheme.outlets[cut.sites].any() for cut in raised.cuts)


def test_large_network_solved_through_blocks_reaches_the_same_cost(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    problem = random_problem(11, n_nodes=60, n_sites=45, n_groups=60, reach=0.15)
    whole = design_jointly(problem, EXACT)
    monkeypatch.setattr(blocks, "BLOCK_NODES", 15)
    monkeypatch.setattr(solve, "_LARGE", 0)
    through_blocks = design_jointly(problem, EXACT)
    assert through_blocks.status == whole.status == "optimal"
    assert through_blocks.cost == pytest.approx(whole.cost)
