"""Corridors: lengths over the ground, ways that exist, ways that may not."""

from __future__ import annotations

import networkx as nx
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from steps.corridors.pipe_ground import (
    PRICES,
    SOUTH,
    WEST,
    at,
    box,
    cheapest,
    graph_of,
    holding,
    lay,
    line,
    node_of_site,
    node_of_source,
    polygon,
    source,
)

# Two square paddocks of 200 m side by side: outer fence, and the one between them.
PADDOCKS = [box(0, 0, 200, 200), box(200, 0, 400, 200)]
FENCES = [
    line((200, 0), (0, 0), (0, 200), (200, 200)),
    line((200, 200), (400, 200), (400, 0), (200, 0)),
    line((200, 0), (200, 200)),
]
SITES = [(0, 100), (100, 200), (200, 100), (400, 100), (100, 0)]


@pytest.mark.parametrize("follow", ["fences", "open"])
def test_every_site_and_source_is_a_node_and_all_hang_together(follow):
    corridors = lay(holding([source(-30, 50)], PADDOCKS), FENCES, SITES, follow)
    assert sorted(corridors.nodes["site"][corridors.nodes["site"] >= 0]) == [0, 1, 2, 3, 4]
    assert (corridors.nodes["source"] >= 0).sum() == 1
    assert nx.is_connected(graph_of(corridors))
    ends = np.array([shapely.get_coordinates(g)[[0, -1]] for g in corridors.edges.geometry])
    nodes = shapely.get_coordinates(corridors.nodes.geometry)
    np.testing.assert_allclose(ends[:, 0], nodes[corridors.edges["start"]], atol=1e-9)
    np.testing.assert_allclose(ends[:, 1], nodes[corridors.edges["end"]], atol=1e-9)
    for site, (x, y) in enumerate(SITES):
        np.testing.assert_allclose(
            nodes[node_of_site(corridors, site)], (WEST + x, SOUTH + y), atol=0.001
        )


@pytest.mark.parametrize("follow", ["fences", "open"])
def test_lengths_run_over_the_ground_of_a_tilted_plane(follow):
    # Closed form: on a plane a straight piece of (dx, dy) climbs 0.3 dx - 0.2 dy.
    farm = holding([source(-30, 50)], PADDOCKS, height=lambda x, y: 0.3 * x - 0.2 * y)
    corridors = lay(farm, FENCES, SITES, follow)
    for edge in corridors.edges.itertuples():
        step = np.diff(shapely.get_coordinates(edge.geometry), axis=0)
        climb = 0.3 * step[:, 0] - 0.2 * step[:, 1]
        expected = np.sqrt((step**2).sum(axis=1) + climb**2).sum()
        assert edge.length_m == pytest.approx(expected, rel=1e-9)
    way_m = cheapest(corridors, 0, 4)[1]
    if follow == "fences":
        assert way_m == pytest.approx(100 * np.hypot(1, 0.2) + 100 * np.hypot(1, 0.3))
    else:
        straight_m = np.sqrt(2 * 100**2 + (30 + 20) ** 2)
        assert straight_m <= way_m <= 1.05 * straight_m


def test_edges_are_priced_by_their_way_of_laying():
    farm = holding([source(0, 50)], PADDOCKS, tracks=[line((0, -10), (400, -10))])
    corridors = lay(farm, FENCES, SITES)
    price = {
        "fence": PRICES.along_fence_per_m,
        "track": PRICES.along_track_per_m,
        "open ground": PRICES.open_ground_per_m,
    }
    assert set(corridors.edges["laying"]) == set(price)
    per_m = corridors.edges["laying"].map(price)
    crossings = corridors.edges["crossings"].map(len)
    expected = per_m * corridors.edges["length_m"] + crossings * PRICES.track_crossing_each
    np.testing.assert_allclose(corridors.edges["cost"], expected)


def test_chains_become_one_edge_and_dead_ends_go():
    spur = line((400, 200), (600, 300))
    bent = line((0, 0), (50, 10), (100, 0), (150, 20), (200, 0))
    corridors = lay(
        holding([source(0, 0)]), [bent, spur, line((200, 0), (400, 200))], [(400, 200)]
    )
    assert len(corridors.nodes) == 2
    assert len(corridors.edges) == 1
    expected = 2 * np.hypot(50, 10) + 2 * np.hypot(50, 20) + np.hypot(200, 200)
    assert corridors.edges["length_m"][0] == pytest.approx(expected)


@pytest.mark.parametrize("follow", ["fences", "open"])
@pytest.mark.parametrize("height", [30, 300], ids=["within", "across the fence"])
def test_nothing_enters_a_keep_out(follow, height):
    wood = box(30, 40, 80, 40 + height)
    corridors = lay(holding([source(110, 20)], PADDOCKS, keep_out=[wood]), FENCES, SITES, follow)
    assert not shapely.intersects(corridors.edges.geometry.to_numpy(), wood.buffer(-0.3)).any()
    assert nx.is_connected(graph_of(corridors))


