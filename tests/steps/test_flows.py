"""Design flow of pipes, against every placing of the mobs along networkx paths."""

from __future__ import annotations

import itertools
from typing import Any

import geopandas as gpd
import networkx as nx
import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dewpond.base.model import Flows, Network, Proof, Watering
from dewpond.steps.flows import design_flows

PROOF = Proof(0.0, 0.0, 0.0, "optimal")

# Parent of each node (the source is 0), whether it is an outlet, and length of the pipe to it.
Tree = list[tuple[int, bool, float]]


def network_of(tree: Tree) -> Network:
    names = ["tank"] + [
        f"outlet {number}" if outlet else f"junction {number}"
        for number, (_, outlet, _) in enumerate(tree, start=1)
    ]
    kinds = ["source"] + ["outlet" if outlet else "junction" for _, outlet, _ in tree]
    nodes = gpd.GeoDataFrame(
        {"kind": kinds},
        index=names,
        geometry=gpd.points_from_xy(range(len(names)), [0] * len(names)),
    )
    pipes = gpd.GeoDataFrame(
        {
            "from_node": [names[parent] for parent, _, _ in tree],
            "to_node": names[1:],
            "length_m": [length for _, _, length in tree],
        },
        index=[f"pipe {number}" for number in range(1, len(tree) + 1)],
        geometry=[None] * len(tree),
    )
    return Network(0, nodes, pipes, (), PROOF)


def watering_of(uses: list[tuple[str, str, float]]) -> Watering:
    table = pd.DataFrame(uses, columns=["mob", "outlet", "design_flow_l_min"])
    return Watering(table, pd.DataFrame())


def flows_of(tree: Tree, uses: list[tuple[str, str, float]]) -> Flows:
    return design_flows(network_of(tree), watering_of(uses))


# tank - junction 1 - outlet 2
#                   - outlet 3 - outlet 4
FORK: Tree = [(0, False, 100.0), (1, True, 50.0), (1, True, 60.0), (3, True, 70.0)]


def test_one_mob_is_counted_once_however_many_outlets() -> None:
    found = flows_of(FORK, [("cows", f"outlet {number}", 12.0) for number in (2, 3, 4)])
    assert found.pipes["design_flow_l_min"].tolist() == [12.0] * 4
    assert found.total_l_min == 12.0
    assert found.pipes["mobs"].tolist() == [("cows",)] * 4


def test_two_mobs_share_the_trunk_and_not_the_branches() -> None:
    found = flows_of(
        FORK, [("cows", "outlet 2", 12.0), ("ewes", "outlet 3", 3.0), ("ewes", "outlet 4", 4.0)]
    )
    assert found.pipes["design_flow_l_min"].tolist() == [16.0, 12.0, 4.0, 4.0]
    assert found.pipes["mobs"].tolist() == [("cows", "ewes"), ("cows",), ("ewes",), ("ewes",)]


def test_an_outlet_used_from_two_paddocks_draws_as_from_the_more_demanding() -> None:
    found = flows_of(FORK, [("cows", "outlet 2", 5.0), ("cows", "outlet 2", 8.0)])
    assert found.total_l_min == 8.0


def test_the_others_stand_where_they_share_the_longest_way() -> None:
    uses = [("cows", "outlet 4", 12.0), ("ewes", "outlet 2", 3.0), ("ewes", "outlet 3", 3.0)]
    cases = flows_of(FORK, uses).cases.set_index(["mob", "outlet"])
    assert cases.loc[("cows", "outlet 4")].tolist() == [15.0, 0.0, 15.0, 12.0]
    assert cases.loc[("ewes", "outlet 2")].tolist() == [15.0, 3.0, 12.0, 12.0]


def test_a_pipe_with_nobody_beyond_carries_nothing() -> None:
    found = flows_of(FORK, [("cows", "outlet 2", 12.0)])
    assert found.pipes.loc["pipe 4", "design_flow_l_min"] == 0.0
    assert found.pipes.loc["pipe 4", "mobs"] == ()


def test_nobody_at_all() -> None:
    found = flows_of(FORK, [])
    assert found.total_l_min == 0.0
    assert found.cases.empty
    assert list(found.cases.columns) == ["mob", "outlet", *found.pipes.index]


@st.composite
def schemes(draw: st.DrawFn) -> tuple[Tree, list[tuple[str, str, float]]]:
    count = draw(st.integers(1, 7))
    tree: Tree = [
        (draw(st.integers(0, node)), draw(st.booleans()), draw(st.floats(1.0, 300.0)))
        for node in range(count)
    ]
    tree[-1] = (tree[-1][0], True, tree[-1][2])
    outlets = [f"outlet {row + 1}" for row, (_, outlet, _) in enumerate(tree) if outlet]
    mobs = ["a", "b", "c"][: draw(st.integers(1, 3))]
    pairs = [(mob, outlet) for mob in mobs for outlet in outlets]
    chosen = draw(st.lists(st.sampled_from(pairs), min_size=1, unique=True))
    return tree, [(mob, outlet, draw(st.floats(0.5, 40.0))) for mob, outlet in chosen]


