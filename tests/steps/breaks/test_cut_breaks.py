"""Breaks against arithmetic done by hand and ways found by other means."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

import reference
from dewpond.base.errors import InputError
from dewpond.base.settings import BreaksSettings, DesignSettings, project_from_dict
from dewpond.steps.breaks import cut_breaks
from steps.breaks.break_ground import (
    HEAD,
    WEIGHT_KG,
    access,
    cut,
    demand,
    farm,
    network,
    straying_field,
)
from steps.corridors.pipe_ground import SOUTH, WEST, box, flat, polygon

FIELD = box(0, 0, 300, 100)
MIDDLE = (150, 0)
L_SHAPE = polygon((0, 0), (300, 0), (300, 100), (100, 100), (100, 300), (0, 300))
U_SHAPE = polygon((0, 0), (300, 0), (300, 300), (200, 300), (200, 100), (100, 100), (100, 300),
                  (0, 300))  # fmt: skip
HOLED = shapely.Polygon(
    box(0, 0, 300, 200).exterior, [box(120, 60, 180, 140).exterior.coords[::-1]]
)
SHAPES = {"rectangle": FIELD, "L": L_SHAPE, "U": U_SHAPE, "hole": HOLED}


def areas(breaks):
    return breaks.breaks.geometry.area.to_numpy()


def farthest_by_reference(ground, trough, strip, height=lambda x, y: 0.0 * x):
    """The walk from a trough to every vertex of a break, by the tests' own visibility graph."""
    return max(
        reference.shortest_way_m(ground, trough, tuple(vertex), height)
        for vertex in np.unique(shapely.get_coordinates(strip), axis=0)
    )


class TestRectangleByHand:
    """300 m by 100 m in six breaks of 50 m: with the outlet half way along, all is arithmetic."""

    @pytest.fixture
    def breaks(self):
        return cut([FIELD], [MIDDLE], moves=6, strips="across the long side")

    def test_six_breaks_of_half_a_hectare(self, breaks):
        np.testing.assert_allclose(breaks.breaks["area_ha"], 0.5, rtol=1e-9)

    def test_fences_stand_every_fifty_metres(self, breaks):
        edges = sorted({round(x - WEST, 6) for s in breaks.breaks.geometry for x in s.bounds[::2]})
        assert edges == [0, 50, 100, 150, 200, 250, 300]
        assert breaks.fences["length_m"].sum() == pytest.approx(500, abs=0.1)

    def test_hoses_reach_to_the_near_corner_of_each_break(self, breaks):
        np.testing.assert_allclose(sorted(breaks.breaks["hose_m"]), [0, 0, 50, 50, 100, 100])

    def test_walk_is_the_diagonal_of_a_break(self, breaks):
        np.testing.assert_allclose(breaks.breaks["walk_m"], np.hypot(50, 100), rtol=1e-9)

    def test_all_are_watered_by_the_one_outlet(self, breaks):
        assert breaks.breaks["watered"].all()
        assert set(breaks.breaks["outlet"]) == {"outlet 1"}
        assert breaks.warnings == ()

    def test_end_breaks_are_named_when_the_hose_is_ten_metres_short(self):
        short = cut([FIELD], [MIDDLE], moves=6, strips="across the long side", hose_m=90.0)
        assert list(short.breaks["watered"]) == [False, True, True, True, True, False]
        assert len(short.breaks) == 6
        assert all("100 m of hose, 90 m is the longest" in text for text in short.warnings)
        assert len(short.warnings) == 2

    def test_a_long_break_needs_its_trough_deeper_in(self):
        """From the corner the diagonal is 112 m; from the middle of the break 56 m."""
        deep = cut([FIELD], [(0, 0)], moves=6, strips="across the long side", walk_limit_m=90.0,
                   hose_m=400.0)  # fmt: skip
        assert deep.breaks["watered"].all()
        assert (deep.breaks["walk_m"] <= 90.0).all()
        assert deep.breaks["hose_m"].min() > 0


