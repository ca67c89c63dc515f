"""What matters most: heads worked out again with one figure changed at a time."""

from __future__ import annotations

import numpy as np
import pytest

from dewpond.base.model import Intake
from dewpond.steps.confidence.influences import Change, make_loaded, spare_heads_m
from steps.confidence.sure_ground import assess, broken_scheme, hill_scheme, project, resizer
from steps.schemes import one_pipe


def loaded_of(scheme, settings, sizes=None):
    sizes = sizes or resizer(scheme, settings)()
    ground = scheme.heads.nodes.loc[sizes.outlets.index, "ground_level_m"].to_numpy(float)
    return sizes, make_loaded(
        scheme.network, scheme.watering, scheme.flows, scheme.intake, sizes, ground, settings.pipe
    )


@pytest.mark.parametrize("make", [hill_scheme, broken_scheme, one_pipe])
def test_with_nothing_changed_the_heads_are_those_of_the_plan(make):
    sizes, loaded = loaded_of(make(), project())
    planned = (sizes.outlets["residual_head_m"] - sizes.outlets["needed_head_m"]).to_numpy()
    assert spare_heads_m(loaded, Change()) == pytest.approx(planned, abs=1e-9)


def test_the_source_lifts_everything_that_hangs_on_it_and_nothing_beyond_a_break():
    scheme = broken_scheme()
    sizes, loaded = loaded_of(scheme, project())
    lifted = spare_heads_m(loaded, Change(source_m=0.25)) - spare_heads_m(loaded, Change())
    assert dict(zip(sizes.outlets.index, lifted.round(9), strict=True)) == {
        "outlet 1": 0.25, "outlet 2": 0.0, "outlet 3": 0.0,
    }  # fmt: skip


def test_friction_takes_its_share_of_the_loss():
    scheme = one_pipe()
    sizes, loaded = loaded_of(scheme, project())
    loss = float(sizes.pipes["friction_loss_m"].iloc[0])
    changed = spare_heads_m(loaded, Change(friction=1.2)) - spare_heads_m(loaded, Change())
    assert changed[0] == pytest.approx(-0.2 * loss)


def test_demand_moves_loss_and_valve_head():
    from dewpond.base.friction import minor_loss_m
    from dewpond.base.pipes.rules import friction_law

    scheme, settings = one_pipe(flow_l_min=12.0), project()
    sizes, loaded = loaded_of(scheme, settings)
    bore = float(sizes.pipes["inside_diameter_mm"].iloc[0]) / 1000
    length = float(scheme.network.pipes["length_m"].iloc[0])
    flow = np.array([12.0 * 1.3 / 60_000])
    slope, _ = friction_law(settings.pipe).loss_and_slope_per_metre(flow, bore)
    lost = float(slope[0] * length + minor_loss_m(settings.pipe.fittings_loss, flow, bore)[0])
    valve = float(scheme.watering.outlets["valve_head_m"].iloc[0])
    expected = scheme.heads.nodes.at["outlet 1", "static_head_m"] - lost - 1.3**2 * valve
    assert spare_heads_m(loaded, Change(demand=1.3))[0] == pytest.approx(expected)


def test_a_weaker_main_stands_where_it_stood_at_more_flow():
    curve = Intake(np.linspace(0, 40, 81), 30 - 20 * (np.linspace(0, 40, 81) / 40) ** 1.85,
                   np.inf, False, np.nan, "by hand")  # fmt: skip
    scheme = one_pipe(intake=curve)
    _, loaded = loaded_of(scheme, project())
    weaker = spare_heads_m(loaded, Change(source_flow=0.75)) - spare_heads_m(loaded, Change())
    # H = H0 - drop (Q / Qmost)^1.85 with Qmost down to three quarters.
    expected = -20 * ((12 / 30) ** 1.85 - (12 / 40) ** 1.85)
    assert weaker[0] == pytest.approx(expected, rel=2e-3)


def test_the_table_is_in_order_and_ranges_are_as_set():
    settings = project(hot_day_factors=[0.9, 1.5], source_level_changes_m=[-0.2, 0.1])
    found = assess(hill_scheme(), settings).influences
    swing = (found["figure_high"] - found["figure_low"]).abs()
    assert swing.is_monotonic_decreasing
    assert set(found["factor"]) == {"heights", "source level", "hot day", "head of stock",
                                    "friction"}  # fmt: skip
    rows = found.set_index("factor")
    base = rows["base"].iloc[0]
    assert rows.at["source level", "figure_low"] == pytest.approx(base - 0.2)
    assert rows.at["source level", "figure_high"] == pytest.approx(base + 0.1)
    assert rows.at["hot day", "figure_high"] < base < rows.at["hot day", "figure_low"]
    assert rows.at["friction", "figure_high"] < base < rows.at["friction", "figure_low"]
    assert rows.at["heights", "figure_low"] < base
    assert "150 %" in rows.at["hot day", "high"]


def test_a_main_has_a_dry_summer():
    curve = Intake(np.array([0.0, 40.0]), np.array([30.0, 10.0]), np.inf, False, np.nan, "by hand")
    found = assess(one_pipe(intake=curve), project()).influences.set_index("factor")
    assert found.at["source flow", "figure_low"] < found.at["source flow", "base"]
    assert found.at["source flow", "figure_high"] > found.at["source flow", "base"]
