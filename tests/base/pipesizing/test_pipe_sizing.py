"""Sizing against every combination, by law, and what it says when nothing fits."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from base.pipesizing.sizing_examples import head_at, holds, options_of, pe100, random_tree
from dewpond.base.pipes import surge_m, working_head_m
from dewpond.base.pipesizing import (
    Checks,
    PipeOptions,
    PipeTree,
    SizingRules,
    make_options,
    size_pipes,
)


def cheapest_of_all(tree, options, rules, sizes) -> float:
    """Least cost over every combination of sizes; infinite where none holds."""
    cost = tree.length_m[:, None] * options.price_per_m
    best = np.inf
    every = itertools.product(range(len(sizes)), repeat=len(tree.parent))
    totals = sorted((float(sum(cost[p, o] for p, o in enumerate(c))), c) for c in every)
    for total, choice in totals:
        if holds(tree, options, rules, np.array(choice), sizes):
            best = total
            break
    return best


@pytest.mark.parametrize("may_grow", [False, True])
@pytest.mark.parametrize(
    ("pipes", "random_state"), [(2, 0), (3, 1), (4, 2), (4, 3), (5, 4), (5, 5)]
)
def test_same_cost_as_trying_every_combination(
    pipes: int, random_state: int, may_grow: bool
) -> None:
    sizes = [pe100()[i] for i in (0, 2, 3, 6, 8)]
    options, rules = options_of(sizes), SizingRules(may_grow=may_grow)
    tree = random_tree(random_state, pipes, 4, source_m=66.0, longest_m=500.0)
    found = size_pipes(tree, options, rules)
    expected = cheapest_of_all(tree, options, rules, sizes)
    assert (found.option is not None) == np.isfinite(expected)
    if found.option is not None:
        assert found.proof.value == pytest.approx(expected, rel=1e-9)
        assert found.proof.bound == pytest.approx(expected, rel=1e-6)
        assert holds(tree, options, rules, found.option, sizes)


@pytest.mark.parametrize("random_state", range(4))
def test_same_cost_on_seven_pipes(random_state: int) -> None:
    sizes = pe100(11.0)[1:5]
    options, rules = options_of(sizes), SizingRules()
    tree = random_tree(random_state, 7, 5, source_m=63.0, longest_m=450.0)
    found = size_pipes(tree, options, rules)
    expected = cheapest_of_all(tree, options, rules, sizes)
    assert (found.option is not None) == np.isfinite(expected)
    if found.option is not None:
        assert found.proof.value == pytest.approx(expected, rel=1e-9)


def test_brute_force_cases_include_some_that_bind_and_some_that_fail() -> None:
    """So that the comparison above means something."""
    sizes = pe100(11.0)[1:5]
    options = options_of(sizes)
    results = [
        size_pipes(random_tree(random_state, 7, 5, source_m=63.0, longest_m=450.0), options)
        for random_state in range(4)
    ]
    used = {tuple(np.unique(found.option)) for found in results if found.option is not None}
    assert any(len(kinds) > 1 for kinds in used)


@settings(deadline=None, derandomize=True, max_examples=25)
@given(st.integers(0, 10_000), st.integers(1, 20), st.integers(1, 6), st.booleans())
def test_whatever_is_chosen_holds_and_whatever_fails_is_named(
    random_state: int, pipes: int, cases: int, may_grow: bool
) -> None:
    sizes = pe100()
    options, rules = options_of(sizes), SizingRules(may_grow=may_grow)
    tree = random_tree(random_state, pipes, cases, source_m=64.0)
    found = size_pipes(tree, options, rules)
    if found.option is None:
        assert found.shortfalls
    else:
        assert not found.shortfalls
        assert holds(tree, options, rules, found.option, sizes)
        assert found.proof.gap <= 1e-6
        places = zip(tree.checks.pipe, tree.checks.fraction, strict=True)
        walked = [head_at(tree, options, found.option, 0, int(p), float(t)) for p, t in places]
        np.testing.assert_allclose(found.head_m[0], walked, atol=1e-9)


@settings(deadline=None, derandomize=True, max_examples=15)
@given(st.integers(0, 10_000), st.floats(0.1, 10.0))
def test_a_higher_source_never_costs_more_pipe_while_no_class_binds(
    random_state: int, more: float
) -> None:
    options = options_of(pe100(11.0))
    costs = []
    for source in (66.0, 66.0 + more):
        found = size_pipes(random_tree(random_state, 12, 4, source_m=source), options)
        costs.append(found.proof.value if found.option is not None else np.inf)
    assert costs[1] <= costs[0] * (1 + 1e-9)


def one_pipe(
    flow_l_s: float = 0.5, static_m: float = 30.0, asked_m: float = 40.0, length_m: float = 500.0
) -> PipeTree:
    return PipeTree(
        np.array([-1]),
        np.array([length_m]),
        np.zeros(1),
        np.array([static_m]),
        np.array([[flow_l_s / 1000.0]]),
        np.array([[50.0]]),
        Checks(np.array([0]), np.ones(1), np.array([[asked_m]]), ("outlet",)),
    )


def test_smallest_pipe_that_does_is_taken() -> None:
    """0.5 L/s over 500 m with 10 m to lose: 32 mm loses 23.6 m, 40 mm 8.0 m (table of SDR 11)."""
    sizes = pe100(11.0)
    found = size_pipes(one_pipe(), options_of(sizes))
    assert found.option is not None
    assert sizes[int(found.option[0])].outside_diameter_mm == 40.0
    assert found.head_m[0, 0] == pytest.approx(50.0 - 5 * 1.594, abs=0.01)


def test_a_lack_of_head_says_where_and_how_much_would_mend_it() -> None:
    tree = one_pipe(asked_m=52.0)
    found = size_pipes(tree, options_of(pe100(11.0)))
    (failing,) = found.shortfalls
    assert found.option is None
    assert (failing.requirement, failing.pipe, failing.check) == ("outlet", 0, 0)
    assert failing.limit == 52.0
    assert found.raise_m == pytest.approx(52.0 - failing.figure)
    raised = PipeTree(tree.parent, tree.length_m, tree.minor_loss, tree.highest_static_head_m,
                      tree.flow_m3_s, tree.start_level_m + found.raise_m + 1e-6,
                      tree.checks)  # fmt: skip
    assert size_pipes(raised, options_of(pe100(11.0))).option is not None


def test_water_stays_above_a_summit_on_the_way() -> None:
    """40 mm loses 8.0 m to the end, 4.0 m to the middle: a summit at 47 m there asks for 50 mm."""
    tree, sizes = one_pipe(), pe100(11.0)
    checks = Checks(
        np.array([0, 0]), np.array([1.0, 0.5]), np.array([[40.0, 47.0]]), ("outlet", "summit")
    )
    for summit_m, outside_mm in ((45.5, 40.0), (47.0, 50.0)):
        checks = replace(checks, level_m=np.array([[40.0, summit_m]]))
        found = size_pipes(replace(tree, checks=checks), options_of(sizes))
        assert found.option is not None
        assert sizes[int(found.option[0])].outside_diameter_mm == outside_mm
    over = replace(checks, level_m=np.array([[40.0, 50.5]]))
    (failing,) = size_pipes(replace(tree, checks=over), options_of(sizes)).shortfalls
    assert (failing.requirement, failing.check, failing.limit) == ("summit", 1, 50.5)


def test_a_hollow_too_deep_names_the_class_and_the_excess() -> None:
    sizes = pe100(11.0)
    found = size_pipes(one_pipe(static_m=170.0), options_of(sizes))
    (failing,) = found.shortfalls
    wide = sizes[-1]
    speed = 0.5e-3 / (np.pi / 4 * (wide.bore_mm / 1000.0) ** 2)
    excess = working_head_m(wide) - 170.0 - float(surge_m(speed, wide.sdr))
    assert failing.requirement == "pressure class"
    assert failing.figure == pytest.approx(excess)
    assert found.class_headroom_m == pytest.approx(excess)


def test_too_fast_in_the_widest_pipe_names_the_speed() -> None:
    found = size_pipes(one_pipe(flow_l_s=8.0, length_m=10.0), options_of(pe100(11.0)))
    assert [s.requirement for s in found.shortfalls] == ["velocity"]
    assert found.shortfalls[0].figure == pytest.approx(1.880, abs=0.001)  # 8 L/s in 73.6 mm
    assert found.shortfalls[0].limit == 1.5


def test_all_that_fails_is_said_at_once() -> None:
    found = size_pipes(
        one_pipe(flow_l_s=8.0, static_m=400.0, asked_m=60.0), options_of(pe100(11.0))
    )
    assert {s.requirement for s in found.shortfalls} == {"pressure class", "outlet"}


def chain(static: list[float], flows: list[float]) -> PipeTree:
    return PipeTree(
        np.array([-1, 0]),
        np.array([100.0, 100.0]),
        np.zeros(2),
        np.array(static),
        np.array([flows]) / 1000.0,
        np.array([[100.0, np.nan]]),
        Checks(np.array([1]), np.ones(1), np.array([[20.0]]), ("outlet",)),
    )


def test_sizes_never_grow_downstream_unless_allowed() -> None:
    """The first pipe, in a hollow, has a strong class only in 25 mm; the second needs 40 mm."""
    sizes = [s for s in pe100() if (s.outside_diameter_mm, s.sdr) in {(25.0, 11.0), (40.0, 17.0)}]
    tree = chain([120.0, 20.0], [0.2, 0.8])
    kept = size_pipes(tree, options_of(sizes))
    assert kept.option is None
    assert [s.requirement for s in kept.shortfalls] == ["size order"]
    grown = size_pipes(tree, options_of(sizes), SizingRules(may_grow=True))
    assert grown.option is not None
    assert grown.option.tolist() == [0, 1]


def test_a_break_tank_starts_a_scheme_of_its_own() -> None:
    sizes = [s for s in pe100() if (s.outside_diameter_mm, s.sdr) in {(25.0, 11.0), (40.0, 17.0)}]
    tree = chain([120.0, 20.0], [0.2, 0.8])
    level = np.array([[100.0, 45.0]])
    parted = PipeTree(tree.parent, tree.length_m, tree.minor_loss, tree.highest_static_head_m,
                      tree.flow_m3_s, level, tree.checks)  # fmt: skip
    options = options_of(sizes)
    found = size_pipes(parted, options)
    assert found.option is not None
    assert found.head_m[0, 0] == pytest.approx(head_at(parted, options, found.option, 0, 1, 1.0))
    assert found.head_m[0, 0] < 45.0


def test_surge_asks_for_a_stronger_class() -> None:
    tree = one_pipe(static_m=90.0, asked_m=10.0)
    still = size_pipes(tree, options_of(pe100()), SizingRules(surge=False))
    with_surge = size_pipes(tree, options_of(pe100()))
    assert still.option is not None
    assert with_surge.option is not None
    assert pe100()[int(still.option[0])].pressure_class_bar == 10.0
    assert pe100()[int(with_surge.option[0])].pressure_class_bar > 10.0


def test_hot_pipe_carries_less() -> None:
    tree = one_pipe(static_m=80.0, asked_m=10.0)
    cool = size_pipes(tree, make_options(pe100(17.0)), SizingRules(surge=False))
    hot = size_pipes(tree, make_options(pe100(17.0), 40.0), SizingRules(surge=False))
    assert cool.option is not None
    assert hot.option is None


def test_where_requirements_only_clash_together_the_least_rise_is_found() -> None:
    """The first pipe loses least in 25 mm, the second in 32 mm, and sizes may not grow.

    The strong 32 mm has so thick a wall that it loses more than the 25 mm: each place alone has
    a pipe that would do, the two together have not.
    """
    options = PipeOptions(
        np.array([0.025, 0.032, 0.032]),
        np.array([0.021, 0.020, 0.028]),
        np.array([12.0, 5.0, 16.0]),
        np.array([1.0, 2.0, 1.5]),
        np.array([200.0, 200.0, 60.0]),
    )
    tree = chain([120.0, 20.0], [0.3, 0.3])
    rules = SizingRules(surge=False)
    best = size_pipes(tree, options, SizingRules(surge=False, may_grow=True, gap=0.0))
    assert best.option is not None
    heads = {
        pair: head_at(tree, options, np.array(pair), 0, 1, 1.0)
        for pair in itertools.product((0, 1), (0, 1, 2))
    }
    kept = max(heads[0, 0], heads[1, 0], heads[1, 1], heads[1, 2])
    asked = (heads[0, 2] + kept) / 2.0
    assert heads[0, 2] > asked > kept
    harder = replace(tree, checks=replace(tree.checks, level_m=np.array([[asked]])))
    found = size_pipes(harder, options, rules)
    assert found.option is None
    assert [s.requirement for s in found.shortfalls] == ["outlet"]
    assert found.raise_m == pytest.approx(asked - kept, abs=1e-5)
    assert size_pipes(harder, options, replace(rules, may_grow=True)).option is not None


def test_a_search_cut_short_still_gives_a_choice_and_an_honest_bound() -> None:
    tree, options = random_tree(4, 60, 8, source_m=80.0), options_of(pe100())
    short = size_pipes(tree, options, SizingRules(time_limit_s=1e-3))
    whole = size_pipes(tree, options)
    assert short.option is not None
    assert whole.option is not None
    assert short.proof.status == "time limit"
    assert holds(tree, options, SizingRules(), short.option, pe100())
    assert short.proof.bound <= whole.proof.value * (1.0 + 1e-9)
    assert whole.proof.value < short.proof.value * 0.99
    assert 0.01 < short.proof.gap < 0.1


def test_unpriced_pipe_is_refused() -> None:
    with pytest.raises(ValueError, match="no price for PE100 20 mm SDR 11 PN 16"):
        make_options([replace(pe100(11.0)[0], price_per_m=None)])
    with pytest.raises(ValueError, match="no pipe"):
        make_options([])


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"parent": np.array([1, -1])}, "before its parent"),
        ({"length_m": np.array([1.0])}, "one length"),
        ({"flow_m3_s": np.array([[1e-4, -1e-4]])}, "must not be negative"),
        ({"start_level_m": np.array([[np.nan, np.nan]])}, "neither a parent nor a level"),
        ({"flow_m3_s": np.zeros((2, 2))}, "shape"),
    ],
)
def test_a_tree_that_makes_no_sense_is_refused(change: dict, message: str) -> None:
    tree = chain([10.0, 10.0], [0.1, 0.1])
    parts = {name: getattr(tree, name) for name in tree.__dataclass_fields__}
    with pytest.raises(ValueError, match=message):
        PipeTree(**(parts | change))