class TestLane:
    """The same field with a lane of 10 m along the fence with the outlet: breaks 90 m long."""

    @pytest.fixture
    def breaks(self):
        return cut([FIELD], [MIDDLE], moves=6, water_by="lane", lane_width_m=10.0,
                   strips="across the long side")  # fmt: skip

    def test_lane_runs_along_the_fence_with_the_outlet(self, breaks):
        (lane,) = breaks.lanes.geometry
        assert lane.equals(box(0, 0, 300, 10))

    def test_breaks_and_lane_make_up_the_field(self, breaks):
        np.testing.assert_allclose(areas(breaks), 50 * 90, rtol=1e-9)
        whole = shapely.union_all([*breaks.breaks.geometry, *breaks.lanes.geometry])
        assert whole.symmetric_difference(FIELD).area < 0.01

    def test_walks_lead_from_the_far_corner_to_the_outlet(self, breaks):
        """The far corners of the outer breaks are 150 m along and 100 m up: in sight of it."""
        walks = breaks.breaks["walk_m"].to_numpy()
        assert max(walks) == pytest.approx(
            # Round the corner of the break beside it, 10 m up and 100 m along, then to the top.
            np.hypot(100, 10) + np.hypot(50, 90), rel=1e-4
        )  # fmt: skip
        assert min(walks) == pytest.approx(np.hypot(50, 100), rel=1e-4)
        assert (breaks.breaks["hose_m"] == 0).all()

    def test_troughs_stay_at_the_outlet(self, breaks):
        assert list(breaks.moves["trough_moves"]) == [True] + [False] * 5

    def test_fixed_troughs_ask_for_a_lane_and_mobile_ones_for_a_hose(self):
        assert len(cut([FIELD], [MIDDLE], trough="fixed", moves=3).lanes) == 1
        assert len(cut([FIELD], [MIDDLE], trough="mobile", moves=3).lanes) == 0


@pytest.mark.parametrize("shape", SHAPES.values(), ids=SHAPES.keys())
@pytest.mark.parametrize("way", ["hose", "lane"])
@pytest.mark.parametrize("moves", [2, 5, 7])
class TestShapes:
    def test_equal_in_one_piece_and_nothing_left_over(self, shape, way, moves):
        breaks = cut([shape], [(150, 0)], moves=moves, water_by=way)
        assert len(breaks.breaks) == moves
        assert (breaks.breaks.geometry.geom_type == "Polygon").all()
        np.testing.assert_allclose(areas(breaks), areas(breaks).mean(), rtol=0.02)
        lane_m2 = breaks.lanes.geometry.area.sum()
        assert areas(breaks).sum() + lane_m2 == pytest.approx(shape.area, rel=1e-6)
        parts = [*breaks.breaks.geometry, *breaks.lanes.geometry]
        overlap = sum(part.area for part in parts) - shapely.union_all(parts).area
        assert abs(overlap) < 0.01


@pytest.mark.parametrize("shape", SHAPES.values(), ids=SHAPES.keys())
def test_hose_and_walk_agree_with_another_visibility_graph(shape):
    outlet = (150, 0)
    breaks = cut([shape], [outlet], moves=5, hose_m=500.0, walk_limit_m=200.0)
    start = (WEST + outlet[0], SOUTH + outlet[1])
    for row in breaks.breaks.itertuples():
        trough = (row.trough_easting_m, row.trough_northing_m)
        hose = reference.shortest_way_m(shape, start, trough, lambda x, y: 0.0 * x)
        assert row.hose_m == pytest.approx(hose, abs=0.05)
        assert row.geometry.distance(shapely.Point(trough)) < 0.06
        walk = farthest_by_reference(row.geometry, trough, row.geometry)
        assert row.walk_m == pytest.approx(walk, abs=0.1)
        assert row.watered == (hose <= 500.05 and walk <= 200.05)


