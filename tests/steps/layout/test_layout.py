"""Outlets and pipe chosen together: proven least, lawful, and as the user wished."""

from __future__ import annotations

import networkx as nx
import numpy as np
import pytest
import shapely
from shapely.geometry import LineString, Point, box

from dewpond.base.model import Layout
from farms import SOUTH, WEST, squares
from steps.layout.small_holdings import Case, case, least_by_trial, shapes_table, tank

FIELDS = squares(2, 1, 160.0)
WIDE = {"siting": {"spacing_m": 80.0}, "design": {"walk_limit_m": 150.0}}


def check_scheme(one: Case, layout: Layout) -> None:
    """All ground in reach is served, and the edges form a tree that joins source and outlets."""
    walk = one.reach.walk_m.toarray()
    served = (walk[list(layout.sites)] > 0).any(axis=0)
    assert (served | layout.unreachable).all()
    edges = one.corridors.edges.loc[list(layout.edges)]
    nodes = one.corridors.nodes
    root = int(np.flatnonzero(nodes["source"] == layout.source)[0])
    graph = nx.Graph([(root, root), *zip(edges["start"], edges["end"], strict=True)])
    graph.remove_edge(root, root)
    assert nx.is_tree(graph)
    assert graph.number_of_edges() == len(edges)
    assert set(nodes.index[nodes["site"].isin(layout.sites)]) <= set(graph)
    assert layout.proof.bound <= layout.proof.value * (1 + 1e-9)
    assert layout.proof.value == pytest.approx(layout.outlet_cost + layout.pipe_cost)


def at(x: float, y: float) -> Point:
    return Point(WEST + x, SOUTH + y)


@pytest.mark.parametrize(
    ("columns", "rows", "side", "limit", "place"),
    [
        (2, 1, 160.0, 150.0, (0, 0)),
        (1, 2, 140.0, 110.0, (70, 300)),
        (2, 1, 110.0, 90.0, (160, -30)),
    ],
)
def test_equal_to_trial_of_everything(columns, rows, side, limit, place):
    one = case(
        squares(columns, rows, side),
        lambda x, y: 200.0 + 0.02 * (y - SOUTH),
        source=[tank(*place, height_above_ground_m=30.0)],
        siting={"spacing_m": 80.0},
        design={"walk_limit_m": limit},
    )
    layout = one.lay_out()
    check_scheme(one, layout)
    assert layout.proof.status == "optimal"
    assert layout.proof.value == pytest.approx(least_by_trial(one, 4), rel=1e-6)


def test_the_same_twice():
    one = case(squares(2, 2, 150.0), source=[tank(75, 310)], **WIDE)
    first, second = one.lay_out(), one.lay_out()
    assert (first.sites, first.edges) == (second.sites, second.edges)
    assert first.reproducible


class TestLaws:
    def test_more_places_a_longer_hose_or_limit_never_cost_more(self):
        def price(spacing_m: float = 80.0, limit_m: float = 120.0, hose_m: float = 0.0) -> float:
            one = case(
                FIELDS, source=[tank()],
                siting={"spacing_m": spacing_m, "inside": False},
                design={"walk_limit_m": limit_m, "hose_m": hose_m},
            )  # fmt: skip
            layout = one.lay_out()
            assert layout.proof.status == "optimal"
            assert not layout.unreachable.any()
            return layout.proof.value

        plain = price()
        tolerance = 1 + 1e-6
        # 80 m places are among the 40 m ones: both divide the 160 m sides evenly.
        assert price(spacing_m=40.0) <= plain * tolerance
        assert price(limit_m=140.0) <= plain * tolerance
        assert price(hose_m=25.0) <= plain * tolerance
        assert price(hose_m=25.0) == pytest.approx(price(limit_m=145.0), rel=0.2)

    def test_existing_pipe_and_outlets_never_raise_the_price(self):
        plain = case(FIELDS, source=[tank()], **WIDE).lay_out()
        pipe = LineString([(WEST, SOUTH), (WEST + 160, SOUTH), (WEST + 160, SOUTH + 160)])
        with_pipe = case(
            FIELDS, features={"existing_pipe": shapes_table([pipe])}, source=[tank()], **WIDE
        ).lay_out()
        outlets = shapes_table([at(160, 80)])
        with_outlet = case(
            FIELDS, features={"existing_outlets": outlets}, source=[tank()], **WIDE
        ).lay_out()
        assert with_pipe.proof.value < plain.proof.value
        assert with_outlet.proof.value <= plain.proof.value

    def test_worn_out_pipe_and_outlets_are_not_used_again(self):
        plain = case(FIELDS, source=[tank()], **WIDE).lay_out()
        pipe = LineString([(WEST, SOUTH), (WEST + 160, SOUTH), (WEST + 160, SOUTH + 160)])
        worn = {
            "existing_pipe": shapes_table([pipe], condition=["poor"], outside_diameter_mm=[32.0]),
            "existing_outlets": shapes_table([at(160, 80)], condition=["poor"]),
        }
        layout = case(FIELDS, features=worn, source=[tank()], **WIDE).lay_out()
        assert layout.proof.value == pytest.approx(plain.proof.value)