def test_a_source_behind_a_wood_is_joined_round_it():
    # A crescent shields the source from the fence on all straight ways.
    wood = polygon((-100, -20), (60, -20), (60, -30), (-80, -30), (-80, -170), (60, -170),
                   (60, -180), (-100, -180))  # fmt: skip
    fence = line((-50, 0), (0, 0))
    corridors = lay(holding([source(-60, -100)], keep_out=[wood]), [fence], [(0, 0)])
    graph = graph_of(corridors)
    start, stop = node_of_source(corridors), node_of_site(corridors, 0)
    length_m = nx.dijkstra_path_length(graph, start, stop, weight="length_m")
    # By hand: to the corner (60, -30), up past (60, -20), and across to the end of the fence.
    taut = np.hypot(120, 70) + 10 + np.hypot(60, 20)
    assert taut <= length_m < taut + 8
    assert not shapely.intersects(corridors.edges.geometry.to_numpy(), wood.buffer(-0.3)).any()


def test_a_walled_in_source_stays_apart():
    ring = box(500, 500, 600, 600).difference(box(540, 540, 560, 560))
    farm = holding([source(550, 550)], PADDOCKS, keep_out=[ring])
    graph = graph_of(lay(farm, FENCES, SITES))
    assert nx.number_connected_components(graph) == 2


def test_existing_pipe_costs_nothing():
    pipe = line((0, 50), (400, 150))
    without = lay(holding([source(0, 50)], PADDOCKS), FENCES, SITES)
    with_pipe = lay(holding([source(0, 50)], PADDOCKS, existing_pipe=[pipe]), FENCES, SITES)
    free = with_pipe.edges[with_pipe.edges["laying"] == "existing"]
    assert free["length_m"].sum() == pytest.approx(pipe.length)
    assert (free["cost"] == 0).all()
    # From (0, 100) down 50 m to the pipe, and from its end at (400, 150) down 50 m.
    assert cheapest(with_pipe, 0, 3)[0] == pytest.approx(2 * 50 * PRICES.along_fence_per_m)
    assert cheapest(without, 0, 3)[0] == pytest.approx(600 * PRICES.along_fence_per_m)


def test_existing_pipe_is_reached_from_a_fence_beside_it():
    pipe = line((0, -2), (400, -2))
    farm = holding([source(0, 0)], PADDOCKS, existing_pipe=[pipe])
    cost, _, _ = cheapest(lay(farm, FENCES, [(20, 0), (380, 0)]), 0, 1)
    assert cost <= 2 * 5 * PRICES.open_ground_per_m


def test_open_ground_is_crossed_nearly_straight():
    paddock = [box(0, 0, 400, 400)]
    fence = [line((0, 0), (400, 0), (400, 400), (0, 400), (0, 0))]
    corners = [(0, 130), (400, 270), (0, 0), (400, 400)]
    corridors = lay(holding([source(0, 0)], paddock), fence, corners, "open")
    for one, other in ((0, 1), (2, 3)):
        straight = np.hypot(*np.subtract(corners[one], corners[other]))
        assert straight <= cheapest(corridors, one, other)[1] <= 1.04 * straight
    around = lay(holding([source(0, 0)], paddock), fence, corners, "fences")
    assert cheapest(around, 2, 3)[1] == pytest.approx(800)
    # The source stands on a site and is tied to it by a hair; the rest is fence.
    assert set(around.edges["laying"][around.edges["length_m"] > 0.01]) == {"fence"}


def test_open_ground_ways_never_make_a_way_dearer():
    farm = holding([source(-30, 50)], PADDOCKS)
    fences, open_ = (lay(farm, FENCES, SITES, follow) for follow in ("fences", "open"))
    for one in range(5):
        for other in range(one):
            assert cheapest(open_, one, other)[0] <= cheapest(fences, one, other)[0] + 1e-6


def test_a_lane_without_a_track_is_crossed_where_the_way_round_is_long():
    # Two fields 8 m apart: the fences are separate, and 600 m long.
    fences = [line((0, 0), (600, 0), (600, 100), (0, 100), (0, 0)),
              line((0, 108), (600, 108), (600, 200), (0, 200), (0, 108))]  # fmt: skip
    sites = [(x, y) for x in (100, 300, 500) for y in (100, 108)]
    corridors = lay(holding([source(0, 0)]), fences, sites)
    for one in (0, 2, 4):
        assert cheapest(corridors, one, one + 1)[0] == pytest.approx(8 * PRICES.open_ground_per_m)
    narrow = lay(holding([source(0, 0)]), fences, sites, widest_gap_m=5.0)
    assert (narrow.edges["laying"] == "open ground").sum() == 1


