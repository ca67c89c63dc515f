"""The pipe tree: names, direction, sums, proof, and what cannot be joined."""

from __future__ import annotations

import networkx as nx
import numpy as np
import pytest
import shapely

from dewpond.steps.routing import assemble_network
from steps.corridors.pipe_ground import (
    PRICES,
    box,
    candidates,
    graph_of,
    holding,
    join,
    lay,
    line,
    node_of_site,
    node_of_source,
    source,
)

# A trunk of 300 m with a branch of 100 m at 200 m, and a loop that is never the cheapest way.
FENCES = [
    line((0, 0), (100, 0), (200, 0), (300, 0)),
    line((200, 0), (200, 100)),
    line((0, 0), (0, 400), (300, 400), (300, 0)),
]
SITES = [(100, 0), (300, 0), (200, 100), (0, 300)]
FARM = holding([source(-10, 0), source(300, 410, name="spring", kind="spring")])


def _route(*chosen, farm=FARM, fences=FENCES, sites=SITES, follow="fences", source=0):
    corridors = lay(farm, fences, sites, follow)
    layout = join(farm, candidates(fences, sites), corridors, chosen, source, optimality_gap=0.0)
    return corridors, layout, assemble_network(farm, corridors, layout)


def test_pipes_run_outward_between_source_forks_and_outlets():
    _, _, network = _route(0, 1, 2)
    assert network.nodes.index.tolist() == [
        "tank", "outlet 1", "junction 1", "outlet 2", "outlet 3"
    ]  # fmt: skip
    assert network.nodes["kind"].tolist() == [
        "source", "outlet", "junction", "outlet", "outlet"
    ]  # fmt: skip
    assert set(network.nodes["site"]) == {-1, 0, 1, 2}
    pipes = network.pipes
    assert pipes.index.tolist() == ["pipe 1", "pipe 2", "pipe 3", "pipe 4"]
    assert pipes["from_node"].tolist() == ["tank", "outlet 1", "junction 1", "junction 1"]
    assert pipes["to_node"].tolist() == ["outlet 1", "junction 1", "outlet 2", "outlet 3"]
    np.testing.assert_allclose(pipes["length_m"], [110, 100, 100, 100])
    assert pipes["laying_m"].iloc[0] == (("fence", pytest.approx(100)),
                                         ("open ground", pytest.approx(10)))  # fmt: skip
    assert pipes["laying"].tolist() == ["fence"] * 4
    assert network.unconnected == ()
    assert network.warnings == ()


def test_geometry_leads_from_node_to_node():
    _, _, network = _route(0, 1, 2, 3)
    for pipe in network.pipes.itertuples():
        coordinates = shapely.get_coordinates(pipe.geometry)
        for end, name in ((0, pipe.from_node), (-1, pipe.to_node)):
            node = network.nodes.geometry[name]
            np.testing.assert_allclose(coordinates[end], (node.x, node.y), atol=1e-9)


def test_sums_agree_with_the_proof():
    _, layout, network = _route(0, 1, 2, 3)
    pipes = network.pipes
    assert pipes["cost"].sum() == pytest.approx(layout.pipe_cost)
    assert [sum(m for _, m in pairs) for pairs in pipes["laying_m"]] == pytest.approx(
        pipes["length_m"].tolist()
    )
    # By hand: trunk 300 m, branch 100 m, the way up to (0, 300), and 10 m of spur.
    expected = 700 * PRICES.along_fence_per_m + 10 * PRICES.open_ground_per_m
    assert layout.pipe_cost == pytest.approx(expected)
    assert layout.outlet_cost == pytest.approx(4 * PRICES.outlet_each)
    assert network.proof.value == pytest.approx(expected + 4 * PRICES.outlet_each)
    assert network.proof.bound == pytest.approx(network.proof.value)
    assert network.proof.status == "optimal"


def test_the_source_that_is_asked_for_is_used():
    _, _, network = _route(1, source=1)
    assert network.source == 1
    assert network.nodes.index[0] == "spring"
    assert network.pipes["length_m"].sum() == pytest.approx(410)
    assert _route(1)[2].source == 0


