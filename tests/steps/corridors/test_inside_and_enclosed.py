"""Ways to sites deep within paddocks, and out of keep-outs that a source stands in."""

from __future__ import annotations

import networkx as nx
import numpy as np
import pytest
import shapely

from steps.corridors.pipe_ground import (
    PRICES,
    box,
    cheapest,
    graph_of,
    holding,
    lay,
    line,
    node_of_site,
    node_of_source,
    source,
)

SIDE = 900.0
FENCE = line((0, 0), (SIDE, 0), (SIDE, SIDE), (0, SIDE), (0, 0))
WIDE = box(0, 0, SIDE, SIDE)
LATTICE = [(x, y) for x in np.arange(50.0, 900.0, 100.0) for y in np.arange(50.0, 900.0, 100.0)]


def number_at(x, y):
    return 1 + LATTICE.index((x, y))


@pytest.fixture(scope="module")
def corridors():
    return lay(holding([source(-5, 0)], [WIDE]), [FENCE], [(0, 0), *LATTICE])


class TestSitesDeepWithin:
    def test_all_hang_together_over_open_ground(self, corridors):
        assert nx.is_connected(graph_of(corridors))
        within = corridors.edges[corridors.edges.geometry.interpolate(0.5, True).within(
            WIDE.buffer(-10)
        )]  # fmt: skip
        assert set(within["laying"]) == {"open ground"}
        assert within["cost"].to_numpy() == pytest.approx(
            within["length_m"].to_numpy() * PRICES.open_ground_per_m
        )

    def test_pipe_goes_on_from_one_to_the_next(self, corridors):
        cost, length_m, _ = cheapest(corridors, number_at(450.0, 450.0), number_at(450.0, 350.0))
        assert length_m == pytest.approx(100.0)
        assert cost == pytest.approx(100.0 * PRICES.open_ground_per_m)
        across = cheapest(corridors, number_at(450.0, 450.0), number_at(350.0, 350.0))
        assert across[1] == pytest.approx(100.0 * np.sqrt(2))

    def test_the_middle_is_no_farther_from_the_fence_than_straight(self, corridors):
        graph = graph_of(corridors)
        for_middle = nx.single_source_dijkstra_path_length(
            graph, node_of_site(corridors, number_at(450.0, 450.0)), weight="length_m"
        )
        points = corridors.nodes.geometry
        on_fence = points.index[points.distance(FENCE) < 0.01]
        assert min(for_middle[node] for node in on_fence) == pytest.approx(450.0, abs=0.1)

    def test_the_graph_stays_small(self, corridors):
        assert len(corridors.edges) < 10 * len(LATTICE)


class TestSourceWithinAKeepOut:
    YARD = box(-10, -10, 20, 26)

    def lay_out_of(self, yards, x=8.0, y=5.0):
        farm = holding([source(x, y)], [WIDE], keep_out=yards)
        return lay(farm, [FENCE], [(SIDE, 0), (0, SIDE)])

    def test_pipe_leaves_by_the_shortest_way_and_nothing_else_enters(self):
        corridors = self.lay_out_of([self.YARD])
        graph = graph_of(corridors)
        assert nx.is_connected(graph)
        indoors = corridors.edges.geometry.intersection(self.YARD.buffer(-0.3)).length
        # From (8, 5) the east edge is nearest, 12 m off.
        assert indoors.sum() == pytest.approx(12.0, abs=0.35)
        edge = corridors.edges.loc[indoors.idxmax()]
        assert edge["laying"] == "open ground"
        assert edge["cost"] == pytest.approx(edge["length_m"] * PRICES.open_ground_per_m)

    def test_a_note_names_source_and_keep_out(self):
        (note,) = self.lay_out_of([self.YARD]).warnings
        assert 'Source "tank" stands in a keep-out' in note
        assert "12 m over open ground" in note

    def test_keep_outs_that_touch_are_left_as_one(self):
        beside = box(20, -10, 60, 26)
        corridors = self.lay_out_of([self.YARD, beside])
        assert nx.is_connected(graph_of(corridors))
        # The east edge leads only into the next yard: south and west are out, 15 and 18 m off.
        (note,) = corridors.warnings
        assert "15 m" in note

    def test_a_keep_out_apart_is_still_kept_out_of(self):
        wood = box(100, -30, 140, 60)
        corridors = self.lay_out_of([self.YARD, wood])
        assert nx.is_connected(graph_of(corridors))
        assert not shapely.intersects(corridors.edges.geometry.to_numpy(), wood.buffer(-0.3)).any()

    def test_a_fence_met_on_the_way_out_ends_it(self):
        # The yard reaches no farther than the fence on its south side.
        corridors = self.lay_out_of([box(2, 0, 60, 60)], x=30.0, y=5.0)
        graph = graph_of(corridors)
        first = [graph.edges[node_of_source(corridors), n] for n in
                 graph.neighbors(node_of_source(corridors))]  # fmt: skip
        assert len(first) == 1
        assert first[0]["length_m"] == pytest.approx(5.0, abs=0.01)

    def test_a_holding_ringed_by_a_keep_out_is_told_by_what(self):
        ring = box(-50, -50, 950, 950).difference(box(-20, -20, 920, 920))
        farm = holding([source(-200, 0)], [WIDE], keep_out=[ring])
        farm.features.keep_out["name"] = "river meadow"
        (said,) = lay(farm, [FENCE], [(SIDE, 0), (0, SIDE)]).warnings
        assert said.startswith('Source "tank" is cut off from every place for an outlet by')
        assert 'keep-out "river meadow"' in said
        assert "leave a gap" in said
