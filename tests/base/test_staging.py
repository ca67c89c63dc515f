"""Stages and budgets on small trees, against every choice there is."""

from __future__ import annotations

from itertools import chain, combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dewpond.base.staging import StageProblem, best_within, build_order, part_in_stages


def tree_problem(random_state: int, outlets: int, patches: int = 6) -> StageProblem:
    """A random tree with an outlet at the end of each pipe, and works at its root.

    Elements: 0 the source, 1 to n the pipes, n + 1 to 2 n the outlets.
    """
    random = np.random.default_rng(random_state)
    parent = [-1, *(int(random.integers(-1, child)) for child in range(1, outlets))]
    needs = np.zeros((outlets, 1 + 2 * outlets), dtype=bool)
    for outlet in range(outlets):
        needs[outlet, [0, 1 + outlets + outlet]] = True
        node = outlet
        while node >= 0:
            needs[outlet, 1 + node] = True
            node = parent[node]
    cost = random.integers(1, 40, needs.shape[1]).astype(float)
    waters = random.random((outlets, patches)) < 0.4
    return StageProblem(needs, cost, waters, random.integers(0, 9, patches).astype(float))


def every_choice(outlets: int):
    return chain.from_iterable(combinations(range(outlets), size) for size in range(outlets + 1))


@settings(deadline=None, max_examples=40)
@given(random_state=st.integers(0, 10**6), outlets=st.integers(1, 8), share=st.floats(0.0, 1.1))
def test_no_choice_within_the_budget_is_worth_more(
    random_state: int, outlets: int, share: float
) -> None:
    problem = tree_problem(random_state, outlets)
    budget = round(share * problem.cost_of(range(outlets)), 2)
    within = [c for c in every_choice(outlets) if problem.cost_of(c) <= budget]
    worth = max(problem.worth_of(choice) for choice in within)
    cheapest = min(problem.cost_of(c) for c in within if problem.worth_of(c) >= worth - 1e-9)
    found = best_within(problem, budget)
    assert problem.cost_of(found.outlets) <= budget + 1e-6
    assert found.worth == pytest.approx(worth)
    assert problem.cost_of(found.outlets) == pytest.approx(cheapest)
    assert found.proven


def test_a_budget_that_a_greedy_order_would_waste() -> None:
    """Worth 6 for 6 is the best start by ratio, but 10 for 10 is the most that 10 buys."""
    needs = np.array([[True, False], [False, True]])
    problem = StageProblem(needs, np.array([6.0, 10.0]), np.eye(2, dtype=bool),
                           np.array([6.5, 10.0]))  # fmt: skip
    assert build_order(problem)[0] == 0
    assert best_within(problem, 10.0).outlets == (1,)


@given(random_state=st.integers(0, 10**6), outlets=st.integers(1, 8))
def test_the_order_takes_the_best_gain_for_its_price_each_time(
    random_state: int, outlets: int
) -> None:
    problem = tree_problem(random_state, outlets)
    order = build_order(problem)
    assert sorted(order) == list(range(outlets))
    for position in range(outlets):
        built = order[:position]

        def ratio(outlet: int, built: list[int] = built) -> float:
            gain = problem.worth_of([*built, outlet]) - problem.worth_of(built)
            price = problem.cost_of([*built, outlet]) - problem.cost_of(built)
            return gain / price

        assert ratio(order[position]) == pytest.approx(max(map(ratio, order[position:])))


def test_what_a_budget_reaches_comes_first() -> None:
    problem = tree_problem(3, 6)
    order = build_order(problem, first=(4, 1))
    assert set(order[:2]) == {4, 1}
    assert sorted(order) == list(range(6))


@given(price=st.lists(st.floats(0.01, 1000.0), min_size=1, max_size=40), most=st.integers(1, 10))
def test_stages_keep_the_order_and_none_is_trifling(price: list[float], most: int) -> None:
    stages = part_in_stages(price, most)
    assert list(chain.from_iterable(stages)) == list(range(len(price)))
    assert 1 <= len(stages) <= most
    even = sum(price) / most
    if len(stages) > 1:
        assert min(sum(price[at] for at in stage) for stage in stages) >= even / 2.0 - 1e-6


def test_equal_works_make_equal_stages() -> None:
    assert part_in_stages([5.0] * 6, 3) == [[0, 1], [2, 3], [4, 5]]


def test_nothing_to_build() -> None:
    none = StageProblem(np.zeros((0, 1), bool), np.array([5.0]), np.zeros((0, 2), bool),
                        np.ones(2))  # fmt: skip
    assert best_within(none, 100.0).outlets == ()
    assert build_order(none) == []
    assert part_in_stages([], 4) == []
