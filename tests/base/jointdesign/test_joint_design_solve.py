"""The whole optimiser against trial of everything, and the laws that any optimum obeys."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import scipy.sparse as sp
from hypothesis import given, settings
from hypothesis import strategies as st
from joint_cases import cheapest_by_trial, check_scheme, random_problem

from dewpond.base.jointdesign import JointLimits, JointProblem, design_jointly

LIMITS = JointLimits(restarts=10)
QUICK = settings(deadline=None, derandomize=True, max_examples=8)
RANDOM_STATES = st.integers(0, 10_000)


@pytest.mark.parametrize("random_state", range(8))
def test_one_source_equals_trial_of_everything(random_state: int) -> None:
    problem = random_problem(random_state)
    design = design_jointly(problem, LIMITS)
    check_scheme(problem, design)
    assert design.status == "optimal"
    assert design.cost == pytest.approx(cheapest_by_trial(problem), abs=1e-6)
    assert design.bound == pytest.approx(design.cost, rel=1e-6)


@pytest.mark.parametrize("several", [False, True])
@pytest.mark.parametrize("random_state", range(4))
def test_sources_with_a_price_equal_trial_of_everything(random_state: int, several: bool) -> None:
    price = np.round(np.random.default_rng(random_state).uniform(0, 60, 3), 1)
    problem = random_problem(
        100 + random_state, n_nodes=8, n_roots=3, root_cost=price, several_roots=several
    )
    design = design_jointly(problem, LIMITS)
    check_scheme(problem, design)
    assert several or len(design.roots) == 1
    assert design.cost == pytest.approx(cheapest_by_trial(problem), abs=1e-6)


@pytest.mark.parametrize("random_state", range(4))
def test_forced_and_forbidden_sites_equal_trial_of_everything(random_state: int) -> None:
    problem = random_problem(
        200 + random_state,
        n_nodes=8,
        reach=0.7,
        forced_sites=np.array([2]),
        forbidden_sites=np.array([0]),
    )
    design = design_jointly(problem, LIMITS)
    check_scheme(problem, design)
    assert 2 in design.sites
    assert 0 not in design.sites
    assert design.cost == pytest.approx(cheapest_by_trial(problem), abs=1e-6)


@pytest.mark.parametrize("random_state", range(4))
def test_limits_on_numbers_equal_trial_of_everything(random_state: int) -> None:
    problem = random_problem(
        300 + random_state,
        n_nodes=8,
        reach=0.8,
        limit_matrix=sp.csr_array(np.array([[1, 1, 1, 0, 0, 0], [0, 0, 0, 1, 1, 1.0]])),
        limit_lower=np.array([1.0, 2.0]),
        limit_upper=np.array([2.0, 3.0]),
    )
    design = design_jointly(problem, LIMITS)
    check_scheme(problem, design)
    assert not len(design.broken_limits)
    assert design.cost == pytest.approx(cheapest_by_trial(problem), abs=1e-6)


def test_limit_that_no_scheme_keeps_is_named() -> None:
    problem = random_problem(
        1,
        limit_matrix=sp.csr_array(np.ones((1, 6))),
        limit_lower=np.array([0.0]),
        limit_upper=np.array([0.0]),
    )
    design = design_jointly(problem, LIMITS)
    assert design.broken_limits.tolist() == [0]
    assert not len(design.unreachable_groups)


def test_line_of_three_by_hand() -> None:
    # Source 0 - 1 - 2, 10 a piece; one outlet at 1 serves both groups for 10 + 7.
    problem = JointProblem(
        n_nodes=3,
        edges=np.array([[0, 1], [1, 2]]),
        edge_cost=np.array([10.0, 10.0]),
        site_node=np.array([0, 1, 2]),
        site_cost=np.array([4.0, 7.0, 4.0]),
        root_node=np.array([0]),
        groups=sp.csr_array(np.array([[1, 1, 0], [0, 1, 1]])),
    )
    design = design_jointly(problem, LIMITS)
    assert design.sites.tolist() == [1]
    assert design.edges.tolist() == [0]
    assert (design.cost, design.bound) == pytest.approx((17.0, 17.0))


def _two_islands(**changes: object) -> JointProblem:
    return replace(
        JointProblem(
            n_nodes=4,
            edges=np.array([[0, 1], [2, 3]]),
            edge_cost=np.array([10.0, 10.0]),
            site_node=np.array([1, 3]),
            site_cost=np.array([5.0, 5.0]),
            root_node=np.array([0]),
            groups=sp.csr_array(np.array([[1, 0], [0, 1], [1, 1], [0, 0]])),
        ),
        **changes,  # type: ignore[arg-type]
    )


def test_groups_that_no_pipe_reaches_are_named() -> None:
    design = design_jointly(_two_islands(forced_sites=np.array([1])), LIMITS)
    assert design.unreachable_groups.tolist() == [1, 3]
    assert design.unreachable_sites.tolist() == [1]
    assert design.sites.tolist() == [0]
    assert design.status == "optimal"


def test_two_islands_need_two_sources() -> None:
    both = _two_islands(root_node=np.array([0, 2]), several_roots=True)
    design = design_jointly(both, LIMITS)
    assert design.roots.tolist() == [0, 1]
    assert design.unreachable_groups.tolist() == [3]
    one = design_jointly(replace(both, several_roots=False), LIMITS)
    assert len(one.roots) == 1
    assert len(one.unreachable_groups) == 2


def test_nothing_to_serve_costs_nothing() -> None:
    design = design_jointly(_two_islands(groups=sp.csr_array((0, 2))), LIMITS)
    assert (design.cost, design.bound, design.status) == (0.0, 0.0, "optimal")


def test_equal_cost_is_decided_by_the_walk() -> None:
    walk = sp.csr_array(np.array([[300.0, 100.0, 200.0]]))
    problem = JointProblem(
        n_nodes=2,
        edges=np.array([[0, 1]]),
        edge_cost=np.array([10.0]),
        site_node=np.array([1, 1, 1]),
        site_cost=np.array([5.0, 5.0, 5.0]),
        root_node=np.array([0]),
        groups=sp.csr_array(np.ones((1, 3))),
        walk_m=walk,
    )
    design = design_jointly(problem, LIMITS)
    assert design.sites.tolist() == [1]
    assert design.cost == pytest.approx(15.0)


def test_same_input_gives_the_same_scheme() -> None:
    problem = random_problem(7, n_nodes=40, n_sites=30, n_groups=40, reach=0.2)
    first, second = design_jointly(problem, LIMITS), design_jointly(problem, LIMITS)
    assert first.reproducible
    assert first.sites.tolist() == second.sites.tolist()
    assert first.edges.tolist() == second.edges.tolist()
    assert (first.cost, first.bound, first.rounds) == (second.cost, second.bound, second.rounds)


def test_wall_time_that_cuts_short_is_told() -> None:
    problem = random_problem(7, n_nodes=80, n_sites=70, n_groups=100, reach=0.15)
    design = design_jointly(problem, JointLimits(seconds=1e-3))
    check_scheme(problem, design)
    assert not design.reproducible
    assert design.status == "time limit"
    assert 0 < design.bound < design.cost


def test_rounds_end_the_search_reproducibly() -> None:
    problem = random_problem(7, n_nodes=80, n_sites=70, n_groups=100, reach=0.15)
    design = design_jointly(problem, JointLimits(rounds=1, nodes=0, restarts=0))
    check_scheme(problem, design)
    assert design.reproducible
    assert design.status in {"round limit", "node limit"}
    assert 0 < design.bound < design.cost


def test_progress_ends_at_one() -> None:
    told: list[float] = []
    design_jointly(random_problem(3), LIMITS, progress=told.append)
    assert told[-1] == 1.0
    assert all(0 <= share <= 1 for share in told)


@QUICK
@given(RANDOM_STATES)
def test_more_candidates_never_cost_more(random_state: int) -> None:
    problem = random_problem(random_state, n_nodes=12, n_sites=8, n_groups=9)
    fewer = replace(problem, forbidden_sites=np.array([1, 4]))
    few, many = design_jointly(fewer, LIMITS), design_jointly(problem, LIMITS)
    if not len(few.unreachable_groups):
        assert many.cost <= few.cost + 1e-6


@QUICK
@given(RANDOM_STATES, st.integers(0, 20))
def test_free_pipe_never_raises_the_cost(random_state: int, edge: int) -> None:
    problem = random_problem(random_state, n_nodes=12, n_sites=8, n_groups=9)
    cost = problem.edge_cost.copy()
    cost[edge % len(cost)] = 0.0
    free = replace(problem, edge_cost=cost)
    before, after = design_jointly(problem, LIMITS), design_jointly(free, LIMITS)
    assert after.cost <= before.cost + 1e-6


@QUICK
@given(RANDOM_STATES)
def test_longer_limit_never_costs_more(random_state: int) -> None:
    near = random_problem(random_state, n_nodes=12, n_sites=8, n_groups=9, reach=0.3)
    far = random_problem(random_state, n_nodes=12, n_sites=8, n_groups=9, reach=0.4)
    assert design_jointly(far, LIMITS).cost <= design_jointly(near, LIMITS).cost + 1e-6


@QUICK
@given(RANDOM_STATES)
def test_prices_in_another_currency_scale_the_cost(random_state: int) -> None:
    problem = random_problem(random_state, n_nodes=12, n_sites=8, n_groups=9)
    dearer = replace(problem, edge_cost=10 * problem.edge_cost, site_cost=10 * problem.site_cost)
    ten_times = design_jointly(dearer, LIMITS).cost
    assert ten_times == pytest.approx(10 * design_jointly(problem, LIMITS).cost, rel=1e-6)


@pytest.mark.parametrize("random_state", range(4))
def test_a_scheme_to_begin_from_is_the_worst_that_can_come_out(random_state: int) -> None:
    problem = random_problem(700 + random_state)
    best = design_jointly(problem, LIMITS)
    begun = replace(problem, start_sites=best.sites, start_edges=best.edges)
    # Nothing is searched: the first scheme built is within any gap.
    lazy = JointLimits(restarts=0, rounds=0, gap=0.9)
    design = design_jointly(begun, lazy)
    check_scheme(problem, design)
    assert design.cost <= best.cost + 1e-6


def test_a_start_that_does_not_hold_is_passed_over() -> None:
    problem = random_problem(711)
    plain = design_jointly(problem, LIMITS)
    nothing = np.empty(0, dtype=np.int64)
    broken = replace(problem, start_sites=plain.sites[:1], start_edges=nothing)
    design = design_jointly(broken, LIMITS)
    check_scheme(problem, design)
    assert design.cost == pytest.approx(plain.cost, abs=1e-6)
