"""Plans side by side: what is changed, what is kept apart, and what is written."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import rasterio
from rasterio.transform import from_origin

import farms
from dewpond import load_project, plan_holding, project_from_dict
from dewpond.base.errors import InputError, SolverError
from dewpond.base.model import Verdict
from dewpond.base.settings import Project, WhatIfSettings
from dewpond.cli import run
from dewpond.compare import AS_IT_STANDS, compare_plans, read_shorthand, varied_project

RAW: dict[str, Any] = {
    "holding": {"name": "Test farm", "crs": farms.CRS},
    "terrain": {"elevation": "terrain.tif", "height_unit": "metre"},
    "paddocks": {"boundaries": "paddocks.geojson"},
    "mob": [
        {"name": "stores", "species": "cattle", "head": 80, "weight_kg": 350.0},
        {"name": "ewes", "species": "sheep", "head": 120, "weight_kg": 70.0, "lactating": True},
    ],
    "source": [
        {"name": "tank", "kind": "header_tank", "at": [farms.WEST, farms.SOUTH],
         "crs": farms.CRS, "height_above_ground_m": 5.0},
        {"name": "main, by the road", "kind": "mains", "crs": farms.CRS,
         "at": [farms.WEST + 400, farms.SOUTH + 400], "static_pressure_bar": 3.0},
    ],
    "design": {"walk_limit_m": 300.0},
}  # fmt: skip


def project(**tables: Any) -> Project:
    return project_from_dict({**RAW, **tables})


def what_if(name: str = "otherwise", **tables: Any) -> WhatIfSettings:
    return WhatIfSettings.model_validate({"name": name, **tables})


class TestShorthand:
    def test_each_value_is_a_change_by_itself(self) -> None:
        found = read_shorthand(["walk_limit_m=200,400", "trough=fixed"])
        assert [item.name for item in found] == [
            "walk limit 200 m", "walk limit 400 m", "trough fixed",
        ]  # fmt: skip
        assert [item.changes() for item in found] == [
            {"design": {"walk_limit_m": 200}}, {"design": {"walk_limit_m": 400}},
            {"design": {"trough": "fixed"}},
        ]  # fmt: skip

    def test_every_combination_when_asked(self) -> None:
        found = read_shorthand(
            ["walk_limit_m=200,400", "follow=open,fences"], every_combination=True
        )
        assert len(found) == 4
        assert found[0].name == "walk limit 200 m, follow open"
        assert found[3].changes() == {"design": {"walk_limit_m": 400, "follow": "fences"}}

    def test_a_key_is_found_in_its_own_table(self) -> None:
        (found,) = read_shorthand(["reserve_days=3"])
        assert found.changes() == {"supply": {"reserve_days": 3}}

    def test_a_key_of_two_tables_must_say_which(self) -> None:
        with pytest.raises(InputError, match=r"siting\.node_limit|layout\.optimality_gap|say"):
            read_shorthand(["table=x"])
        (found,) = read_shorthand(["demand.table=AAFC"])
        assert found.changes() == {"demand": {"table": "AAFC"}}

    def test_a_value_with_a_comma_stands_in_quotes(self) -> None:
        (found,) = read_shorthand(['source="main, by the road"'])
        assert found.changes() == {"design": {"source": "main, by the road"}}

    @pytest.mark.parametrize(
        ("text", "words"),
        [
            ("walk_limt_m=200", 'did you mean "walk_limit_m"?'),
            ("walk_limit_m", "is not a key with its values"),
            ("design.walk=3", "no table has that key"),
            ("head=3", "mobs and sources are changed by [[what_if]]"),
        ],
    )
    def test_what_cannot_be_read_is_a_fault(self, text: str, words: str) -> None:
        with pytest.raises(InputError) as caught:
            read_shorthand([text, "trough=fixed"])
        assert words in str(caught.value)
        assert len(caught.value.faults) == 1


class TestVaried:
    def test_only_what_is_named_differs(self) -> None:
        base = project()
        varied = varied_project(base, what_if(design={"walk_limit_m": 200.0}))
        assert varied.design.walk_limit_m == 200.0
        same = varied.model_copy(update={"design": base.design})
        assert same == base

    def test_a_change_to_what_stands_gives_the_same_project(self) -> None:
        base = project()
        assert varied_project(base, what_if(design={"walk_limit_m": 300.0})) == base

    def test_mobs_and_sources_are_found_by_name(self) -> None:
        varied = varied_project(
            project(),
            what_if(mob=[{"name": "ewes", "head": 60}],
                    source=[{"name": "tank", "height_above_ground_m": 9.0}]),
        )  # fmt: skip
        assert [mob.head for mob in varied.mob] == [80, 60]
        assert varied.mob[1].weight_kg == 70.0
        assert varied.source[0].height_above_ground_m == 9.0

    @pytest.mark.parametrize(
        ("tables", "words"),
        [
            ({"mob": [{"name": "ewe", "head": 3}]}, 'did you mean "ewes"?'),
            ({"mob": [{"head": 3}]}, "has no name"),
            ({"design": {"walk_limt_m": 3.0}}, 'did you mean "walk_limit_m"?'),
            ({"design": {"walk_limit_m": -3.0}}, "greater than 0"),
            ({"design": {"source": "spring"}}, "no [[source]] has that name"),
        ],
    )
    def test_faults_name_the_what_if(self, tables: dict[str, Any], words: str) -> None:
        with pytest.raises(InputError) as caught:
            varied_project(project(), what_if("wrong", **tables))
        assert words in str(caught.value)
        assert '[[what_if]] "wrong"' in str(caught.value)


def pretend_plan(varied: Project, **_: Any) -> Any:
    """Stand in for a plan whose cost is told by its limit, so that each can be recognised."""
    limit = varied.design.walk_limit_m
    if limit == 111.0:
        raise SolverError("the solver stopped: out of nodes")
    if limit == 222.0:
        raise InputError([])
    if limit == 333.0:
        raise ZeroDivisionError("a slip")
    return SimpleNamespace(
        holding=SimpleNamespace(sources=[SimpleNamespace(name="tank")]),
        network=SimpleNamespace(source=0, proof=SimpleNamespace(gap=0.01)),
        totals={"cost": 10 * limit, "worst_walk_m": limit},
        verdicts=(Verdict("walk", limit, 350.0, "m", limit <= 350.0),),
        warnings=(),
    )


class TestApart:
    @pytest.fixture(autouse=True)
    def pretend(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr("dewpond.compare.run.plan_holding", pretend_plan)

    def limits(self, *limits: float) -> list[WhatIfSettings]:
        return [what_if(f"{limit:g}", design={"walk_limit_m": limit}) for limit in limits]

    def test_one_that_fails_says_why_and_the_others_go_on(self) -> None:
        outcomes = compare_plans(project(), self.limits(111.0, 333.0, 400.0, 200.0)).outcomes
        assert [outcome.name for outcome in outcomes] == [
            AS_IT_STANDS, "111", "333", "400", "200",
        ]  # fmt: skip
        assert [outcome.planned for outcome in outcomes] == [True, False, False, True, True]
        assert [outcome.met for outcome in outcomes] == [True, False, False, False, True]
        assert outcomes[1].failure == "the solver stopped: out of nodes"
        assert "ZeroDivisionError" in outcomes[2].failure
        assert outcomes[3].shortfalls == ("walk",)
        assert outcomes[4].totals["cost"] == 2000.0

    def test_changes_say_what_stood_before(self) -> None:
        (_, outcome) = compare_plans(project(), self.limits(200.0)).outcomes
        (change,) = outcome.changes
        assert (change.setting, change.value, change.instead_of) == (
            "design.walk_limit_m", "200", "300",
        )  # fmt: skip

    def test_what_changes_nothing_is_left_out(self) -> None:
        assert len(compare_plans(project(), self.limits(300.0)).outcomes) == 1

    def test_faults_of_all_what_ifs_come_before_any_plan(self) -> None:
        wrong = [what_if("a", design={"x": 1}), what_if("b", mob=[{"name": "none"}])]
        with pytest.raises(InputError) as caught:
            compare_plans(project(), [*wrong, *self.limits(111.0)])
        assert len(caught.value.faults) == 2

    def test_nothing_to_compare_with_is_a_fault(self) -> None:
        with pytest.raises(InputError, match="nothing to compare"):
            compare_plans(project())

    def test_those_of_the_project_file_are_taken(self) -> None:
        listed = project(what_if=[{"name": "far", "design": {"walk_limit_m": 400.0}}])
        assert [o.name for o in compare_plans(listed).outcomes] == [AS_IT_STANDS, "far"]

    def test_progress_of_each_runs_from_nothing_to_whole(self) -> None:
        told: list[tuple[str, float]] = []
        compare_plans(project(), self.limits(200.0),
                      progress=lambda stage, share: told.append((stage, share)))  # fmt: skip
        for name in (AS_IT_STANDS, "200"):
            shares = [share for stage, share in told if stage == name]
            assert shares[0] == 0.0
            assert shares[-1] == 1.0
            assert shares == sorted(shares)


@pytest.fixture(scope="module")
def small_farm(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the project file of two square paddocks on a slope, with what-ifs."""
    folder = tmp_path_factory.mktemp("small")
    farms.table(farms.squares(2, 1, 200.0)).to_file(folder / "paddocks.geojson")
    x, y = np.meshgrid(np.arange(70), np.arange(70))
    with rasterio.open(
        folder / "terrain.tif", "w", driver="GTiff", height=70, width=70, count=1,
        dtype="float32", crs=farms.CRS,
        transform=from_origin(farms.WEST - 100, farms.SOUTH + 500, 10, 10),
    ) as data:  # fmt: skip
        data.write((100 - 0.1 * x - 0.05 * y).astype("float32"), 1)
    path = folder / "holding.toml"
    path.write_text(
        f"""
[holding]
name = "Small farm"
crs = "{farms.CRS}"
[terrain]
elevation = "terrain.tif"
height_unit = "metre"
[paddocks]
boundaries = "paddocks.geojson"
name_field = "name"
[[mob]]
name = "stores"
species = "cattle"
head = 20
weight_kg = 350.0
[[source]]
name = "tank"
kind = "header_tank"
at = [{farms.WEST}, {farms.SOUTH}]
crs = "{farms.CRS}"
height_above_ground_m = 30.0
[design]
walk_limit_m = 300.0
[[what_if]]
name = "short walk"
design.walk_limit_m = 150.0
[[what_if]]
name = "no such file"
features.tracks = "missing.geojson"
""",
        encoding="utf-8",
    )
    return path


