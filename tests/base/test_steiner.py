"""Steiner tree: against enumeration, against networkx's Mehlhorn tree, and the bound."""

from __future__ import annotations

import itertools

import networkx as nx
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dewpond.base.steiner import steiner_bound, steiner_tree


def _random_graph(seed: int, nodes: int, extra: int, whole: bool = False):
    """Return a connected random graph: a random tree and some more edges."""
    random = np.random.default_rng(seed)
    tree = [(int(random.integers(0, node)), node) for node in range(1, nodes)]
    more = random.integers(0, nodes, size=(extra, 2))
    edges = np.array(tree + [tuple(pair) for pair in more])
    if whole:
        return edges, random.integers(0, 6, size=len(edges)).astype(float)
    return edges, random.uniform(1.0, 10.0, size=len(edges))


def _grid_graph(seed: int, side: int, equal: bool):
    random = np.random.default_rng(seed)
    number = np.arange(side * side).reshape(side, side)
    edges = np.concatenate([
        np.stack([number[:, :-1].ravel(), number[:, 1:].ravel()], axis=1),
        np.stack([number[:-1].ravel(), number[1:].ravel()], axis=1),
    ])  # fmt: skip
    return edges, np.ones(len(edges)) if equal else random.uniform(1.0, 2.0, size=len(edges))


def _least_cost(node_count, edges, costs, terminals):
    """Least cost by trying every set of further nodes (independent of the package)."""
    graph = nx.Graph()
    graph.add_nodes_from(range(node_count))
    for (one, other), cost in zip(edges.tolist(), costs, strict=True):
        if one != other and cost < graph.get_edge_data(one, other, {"weight": np.inf})["weight"]:
            graph.add_edge(one, other, weight=cost)
    others = [node for node in range(node_count) if node not in set(terminals)]
    best = np.inf
    for size in range(len(others) + 1):
        for chosen in itertools.combinations(others, size):
            part = graph.subgraph([*terminals, *chosen])
            if nx.is_connected(part):
                best = min(best, nx.minimum_spanning_tree(part).size(weight="weight"))
    return best


def _assert_tree(edges, chosen, terminals):
    graph = nx.Graph()
    graph.add_nodes_from(terminals)
    graph.add_edges_from(edges[chosen].tolist())
    assert nx.is_tree(graph)
    assert graph.number_of_edges() == len(chosen)
    assert all(graph.degree[node] > 1 or node in set(terminals) for node in graph)


@pytest.mark.parametrize("whole", [False, True], ids=["uneven costs", "ties and free edges"])
@pytest.mark.parametrize("seed", range(8))
def test_tree_is_least_and_bound_below_on_small_graphs(seed, whole):
    edges, costs = _random_graph(seed, nodes=11, extra=12, whole=whole)
    terminals = [0, 3, 7, 10]
    chosen = steiner_tree(11, edges, costs, terminals)
    least = _least_cost(11, edges, costs, terminals)
    _assert_tree(edges, chosen, terminals)
    assert costs[chosen].sum() == pytest.approx(least)
    bound = steiner_bound(11, edges, costs, terminals)
    assert 0.8 * least <= bound <= least * (1 + 1e-9)


def _mehlhorn_cost(node_count, edges, costs, terminals):
    graph = nx.Graph()
    graph.add_nodes_from(range(node_count))
    for (one, other), cost in zip(edges.tolist(), costs, strict=True):
        if one != other and cost < graph.get_edge_data(one, other, {"weight": np.inf})["weight"]:
            graph.add_edge(one, other, weight=cost)
    tree = nx.algorithms.approximation.steiner_tree(graph, terminals, method="mehlhorn")
    return tree.size(weight="weight")


@pytest.mark.parametrize("seed", range(50))
def test_never_dearer_than_mehlhorn_of_networkx(seed):
    edges, costs = _random_graph(seed, nodes=120, extra=160)
    terminals = np.random.default_rng(seed).choice(120, size=12, replace=False)
    chosen = steiner_tree(120, edges, costs, terminals)
    _assert_tree(edges, chosen, terminals.tolist())
    cost = costs[chosen].sum()
    assert cost <= _mehlhorn_cost(120, edges, costs, terminals.tolist()) * (1 + 1e-9)
    assert steiner_bound(120, edges, costs, terminals) <= cost * (1 + 1e-9)


