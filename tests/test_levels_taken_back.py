"""A plan in doubt, its list of spots taken to the field, and the plan made again with levels."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import numpy as np
import pytest

from dewpond import Plan, plan_holding
from dewpond.outputs.survey import survey_csv
from farms import CRS, SOUTH, WEST, ground, project, squares, table

SHAPES = squares(2, 2, 220.0)
TERRAIN = {"height_data": "national terrain 5 m"}


def raster_m(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    return 200.0 - 0.012 * (x - WEST) - 0.01 * (y - SOUTH)


def true_m(x: float, y: float) -> float:
    """Ground as it is: up to 2 m higher than the raster far from the tank."""
    return float(raster_m(np.asarray(x), np.asarray(y))) + 0.004 * (x - WEST + y - SOUTH)


def planned(folder: Path, **terrain: str) -> Plan:
    settings = project(
        terrain={"height_unit": "metre", **TERRAIN, **terrain},
        source=[{
            "name": "tank", "kind": "header_tank", "at": [WEST, SOUTH], "crs": CRS,
            "height_above_ground_m": 4.0,
        }],
    )  # fmt: skip
    settings = settings.model_copy(update={"folder": folder})
    with ground(SHAPES, raster_m) as elevation:
        return plan_holding(settings, paddocks=table(SHAPES), elevation=elevation)


@pytest.fixture(scope="module")
def before(tmp_path_factory: pytest.TempPathFactory) -> Plan:
    return planned(tmp_path_factory.mktemp("before"))


def filled_in(plan: Plan, folder: Path) -> list[dict[str, str]]:
    assert plan.confidence is not None
    rows = list(csv.DictReader(io.StringIO(survey_csv(plan.holding, plan.confidence.survey))))
    for row in rows:
        row["level"] = f"{true_m(float(row['easting']), float(row['northing'])):.2f}"
    with (folder / "survey.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    return rows


def test_the_list_is_taken_back_and_settles_what_it_promised(before: Plan, tmp_path: Path) -> None:
    assert before.confidence is not None
    first = before.confidence
    assert len(first.survey) >= 2
    rows = filled_in(before, tmp_path)
    again = planned(tmp_path, levels="survey.csv")
    assert again.confidence is not None
    assert first.assumed["levels"] == 0
    assert again.confidence.assumed["levels"] == len(rows)
    assert again.holding.levels["name"].tolist() == [row["name"] for row in rows]
    # The ground passes through the levels, to their own 5 cm.
    for row in rows:
        level = again.holding.surface.heights_m(float(row["easting"]), float(row["northing"]))
        assert float(level) == pytest.approx(float(row["level"]), abs=0.05)
    # The heads at the outlets are settled: sure within a decimetre or two, for better or worse.
    assert first.outlets["spare_head_deviation_m"].max() > 2.0
    assert again.confidence.outlets["spare_head_deviation_m"].max() < 0.2
    flow, told = again.confidence.outlets["chance_flow"], first.outlets["chance_flow"]
    assert (flow * (1 - flow)).sum() < 0.1 * (told * (1 - told)).sum()


def test_without_it_the_plan_is_the_same(before: Plan, tmp_path: Path) -> None:
    settings = before.project
    off = settings.model_copy(
        update={"confidence": settings.confidence.model_copy(update={"assess": False})}
    )
    with ground(SHAPES, raster_m) as elevation:
        plan = plan_holding(off, paddocks=table(SHAPES), elevation=elevation)
    assert plan.confidence is None
    assert dict(plan.totals) == dict(before.totals)
    assert plan.verdicts == before.verdicts
