"""The same scheme with more in hand: margins kept exactly, chances borne out, cost told."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from dewpond.base.errors import SolverError
from dewpond.base.model import HeadMargins
from dewpond.base.pipesizing.clearance import level_asked_m
from dewpond.steps.confidence import assess_confidence
from steps.confidence.sure_ground import (
    assess,
    broken_scheme,
    hill_scheme,
    level_terrain,
    project,
    resizer,
)
from steps.schemes import one_pipe


def margins_of(scheme, outlets=0.0, clearance=0.0, rise=0.0) -> HeadMargins:
    sections = scheme.heads.sections
    names = scheme.network.nodes.index[scheme.network.nodes["kind"] == "outlet"]
    return HeadMargins(
        dict.fromkeys(map(str, names), outlets),
        {name: np.full(len(section.distance_m), clearance) for name, section in sections.items()},
        {name: np.full(len(section.distance_m), rise) for name, section in sections.items()},
    )


@pytest.mark.parametrize("random_state", range(4))
@pytest.mark.parametrize("margin_m", [0.0, 1.0, 2.5])
def test_head_kept_in_hand_at_outlets_is_as_if_valves_needed_it(random_state, margin_m):
    scheme, settings = hill_scheme(random_state=random_state), project()
    kept = resizer(scheme, settings)(margins_of(scheme, outlets=margin_m))
    heads = scheme.watering.outlets
    needier = replace(
        scheme.watering, outlets=heads.assign(valve_head_m=heads["valve_head_m"] + margin_m)
    )
    other = resizer(replace(scheme, watering=needier), settings)()
    assert kept.proof.value == pytest.approx(other.proof.value)
    assert kept.proof.gap < 1e-6
    spare = kept.outlets["residual_head_m"] - kept.outlets["needed_head_m"]
    assert spare.min() >= margin_m - 1e-6
    assert (kept.outlets["needed_head_m"] == heads["valve_head_m"]).all()


@pytest.mark.parametrize("height_m", [0.5, 1.0, 2.0, 4.0])
def test_clearance_over_the_ground_takes_the_place_of_a_smaller_margin(height_m):
    scheme, settings = hill_scheme(), project()
    kept = resizer(scheme, settings)(margins_of(scheme, clearance=height_m))
    raised = settings.pipe.model_copy(update={"summit_margin_m": height_m})
    assert not kept.shortfalls
    for name, table in kept.grade.items():
        far = table["distance_m"] > 100.0
        over = (table["grade_level_m"] - table["ground_level_m"])[far]
        assert over.min() >= max(height_m, 1.0) - 1e-6, name
    if height_m >= 1.0:  # as the setting of the whole scheme, but for the ground near the tank
        other = resizer(scheme, settings.model_copy(update={"pipe": raised}))()
        assert kept.proof.value >= other.proof.value - 1e-9


def test_a_rise_of_still_water_takes_stronger_pipe():
    def falls(x, y):
        return 100 - 0.2 * x

    scheme, settings = one_pipe(height=falls, length_m=400, head_m=5.0), project()
    plain = resizer(scheme, settings)()
    kept = resizer(scheme, settings)(margins_of(scheme, rise=20.0))
    room = kept.pipes["working_head_m"] - scheme.heads.pipes["highest_static_head_m"]
    assert room.min() >= 20.0
    assert kept.proof.value >= plain.proof.value
    same = resizer(scheme, settings)(margins_of(scheme))
    assert same.proof.value == plain.proof.value


def test_nothing_is_asked_right_below_still_water():
    way, ground = np.array([0.0, 20.0, 40.0, 120.0]), np.array([9.0, 10.5, 8.0, 7.0])
    asked = level_asked_m(way, ground, 10.0, 1.0)
    assert asked == pytest.approx([-np.inf, -np.inf, 8.0 + 15 / 75, 8.0])
    assert level_asked_m(way, ground, 10.0, 1.0, 3.0) == pytest.approx(
        [-np.inf, -np.inf, 11.0, 10.0]
    )
    # Ground that stands over still water and its margin is a rise wherever it lies.
    assert level_asked_m(way, ground + 2.0, 10.0, 1.0)[1] == pytest.approx(12.5)


@pytest.mark.parametrize("random_state", [0, 1, 2, 4, 5])
@pytest.mark.parametrize("wanted", [0.85, 0.9, 0.97])
def test_every_outlet_works_with_the_wanted_chance(random_state, wanted):
    settings = project(
        {"height_standard_deviation_m": 1.8, "correlation_length_m": 200.0}, wanted=wanted
    )
    scheme = hill_scheme(random_state=random_state, spacing_m=260.0)
    sizes = resizer(scheme, settings)()
    assert not sizes.shortfalls
    found = assess(scheme, settings, sizes)
    assert found.outlets["chance"].min() < wanted
    design = found.design
    assert design["feasible"] == 1.0
    assert design["least_chance"] >= wanted
    assert design["extra_cost"] > 0
    assert design["pipe_cost"] == pytest.approx(
        sizes.pipes["pipe_cost"].sum() + design["extra_cost"]
    )
    assert design["chance_all"] >= found.chance_all
    table = found.design_pipes
    wider = table["safe_outside_diameter_mm"] > table["outside_diameter_mm"]
    stronger = table["safe_pressure_class_bar"] > table["pressure_class_bar"]
    assert (wider | stronger).any()


def test_what_is_safe_enough_as_planned_costs_nothing_more():
    settings = project({"height_standard_deviation_m": 0.2})
    scheme = hill_scheme(random_state=3, spacing_m=260.0)
    found = assess(scheme, settings)
    assert found.design["feasible"] == 1.0
    assert found.design["extra_cost"] == 0.0
    assert found.design["chance_all"] == found.chance_all
    same = found.design_pipes
    assert (same["safe_outside_diameter_mm"] == same["outside_diameter_mm"]).all()


@pytest.mark.parametrize("random_state", [0, 5])
def test_a_higher_chance_never_costs_less(random_state):
    costs = []
    for wanted in (0.6, 0.8, 0.9, 0.97, 0.99):
        settings = project(
            {"height_standard_deviation_m": 1.8, "correlation_length_m": 200.0}, wanted=wanted
        )
        design = assess(hill_scheme(random_state=random_state, spacing_m=260.0), settings).design
        assert design["feasible"] == 1.0
        costs.append(design["pipe_cost"])
    assert costs == sorted(costs)
    assert costs[-1] > costs[0]


def test_one_outlet_is_sized_for_the_quantile_of_its_own_head():
    settings = project({"height_standard_deviation_m": 4.5, "correlation_length_m": 100.0},
                       wanted=0.95, simulations=1000)  # fmt: skip
    scheme = one_pipe(length_m=800.0, head_m=14.0)
    margins = []

    def resize(asked):
        margins.append(asked)
        return resizer(scheme, settings)(asked)

    assess_confidence(
        scheme.farm, level_terrain(scheme), scheme.network, scheme.heads, scheme.watering,
        scheme.flows, scheme.intake, resizer(scheme, settings)(), settings, resize,
    )  # fmt: skip
    of_head = 4.5 * np.sqrt(2 * (1 - np.exp(-3 * 800.0 / 100.0)))
    assert margins[0].outlets["outlet 1"] == pytest.approx(norm.ppf(0.95) * of_head, rel=1e-6)
    # At the tank itself water and ground move together.
    assert margins[0].clearance["pipe 1"][0] == pytest.approx(0.0, abs=1e-9)


def test_where_it_cannot_be_had_the_reason_and_the_most_are_told():
    settings = project({"height_standard_deviation_m": 3.0, "correlation_length_m": 100.0},
                       wanted=0.95)  # fmt: skip
    scheme = one_pipe(length_m=300.0, head_m=5.0)
    found = assess(scheme, settings)
    design = found.design
    assert design["feasible"] == 0.0
    assert found.outlets["chance"].min() <= design["least_chance"] < 0.95
    assert "outlet 1" in design["reason"]
    assert np.isnan(design["extra_cost"])
    assert found.design_pipes["safe_outside_diameter_mm"].isna().all()


def test_a_scheme_with_hardly_any_head_stays_in_doubt():
    settings = project()
    scheme = one_pipe(length_m=300.0, head_m=0.5)
    found = assess(scheme, settings)
    assert found.design["feasible"] == 0.0
    assert found.design["reason"]
    assert (found.outlets["chance"] < 0.6).all()


def test_a_source_below_its_outlet_serves_nothing():
    settings = project()
    scheme = one_pipe(height=lambda x, y: 0.02 * x, length_m=300.0, head_m=0.5)
    found = assess(scheme, settings)
    assert (found.outlets["chance"] < 0.01).all()
    assert found.influences.empty
    assert found.design["feasible"] == 0.0
    assert found.design["reason"]
    assert found.warnings


def test_a_scheme_with_breaks_can_be_made_safer():
    settings = project({"height_standard_deviation_m": 0.5})
    found = assess(broken_scheme(), settings)
    assert found.design["feasible"] == 1.0
    assert found.design["least_chance"] >= 0.9


def test_an_optimiser_that_gives_up_leaves_the_plan_standing():
    settings = project({"height_standard_deviation_m": 1.8, "correlation_length_m": 200.0})
    scheme = hill_scheme(random_state=0, spacing_m=260.0)
    sizes = resizer(scheme, settings)()

    def give_up(margins):
        raise SolverError("time limit")

    found = assess_confidence(
        scheme.farm, level_terrain(scheme), scheme.network, scheme.heads, scheme.watering,
        scheme.flows, scheme.intake, sizes, settings, give_up,
    )  # fmt: skip
    assert found.design["feasible"] == 0.0
    assert found.design["least_chance"] == found.outlets["chance"].min()
    assert found.design_pipes["safe_outside_diameter_mm"].isna().all()
