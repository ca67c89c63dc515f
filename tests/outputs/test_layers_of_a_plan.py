"""The tables of features against the values of the plan they are made from."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hand_plan import SOURCE_LEVEL_M, height

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
        plan,
        siting=replace(plan.siting, walk_m=walk),
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
    changed = replace(plan, siting=siting, reach=replace(plan.reach, cells=cells))
    row = plan_layers(changed)["paddock"].loc[3]
    assert row[["covered_share", "farthest_walk_m", "mean_walk_m"]].isna().all()


def test_levels_and_heads_of_outlets(layers: Layers) -> None:
    outlets = layers["outlet"]
    level = height(outlets.geometry.x, outlets.geometry.y)
    np.testing.assert_allclose(outlets["ground_level_m"], level, atol=6e-4)
    joined = outlets["static_head_m"].notna()
    np.testing.assert_allclose(
        outlets["static_head_m"][joined], (SOURCE_LEVEL_M - level)[joined], atol=6e-4
    )
    assert list(outlets["name"]) == [f"outlet {i}" for i in range(1, 6)]


def test_an_outlet_carries_the_flow_of_its_most_demanding_mob(layers: Layers) -> None:
    assert (layers["outlet"]["design_flow_l_min"] == 8.0).all()


def test_troughs_of_an_outlet_are_those_of_the_mobs(layers: Layers) -> None:
    outlets = layers["outlet"].set_index("name")["trough"]
    assert outlets["outlet 1"] == "fixed and mobile"  # both mobs graze Beck Meadow
    assert outlets["outlet 2"] == "mobile"  # only the stores graze Long Pasture


def test_an_outlet_names_the_fence_it_stands_on(layers: Layers) -> None:
    notes = layers["outlet"].set_index("name")["notes"]
    assert notes["outlet 3"] == (
        "on the fence between Top Field, Beck Meadow, Long Pasture and Ghyll"
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
    nodes = plan.heads.nodes.copy()
    nodes.loc["outlet 4", "static_head_m"] = -1.25
    changed = replace(plan, heads=replace(plan.heads, pipes=pipes, nodes=nodes))
    notes = plan_layers(changed)["outlet"].set_index("name")["notes"]
    assert "pipe 1 rises 2.5 m above the still water" in notes["outlet 2"]
    assert "lies 1.2 m above the still water" in notes["outlet 4"]


def test_pipe_in_the_ground_has_no_size_of_ours(layers: Layers) -> None:
    pipes = layers["pipe"].set_index("name")["outside_diameter_mm"]
    assert np.isnan(pipes["pipe 5"])
    assert (pipes.drop("pipe 5") == 32.0).all()


def test_only_the_source_in_use_has_a_water_level(layers: Layers) -> None:
    sources = layers["source"].set_index("name")
    assert sources.loc["road main", "water_level_m"] == SOURCE_LEVEL_M
    assert np.isnan(sources.loc["hill tank", "water_level_m"])
    assert list(sources["feeds_scheme"]) == [True, False]


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
    full = replace(plan, siting=replace(plan.siting, walk_m=walk))
    layer = plan_layers(full)["uncovered"]
    assert len(layer) == 0
    assert list(layer.columns) == ["name", "paddock", "area_ha", "reason", "geometry"]
