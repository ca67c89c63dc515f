"""Ground corrected to levels taken on site, on a plane whose raster is out by a known amount."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import farms
from dewpond import plan_holding
from dewpond.base.heighterror import KnownLevels, conditioned, height_error
from dewpond.base.heighterror.model import ErrorPoints
from dewpond.base.model import Holding
from dewpond.base.settings import Project
from dewpond.outputs.survey import survey_csv
from dewpond.steps.levelling import level_ground
from dewpond.steps.read import read_holding

SHAPES = farms.squares(2, 1, 200.0)
W, S = farms.WEST, farms.SOUTH
RADAR = {"height_unit": "metre", "height_data": "radar surface 30 m"}


def truth_m(x, y):
    return 100.0 + 0.02 * (x - W) + 0.01 * (y - S)


def holding(project: Project, off_m: float = 1.5) -> Holding:
    with farms.ground(SHAPES, lambda x, y: truth_m(x, y) + off_m) as data:
        return read_holding(project, paddocks=farms.table(SHAPES), elevation=data)


def with_levels(found: Holding, *points: tuple[float, float, float, float]) -> Holding:
    """Return a holding with levels at (easting, northing) from the corner, off the truth by."""
    east, north, above, deviation = (np.array(column) for column in zip(*points, strict=True))
    table = pd.DataFrame(
        {
            "name": [f"p{n}" for n in range(len(points))],
            "easting_m": W + east,
            "northing_m": S + north,
            "level_m": truth_m(W + east, S + north) + above,
            "deviation_m": deviation,
        }
    )
    return dataclasses.replace(found, levels=table)


def test_ground_passes_through_exact_levels() -> None:
    project = farms.project(terrain=RADAR)
    before = with_levels(holding(project), (40, 50, 0, 0.0), (310, 120, 0.2, 0.0))
    after = level_ground(before, project.terrain)
    table = before.levels
    here = after.surface.heights_m(table["easting_m"], table["northing_m"])
    assert here == pytest.approx(table["level_m"].to_numpy(), abs=1e-6)


def test_ground_elsewhere_is_the_raster_less_the_kriged_error() -> None:
    # The mean of simple kriging, worked by the function that is tested by hand and by library.
    project = farms.project(terrain=RADAR)
    raster = holding(project)
    before = with_levels(raster, (40, 50, 0, 0.05), (310, 120, 0.2, 0.3))
    after = level_ground(before, project.terrain)
    x, y = W + np.linspace(0, 400, 9), S + np.linspace(0, 200, 9)
    table = before.levels
    off = raster.surface.heights_m(table["easting_m"], table["northing_m"]) - table["level_m"]
    known = KnownLevels(
        table["easting_m"].to_numpy(), table["northing_m"].to_numpy(), off.to_numpy(),
        table["deviation_m"].to_numpy(),
    )  # fmt: skip
    error = height_error(project.terrain, raster.surface.posting_m)
    mean, _ = conditioned(error, ErrorPoints(x, y), known)
    assert after.surface.heights_m(x, y) == pytest.approx(raster.surface.heights_m(x, y) - mean)


def test_a_shift_common_to_all_the_ground_is_taken_off() -> None:
    # 7/8 of the variance of this class reaches over tens of kilometres: three levels on one
    # farm take most of a common error off everywhere.
    project = farms.project(terrain=RADAR)
    before = with_levels(holding(project, 3.0), (20, 20, 0, 0.02), (380, 30, 0, 0.02),
                         (200, 180, 0, 0.02))  # fmt: skip
    after = level_ground(before, project.terrain)
    x, y = np.meshgrid(W + np.linspace(0, 400, 30), S + np.linspace(0, 200, 15))
    left = after.surface.heights_m(x, y) - truth_m(x, y)
    assert np.abs(left).max() < 0.25 * 3.0


def test_what_is_left_of_the_error_is_zero_at_the_levels() -> None:
    project = farms.project(terrain=RADAR)
    after = level_ground(with_levels(holding(project), (40, 50, 0, 0.02)), project.terrain)
    assert isinstance(after.known_levels, KnownLevels)
    assert after.known_levels.error_m.tolist() == [0.0]
    assert after.known_levels.deviation_m.tolist() == [0.02]


def test_without_levels_nothing_changes() -> None:
    project = farms.project(terrain=RADAR)
    before = holding(project)
    assert level_ground(before, project.terrain) is before


def test_level_of_a_source_is_known_but_moves_no_ground() -> None:
    tank = {"name": "tank", "kind": "header_tank", "at": [W, S], "crs": farms.CRS}
    project = farms.project(terrain=RADAR, source=[{**tank, "level_m": 100.0}])
    before = holding(project)
    after = level_ground(before, project.terrain)
    assert after.surface is before.surface
    assert after.known_levels is not None
    assert after.known_levels.error_m == pytest.approx([1.5])  # raster less level
    slip = farms.project(terrain=RADAR, source=[{**tank, "level_m": 160.0}])
    assert level_ground(holding(slip), slip.terrain).known_levels is None


def test_kind_of_data_not_named_is_told() -> None:
    project = farms.project()
    after = level_ground(with_levels(holding(project), (40, 50, 0, 0.0)), project.terrain)
    assert any("does not say what kind of elevation data" in text for text in after.warnings)
    assert any(text.startswith("The ground was corrected to 1 level") for text in after.repairs)


def test_a_plan_stands_on_the_corrected_ground(tmp_path: Path) -> None:
    # The raster stands 3 m too high all over; the source's level is known. Levelled outlets give
    # back the head that the raster hides.
    tank = {"name": "tank", "kind": "header_tank", "at": [W + 390, S + 190], "crs": farms.CRS,
            "level_m": truth_m(W + 390, S + 190), "height_above_ground_m": 1.0}  # fmt: skip
    rows = [(x, y, truth_m(W + x, S + y)) for x in (10, 200, 390) for y in (10, 190)]
    lines = ["name,easting,northing,level", *(f",{W + x},{S + y},{z:.4f}" for x, y, z in rows)]
    (tmp_path / "levels.csv").write_text("\n".join(lines) + "\n")
    cheap = {"source": [tank], "layout": {"price_rounds": 0}}
    static = []
    for more in ({}, {"levels": "levels.csv", "levels_crs": farms.CRS}):
        project = farms.project(terrain={**RADAR, **more}, **cheap)
        project = project.model_copy(update={"folder": tmp_path})
        with farms.ground(SHAPES, lambda x, y: truth_m(x, y) + 3.0) as data:
            plan = plan_holding(project, paddocks=farms.table(SHAPES), elevation=data)
        nodes = plan.network.nodes.geometry
        true = tank["level_m"] + 1.0 - truth_m(nodes.x.to_numpy(), nodes.y.to_numpy())
        static.append(plan.heads.nodes["static_head_m"].to_numpy() - true)
    assert static[0][1:] == pytest.approx(-3.0, abs=0.05)
    assert np.abs(static[1]).max() < 0.35


def test_table_of_points_to_level_is_read_back_as_it_is_written(tmp_path: Path) -> None:
    # No CRS is set: the table is in the working CRS, and is taken to be.
    project = farms.project(terrain={**RADAR, "levels": "survey.csv"})
    project = project.model_copy(update={"folder": tmp_path})
    found = holding(farms.project(terrain=RADAR))
    spots = pd.DataFrame(
        {
            "name": ["outlet 1", "=pipe 2 at 40 m"], "easting_m": W + np.array([50.0, 300.0]),
            "northing_m": S + np.array([60.0, 150.0]), "level_m": 101.0, "deviation_m": 2.4,
            "outlets": [("outlet 1",), ("outlet 1", "outlet 2")],
        }
    )  # fmt: skip
    lines = survey_csv(found, spots).splitlines()
    level = truth_m(spots["easting_m"], spots["northing_m"])
    filled = [lines[0]]
    for line, value in zip(lines[1:], level, strict=True):
        name, east, north, blank, note = line.split(",", 4)
        assert blank == ""
        filled.append(f"{name},{east},{north},{value:.2f},{note}")
    (tmp_path / "survey.csv").write_text("\n".join(filled) + "\n", encoding="utf-8")
    levels = holding(project).levels
    assert levels["level_m"].to_numpy() == pytest.approx(level.to_numpy(), abs=0.006)
    assert levels["easting_m"].to_numpy() == pytest.approx(spots["easting_m"].to_numpy())
