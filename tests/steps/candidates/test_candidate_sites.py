"""Sites stand where they serve the paddocks they should, and never where a rule forbids it."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from candidate_ground import make_holding, mob
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.affinity import affine_transform
from shapely.geometry import LineString, Point, Polygon, box

from dewpond.base.model import Candidates
from dewpond.base.settings import DesignSettings, SitingSettings
from dewpond.steps.candidates import find_candidates

GAP_M = 3.0
TWO = (box(0, 0, 200, 200), box(200, 0, 400, 200))


def sites_of(shapes, *, siting=None, design=None, gap_m=GAP_M, **ground) -> Candidates:
    holding, terrain = make_holding(shapes, **ground)
    return find_candidates(
        holding, terrain, siting or SitingSettings(), design or DesignSettings(), gap_m
    )


def coordinates(found: Candidates) -> np.ndarray:
    return shapely.get_coordinates(found.sites.geometry.to_numpy())


def paddocks_at(found: Candidates, x: float, y: float, within_m: float = 0.01) -> list[int]:
    """Return the paddocks that the one site at a place serves."""
    at = np.flatnonzero(found.sites.distance(Point(x, y)) <= within_m)
    assert len(at) == 1
    return found.access.loc[found.access["site"] == at[0], "paddock"].tolist()


def test_places_divide_each_fence_evenly():
    found = sites_of([box(0, 0, 120, 100)], siting=SitingSettings(spacing_m=50.0))
    on_south = sorted(x for x, y in coordinates(found) if y == 0)
    assert on_south == pytest.approx([0, 40, 80, 120])
    on_west = sorted(y for x, y in coordinates(found) if x == 0)
    assert on_west == pytest.approx([0, 50, 100])


def test_contract_of_the_tables():
    found = sites_of(TWO)
    assert list(found.sites.index) == list(range(len(found.sites)))
    assert set(found.sites["kind"]) == {"fence"}
    assert found.access.equals(found.access.sort_values(["site", "paddock"], ignore_index=True))
    assert set(found.access["site"]) == set(found.sites.index)
    assert not found.sites.geometry.duplicated().any()
    assert dict(found.refused) == dict.fromkeys(found.refused, 0)
    assert found.by_paddock["sites"].to_dict() == found.access["paddock"].value_counts().to_dict()


@pytest.mark.parametrize(
    ("neighbour", "west"),
    [
        (box(200, 0, 400, 200), 200.0),
        (box(200.05, 0, 400, 200), 200.05),
        (Polygon([(200.5, 0), (400, 0), (400, 200), (199.5, 200)]), None),
        (box(202, 0, 400, 200), 202.0),
    ],
    ids=["exact", "5 cm", "sliver", "2 m"],
)
def test_a_site_on_a_shared_fence_serves_both_sides(neighbour, west):
    shapes = [TWO[0], neighbour]
    found = sites_of(shapes)
    assert paddocks_at(found, 200, 100) == [0, 1]
    site = int(np.flatnonzero(found.sites.distance(Point(200, 100)) < 0.01)[0])
    for row in found.access[found.access["site"] == site].itertuples():
        stand = Point(row.easting_m, row.northing_m)
        assert shapes[row.paddock].distance(stand) < 1e-9
        assert stand.distance(Point(200, 100)) == pytest.approx(
            shapes[row.paddock].distance(Point(200, 100)), abs=1e-9
        )
        if row.paddock == 1 and west is not None:
            assert stand.x == pytest.approx(west)


def test_a_junction_serves_every_paddock_that_meets_there():
    quarters = [box(x, y, x + 100, y + 100) for x in (0, 100) for y in (0, 100)]
    assert paddocks_at(sites_of(quarters), 100, 100) == [0, 1, 2, 3]


def test_ungrazed_paddocks_are_not_served_but_keep_their_fences():
    found = sites_of(TWO, mobs=[mob([1])])
    assert set(found.access["paddock"]) == {1}
    assert coordinates(found)[:, 0].min() == 200
    assert {p for sides in found.fences["paddocks"] for p in sides} == {0, 1}
    assert list(found.by_paddock.index) == [1]


def test_a_fence_round_a_hole_has_sites():
    ring = Polygon(box(0, 0, 300, 300).exterior, [box(100, 100, 200, 200).exterior.coords])
    found = sites_of([ring])
    assert paddocks_at(found, 150, 100) == [0]
    assert paddocks_at(found, 200, 200) == [0]


@pytest.mark.parametrize("clearance_m", [0.0, 10.0, 25.0])
def test_no_site_near_a_gateway_and_closer_ones_beside_it(clearance_m):
    siting = SitingSettings(gate_clearance_m=clearance_m)
    found = sites_of(TWO, siting=siting, gates=[Point(200, 100)])
    nearest = found.sites.distance(Point(200, 100)).min()
    assert clearance_m <= nearest <= clearance_m + siting.spacing_m / 4
    assert found.refused["gateway"] == {0.0: 0, 10.0: 1, 25.0: 3}[clearance_m]


def test_no_site_near_a_watercourse():
    stream = LineString([(-50, 100), (450, 100)])
    found = sites_of(TWO, watercourses=[stream])
    assert found.sites.distance(stream).min() >= 10 - 1e-6
    assert found.refused["watercourse"] == 3


def test_no_site_in_a_keep_out_but_on_its_edge():
    wood = box(150, -50, 260, 120)
    found = sites_of(TWO, keep_out=[wood])
    assert not found.sites.within(wood.buffer(-0.1)).any()
    assert found.refused["keep-out"] > 0
    edge = sites_of(TWO, keep_out=[box(-100, 0, 0, 200)])
    assert paddocks_at(edge, 0, 100) == [0]


def test_a_paddock_whose_side_of_the_fence_is_kept_out_is_not_served_from_it():
    apart = [box(0, 0, 200, 200), box(202, 0, 400, 200)]
    found = sites_of(apart, keep_out=[box(201, 50, 250, 150)])
    assert paddocks_at(found, 200, 100) == [0]
    assert paddocks_at(found, 200, 0) == [0, 1]
    assert found.refused["keep-out"] == 0
    assert found.by_paddock.loc[1, "keep-out"] > 0


def test_no_site_on_steep_ground():
    found = sites_of(TWO, slope_degrees=lambda x, y: np.where(x < 100, 14.0, 4.0) + 0 * y)
    assert coordinates(found)[:, 0].min() > 95
    assert found.sites["slope_degrees"].max() <= 10
    assert found.refused["steep ground"] > 0
    assert found.by_paddock.loc[0, "steep ground"] > 0
    assert found.by_paddock.loc[1, "steep ground"] == 0


def test_no_site_where_no_height_is_known():
    def height_m(x, y):
        return np.where(x < 100, np.nan, 10.0) + 0 * y

    found = sites_of(TWO, height_m=height_m)
    assert coordinates(found)[:, 0].min() >= 100
    assert found.refused["no height known"] > 0
    assert (found.sites["ground_level_m"] == 10).all()


def test_a_holding_without_any_site_is_still_a_result():
    found = sites_of(TWO, slope_degrees=lambda x, y: 30.0 + 0 * x + 0 * y)
    assert len(found.sites) == 0
    assert len(found.access) == 0
    assert found.by_paddock["sites"].tolist() == [0, 0]
    assert len(found.fences) > 0


def test_sites_inside_only_where_a_hose_is_used():
    mobs = [mob([0]), mob([1], name="rams", trough="fixed")]
    without = sites_of(TWO, mobs=mobs)
    assert set(without.sites["kind"]) == {"fence"}
    hose = DesignSettings(trough="mobile", hose_m=40.0)
    found = sites_of(TWO, mobs=mobs, design=hose)
    inside = found.sites[found.sites["kind"] == "inside"]
    assert inside.within(TWO[0]).all()
    assert len(inside) == 9
    asked = sites_of(TWO, mobs=mobs, siting=SitingSettings(inside=True))
    assert (asked.sites["kind"] == "inside").sum() == 18
    refused = sites_of(TWO, mobs=mobs, design=hose, siting=SitingSettings(inside=False))
    assert set(refused.sites["kind"]) == {"fence"}


def test_a_smooth_ring_is_divided_from_where_it_was_drawn():
    pond_field = Point(500, 500).buffer(100, quad_segs=32)
    found = sites_of([pond_field], siting=SitingSettings(spacing_m=60.0))
    start = pond_field.exterior.coords[0]
    assert paddocks_at(found, *start) == [0]
    assert len(found.sites) == int(np.ceil(pond_field.length / 60))


def rows(points: np.ndarray) -> np.ndarray:
    rounded = np.round(points, 4) + 0.0
    return rounded[np.lexsort(rounded.T)]


@settings(deadline=None, derandomize=True, max_examples=20)
@given(
    random_state=st.integers(0, 10_000),
    shift=st.tuples(st.integers(-40, 40), st.integers(-40, 40)),
    quarters=st.integers(0, 3),
)
def test_sites_turn_and_shift_with_the_holding(random_state, shift, quarters):
    random = np.random.default_rng(random_state)
    grid = np.stack(np.meshgrid([0.0, 130, 290], [0.0, 145, 260], indexing="ij"), axis=-1)
    shapes = []
    for i in range(2):
        for j in range(2):
            around = [(i, j), (i + 1, j), (i + 1, j + 1), (i, j + 1)]
            corners = np.array([grid[at] for at in around]) + random.uniform(-0.6, 0.6, (4, 2))
            shapes.append(Polygon(corners))
    turn = np.round([np.cos(quarters * np.pi / 2), np.sin(quarters * np.pi / 2)])
    matrix = [turn[0], -turn[1], turn[1], turn[0], 5.0 * shift[0], 5.0 * shift[1]]
    moved = [affine_transform(shape, matrix) for shape in shapes]
    gate, moved_gate = Point(131, 70), affine_transform(Point(131, 70), matrix)
    design = DesignSettings(hose_m=20.0)
    here = sites_of(shapes, gates=[gate], design=design)
    there = sites_of(moved, gates=[moved_gate], design=design)
    expected = [
        shapely.get_coordinates(affine_transform(point, matrix))[0]
        for point in here.sites.geometry
    ]
    assert len(here.sites) == len(there.sites)
    np.testing.assert_allclose(rows(coordinates(there)), rows(np.array(expected)), atol=2e-4)
    assert dict(here.refused) == dict(there.refused)
    assert here.by_paddock.equals(there.by_paddock)
