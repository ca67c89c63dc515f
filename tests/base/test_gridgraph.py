"""The grid as a graph: moves, prices, barred moves and least costs."""

from __future__ import annotations

import networkx as nx
import numpy as np
import pytest
import scipy.sparse as sp
from skimage.graph import MCP_Geometric

from dewpond.base.gridgraph import (
    HALF_MOVES,
    LONGEST_MOVE_CELLS,
    build_grid_graph,
    least_costs,
    symmetric_graph,
)


def _costs(graph: sp.csr_array, source: int, limit: float = np.inf) -> np.ndarray:
    ((_, cost),) = least_costs(graph, np.array([source]), limit)
    return cost[0]


def _open(size: int, height: np.ndarray | None = None, **options: object) -> object:
    mask = np.ones((size, size), dtype=bool)
    return build_grid_graph(
        mask, np.zeros(mask.shape) if height is None else height, 2.0, **options
    )


def test_there_are_32_moves_in_distinct_directions() -> None:
    moves = {(sign * row, sign * column) for row, column in HALF_MOVES for sign in (1, -1)}
    assert len(moves) == 32
    assert all(np.gcd(row, column) == 1 for row, column in moves)
    assert max(np.hypot(*move) for move in moves) == pytest.approx(LONGEST_MOVE_CELLS)


def test_open_ground_errs_by_the_bound_of_32_directions_and_no_more() -> None:
    """The widest gap is between (1, 0) and (3, 1): 1 / cos(atan(1/3) / 2) - 1 = 1.31 %."""
    grid = _open(201)
    centre = grid.node[100, 100]
    found = _costs(grid.cost, centre)
    exact = 2.0 * np.hypot(grid.row - 100, grid.column - 100)
    error = np.delete(found / np.where(exact > 0, exact, 1.0) - 1, centre)
    bound = 1 / np.cos(np.arctan(1 / 3) / 2) - 1
    assert error.min() > -1e-12
    assert 0.9 * bound < error.max() <= bound + 1e-12


def test_the_peer_with_eight_neighbours_errs_six_times_as_much() -> None:
    """MCP_Geometric of scikit-image on the same open ground; its bound is 8.2 %."""
    costs, _ = MCP_Geometric(np.full((201, 201), 2.0)).find_costs([(100, 100)])
    row, column = np.indices(costs.shape)
    exact = 2.0 * np.hypot(row - 100, column - 100)
    far = exact > 20
    assert (costs[far] / exact[far] - 1).max() > 6 * (1 / np.cos(np.arctan(1 / 3) / 2) - 1)


def test_costs_are_those_of_networkx() -> None:
    chance = np.random.default_rng(7)
    mask = chance.random((15, 15)) > 0.35
    grid = build_grid_graph(mask, chance.random((15, 15)) * 5, 2.0, climb_weight=3.0)
    reference = nx.from_scipy_sparse_array(grid.cost)
    expected = nx.single_source_dijkstra_path_length(reference, 0)
    found = _costs(grid.cost, 0)
    assert {node for node in range(found.size) if np.isfinite(found[node])} == set(expected)
    assert found[list(expected)] == pytest.approx(list(expected.values()))


def test_a_plane_is_priced_exactly_along_every_move() -> None:
    row, column = np.indices((9, 9))
    height = 0.4 * column + 0.3 * row
    grid = _open(9, height, climb_weight=6.5)
    start, end = grid.cost.tocoo().coords
    plan = 2.0 * np.hypot(grid.row[end] - grid.row[start], grid.column[end] - grid.column[start])
    rise = np.abs(
        height[grid.row[end], grid.column[end]] - height[grid.row[start], grid.column[start]]
    )
    assert grid.cost.tocoo().data == pytest.approx(np.hypot(plan, rise) + 6.5 * rise)


def test_a_long_move_feels_the_bank_that_it_passes_over() -> None:
    height = np.zeros((1, 4))
    height[0, 1] = 3.0
    mask = np.array([[True, False, False, True]])
    grid = build_grid_graph(mask, height, 2.0)
    assert grid.cost.nnz == 0  # three cells straight on is not a move of its own
    height = np.zeros((2, 4))
    height[:, 1] = 3.0
    mask = np.zeros((2, 4), dtype=bool)
    mask[0, 0] = mask[1, 3] = True
    grid = build_grid_graph(mask, height, 2.0)
    step = 2.0 * np.hypot(3, 1) / 3
    assert grid.cost[0, 1] == pytest.approx(2 * np.hypot(step, 3.0) + step)


def test_barred_moves_are_left_out_both_ways() -> None:
    def crosses_the_fence(start: np.ndarray, end: np.ndarray) -> np.ndarray:
        return (start % 10 < 5) != (end % 10 < 5)

    mask = np.ones((10, 10), dtype=bool)
    grid = build_grid_graph(mask, np.zeros((10, 10)), 1.0, forbidden=crosses_the_fence)
    cost = _costs(grid.cost, 0)
    assert np.isfinite(cost[grid.column < 5]).all()
    assert np.isinf(cost[grid.column >= 5]).all()


def test_chunks_and_limits() -> None:
    grid = _open(20)
    sources = np.array([0, 57, 399])
    chunks = list(least_costs(grid.cost, sources, 15.0, memory_bytes=400 * 8 * 2))
    assert [chunk for chunk, _ in chunks] == [slice(0, 2), slice(2, 3)]
    cost = np.concatenate([cost for _, cost in chunks])
    for position, source in enumerate(sources):
        everywhere = _costs(grid.cost, source)
        near = everywhere <= 15.0
        assert cost[position][near] == pytest.approx(everywhere[near])
        assert np.isinf(cost[position][~near]).all()


@pytest.mark.parametrize("shape", [(0, 0), (1, 1), (1, 5), (2, 2)])
def test_small_grids(shape: tuple[int, int]) -> None:
    grid = build_grid_graph(np.ones(shape, dtype=bool), np.zeros(shape), 1.0)
    assert grid.cost.shape == (shape[0] * shape[1],) * 2
    assert abs(grid.cost - grid.cost.T).sum() == 0


def test_symmetric_graph_stores_both_directions() -> None:
    graph = symmetric_graph(3, np.array([0]), np.array([2]), np.array([4.0]))
    assert graph.toarray().tolist() == [[0, 0, 4], [0, 0, 0], [4, 0, 0]]