@pytest.mark.parametrize("follow", ["fences", "open"])
def test_sites_inside_paddocks_are_tied_to_the_fences_round_them(follow):
    inside = [(60, 80), (110, 140), (320, 60)]
    corridors = lay(holding([source(-30, 50)], PADDOCKS), FENCES, [*SITES, *inside], follow)
    assert nx.is_connected(graph_of(corridors))
    # From (60, 80) the west fence is nearest, 60 m off, and site 0 is 20 m along it.
    assert cheapest(corridors, 0, 5)[0] <= (
        60 * PRICES.open_ground_per_m + 20 * PRICES.along_fence_per_m + 1e-6
    )


def test_a_lane_with_a_track_is_crossed_straight():
    # Sites on either side do not face each other; the way across must not follow the track.
    fences = [line((0, 0), (600, 0)), line((0, 8), (600, 8))]
    farm = holding([source(-5, 0)], tracks=[line((-20, 4), (620, 4))])
    corridors = lay(farm, fences, [(300, 0), (320, 8)])
    cost, length_m, crossings = cheapest(corridors, 0, 1)
    assert crossings == ["track"]
    assert length_m == pytest.approx(28, abs=0.1)
    assert cost == pytest.approx(
        20 * PRICES.along_fence_per_m + 8 * PRICES.open_ground_per_m + PRICES.track_crossing_each
    )


def test_a_source_on_a_site_is_a_node_of_its_own():
    corridors = lay(holding([source(0, 100)], PADDOCKS), FENCES, SITES)
    start, stop = node_of_source(corridors), node_of_site(corridors, 0)
    assert start != stop
    between = nx.dijkstra_path_length(graph_of(corridors), start, stop, weight="length_m")
    assert between == pytest.approx(0.002, abs=1e-4)


def test_a_holding_without_lines_still_joins_site_and_source():
    corridors = lay(holding([source(0, 0)]), [], [(30, 40)])
    assert len(corridors.nodes) == 2
    assert len(corridors.edges) in (0, 1)


def test_the_same_input_gives_the_same_corridors():
    farm = holding([source(-30, 50)], PADDOCKS, tracks=[line((0, 210), (400, 210))])
    one, other = (lay(farm, FENCES, SITES, "open") for _ in range(2))
    assert one.edges.to_wkb().equals(other.edges.to_wkb())
    assert one.nodes.to_wkb().equals(other.nodes.to_wkb())


def test_turning_the_holding_changes_no_cost_over_open_ground():
    field = [(0, 0), (430, 20), (390, 310), (60, 280)]
    sites = [(0, 0), (390, 310)]

    def cost(turn):
        outline = [turn(*corner) for corner in field]
        farm = holding([source(*turn(-30.0, 50.0))], [polygon(*outline)])
        corridors = lay(farm, [line(*outline, outline[0])], [turn(*s) for s in sites], "open")
        return cheapest(corridors, 0, 1)[0]

    assert cost(_quarter_turned) == pytest.approx(cost(lambda x, y: (x, y)), abs=0.1)


def _quarter_turned(x, y):
    return -y, x


@given(
    sites=st.lists(st.floats(5, 195), min_size=2, max_size=4, unique=True),
    track_y=st.floats(30, 170),
    stream_x=st.floats(220, 380),
)
@settings(deadline=None, derandomize=True, max_examples=8)
def test_turning_the_holding_by_a_quarter_changes_no_cost(sites, track_y, stream_x):
    places = [(round(x, 2), 0.0) for x in sites] + [(400.0, 120.0)]
    track = [(-20.0, round(track_y, 2)), (420.0, round(track_y, 2))]
    stream = [(round(stream_x, 2), -50.0), (round(stream_x, 2) + 5, 250.0)]
    fences = [shapely.get_coordinates(fence) - (WEST, SOUTH) for fence in FENCES]

    def costs(turn):
        farm = holding(
            [source(*turn(-30.0, 50.0))],
            tracks=[line(*(turn(*p) for p in track))],
            watercourses=[line(*(turn(*p) for p in stream))],
        )
        corridors = lay(
            farm, [line(*(turn(*p) for p in f)) for f in fences], [turn(*p) for p in places]
        )
        return [cheapest(corridors, 0, other)[0] for other in range(1, len(places))]

    np.testing.assert_allclose(costs(lambda x, y: (x, y)), costs(_quarter_turned), atol=0.1)


def test_coordinates_are_relative_to_the_corner():
    assert at((1, 2)).tolist() == [[WEST + 1, SOUTH + 2]]
