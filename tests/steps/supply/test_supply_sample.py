"""The sample holding, end to end: a tank that serves it, and a main that lies too low."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from dewpond import plan_holding, project_from_dict
from dewpond.base.model import Supply
from dewpond.steps.delivery import deliver
from dewpond.steps.flows import design_flows
from dewpond.steps.intake import measure_intake
from dewpond.steps.sizing import size_pipe
from dewpond.steps.supply import judge_supply
from dewpond.steps.troughs import choose_troughs

pytestmark = pytest.mark.slow


def judged(sample: Path, source: str) -> Supply:
    raw = tomllib.loads(sample.read_text(encoding="utf-8"))
    raw["design"]["source"] = source
    project = project_from_dict(raw, sample.parent)
    plan = plan_holding(project)
    holding, network, heads = plan.holding, plan.network, plan.heads
    watering = choose_troughs(
        holding, plan.terrain, plan.demand, plan.reach, plan.siting, network, project.trough,
        project.design,
    )  # fmt: skip
    flows = design_flows(network, watering)
    intake = measure_intake(holding, network, heads, flows, project.supply, project.pipe)
    sizes = size_pipe(
        holding, network, heads, watering, flows, intake, project.pipe, project.design,
        sample.parent,
    )  # fmt: skip
    delivery = deliver(network, heads, watering, flows, intake, sizes, project.pipe)
    return judge_supply(
        holding, plan.demand, network, heads, watering, flows, intake, sizes, delivery,
        project.supply, project.trough, project.design,
    )  # fmt: skip


def test_the_header_tank_serves_every_field(sample_project: Path) -> None:
    supply = judged(sample_project, "header tank")
    assert supply.met
    assert supply.remedies == ()
    assert supply.tank["reserve_l"] == pytest.approx(6882.0)


def test_the_road_main_is_too_low_and_says_what_would_do(sample_project: Path) -> None:
    """Static pressure lifts water to 196 m; the top outlets stand near 228 m."""
    supply = judged(sample_project, "road main")
    unmet = [item.requirement for item in supply.judgements if not item.met]
    assert unmet == ["Level of the water at the source, under the design flow"]
    working = [item.action for item in supply.remedies if item.works]
    assert any(
        "header tank of" in action and "commands every outlet" in action for action in working
    )
    assert any("booster pump" in action for action in working)
    assert any('"header tank"' in action for action in working)
    assert not any("fewer head" in item.action for item in supply.remedies)