@pytest.fixture(scope="module")
def compared(small_farm: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[int, Path]:
    out = tmp_path_factory.mktemp("out") / "compared"
    return run(["compare", str(small_farm), "-o", str(out), "--instead", "follow=open"]), out


def test_a_holding_compared_end_to_end(compared: tuple[int, Path], small_farm: Path) -> None:
    code, out = compared
    assert code == 1  # one could not be planned
    record = json.loads((out / "comparison.json").read_text(encoding="utf-8"))
    names = [outcome["name"] for outcome in record["outcomes"]]
    assert names == [AS_IT_STANDS, "short walk", "no such file", "follow open"]
    assert "missing.geojson" in record["outcomes"][2]["failure"]
    assert sorted(path.name for path in out.iterdir()) == sorted(record["files"])
    alone = load_project(small_farm)
    design = alone.design.model_copy(update={"walk_limit_m": 150.0})
    plan = plan_holding(alone.model_copy(update={"design": design}))
    assert record["outcomes"][1]["totals"]["cost"] == pytest.approx(plan.totals["cost"])
    assert record["outcomes"][1]["totals"]["worst_walk_m"] <= 150.0


def test_the_same_comparison_gives_the_same_bytes(
    compared: tuple[int, Path], small_farm: Path, tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    again = tmp_path / "again"
    arguments = [str(small_farm), "-o", str(again), "--instead", "follow=open", "--json"]
    assert run(["compare", *arguments]) == 1
    first, second = (
        {path.name: path.read_bytes() for path in sorted(folder.iterdir())}
        for folder in (compared[1], again)
    )
    assert first == second
    assert capsys.readouterr().out.encode() == second["comparison.json"] + b"\n"


@pytest.mark.parametrize(
    ("limits", "code"),
    [("200", 0), ("400", 1), ("111", 3), ("222", 1)],
    ids=["all met", "one short", "solver gave up", "one not planned"],
)
def test_exit_codes(
    limits: str, code: int, small_farm: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def planned(varied: Project, **options: Any) -> Any:
        plan = pretend_plan(varied, **options)
        plan.totals.update(outlets=1.0, pipe_m=9.0, mean_walk_m=5.0, covered_share=1.0,
                           daily_demand_l=1.0)  # fmt: skip
        return plan

    monkeypatch.setattr("dewpond.compare.run.plan_holding", planned)
    text = small_farm.read_text(encoding="utf-8").split("[[what_if]]")[0]
    plain = tmp_path / "holding.toml"
    plain.write_text(text, encoding="utf-8")
    out = tmp_path / "out"
    instead = f"walk_limit_m={limits}"
    assert run(["compare", str(plain), "-o", str(out), "--instead", instead]) == code
    # A second run may replace the first, and nothing else may be in the way.
    assert run(["compare", str(plain), "-o", str(out), "--instead", instead]) == code
    (out / "mine.txt").write_text("keep me")
    assert run(["compare", str(plain), "-o", str(out), "--instead", instead]) == 2
    assert (out / "mine.txt").read_text() == "keep me"


def test_nothing_planned_at_all_is_an_input_fault(
    small_farm: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(varied: Project, **_: Any) -> Any:
        raise InputError([])

    monkeypatch.setattr("dewpond.compare.run.plan_holding", refuse)
    assert run(["compare", str(small_farm), "-o", str(tmp_path / "out")]) == 2
    assert not (tmp_path / "out").exists()


def test_outcomes_are_values() -> None:
    from dewpond.base.model import Outcome

    outcome = Outcome("a", totals={"cost": 1.0})
    with pytest.raises(AttributeError):
        outcome.name = "b"  # type: ignore[misc]
    assert replace(outcome, name="b").totals == outcome.totals