@pytest.mark.parametrize("shape", SHAPES.values(), ids=SHAPES.keys())
def test_no_shorter_hose_reaches_a_break(shape):
    """Every point of the outline, ten metres apart, tried by the other visibility graph."""
    outlet = (20, 0)
    breaks = cut([shape], [outlet], moves=4, hose_m=500.0, walk_limit_m=1000.0)
    start = (WEST + outlet[0], SOUTH + outlet[1])
    for row in breaks.breaks.itertuples():
        spots = shapely.get_coordinates(shapely.segmentize(row.geometry.boundary, 10.0))
        least = min(
            reference.shortest_way_m(shape, start, tuple(spot), lambda x, y: 0.0 * x)
            for spot in spots
        )
        assert row.hose_m <= least + 0.05


def test_lane_walks_agree_with_another_visibility_graph():
    breaks = cut([L_SHAPE], [(150, 0)], moves=5, water_by="lane")
    lane = breaks.lanes.geometry.iloc[0]
    for row in breaks.breaks[breaks.breaks["walk_m"].notna()].itertuples():
        ground = shapely.union_all([row.geometry.buffer(0.005), lane.buffer(0.005)])
        trough = (row.trough_easting_m, row.trough_northing_m)
        walk = farthest_by_reference(ground, trough, row.geometry)
        assert row.walk_m == pytest.approx(walk, abs=0.1)


@settings(deadline=None, derandomize=True, max_examples=25)
@given(random_state=st.integers(0, 10_000), moves=st.integers(2, 8))
def test_straying_fields_are_cut_into_equal_whole_breaks(random_state, moves):
    field = straying_field(random_state)
    breaks = cut([field], [], moves=moves)
    assert len(breaks.breaks) == moves
    assert areas(breaks).sum() == pytest.approx(field.area, rel=1e-6)
    np.testing.assert_allclose(areas(breaks), field.area / moves, rtol=0.02)
    pieces = [name for name, s in zip(breaks.breaks["name"], breaks.breaks.geometry, strict=True)
              if s.geom_type != "Polygon"]  # fmt: skip
    # Never silent: what no straight fence kept in one piece is said by name.
    assert sum("lies in pieces" in text for text in breaks.warnings) == len(pieces)


def test_most_straying_fields_are_cut_without_pieces():
    whole = [
        (
            cut([straying_field(random_state)], [], moves=6).breaks.geometry.geom_type == "Polygon"
        ).all()
        for random_state in range(20)
    ]
    assert np.mean(whole) >= 0.95


def test_length_is_measured_over_the_ground():
    """On a plane that rises one in two across the field every hose and walk along it is longer."""

    def slope(x, y):
        return 0.5 * x

    level = cut([FIELD], [MIDDLE], moves=6, height=flat, strips="across the long side")
    hill = cut([FIELD], [MIDDLE], moves=6, height=slope, strips="across the long side",
               hose_m=200.0)  # fmt: skip
    np.testing.assert_allclose(
        np.sort(hill.breaks["hose_m"]), np.sort(level.breaks["hose_m"]) * np.hypot(1, 0.5),
        rtol=1e-6,
    )  # fmt: skip


def test_size_of_breaks_is_met_as_nearly_as_equal_breaks_allow():
    assert len(cut([FIELD], [MIDDLE], target_ha=1.0).breaks) == 3
    assert len(cut([FIELD], [MIDDLE], target_ha=0.7).breaks) == 4
    assert len(cut([FIELD], [MIDDLE], target_ha=50.0).breaks) == 1


def test_breaks_beside_each_other_share_an_outlet_on_their_fence():
    """Two fields along one fence: an outlet in it serves both, the one in the road fence does."""
    fields = [box(0, 0, 300, 100), box(0, 100, 300, 200)]
    breaks = cut(fields, [(150, 100)], moves=3)
    assert set(breaks.breaks["outlet"]) == {"outlet 1"}
    assert breaks.breaks["watered"].all()