class TestWishes:
    def test_a_fixed_outlet_is_in(self):
        plain = case(FIELDS, source=[tank()], **WIDE).lay_out()
        place = at(33.0, 71.0)
        one = case(
            FIELDS, features={"fixed_outlets": shapes_table([place])}, source=[tank()], **WIDE
        )
        layout = one.lay_out()
        check_scheme(one, layout)
        chosen = one.candidates.sites.geometry.loc[list(layout.sites)]
        assert chosen.distance(place).min() < 0.01
        assert layout.proof.value >= plain.proof.value

    def test_a_fixed_outlet_off_all_paddocks_is_named(self):
        far = shapes_table([at(900.0, 900.0)])
        layout = case(FIELDS, features={"fixed_outlets": far}, source=[tank()], **WIDE).lay_out()
        assert len(layout.warnings) == 1
        assert "easting 400900, northing 480900" in layout.warnings[0]

    def test_forbidden_ground_is_clear_and_still_grazed(self):
        closed = box(WEST + 100, SOUTH - 20, WEST + 220, SOUTH + 120)
        one = case(
            FIELDS, features={"forbidden_ground": shapes_table([closed])}, source=[tank()], **WIDE
        )
        layout = one.lay_out()
        check_scheme(one, layout)
        assert one.reach.cells["area_m2"].sum() == pytest.approx(2 * 160**2)
        inner = closed.buffer(-0.3)
        assert not one.candidates.sites.geometry.intersects(inner).any()
        assert not one.corridors.edges.geometry.intersects(inner).any()
        free = case(FIELDS, source=[tank()], **WIDE).lay_out()
        assert layout.proof.value >= free.proof.value

    def test_preferred_ground_draws_outlets_at_a_known_price(self):
        ground = box(WEST + 150, SOUTH + 60, WEST + 170, SOUTH + 170)
        one = case(
            FIELDS, features={"preferred_ground": shapes_table([ground])}, source=[tank()], **WIDE
        )
        plain, drawn = one.lay_out(preference=0.0), one.lay_out(preference=1.0)
        points = one.candidates.sites.geometry

        def inside(layout: Layout) -> int:
            return int(points.loc[list(layout.sites)].intersects(ground).sum())

        assert inside(drawn) >= inside(plain)
        extra = drawn.proof.value - plain.proof.value
        # What it costs more is never beyond the discount that it was chosen for.
        assert -1e-6 <= extra <= inside(drawn) * one.project.prices.outlet_each + 1e-6

    def test_outlets_stand_along_a_spine_at_its_spacing(self):
        way = LineString([(WEST + 10, SOUTH + 80), (WEST + 310, SOUTH + 80)])
        one = case(
            FIELDS, features={"spine": shapes_table([way])}, source=[tank()],
            layout={"spine_spacing_m": 100.0}, **WIDE,
        )  # fmt: skip
        layout = one.lay_out()
        check_scheme(one, layout)
        chosen = one.candidates.sites.loc[list(layout.sites)]
        on = chosen[chosen["kind"] == "spine"].geometry.to_numpy()
        measures = np.sort(shapely.line_locate_point(way, on))
        assert measures == pytest.approx([0, 100, 200, 300])

    @pytest.mark.parametrize("most", [1, 2])
    def test_most_outlets_in_each_paddock(self, most):
        one = case(
            squares(2, 1, 120.0), source=[tank()], layout={"most_outlets_per_paddock": most},
            siting={"spacing_m": 60.0}, design={"walk_limit_m": 150.0},
        )  # fmt: skip
        layout = one.lay_out()
        access = one.candidates.access
        counts = access[access["site"].isin(layout.sites)].groupby("paddock").size()
        assert counts.max() <= most
        assert layout.warnings == ()

    def test_least_outlets_in_each_paddock(self):
        one = case(FIELDS, source=[tank()], layout={"least_outlets_per_paddock": 3}, **WIDE)
        layout = one.lay_out()
        access = one.candidates.access
        counts = access[access["site"].isin(layout.sites)].groupby("paddock").size()
        assert counts.min() >= 3

    def test_a_number_that_cannot_be_kept_yields_to_the_ground(self):
        one = case(squares(1, 1, 300.0), source=[tank()], layout={"most_outlets_per_paddock": 1},
                   siting={"spacing_m": 150.0}, design={"walk_limit_m": 200.0})  # fmt: skip
        layout = one.lay_out()
        check_scheme(one, layout)
        assert len(layout.sites) > 1
        assert any("field 1" in warning and "at most 1" in warning for warning in layout.warnings)