def test_crossings_are_carried_to_the_pipe():
    farm = holding([source(-10, 0)], watercourses=[line((150, -50), (150, 50))],
                   tracks=[line((250, -50), (250, 20))])  # fmt: skip
    _, _, network = _route(1, farm=farm)
    assert network.pipes["crossings"].tolist() == [("watercourse", "track")] or sorted(
        network.pipes["crossings"].iloc[0]
    ) == ["track", "watercourse"]


def test_an_outlet_that_cannot_be_joined_is_named():
    ring = box(500, 500, 600, 600).difference(box(540, 540, 560, 560))
    farm = holding([source(-10, 0)], keep_out=[ring])
    fences = [*FENCES, line((545, 545), (555, 555))]
    corridors, layout, network = _route(0, 4, farm=farm, fences=fences, sites=[*SITES, (550, 550)])
    assert network.unconnected == (4,)
    assert (network.nodes["kind"] == "outlet").sum() == 1
    assert len(layout.warnings) == 1
    assert "easting 400550, northing 480550" in layout.warnings[0]
    assert '"tank"' in layout.warnings[0]
    assert not nx.is_connected(graph_of(corridors))


def test_no_outlet_makes_no_pipe():
    _, _, network = _route()
    assert len(network.pipes) == 0
    assert network.nodes.index.tolist() == ["tank"]
    assert network.pipes["length_m"].sum() == 0
    assert network.proof.status == "optimal"


def test_existing_pipe_is_preferred_and_free():
    farm = holding([source(-10, 0)], existing_pipe=[line((0, 0), (0, 300))])
    _, _, network = _route(3, farm=farm)
    assert network.pipes["cost"].sum() == pytest.approx(10 * PRICES.open_ground_per_m)
    # The spur is new and the rest is there already: two pipes, each of one kind.
    assert network.pipes["laying"].tolist() == ["open ground", "existing"]
    assert network.pipes["length_m"].tolist() == pytest.approx([10, 300])
    assert network.nodes["kind"].tolist() == ["source", "junction", "outlet"]


@pytest.mark.parametrize("follow", ["fences", "open"])
@pytest.mark.parametrize("random_state", range(4))
def test_never_dearer_than_mehlhorn_of_networkx_on_random_fields(random_state, follow):
    random = np.random.default_rng(random_state)
    lines, paddocks = [], []
    for column in range(4):
        for row in range(4):
            x, y, side = 150 * column, 150 * row, 150
            paddocks.append(box(x, y, x + side, y + side))
            lines += [line((x, y), (x + side, y)), line((x, y), (x, y + side))]
    lines += [line((600, 0), (600, 600)), line((0, 600), (600, 600))]
    sites = sorted({(int(x) * 150 + int(d), int(y) * 150)
                    for x, y, d in zip(random.integers(0, 4, 25), random.integers(0, 5, 25),
                                       random.integers(1, 150, 25), strict=True)})  # fmt: skip
    farm = holding([source(-40, 310)], paddocks,
                   height=lambda x, y: 0.2 * x + 15 * np.sin(y / 80),
                   watercourses=[line((-10, 400), (250, 230), (610, 190))])  # fmt: skip
    corridors, layout, network = _route(
        *range(0, len(sites), 2), farm=farm, fences=lines, sites=sites, follow=follow
    )
    terminals = [node_of_source(corridors)]
    terminals += [node_of_site(corridors, site) for site in range(0, len(sites), 2)]
    other = nx.algorithms.approximation.steiner_tree(
        graph_of(corridors), terminals, weight="cost", method="mehlhorn"
    )
    assert layout.pipe_cost <= other.size(weight="cost") * (1 + 1e-9)
    assert network.proof.bound == pytest.approx(network.proof.value, rel=1e-6)
    flow = nx.DiGraph(zip(network.pipes["from_node"], network.pipes["to_node"], strict=True))
    assert nx.is_arborescence(flow)
    assert set(flow) == set(network.nodes.index)