def test_a_field_without_outlet_is_cut_and_named():
    fields = [box(0, 0, 300, 100), box(0, 500, 300, 600)]
    breaks = cut(fields, [MIDDLE], moves=3)
    dry = breaks.breaks[breaks.breaks["paddock"] == 1]
    assert len(dry) == 3
    assert not dry["watered"].any()
    assert all("no outlet serves this paddock" in text for text in breaks.warnings)
    assert [text.split(" has")[0] for text in breaks.warnings] == [
        "Break field 1 1", "Break field 1 2", "Break field 1 3",
    ]  # fmt: skip


def test_two_outlets_share_a_long_field():
    breaks = cut([box(0, 0, 600, 100)], [(100, 0), (500, 0)], moves=6,
                 strips="across the long side")  # fmt: skip
    assert list(breaks.breaks["outlet"]) in (
        ["outlet 1"] * 3 + ["outlet 2"] * 3,
        ["outlet 2"] * 3 + ["outlet 1"] * 3,
    )


class TestMoves:
    def test_days_from_the_herbage(self):
        """0.5 ha x 2,400 kg/ha x 0.5 eaten = 600 kg; 80 x 350 kg x 2.5 % = 700 kg a day."""
        breaks = cut([FIELD], [MIDDLE], moves=6, herbage_kg_ha=2400.0)
        assert HEAD * WEIGHT_KG * 0.025 == 700.0
        np.testing.assert_allclose(breaks.moves["days"], 600 / 700, rtol=1e-9)

    def test_days_as_set_where_no_herbage_is_known(self):
        assert (cut([FIELD], [MIDDLE], moves=6, days=0.5).moves["days"] == 0.5).all()

    def test_a_mob_goes_through_its_paddocks_in_order(self):
        fields = [box(0, 0, 300, 100), box(0, 100, 300, 200)]
        moves = cut(fields, [(150, 100)], moves=3).moves
        assert list(moves["move"]) == [1, 2, 3, 4, 5, 6]
        assert list(moves["paddock"]) == ["field 0"] * 3 + ["field 1"] * 3
        assert list(moves["break"][:2]) == ["field 0 1", "field 0 2"]

    def test_a_trough_that_serves_two_breaks_from_their_fence_stays(self):
        """The outlet stands where the middle fence meets the hedge: two breaks, one place."""
        breaks = cut([FIELD], [MIDDLE], moves=2, strips="across the long side")
        assert list(breaks.moves["trough_moves"]) == [True, False]
        assert (breaks.moves["hose_m"] == 0).all()


def test_without_the_table_nothing_is_cut():
    place = farm([FIELD])
    nothing = cut_breaks(place, demand(place), access(place, [MIDDLE]), network([MIDDLE]), None,
                         DesignSettings())  # fmt: skip
    assert len(nothing.breaks) == len(nothing.moves) == len(nothing.hoses) == 0
    assert nothing.warnings == ()


def test_an_unknown_paddock_is_a_fault_with_the_nearest_name():
    with pytest.raises(InputError, match='did you mean "field 0"'):
        cut([FIELD], [MIDDLE], moves=2, paddocks=["feild 0"])


def test_size_and_moves_exclude_each_other():
    raw = {
        "holding": {"name": "Test"},
        "mob": [{"name": "m", "species": "cattle", "head": 1, "weight_kg": 1.0}],
        "source": [{"name": "s", "kind": "mains", "at": [0.0, 0.0]}],
    }
    for wrong in ({}, {"moves": 2, "target_ha": 1.0}):
        with pytest.raises(InputError, match="either target_ha or moves"):
            project_from_dict({**raw, "breaks": wrong})
    assert project_from_dict({**raw, "breaks": {"moves": 2}}).breaks == BreaksSettings(moves=2)