class TestTenure:
    def test_no_fixed_trough_stands_on_portable_ground(self):
        one = case(
            FIELDS, tenure=["owned", "portable"], source=[tank()],
            siting={"spacing_m": 80.0}, design={"walk_limit_m": 200.0, "trough": "fixed"},
        )  # fmt: skip
        layout = one.lay_out()
        points = one.candidates.sites.geometry.loc[list(layout.sites)]
        assert (points.distance(FIELDS[0]) <= 3.0).all()
        mobile = case(
            FIELDS, tenure=["owned", "portable"], source=[tank()],
            siting={"spacing_m": 80.0}, design={"walk_limit_m": 200.0},
        ).lay_out()  # fmt: skip
        assert mobile.proof.value <= layout.proof.value

    def test_ground_that_tenure_keeps_dry_is_marked_not_dropped(self):
        fields = [FIELDS[0], box(WEST + 400, SOUTH, WEST + 560, SOUTH + 160)]
        one = case(
            fields, tenure=["owned", "rented"], source=[tank()],
            siting={"spacing_m": 80.0}, design={"walk_limit_m": 200.0, "trough": "fixed"},
        )  # fmt: skip
        layout = one.lay_out()
        rented = (one.reach.cells["paddock"] == 1).to_numpy()
        assert layout.unreachable[rented].all()
        assert not layout.unreachable[~rented].any()
        assert not one.lay_out(landlord_consents=True).unreachable.any()

    def test_buried_pipe_keeps_off_portable_ground(self):
        fields = squares(3, 1, 120.0)
        one = case(
            fields, tenure=["owned", "portable", "owned"], source=[tank()],
            siting={"spacing_m": 60.0}, design={"walk_limit_m": 140.0, "laying": "buried"},
        )  # fmt: skip
        layout = one.lay_out()
        laid = one.corridors.edges.loc[list(layout.edges)].geometry
        allowed = shapely.union_all([fields[0].buffer(3.0), fields[2].buffer(3.0)])
        assert laid.intersection(fields[1].buffer(3.0)).difference(allowed).length.sum() < 1.01

    def test_a_wayleave_is_paid_by_the_metre(self):
        fields = squares(3, 1, 120.0)
        tables = {
            "source": [tank()], "siting": {"spacing_m": 60.0}, "design": {"walk_limit_m": 140.0},
        }  # fmt: skip
        plain = case(fields, **tables).lay_out()
        one = case(fields, tenure=["owned", "wayleave", "owned"], **tables)
        layout = one.lay_out()
        crossed = layout.pipe_cost - one.corridors.edges.loc[list(layout.edges)]["cost"].sum()
        # From the first field to the third, 120 m less the 3 m that count as beside each.
        assert crossed == pytest.approx(2.0 * (120 - 6), rel=0.01)
        assert layout.proof.value > plain.proof.value


class TestStillWater:
    # Ground rises to the east, one in ten; water in the tank stands 10 m over the west fence.
    @staticmethod
    def slope(x: np.ndarray, _: np.ndarray) -> np.ndarray:
        return 200.0 + 0.1 * (x - WEST)

    def test_no_site_above_the_water_where_a_lower_one_serves(self):
        """The south fence is cheap but a spur of high ground; both halves can be served lower."""
        one = case(
            squares(1, 1, 160.0), self.slope, source=[tank(0, 0, height_above_ground_m=9.0)],
            siting={"spacing_m": 40.0}, design={"walk_limit_m": 230.0},
        )  # fmt: skip
        layout = one.lay_out()
        check_scheme(one, layout)
        level = 209.0
        ground_m = one.candidates.sites["ground_level_m"].loc[list(layout.sites)]
        assert (ground_m <= level - 0.5 + 0.01).all()
        assert layout.warnings == ()

    def test_ground_that_only_high_places_serve_is_watered_with_a_word(self):
        one = case(
            squares(1, 1, 300.0), self.slope, source=[tank(0, 0, height_above_ground_m=9.0)],
            siting={"spacing_m": 60.0}, design={"walk_limit_m": 170.0},
        )  # fmt: skip
        layout = one.lay_out()
        check_scheme(one, layout)
        assert not layout.unreachable.any()
        assert len(layout.warnings) == 1
        assert "too low" in layout.warnings[0]
        assert "209.0 m" in layout.warnings[0]

    def test_a_pump_lifts_as_high_as_it_must(self):
        one = case(
            squares(1, 1, 300.0), self.slope,
            source=[tank(0, 0, kind="spring", pump={"power": "electric"})],
            siting={"spacing_m": 60.0}, design={"walk_limit_m": 170.0},
        )  # fmt: skip
        assert one.lay_out().warnings == ()


def test_of_several_sources_the_cheapest_is_taken():
    sources = [tank(-90, 0, name="far"), tank(0, 0, name="near")]
    one = case(FIELDS, source=sources, **WIDE)
    far, near, best = one.lay_out(0), one.lay_out(1), one.lay_out(None)
    assert near.proof.value < far.proof.value
    assert best.source == 1
    assert best.proof.value == near.proof.value
    assert best.proof.bound <= near.proof.bound


def test_a_search_cut_short_says_so():
    one = case(squares(3, 2, 200.0), source=[tank()], siting={"spacing_m": 50.0},
               design={"walk_limit_m": 120.0})  # fmt: skip
    layout = one.lay_out(time_limit_s=0.05)
    check_scheme(one, layout)
    assert not layout.reproducible
    assert any("cut short" in warning for warning in layout.warnings)
