"""Totals add up from their parts, and each verdict turns at its limit."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from dewpond import Plan
from dewpond.base.model import Appraisal, Judgement, Remedy, Supply, Verdict
from dewpond.steps.appraisal import appraise, verdicts
from farms import SOUTH, WEST, plan, squares


def slope(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Return ground that falls gently from the tank in the south-west corner."""
    return 220.0 - 0.02 * (x - WEST) - 0.01 * (y - SOUTH)


@pytest.fixture(scope="module")
def planned() -> Plan:
    return plan(squares(2, 2, 150.0), slope, design={"walk_limit_m": 200.0})


def again(planned: Plan, **parts: object) -> Appraisal:
    """Appraise a plan with some of its values changed."""
    scheme = planned.scheme
    values = {
        "holding": planned.holding, "demand": planned.demand, "reach": planned.reach,
        "layout": scheme.layout, "siting": scheme.siting, "network": scheme.network,
        "heads": scheme.heads, "flows": scheme.flows, "intake": scheme.intake,
        "sizes": scheme.sizes, "supply": scheme.supply, "settings": planned.project,
        "laying_cost": scheme.appraisal.totals["laying_cost"],
    }  # fmt: skip
    return appraise(**{**values, **parts})


def verdict(appraisal: Appraisal, words: str) -> Verdict:
    found = [item for item in appraisal.verdicts if words in item.requirement]
    assert len(found) == 1, [item.requirement for item in appraisal.verdicts]
    return found[0]


def test_a_plan_that_works_meets_everything(planned: Plan) -> None:
    assert planned.met
    assert again(planned).verdicts == planned.verdicts


def test_cost_is_outlets_and_laying_and_pipe(planned: Plan) -> None:
    totals, prices = planned.totals, planned.project.prices
    metres = planned.network.pipes["length_m"]
    per_metre = planned.scheme.sizes.pipes["price_per_m"]
    assert totals["outlet_cost"] == pytest.approx(totals["outlets"] * prices.outlet_each)
    assert totals["laying_cost"] == pytest.approx(planned.network.pipes["cost"].sum())
    assert totals["pipe_cost"] == pytest.approx((metres * per_metre).sum())
    assert totals["cost"] == pytest.approx(
        totals["outlet_cost"] + totals["laying_cost"] + totals["pipe_cost"]
    )
    assert totals["pipe_m"] == pytest.approx(metres.sum())
    assert totals["covered_share"] == 1.0
    assert totals["grazed_area_ha"] == pytest.approx(4 * 150**2 / 10_000)


def test_dry_ground_is_named_with_its_area(planned: Plan) -> None:
    nearest = planned.siting.nearest_site.copy()
    field = planned.reach.cells["paddock"].to_numpy() == 2
    nearest[field] = -1
    found = verdict(again(planned, siting=replace(planned.siting, nearest_site=nearest)), "Grazed")
    assert not found.met
    assert found.figure == pytest.approx(75.0, abs=0.1)
    assert found.where == "field 3"
    assert found.remedy.startswith("2.25 ha stays out of reach")


def test_outlets_above_the_water_are_named_with_the_lift_they_need(planned: Plan) -> None:
    heads = planned.heads
    nodes = heads.nodes.assign(static_head_m=heads.nodes["static_head_m"] - 100.0)
    found = verdict(again(planned, heads=replace(heads, nodes=nodes)), "Water at rest")
    lowest = nodes.loc[nodes.index.str.startswith("outlet"), "static_head_m"].min()
    assert not found.met
    assert found.figure == pytest.approx(lowest)
    assert f"at least {-lowest:.1f} m" in found.remedy


def test_a_pump_lifts_water_at_rest(planned: Plan) -> None:
    intake = planned.scheme.intake
    lifted = verdict(again(planned, intake=replace(intake, level_m=intake.level_m + 30.0)), "rest")
    assert lifted.figure == pytest.approx(verdict(again(planned), "rest").figure + 30.0)


def test_outlets_behind_high_ground_are_dry_whatever_their_head(planned: Plan) -> None:
    heads = planned.heads
    pipes = heads.pipes.copy()
    pipes.loc["pipe 1", "lowest_static_head_m"] = -2.0
    found = verdict(again(planned, heads=replace(heads, pipes=pipes)), "worst places")
    assert not found.met
    assert found.figure == 0.0
    assert found.limit == planned.totals["outlets"]


def test_a_long_list_of_names_is_cut_short(planned: Plan) -> None:
    from dewpond.steps.appraisal.verdicts import _listed

    assert _listed([f"outlet {number}" for number in range(1, 12)]).endswith("outlet 8 and 3 more")


def test_what_mends_a_requirement_is_told_where_nothing_mends_all():
    judged = (
        Judgement("Level", 101.0, 111.0, "m", False, "10 m too low"),
        Judgement("Volume", 5000.0, 6400.0, "L", False, "5,000 L are reserve"),
        Judgement("Water a day", 100.0, 200.0, "L", False, "the day takes 200 L"),
    )
    tank = Remedy("A tank of 6,400 L.", False, 6400.0, "L", ("Volume",))
    pump = Remedy("A booster.", False, 20.0, "W", ("Level",))
    both = Remedy("Another source.", True, 1.0, "")

    def told(*remedies):
        return [
            found.remedy for found in verdicts.source("bore", Supply(judged, remedies, {}, {}, {}))
        ]

    assert told(tank, pump) == ["A booster.", "A tank of 6,400 L.", "the day takes 200 L"]
    assert told(both, tank, pump) == ["Another source."] * 3


def test_a_break_without_water_is_a_requirement_missed() -> None:
    dry = plan(
        squares(1, 1, 300.0), slope, design={"walk_limit_m": 60.0, "trough": "mobile"},
        siting={"inside": False}, breaks={"target_ha": 1.0, "hose_m": 20.0},
    )  # fmt: skip
    found = [item for item in dry.verdicts if item.requirement == "Every break has water"]
    assert len(found) == 1
    watered = dry.breaks.breaks["watered"]
    assert not watered.all()
    assert not found[0].met
    assert not dry.met
    assert found[0].figure == watered.sum()
