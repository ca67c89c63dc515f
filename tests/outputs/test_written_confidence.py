"""How sure a plan is, in layers, pictures, words and the table for the surveyor."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from pathlib import Path

import numpy as np
import pyproj
import pytest
import shapely
from hand_plan import make_plan
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from dewpond.base.advice import advice, in_cases, listed
from dewpond.base.measures import Measures
from dewpond.base.model import Confidence, Plan
from dewpond.cli import run
from dewpond.outputs import write_plan
from dewpond.outputs.drawing import confidence_map, influences_chart
from dewpond.outputs.layers import plan_layers
from dewpond.outputs.survey import survey_csv


@pytest.fixture(scope="module")
def plan() -> Plan:
    return make_plan()


@pytest.fixture(scope="module")
def found(plan: Plan) -> Confidence:
    assert plan.confidence is not None
    return plan.confidence


def texts(figure: Figure) -> list[str]:
    own = [text.get_text() for text in figure.texts]
    legends = [text.get_text() for legend in figure.legends for text in legend.get_texts()]
    return own + legends + [t.get_text() for axes in figure.axes for t in axes.texts]


class TestLayers:
    def test_outlets_have_their_chances(self, plan: Plan, found: Confidence) -> None:
        layer = plan_layers(plan)["outlet"].set_index("name")
        joined = found.outlets.index
        assert layer.loc[joined, "chance"].tolist() == found.outlets["chance"].tolist()
        low, high = layer["spare_head_low_m"], layer["spare_head_high_m"]
        spare = layer["residual_head_m"] - layer["needed_head_m"]
        assert (low[joined] < spare[joined]).all()
        assert (spare[joined] < high[joined]).all()
        assert layer.drop(index=joined)["chance"].isna().all()

    def test_spots_stand_where_they_were_found(self, plan: Plan, found: Confidence) -> None:
        layer = plan_layers(plan)["survey_point"]
        assert layer["name"].tolist() == found.survey["name"].tolist()
        assert layer["order"].tolist() == [1, 2, 3, 4]
        xy = shapely.get_coordinates(layer.geometry.array)
        assert xy == pytest.approx(found.survey[["easting_m", "northing_m"]].to_numpy())

    def test_nothing_is_said_where_nothing_was_assessed(self, plan: Plan) -> None:
        layers = plan_layers(replace(plan, confidence=None))
        assert layers["survey_point"].empty
        columns = ["chance", "spare_head_low_m", "spare_head_high_m"]
        assert layers["outlet"][columns].isna().all(axis=None)
        assert list(layers["survey_point"]) == list(plan_layers(plan)["survey_point"])


class TestTable:
    def test_it_is_in_the_form_that_is_read_back(self, plan: Plan, found: Confidence) -> None:
        rows = list(csv.DictReader(io.StringIO(survey_csv(plan.holding, found.survey))))
        assert list(rows[0]) == ["name", "easting", "northing", "level", "note"]
        assert [row["name"] for row in rows] == found.survey["name"].tolist()
        assert {row["level"] for row in rows} == {""}
        for row, spot in zip(rows, found.survey.itertuples(), strict=True):
            assert float(row["easting"]) == pytest.approx(spot.easting_m, abs=0.005)
            assert float(row["northing"]) == pytest.approx(spot.northing_m, abs=0.005)

    def test_degrees_in_the_note_are_the_same_place(self, plan: Plan, found: Confidence) -> None:
        (row, *_) = csv.DictReader(io.StringIO(survey_csv(plan.holding, found.survey)))
        note = row["note"].replace(";", "").replace(",", "").split()
        latitude = float(note[note.index("latitude") + 1])
        longitude = float(note[note.index("longitude") + 1])
        back = pyproj.Transformer.from_crs(4326, 27700, always_xy=True)
        assert back.transform(longitude, latitude) == pytest.approx(
            (float(row["easting"]), float(row["northing"])), abs=0.1
        )


class TestPictures:
    def test_the_map_tells_chances_and_spots(self, plan: Plan, found: Confidence) -> None:
        said = texts(confidence_map(plan, found, plan_layers(plan)))
        assert {"70 %", "93 %", "99 %", "100 %"} <= set(said)
        assert {"1", "2", "3", "4"} <= set(said)
        assert any("1 of 5 outlets below 90 %" in text for text in said)
        assert any("all together 69 %" in text for text in said)

    def test_bars_run_from_the_plan_to_what_was_tried(self, plan: Plan, found: Confidence) -> None:
        (axes,) = influences_chart(plan, found).axes
        bars = [patch for patch in axes.patches if isinstance(patch, Rectangle)][-12:]
        base = float(found.influences["base"].iloc[0])
        ends = [
            bar.get_x() + bar.get_width() for bar in bars if abs(bar.get_x() - base) < 1e-9
        ] + [bar.get_x() for bar in bars if abs(bar.get_x() - base) >= 1e-9]
        tried = found.influences[["figure_low", "figure_high"]].to_numpy().ravel()
        assert sorted(ends) == pytest.approx(sorted(tried))

    def test_us_units(self, plan: Plan, found: Confidence) -> None:
        settings = plan.project.documents.model_copy(update={"units": "US customary"})
        project = plan.project.model_copy(update={"documents": settings})
        figure = influences_chart(replace(plan, project=project), found)
        assert figure.axes[0].get_xlabel().endswith("[ft]")

    def test_no_picture_of_nothing(self, plan: Plan, found: Confidence, tmp_path: Path) -> None:
        empty = replace(found, influences=found.influences.iloc[:0], survey=found.survey.iloc[:0])
        paths = write_plan(replace(plan, confidence=empty), tmp_path / "one")
        names = {path.name for path in paths}
        assert "confidence.png" in names
        assert not {"influences.png", "survey.csv"} & names
        paths = write_plan(replace(plan, confidence=None), tmp_path / "two")
        assert not [path for path in paths if "confidence" in path.as_posix().split("/two/")[1]]


class TestWords:
    @pytest.mark.parametrize(
        ("chance", "said"),
        [
            (1.0, "practically always"),
            (0.97, "in more than 19 of 20 cases"),
            (0.71, "in 7 of 10 cases"),
            (0.66, "in 7 of 10 cases"),
            (0.05, "in 1 of 10 cases"),
            (0.02, "in fewer than 1 of 20 cases"),
            (0.0, "practically never"),
        ],
    )
    def test_a_chance_as_one_says_it(self, chance: float, said: str) -> None:
        assert in_cases(chance) == said

    def test_names_in_a_row(self) -> None:
        assert listed(["a"]) == "a"
        assert listed(["a", "b"]) == "a and b"
        assert listed(["a", "b", "c"]) == "a, b and c"
        assert listed(list("abcdefg")) == "a, b, c, d and 3 more"
        assert listed([]) == ""

    def test_what_an_adviser_says(self, found: Confidence) -> None:
        assert advice(found, "GBP") == (
            "Outlet 4 works in 7 of 10 cases (head at the outlet). All together work in 7 of 10 "
            "cases. Level outlet 4 and the source first. Most hangs on the heights: with 5 % of "
            "the simulations an outlet is 1.4 m short of head. Sized to work in 90 % of cases at "
            "each outlet, its pipe costs GBP 54 more."
        )

    def test_where_more_cannot_be_had(self, found: Confidence) -> None:
        design = {**found.design, "feasible": 0.0, "extra_cost": np.nan, "reason": "it is dry"}
        said = advice(replace(found, design=design), "GBP")
        assert said.endswith("90 % at each outlet cannot be had: it is dry.")

    def test_where_all_is_well(self, found: Confidence) -> None:
        safe = found.outlets.assign(chance=0.999)
        calm = replace(found, outlets=safe, survey=found.survey.iloc[:0])
        calm = replace(calm, design={**found.design, "extra_cost": 0.0})
        calm = replace(calm, influences=found.influences.assign(figure_low=2.0, figure_high=0.5))
        assert advice(calm, "GBP", Measures("US customary")) == (
            "As far as heights go, every outlet works practically always. Most hangs on the "
            "heights: 95 % of the simulations would still leave 2 ft to spare."
        )

    def test_without_outlets_nothing(self, found: Confidence) -> None:
        assert advice(replace(found, outlets=found.outlets.iloc[:0]), "GBP") == ""


class TestCommand:
    def test_the_last_words_are_the_advice(
        self,
        plan: Plan,
        root: Path,
        tmp_path: Path,
        monkeypatch: pytest.MonkeyPatch,
        capsys: pytest.CaptureFixture[str],
    ) -> None:
        monkeypatch.setattr("dewpond.plan.plan_holding", lambda project, progress: plan)
        monkeypatch.setattr("dewpond.outputs.write_plan", lambda plan, folder: ())
        project = root / "sample_data" / "holding.toml"
        assert run(["plan", str(project), "-o", str(tmp_path / "out")]) == 1
        *_, said, where = capsys.readouterr().err.strip().splitlines()
        assert said.startswith("Outlet 4 works in 7 of 10 cases")
        assert where.startswith("results in")
