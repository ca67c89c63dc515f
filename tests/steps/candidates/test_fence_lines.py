"""Neighbours' boundaries become one fence, and the fences one connected graph."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import networkx as nx
import numpy as np
import pytest
import shapely
from candidate_ground import paddock_table
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString, Polygon, box

from dewpond.steps.candidates.fences import merge_fences

GAP_M = 3.0


def fences_of(*shapes, gap_m: float = GAP_M) -> gpd.GeoDataFrame:
    return merge_fences(paddock_table(shapes), gap_m)


def graph(fences: gpd.GeoDataFrame) -> nx.MultiGraph:
    """Join lines only where their ends are equal to the last digit."""
    result = nx.MultiGraph()
    for line in fences.geometry:
        result.add_edge(line.coords[0], line.coords[-1])
    return result


def assert_noded(fences: gpd.GeoDataFrame) -> None:
    """Lines meet at their ends and nowhere else, and none lies on another."""
    lines = fences.geometry.to_numpy()
    first, second = shapely.STRtree(lines).query(lines, predicate="intersects")
    for a, b in zip(first[first < second], second[first < second], strict=True):
        shared = shapely.intersection(lines[a], lines[b])
        assert shapely.length(shared) == 0
        ends = {lines[a].coords[0], lines[a].coords[-1]} & {
            lines[b].coords[0],
            lines[b].coords[-1],
        }
        assert {tuple(xy) for xy in shapely.get_coordinates(shared)} <= ends
    assert fences.geometry.is_simple.all()


def shared_length(fences: gpd.GeoDataFrame, *paddocks: int) -> float:
    return float(fences.length[[sides == paddocks for sides in fences["paddocks"]]].sum())


WEST_FIELD = box(0, 0, 100, 100)
NEIGHBOURS = {
    "exact": box(100, 0, 220, 100),
    "5 cm apart": box(100.05, 0, 220, 100),
    "overlapping by a sliver": Polygon([(100.4, 0), (220, 0), (220, 100), (99.5, 100)]),
    "2 m apart": box(102, 0, 220, 100),
    "exactly the gap apart": box(103, 0, 220, 100),
    "with more corners": Polygon(
        [(101, 0), (220, 0), (220, 100), (99.8, 100), (100.3, 61), (100.9, 33)]
    ),
}


@pytest.mark.parametrize("neighbour", NEIGHBOURS.values(), ids=NEIGHBOURS)
def test_one_fence_between_neighbours(neighbour):
    fences = fences_of(WEST_FIELD, neighbour)
    assert shared_length(fences, 0, 1) == pytest.approx(100, abs=0.1)
    assert fences["paddocks"].map(len).value_counts().to_dict() == {1: 2, 2: 1}
    assert fences.length.sum() == pytest.approx(400 + 120 * 2 + 100, abs=6)
    assert_noded(fences)
    assert nx.is_connected(graph(fences))


def test_the_shared_fence_is_the_boundary_drawn_first():
    fences = fences_of(WEST_FIELD, box(102, 0, 220, 100))
    shared = fences.geometry[fences["paddocks"] == (0, 1)].iloc[0]
    assert shared.hausdorff_distance(LineString([(100, 0), (100, 100)])) == 0


def test_a_lane_wider_than_the_gap_stays_two_fences():
    fences = fences_of(WEST_FIELD, box(103.1, 0, 220, 100))
    assert list(fences["paddocks"]) == [(0,), (1,)]
    assert fences.geometry.map(lambda line: line.is_closed).all()


def test_without_a_gap_width_rounding_is_still_bridged():
    fences = fences_of(WEST_FIELD, box(100.004, 0, 220, 100), gap_m=0.0)
    assert shared_length(fences, 0, 1) == pytest.approx(100, abs=0.05)


@pytest.mark.parametrize("jitter_m", [0.0, 0.05, 1.0])
def test_four_paddocks_meet_in_one_junction(jitter_m):
    random = np.random.default_rng(4)
    corners = [(0, 0), (100, 0), (0, 100), (100, 100)]
    shapes = [
        Polygon(shapely.get_coordinates(box(x, y, x + 100, y + 100))[:-1]
                + random.uniform(-jitter_m, jitter_m, (4, 2)))
        for x, y in corners
    ]  # fmt: skip
    fences = fences_of(*shapes)
    assert_noded(fences)
    degrees = dict(graph(fences).degree())
    centre = [node for node in degrees if np.hypot(node[0] - 100, node[1] - 100) < 3]
    assert [degrees[node] for node in centre] == [4]
    assert sorted(degrees.values()) == [3, 3, 3, 3, 4]
    for pair in ((0, 1), (0, 2), (1, 3), (2, 3)):
        assert shared_length(fences, *pair) == pytest.approx(100, abs=4)


def test_a_fence_that_ends_against_another_makes_a_junction_where_it_points():
    south, north_west, north_east = (
        box(0, 0, 200, 100),
        box(0, 100, 80, 200),
        box(80, 100, 200, 200),
    )
    fences = fences_of(south, north_west, north_east)
    junctions = [node for node, degree in graph(fences).degree() if degree == 3]
    assert len(junctions) == 4
    assert min(np.hypot(x - 80, y - 100) for x, y in junctions) < 1e-9
    assert shared_length(fences, 0, 1) == pytest.approx(80)
    assert shared_length(fences, 0, 2) == pytest.approx(120)


def test_a_slanting_fence_meets_where_it_was_drawn():
    south = box(0, 0, 300, 100)
    west = Polygon([(0, 100), (100, 100), (273.2, 200), (0, 200)])
    east = Polygon([(100, 100), (300, 100), (300, 200), (273.2, 200)])
    fences = fences_of(south, west, east)
    nodes = graph(fences).nodes
    assert min(np.hypot(x - 100, y - 100) for x, y in nodes) < 0.5
    assert_noded(fences)


def test_a_hole_is_a_fence_of_its_own_and_shared_with_what_fills_it():
    ring = Polygon(box(0, 0, 300, 300).exterior, [box(100, 100, 160, 160).exterior.coords])
    alone = fences_of(ring)
    assert sorted(alone.length) == pytest.approx([240, 1200])
    filled = fences_of(ring, box(100.5, 100.5, 159.5, 159.5))
    assert sorted(filled["paddocks"]) == [(0,), (0, 1)]
    assert shared_length(filled, 0, 1) == pytest.approx(240)


def test_a_hole_that_touches_the_boundary_is_joined_to_it():
    outer = box(0, 0, 200, 200)
    hole = Polygon([(100, 0), (130, 60), (70, 60)])
    fences = fences_of(Polygon(outer.exterior, [hole.exterior.coords]))
    assert_noded(fences)
    assert graph(fences).degree((100.0, 0.0)) == 4


def test_a_narrow_paddock_keeps_both_its_fences():
    fences = fences_of(box(0, 0, 300, 100), box(0, 102.5, 300, 200), box(0, 100, 300, 102.5))
    assert shared_length(fences, 0, 2) == pytest.approx(300, abs=3)
    assert shared_length(fences, 1, 2) == pytest.approx(300, abs=3)
    assert shared_length(fences, 0, 1) == 0
    assert_noded(fences)


def test_a_short_fence_between_two_others_is_kept():
    upper, lower = box(0, 109, 200, 209), box(0, 0, 200, 100)
    west, east = box(0, 100, 90, 109), box(90, 100, 200, 109)
    fences = fences_of(upper, lower, west, east)
    assert shared_length(fences, 2, 3) == pytest.approx(9, abs=0.01)
    assert shared_length(fences, 0, 2) == pytest.approx(90, abs=0.01)
    assert_noded(fences)


def test_parts_of_one_paddock_across_a_lane_share_a_fence():
    fences = fences_of(shapely.MultiPolygon([box(0, 0, 100, 100), box(102, 0, 200, 100)]))
    assert set(fences["paddocks"]) == {(0,)}
    assert_noded(fences)
    assert fences.length.sum() == pytest.approx(400 + 2 * 98 + 100, abs=5)


@settings(deadline=None, derandomize=True, max_examples=25)
@given(
    random_state=st.integers(0, 10_000),
    shrunk_m=st.sampled_from([0.0, 0.8, 1.3]),
    shifted_m=st.sampled_from([0.0, 0.05, 0.8]),
)
def test_fences_of_any_subdivision_are_noded_and_whole(random_state, shrunk_m, shifted_m):
    if shrunk_m:  # else neighbours could be farther apart than the gap
        shifted_m = min(shifted_m, 0.05)
    random = np.random.default_rng(random_state)
    centres = shapely.MultiPoint(random.uniform(0, 600, (random.integers(3, 14), 2)))
    cells = shapely.get_parts(shapely.voronoi_polygons(centres))
    cells = shapely.buffer(shapely.intersection(cells, box(0, 0, 600, 600)), -shrunk_m)
    shifts = random.uniform(-shifted_m, shifted_m, (len(cells), 2))
    shapes = [
        shapely.transform(cell, lambda xy, shift=shift: xy + shift)
        for cell, shift in zip(cells, shifts, strict=True)
        if cell.area > 400
    ]
    fences = fences_of(*shapes)
    assert_noded(fences)
    assert nx.number_connected_components(graph(fences)) == 1
    lines = shapely.MultiLineString(list(fences.geometry))
    boundary = shapely.points(
        shapely.get_coordinates([shape.boundary.segmentize(5.0) for shape in shapes])
    )
    assert shapely.distance(lines, boundary).max() <= 1.5 * GAP_M + 0.01


@pytest.mark.parametrize(
    ("file", "crs"),
    [
        ("lancashire_uk_farm/fields_54_wgs84.geojson", 32630),
        ("nsw_au_paddocks_translated/paddocks_translated_epsg6933.gpkg", 28355),
    ],
)
def test_fences_of_a_real_place(real_data: Path, file: str, crs: int):
    paddocks = gpd.read_file(real_data / file).to_crs(crs)[["geometry"]]
    fences = merge_fences(paddocks, GAP_M)
    assert_noded(fences)
    lines = shapely.MultiLineString(list(fences.geometry))
    # Every boundary has a fence beside it, and every fence a boundary.
    vertices = shapely.points(shapely.get_coordinates(paddocks.segmentize(10.0).array))
    assert shapely.distance(lines, vertices).max() <= 1.5 * GAP_M + 0.01
    boundaries = shapely.MultiLineString(list(paddocks.boundary.explode()))
    assert (
        shapely.hausdorff_distance(lines, shapely.union(lines, boundaries)) <= 1.5 * GAP_M + 0.01
    )
    # Neighbours are joined by the fences.
    joined: dict[int, set[int]] = {paddock: set() for paddock in paddocks.index}
    for number, nodes in enumerate(nx.connected_components(graph(fences))):
        for line, sides in zip(fences.geometry, fences["paddocks"], strict=True):
            if line.coords[0] in nodes:
                for paddock in sides:
                    joined[paddock].add(number)
    boundaries = paddocks.boundary
    neighbours = zip(
        *boundaries.sindex.query(boundaries, predicate="dwithin", distance=GAP_M), strict=True
    )
    assert all(joined[one] & joined[other] for one, other in neighbours)
    # None has fewer sides than its paddocks: a paddock's fences close round it.
    for paddock, boundary in paddocks.boundary.items():
        own = fences.length[[paddock in sides for sides in fences["paddocks"]]].sum()
        assert own == pytest.approx(boundary.length, rel=0.1, abs=15)
