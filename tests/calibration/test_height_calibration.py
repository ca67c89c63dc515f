"""What was promised of holdings comes true as often as was said.

The trials themselves are kept in ``results.csv`` (made by ``run_calibration.py``); the fast tests
hold the claims of the documentation against it and check the tools of the trials, the slow one
runs 200 holdings anew.
"""

from __future__ import annotations

import importlib.util
from functools import partial
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from height_grounds import REAL_DATA, formula, two_surveys
from height_shapes import SHAPES, SIGMA_M, Part, draw_error
from height_trials import Case, lay_site, planned, project_tables, stand_tank, works_on_truth
from run_calibration import WHOLE, run, run_whole

ROOT = Path(__file__).resolve().parents[2]


def _pictures():
    place = ROOT / "docs" / "make_reliability.py"
    spec = importlib.util.spec_from_file_location("make_reliability", place)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def pictures():
    return _pictures()


# -- the tools ----------------------------------------------------------------------------------


def test_error_laid_on_has_its_covariance() -> None:
    # Two places 60 m apart on gentle ground, one of them steep: by hand from the parts.
    x, y, slope = np.array([0.0, 60.0, 5_000.0]), np.zeros(3), np.array([0.1, 0.1, 0.3])
    random = np.random.default_rng(3)
    drawn = np.array([
        draw_error(SHAPES["as assumed"], x, y, slope, random) for _ in range(6_000)
    ])  # fmt: skip
    found = drawn.T @ drawn / len(drawn)
    variance = SIGMA_M**2
    assert found[0, 0] == pytest.approx(variance, rel=0.06)
    assert found[2, 2] == pytest.approx(variance * (0.875 + 4 * 0.125), rel=0.06)
    apart = variance * (0.125 * np.exp(-1.5) + 0.875 * np.exp(-3 * 60 / 50_000))
    assert found[0, 1] == pytest.approx(apart, rel=0.07)


@pytest.mark.parametrize(
    ("kind", "expected"),
    [("exponential", np.exp(-1.5)), ("gaussian", np.exp(-0.75)), ("spherical", 0.3125),
     ("white", 0.0)],
)  # fmt: skip
def test_shapes_of_correlation_half_way_to_their_range(kind: str, expected: float) -> None:
    part = Part(1.0, kind, 100.0)
    assert part.correlation(np.array([0.0, 50.0])) == pytest.approx([1.0, expected])


def test_all_shares_come_to_one() -> None:
    for shape in SHAPES.values():
        if shape.parts:
            assert sum(part.share for part in shape.parts) == pytest.approx(1.0), shape.name


def test_woods_only_raise_the_ground() -> None:
    x, y = (v.ravel() for v in np.meshgrid(np.arange(0, 900, 30.0), np.arange(0, 900, 30.0)))
    bare = draw_error(SHAPES["as assumed"], x, y, 0 * x, np.random.default_rng(1))
    grown = draw_error(SHAPES["woods and hedges"], x, y, 0 * x, np.random.default_rng(1))
    raised = grown - bare
    assert raised.min() == pytest.approx(0.0)
    assert 4.0 <= raised.max() <= 10.0
    assert 0.03 < (raised > 1).mean() < 0.2


@pytest.mark.skipif(not REAL_DATA.is_dir(), reason="the real places are not beside this clone")
def test_the_truth_seen_without_error_keeps_every_promise() -> None:
    # Planned on the very ground that it is checked on: what the plan reckons is what happens.
    from dataclasses import replace

    case = Case("clean", "no error but posting")
    layout = np.random.default_rng(8)
    site = lay_site(3, case, layout)
    site = replace(site, ground=replace(formula(), truth=site.clean))
    tables = project_tables(site, case, layout)
    plan = planned(site, tables, stand_tank(site, site.seen.values.max() + 6.0, np.zeros(2)))
    sizes = plan.scheme.sizes
    works, spare = works_on_truth(plan.holding, plan.network, plan.heads, sizes, site.ground)
    expected = sizes.outlets["residual_head_m"] - sizes.outlets["needed_head_m"]
    assert spare == pytest.approx(expected.to_numpy(float), abs=1e-6)
    assert works.all()


def test_two_radar_surfaces_differ_as_told() -> None:
    ground = two_surveys()
    apart = ground.seen.values - ground.truth.values
    assert apart.std() == pytest.approx(4.11, abs=0.01)


# -- the claims ---------------------------------------------------------------------------------


def test_promises_of_80_to_90_percent_come_true_in_75_to_95(pictures) -> None:
    found = pictures.figures(pictures.read_results()).set_index("case")
    whole = found.loc["whole plan"]
    assert whole["trials"] >= 200
    for event in ("all", "one"):
        share = whole[f"{event}_happened"] / whole[f"{event}_asked"]
        assert 0.75 <= share <= 0.95, (event, share)


def test_documentation_gives_the_figures_of_the_trials(pictures) -> None:
    page = (ROOT / "docs" / "explanation" / "confidence.md").read_text(encoding="utf-8")
    for line in pictures.table_lines():
        assert line in page


@pytest.mark.slow
@pytest.mark.skipif(not REAL_DATA.is_dir(), reason="the real places are not beside this clone")
def test_two_hundred_holdings_anew(pictures) -> None:
    records = pd.DataFrame(run(partial(run_whole, WHOLE), range(1_000, 1_280), "whole plan"))
    table = records[records["reason"] == ""]
    print(pictures.figures(table).T)
    assert len(table) >= 200
    promised = pd.concat([table["chance_all"], table["chance_one"]]).astype(float)
    happened = pd.concat([table["all"], table["one"]]).astype(bool)
    asked = (promised >= 0.8) & (promised < 0.9)
    assert 0.75 <= happened[asked].mean() <= 0.95