def placings(tree: Tree, uses: list[tuple[str, str, float]]) -> np.ndarray:
    """Flow of each pipe for each way to put every mob at one of its outlets, by networkx."""
    graph = nx.DiGraph()
    network = network_of(tree)
    for name, pipe in network.pipes.iterrows():
        graph.add_edge(pipe["from_node"], pipe["to_node"], name=name)
    pipes = list(network.pipes.index)
    by_mob: dict[str, list[tuple[str, float]]] = {}
    for mob, outlet, flow in uses:
        by_mob.setdefault(mob, []).append((outlet, flow))
    rows = []
    for placing in itertools.product(*by_mob.values()):
        row = np.zeros(len(pipes))
        for outlet, flow in placing:
            path = nx.shortest_path(graph, "tank", outlet)
            for start, end in itertools.pairwise(path):
                row[pipes.index(graph.edges[start, end]["name"])] += flow
        rows.append(row)
    return np.array(rows)


@given(schemes())
@settings(deadline=None, derandomize=True, max_examples=80)
def test_design_flow_is_the_worst_of_every_placing(scheme: Any) -> None:
    tree, uses = scheme
    found = flows_of(tree, uses)
    worst = placings(tree, uses).max(axis=0)
    np.testing.assert_allclose(found.pipes["design_flow_l_min"], worst, rtol=1e-12)
    cases = found.cases.drop(columns=["mob", "outlet"]).to_numpy(float)
    assert (cases <= worst + 1e-9).all()
    everywhere = placings(tree, uses)
    for case in cases:  # each case is one of the placings
        assert np.abs(everywhere - case).max(axis=1).min() < 1e-9


@given(schemes())
@settings(deadline=None, derandomize=True, max_examples=40)
def test_where_a_mob_draws_alike_everywhere_the_cases_reach_every_design_flow(
    scheme: Any,
) -> None:
    tree, uses = scheme
    alike = [(mob, outlet, {"a": 3.0, "b": 5.0, "c": 11.0}[mob]) for mob, outlet, _ in uses]
    found = flows_of(tree, alike)
    cases = found.cases.drop(columns=["mob", "outlet"]).max(axis=0)
    np.testing.assert_allclose(cases, found.pipes["design_flow_l_min"], rtol=1e-12)


def lost_m(tree: Tree, flows: np.ndarray, outlet: int) -> np.ndarray:
    """Head lost on the way to a node, length x flow to the 1.85, for each row of flows."""
    lost, node = np.zeros(len(flows)), outlet
    while node:
        parent, _, length = tree[node - 1]
        lost += length * flows[:, node - 1] ** 1.85
        node = parent
    return lost


@given(schemes())
@settings(deadline=None, derandomize=True, max_examples=80)
def test_the_cases_hold_the_worst_placing_for_every_mob_at_every_outlet(scheme: Any) -> None:
    tree, uses = scheme
    cases = flows_of(tree, uses).cases
    for mob, outlet, _ in uses:
        node = int(outlet.split()[1])
        others = [use for use in uses if use[0] != mob]
        everywhere = placings(tree, [*others, *(use for use in uses if use[:2] == (mob, outlet))])
        rows = cases[(cases["mob"] == mob) & (cases["outlet"] == outlet)]
        tried = rows.drop(columns=["mob", "outlet"]).to_numpy(float)
        assert lost_m(tree, tried, node).max() == pytest.approx(
            lost_m(tree, everywhere, node).max()
        )
        roots = [row for row, (parent, _, _) in enumerate(tree) if parent == 0]
        assert tried[:, roots].sum(axis=1).max() == pytest.approx(
            everywhere[:, roots].sum(axis=1).max()
        )


def test_many_mobs_with_many_telling_places_stay_few_cases() -> None:
    """Seven mobs that draw the more the nearer the source: 3 to the 6th placings are not tried."""
    chain: Tree = [(0, True, 10.0), (1, True, 10.0), (2, True, 10.0)]
    uses = [
        (f"mob {number}", f"outlet {place}", 10.0 - place)
        for number in range(7)
        for place in (1, 2, 3)
    ]
    found = flows_of(chain, uses)
    assert found.cases.groupby(["mob", "outlet"]).size().to_dict()["mob 0", "outlet 3"] == 2
    assert found.cases["pipe 1"].max() == pytest.approx(7 * 9.0)


@given(schemes(), st.floats(0.5, 40.0), st.integers(0, 6))
@settings(deadline=None, derandomize=True, max_examples=60)
def test_adding_a_mob_never_lowers_any_design_flow(
    scheme: Any, flow_l_min: float, which: int
) -> None:
    tree, uses = scheme
    before = flows_of(tree, uses)
    outlets = [f"outlet {row + 1}" for row, (_, outlet, _) in enumerate(tree) if outlet]
    after = flows_of(tree, [*uses, ("new", outlets[which % len(outlets)], flow_l_min)])
    rise = after.pipes["design_flow_l_min"] - before.pipes["design_flow_l_min"]
    assert (rise >= 0.0).all()
    assert after.total_l_min == pytest.approx(before.total_l_min + flow_l_min)


@given(schemes())
@settings(deadline=None, derandomize=True, max_examples=40)
def test_a_pipe_never_carries_more_than_the_one_before_or_the_sum_of_those_after(
    scheme: Any,
) -> None:
    tree, uses = scheme
    flow = flows_of(tree, uses).pipes["design_flow_l_min"].to_numpy()
    for row, (parent, _, _) in enumerate(tree):
        if parent:
            assert flow[row] <= flow[parent - 1] + 1e-9
