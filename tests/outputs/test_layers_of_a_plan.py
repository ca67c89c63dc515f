"""The tables of features against the values of the plan they are made from."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hand_plan import SOURCE_LEVEL_M, SOUTH, WEST, height, with_scheme
from hand_water import BREAK_LEVEL_M, BREAK_PIPE, OUTLETS, SIZES, nothing_fits

from dewpond.base.model import Plan
from dewpond.outputs.layers import Layers, plan_layers


@pytest.fixture(scope="module")
def layers(plan: Plan) -> Layers:
    return plan_layers(plan)


def test_layers_are_in_the_working_crs(plan: Plan, layers: Layers) -> None:
    assert all(layer.crs == plan.holding.crs for layer in layers.values())


def test_walks_of_a_paddock_weighted_by_area(plan: Plan, layers: Layers) -> None:
    cells = plan.reach.cells.assign(walk=plan.siting.walk_m)
    for paddock, row in layers["paddock"].iterrows():
        own = cells[cells["paddock"] == paddock]
        reached = own[own["walk"].notna()]
        assert row["farthest_walk_m"] == pytest.approx(reached["walk"].max(), abs=0.005)
        mean = np.average(reached["walk"], weights=reached["area_m2"])
        assert row["mean_walk_m"] == pytest.approx(mean, abs=0.005)
        share = reached["area_m2"].sum() / own["area_m2"].sum()
        assert row["covered_share"] == pytest.approx(share, abs=1.01e-4)
        assert row["covered_share"] <= share + 1e-12


def test_a_share_of_one_means_every_cell(plan: Plan) -> None:
    """One cell in a hundred thousand out of reach must not be rounded away."""
    areas = plan.reach.cells["area_m2"].to_numpy().copy()
    walk = np.where(np.isfinite(plan.siting.walk_m), plan.siting.walk_m, 100.0)
    walk[0] = np.nan
    areas[0] = areas.sum() * 1e-6
    changed = replace(
        with_scheme(plan, siting=replace(plan.siting, walk_m=walk)),
        reach=replace(plan.reach, cells=plan.reach.cells.assign(area_m2=areas)),
    )
    shares = plan_layers(changed)["paddock"]["covered_share"]
    assert shares[0] == 0.9999
    assert (shares[1:] == 1).all()


def test_a_paddock_that_nothing_grazes_has_no_walks(plan: Plan) -> None:
    keep = (plan.reach.cells["paddock"] != 3).to_numpy()
    siting = replace(
        plan.siting,
        walk_m=plan.siting.walk_m[keep],
        nearest_site=plan.siting.nearest_site[keep],
        unreachable=plan.siting.unreachable[keep],
    )
    cells = plan.reach.cells[keep].reset_index(drop=True)
    changed = replace(with_scheme(plan, siting=siting), reach=replace(plan.reach, cells=cells))
    row = plan_layers(changed)["paddock"].loc[3]
    assert row[["covered_share", "farthest_walk_m", "mean_walk_m"]].isna().all()


def test_levels_and_heads_of_outlets(layers: Layers) -> None:
    outlets = layers["outlet"]
    level = height(outlets.geometry.x, outlets.geometry.y)
    np.testing.assert_allclose(outlets["ground_level_m"], level, atol=6e-4)
    # The break tank on the way to outlets 3 and 4 lets the level of still water down.
    still = np.array([SOURCE_LEVEL_M, SOURCE_LEVEL_M, BREAK_LEVEL_M, BREAK_LEVEL_M])
    np.testing.assert_allclose(outlets["static_head_m"][:4], (still - level[:4]), atol=6e-4)
    assert np.isnan(outlets["static_head_m"][4])
    assert list(outlets["name"]) == [f"outlet {i}" for i in range(1, 6)]


def test_water_at_an_outlet_is_that_of_the_steps(plan: Plan, layers: Layers) -> None:
    outlets = layers["outlet"].set_index("name")
    scheme = plan.scheme
    for column, step in (
        ("design_flow_l_min", scheme.watering.outlets["design_flow_l_min"]),
        ("trough_volume_l", scheme.watering.outlets["trough_volume_l"]),
        ("available_flow_l_min", scheme.delivery.outlets["available_flow_l_min"]),
        ("residual_head_m", scheme.sizes.outlets["residual_head_m"]),
        ("needed_head_m", scheme.sizes.outlets["needed_head_m"]),
    ):
        np.testing.assert_allclose(outlets.loc[list(OUTLETS), column], step, atol=6e-4)
        assert np.isnan(outlets.loc["outlet 5", column])
    assert list(outlets["trough"]) == ["fixed and mobile", "mobile", "mobile", "mobile", None]


def test_fittings_of_an_outlet(layers: Layers) -> None:
    fittings = layers["outlet"].set_index("name")["fittings"]
    assert fittings["outlet 3"] == (
        "service valve at the inlet",
        "float valve, 9 mm seat, discharge coefficient 0.7",
        "link between 2 troughs",
    )
    assert fittings["outlet 5"] == ()


def test_which_outlets_are_served(plan: Plan) -> None:
    heads = plan.scheme.sizes.outlets.assign(residual_head_m=[5.0, 2.2995, 0.2, np.nan])
    changed = with_scheme(plan, sizes=replace(plan.scheme.sizes, outlets=heads))
    outlets = plan_layers(changed)["outlet"]
    # Half a millimetre is rounding; an outlet that no pipe reaches is not served either.
    assert list(outlets["served"]) == [True, True, False, False, False]
    notes = outlets.set_index("name")["notes"]
    assert "0.8 m short of the 1.0 m of head" in notes["outlet 3"]
    assert "no pipe on offer will do" in notes["outlet 4"]
    assert "short of" not in notes["outlet 1"]


def test_an_outlet_names_the_fence_it_stands_on(layers: Layers) -> None:
    notes = layers["outlet"].set_index("name")["notes"]
    assert notes["outlet 3"] == (
        "on the fence between Top Field, Beck Meadow, Long Pasture and Ghyll; "
        "Stock come together: two troughs linked"
    )
    assert notes["outlet 2"] == "inside the paddock"


def test_an_outlet_without_pipe_is_kept_and_says_so(layers: Layers) -> None:
    row = layers["outlet"].iloc[-1]
    assert "no way for pipe" in row["notes"]
    assert np.isnan(row["static_head_m"])
    assert row["serves"] == ("Long Pasture",)


def test_ground_above_the_source_is_noted(plan: Plan) -> None:
    pipes = plan.heads.pipes.copy()
    pipes.loc["pipe 1", "lowest_static_head_m"] = -2.5
    pipes.loc["pipe 5", "static_head_m"] = -1.25
    changed = with_scheme(
        plan,
        heads=replace(plan.heads, pipes=pipes),
        sizes=replace(plan.scheme.sizes, grade={}),
    )
    notes = plan_layers(changed)["outlet"].set_index("name")["notes"]
    assert "pipe 1 rises 2.5 m above the still water" in notes["outlet 2"]
    assert "lies 1.2 m above the still water" in notes["outlet 4"]


def test_pipes_have_the_size_and_class_chosen(plan: Plan, layers: Layers) -> None:
    pipes = layers["pipe"].set_index("name")
    for name, (outside, bore, sdr, bar) in SIZES.items():
        row = pipes.loc[name]
        assert row["outside_diameter_mm"] == outside
        assert row["inside_diameter_mm"] == bore
        assert row["sdr"] == sdr
        assert row["pressure_class_bar"] == bar
    # 8 L/min through a bore of 20.4 mm: 1.3333e-4 m3/s over 3.2685e-4 m2.
    assert pipes.loc["pipe 3", "velocity_m_s"] == pytest.approx(0.408, abs=5e-4)
    loss = plan.scheme.sizes.pipes["friction_loss_m"]
    np.testing.assert_allclose(pipes["friction_loss_m"], loss, atol=6e-4)
    assert "measure them" in pipes.loc["pipe 5", "notes"]
    assert pipes.loc["pipe 1", "notes"] == ""


def test_static_heads_of_a_pipe_heed_the_break_in_it(plan: Plan, layers: Layers) -> None:
    pipes = layers["pipe"].set_index("name")
    section = plan.heads.sections[BREAK_PIPE]
    at = len(section.distance_m) // 2
    before = SOURCE_LEVEL_M - section.ground_level_m[: at + 1]
    after = BREAK_LEVEL_M - section.ground_level_m[at:]
    row = pipes.loc[BREAK_PIPE]
    assert row["static_head_m"] == pytest.approx(after[-1], abs=6e-4)
    assert row["highest_static_head_m"] == pytest.approx(max(*before, *after), abs=6e-4)
    assert row["lowest_static_head_m"] == pytest.approx(min(*before, *after), abs=6e-4)


def test_where_nothing_fits_the_figures_are_missing_and_said_to_be(plan: Plan) -> None:
    changed = with_scheme(plan, sizes=nothing_fits(plan.scheme.sizes))
    pipes = plan_layers(changed)["pipe"].set_index("name")
    sized = ["outside_diameter_mm", "pressure_class_bar", "velocity_m_s", "friction_loss_m"]
    assert pipes[sized].isna().all(axis=None)
    assert pipes["design_flow_l_min"].notna().all()
    assert pipes.loc["pipe 1", "notes"] == "no pipe on offer will do, see the verdicts"
    assert "size is not known" in pipes.loc["pipe 5", "notes"]


def test_sources_that_were_tried_have_their_figures(plan: Plan, layers: Layers) -> None:
    sources = layers["source"].set_index("name")
    assert sources.loc["road main", "water_level_m"] == SOURCE_LEVEL_M
    assert list(sources["feeds_scheme"]) == [True, False]
    assert sources.loc["hill tank", "falls_short"][-1] == "hill tank: flow at the source"
    # The curve falls from 262 m at rest to 255 m at 20 L/min; 14.333 L/min leave the source.
    flow = 12.0 + 7 / 3
    expected = SOURCE_LEVEL_M - 7.0 * flow / 20.0
    assert sources.loc["road main", "level_at_design_flow_m"] == pytest.approx(expected, abs=6e-4)
    only = plan_layers(replace(plan, schemes=plan.schemes[:1]))["source"].set_index("name")
    figures = ["water_level_m", "design_flow_l_min", "scheme_cost", "falls_short"]
    assert only.loc["hill tank", figures].isna().all()
    assert only.loc["hill tank", "ground_level_m"] == pytest.approx(
        height(WEST + 650, SOUTH + 560), abs=0.1
    )


def test_what_is_without_limit_has_no_figure(plan: Plan) -> None:
    endless = replace(plan.scheme.intake, daily_volume_l=np.inf)
    sources = plan_layers(with_scheme(plan, intake=endless))["source"]
    assert np.isnan(sources["daily_volume_l"][0])


def test_tank_and_pump_of_the_scheme(plan: Plan, layers: Layers) -> None:
    (tank,) = layers["tank"].to_dict("records")
    assert (tank["name"], tank["volume_l"]) == ("tank at road main", 3500.0)
    (pump,) = layers["pump"].to_dict("records")
    assert (pump["head_m"], pump["power_w"]) == (21.0, 110.0)
    assert np.isnan(pump["suction_lift_m"])
    none = replace(plan.scheme.supply, tank={}, pump={})
    bare = plan_layers(with_scheme(plan, supply=none))
    assert len(bare["tank"]) == len(bare["pump"]) == 0
    assert list(bare["tank"].columns) == list(layers["tank"].columns)


def test_break_tanks_with_the_levels_on_either_side(plan: Plan, layers: Layers) -> None:
    (row,) = layers["break_tank"].to_dict("records")
    section = plan.heads.sections[BREAK_PIPE]
    at = len(section.distance_m) // 2
    assert row["distance_m"] == pytest.approx(section.distance_m[at], abs=6e-3)
    assert row["ground_level_m"] == pytest.approx(section.ground_level_m[at], abs=6e-4)
    assert (row["level_before_m"], row["level_after_m"]) == (SOURCE_LEVEL_M, BREAK_LEVEL_M)
    assert len(layers["reducing_valve"]) == 0


def test_stop_valves_say_who_goes_dry(layers: Layers) -> None:
    valves = layers["stop_valve"].set_index("name")
    assert valves.loc["stop valve 3", "outlets_shut"] == ("outlet 3", "outlet 4")
    assert list(valves["dry_share"]) == [1.0, 0.25, 0.4]
    assert list(layers["meter"]["name"]) == ["meter 1"]


def test_a_washout_is_not_marked_as_a_drain_again(plan: Plan, layers: Layers) -> None:
    fittings = plan.scheme.isolation.fittings
    assert (fittings["reason"] == "lowest point of a hollow").any()
    (drain,) = layers["drain"].to_dict("records")
    assert (drain["name"], drain["reason"]) == ("drain 1", "the pipe falls to its end")


@pytest.mark.parametrize("kind", ["air_valve", "washout", "break_tank", "stop_valve", "drain"])
def test_distances_are_from_the_source_along_the_pipe(
    plan: Plan, layers: Layers, kind: str
) -> None:
    """Where a section comes by at that distance, there the point lies."""
    assert len(layers[kind])
    for row in layers[kind].itertuples():
        section = plan.heads.sections[row.pipe]
        x = np.interp(row.distance_m, section.distance_m, section.easting_m)
        y = np.interp(row.distance_m, section.distance_m, section.northing_m)
        assert np.hypot(row.geometry.x - x, row.geometry.y - y) < 0.02


@pytest.mark.parametrize(("kind", "field"), [("air_valve", "summits"), ("washout", "hollows")])
def test_summits_and_hollows(plan: Plan, layers: Layers, kind: str, field: str) -> None:
    expected = [
        (pipe, float(section.ground_level_m[i]), float(section.distance_m[i]))
        for pipe, section in plan.heads.sections.items()
        for i in getattr(section, field)
    ]
    layer = layers[kind]
    assert len(layer) == len(expected) > 0
    assert list(layer["pipe"]) == [row[0] for row in expected]
    np.testing.assert_allclose(layer["ground_level_m"], [r[1] for r in expected], atol=6e-4)
    np.testing.assert_allclose(layer["distance_m"], [r[2] for r in expected], atol=6e-3)
    np.testing.assert_allclose(
        layer["ground_level_m"], height(layer.geometry.x, layer.geometry.y), atol=6e-4
    )


def test_ground_out_of_reach_by_paddock_and_reason(plan: Plan, layers: Layers) -> None:
    missed = plan.reach.cells[~np.isfinite(plan.siting.walk_m)]
    layer = layers["uncovered"]
    by_paddock = layer.groupby("paddock")["area_ha"].sum()
    names = plan.holding.paddocks["name"]
    expected = missed.groupby("paddock")["area_m2"].sum() / 10_000
    expected.index = pd.Index([names[i] for i in expected.index])
    assert set(by_paddock.index) == set(expected.index)
    np.testing.assert_allclose(by_paddock[expected.index], expected, atol=1.1e-4)
    assert layer["reason"].nunique() == 2
    assert layer.geometry.is_valid.all()
    assert set(layer.geom_type) <= {"Polygon", "MultiPolygon"}
    for row in layer.itertuples():
        whole = plan.holding.paddocks.set_index("name").geometry[row.paddock]
        assert row.geometry.difference(whole).area < 1e-6
        # Whole cells clipped at the fence: as large as the cells themselves but for the edge.
        assert row.geometry.area / 1e4 == pytest.approx(row.area_ha, rel=0.15)


def test_full_cover_gives_an_empty_layer(plan: Plan) -> None:
    walk = np.where(np.isfinite(plan.siting.walk_m), plan.siting.walk_m, 1.0)
    full = with_scheme(plan, siting=replace(plan.siting, walk_m=walk))
    layer = plan_layers(full)["uncovered"]
    assert len(layer) == 0
    assert list(layer.columns) == ["name", "paddock", "area_ha", "reason", "geometry"]