@pytest.mark.parametrize("equal", [False, True], ids=["uneven", "equal"])
@pytest.mark.parametrize("seed", range(5))
def test_never_dearer_than_mehlhorn_on_grids(seed, equal):
    edges, costs = _grid_graph(seed, side=14, equal=equal)
    terminals = np.random.default_rng(seed).choice(196, size=14, replace=False)
    cost = costs[steiner_tree(196, edges, costs, terminals)].sum()
    assert cost <= _mehlhorn_cost(196, edges, costs, terminals.tolist()) * (1 + 1e-9)
    assert steiner_bound(196, edges, costs, terminals) <= cost * (1 + 1e-9)


@pytest.mark.parametrize("seed", range(8))
def test_bound_meets_the_cost_on_trees(seed):
    edges, costs = _random_graph(seed, nodes=60, extra=0)
    terminals = np.random.default_rng(seed).choice(60, size=9, replace=False)
    cost = costs[steiner_tree(60, edges, costs, terminals)].sum()
    assert steiner_bound(60, edges, costs, terminals) == pytest.approx(cost)


def test_star_needs_the_node_that_no_shortest_path_of_two_uses():
    # Three terminals 2 apart; the hub costs 1.1 to each: Mehlhorn pays 4, the least is 3.3.
    edges = np.array([[0, 1], [1, 2], [0, 2], [0, 3], [1, 3], [2, 3]])
    costs = np.array([2.0, 2.0, 2.0, 1.1, 1.1, 1.1])
    assert _mehlhorn_cost(4, edges, costs, [0, 1, 2]) == pytest.approx(4.0)
    assert steiner_tree(4, edges, costs, [0, 1, 2]).tolist() == [3, 4, 5]


def test_free_edges_are_used_and_only_where_needed():
    edges = np.array([[0, 1], [1, 2], [2, 3], [1, 4], [0, 3]])
    costs = np.array([0.0, 0.0, 1.0, 0.0, 5.0])
    assert steiner_tree(5, edges, costs, [0, 3]).tolist() == [0, 1, 2]
    assert steiner_bound(5, edges, costs, [0, 3]) == pytest.approx(1.0)


def test_parallel_edges_loops_and_single_terminals():
    edges = np.array([[0, 1], [1, 0], [1, 1], [1, 2]])
    costs = np.array([3.0, 2.0, 0.0, 1.0])
    assert steiner_tree(3, edges, costs, [2, 0, 0]).tolist() == [1, 3]
    assert steiner_tree(3, edges, costs, [1]).size == 0
    assert steiner_bound(3, edges, costs, [1]) == 0.0


def test_terminals_apart_are_refused():
    edges, costs = np.array([[0, 1], [2, 3]]), np.array([1.0, 1.0])
    for function in (steiner_tree, steiner_bound):
        with pytest.raises(ValueError, match="no path joins"):
            function(4, edges, costs, [0, 3])


@pytest.mark.parametrize("cost", [-1.0, np.nan, np.inf])
def test_costs_below_zero_or_not_finite_are_refused(cost):
    with pytest.raises(ValueError, match="finite and zero or more"):
        steiner_tree(2, [[0, 1]], [cost], [0, 1])


def test_ends_outside_the_graph_are_refused():
    with pytest.raises(ValueError, match="nodes 0 to 1"):
        steiner_tree(2, [[0, 2]], [1.0], [0, 1])


@given(seed=st.integers(0, 10_000), factor=st.floats(0.01, 1000.0))
@settings(deadline=None, derandomize=True, max_examples=25)
def test_scaling_costs_scales_cost_and_bound(seed, factor):
    edges, costs = _random_graph(seed, nodes=30, extra=30)
    terminals = [0, 5, 17, 29]
    cost = costs[steiner_tree(30, edges, costs, terminals)].sum()
    scaled = (costs * factor)[steiner_tree(30, edges, costs * factor, terminals)].sum()
    assert scaled == pytest.approx(cost * factor, rel=1e-6)
    bound = steiner_bound(30, edges, costs, terminals)
    assert steiner_bound(30, edges, costs * factor, terminals) == pytest.approx(
        bound * factor, rel=1e-6
    )


@given(seed=st.integers(0, 10_000))
@settings(deadline=None, derandomize=True, max_examples=25)
def test_one_more_edge_or_one_terminal_less_never_raises_the_bound_above_the_cost(seed):
    edges, costs = _random_graph(seed, nodes=25, extra=20)
    terminals = [1, 8, 14, 24]
    cost = costs[steiner_tree(25, edges, costs, terminals)].sum()
    assert steiner_bound(25, edges, costs, terminals[1:]) <= cost * (1 + 1e-9)
    more = np.vstack([edges, [[1, 24]]])
    assert steiner_bound(25, more, np.append(costs, 0.5), terminals) <= cost * (1 + 1e-9)
