"""Sentences of a plan in US customary units hold no metric figure, but for published rules."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np

from dewpond import Plan, load_project, plan_holding, project_from_dict
from farms import WEST, plan, squares

METRIC = re.compile(r"\d ?(m|L|ha|kg|W|bar|L/min|m³|km|°C)(?![\w/²³])")
# Rules as their publishers print them, names, and pipe by the millimetres that it is sold by.
PUBLISHED = re.compile(r'12 L/min|20 m³ a day|10 m³ permitted|\d+ ?mm|"[^"]*"')


def sentences(made: Plan) -> Iterator[str]:
    for scheme in made.schemes:
        for verdict in scheme.appraisal.verdicts:
            yield from (verdict.requirement, verdict.remedy)
        yield from scheme.warnings
        yield from (judgement.reason for judgement in scheme.supply.judgements)
        yield from (remedy.action for remedy in scheme.supply.remedies)
        yield from scheme.supply.cautions
        yield from scheme.isolation.notes
        yield from (note for notes in scheme.watering.outlets["notes"] for note in notes)
        yield from (scheme.heads.source_level_reason, scheme.intake.reason)
    yield from (*made.warnings, *made.holding.repairs, made.terrain.cell_reason)


def hill(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    return 200.0 + 0.1 * (x - WEST) + 0.0 * y


def both(units: str) -> Plan:
    return plan(
        squares(3, 2, 200.0), hill, documents={"units": units},
        design={"walk_limit_m": 150.0, "trough": "fixed"},
    )  # fmt: skip


def test_no_metric_figure_is_left() -> None:
    made = both("US customary")
    said = [PUBLISHED.sub("", text) for text in sentences(made)]
    assert sum(" ft" in text or "US gal" in text for text in said) > 5
    assert [text for text in said if METRIC.search(text)] == []


def test_the_sample_too(sample_project: Path) -> None:
    project = load_project(sample_project)
    raw = project.model_dump(exclude_defaults=True, exclude={"folder"})
    raw["documents"] = {"units": "US customary"}
    raw["design"]["source"] = "road main"
    raw["layout"] = {"price_rounds": 0, "optimality_gap": 0.05}
    raw["confidence"] = {"assess": False}
    made = plan_holding(project_from_dict(raw, folder=project.folder))
    assert not made.met
    said = [PUBLISHED.sub("", text) for text in sentences(made)]
    assert [text for text in said if METRIC.search(text)] == []


def test_figures_of_a_plan_are_the_same_in_either() -> None:
    metric, other = both("metric"), both("US customary")
    assert dict(metric.totals) == dict(other.totals)
    for one, two in zip(metric.verdicts, other.verdicts, strict=True):
        plain = replace(two, requirement=one.requirement, where=one.where, remedy=one.remedy)
        assert plain == one
