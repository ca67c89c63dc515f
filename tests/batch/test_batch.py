"""Many holdings in one go: the same figures as one by one, tables that agree, nothing redone."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pyogrio
import pytest
import shapely
from shapely import LineString

from batch import synthetic
from batch.results import HOLDINGS, by_holding, table, tree
from dewpond import load_project, plan_holding, write_plan
from dewpond.base.errors import InputError
from dewpond.batch import BatchOptions, BatchReport, Rows, plan_batch
from dewpond.batch.limits import limited

Run = Callable[..., BatchReport]


@pytest.fixture
def mine(made: Path, tmp_path: Path) -> Path:
    """Return a copy of the holdings that a test may change."""
    return Path(shutil.copytree(made, tmp_path / "given"))


def test_each_holding_is_planned_as_by_itself(
    made: Path, undisturbed: dict[str, str], tmp_path: Path
) -> None:
    project = limited(load_project(made / "holding-00001.toml"), BatchOptions())
    write_plan(plan_holding(project), tmp_path / "one", documents=False, timed=False)
    for name, digest in tree(tmp_path / "one").items():
        assert undisturbed[f"holdings/holding-00001/{name}"] == digest


@pytest.mark.slow
def test_two_real_places_among_many_are_to_the_byte_what_they_are_alone(
    mine: Path, real_data: Path, run: Run, tmp_path: Path
) -> None:
    places = synthetic.write_real_places(mine, real_data)
    report = run(mine, tmp_path / "out", processes=2, search_s=20.0, documents=False)
    assert report.failures == ()
    rows = by_holding(tmp_path / "out")
    for path in places:
        # What the clock cuts short repeats by chance only, so it must not have been.
        assert rows[path.stem]["cut_by_clock"] == "no"
        project = limited(load_project(path), BatchOptions(search_s=20.0))
        write_plan(plan_holding(project), tmp_path / path.stem, documents=False, timed=False)
        assert tree(tmp_path / path.stem) == tree(tmp_path / "out" / "holdings" / path.stem)


def test_tables_agree_with_the_plans(made: Path, run: Run, tmp_path: Path) -> None:
    report = run(made, tmp_path / "out")
    assert report.holdings == sum(report.by_status.values()) == HOLDINGS
    rows = by_holding(tmp_path / "out")
    fields = pd.DataFrame(table(tmp_path / "out", "fields"))
    verdicts = pd.DataFrame(table(tmp_path / "out", "verdicts"))
    assert list(rows) == sorted(rows)
    for holding, row in rows.items():
        summary = json.loads((tmp_path / "out" / row["folder"] / "summary.json").read_text())
        assert float(row["cost"]) == pytest.approx(summary["totals"]["cost"], abs=0.01)
        assert float(row["pipe_m"]) == pytest.approx(summary["totals"]["pipe_m"], abs=0.01)
        assert (row["status"] == "met") == summary["met"]
        assert float(row["gap"]) == pytest.approx(
            summary["optimisation"]["layout"]["gap"], abs=1e-6
        )
        assert summary["optimisation"]["layout"]["seconds"] is None
        own = fields[fields["holding"] == holding]
        assert int(row["fields"]) == len(own)
        assert own["area_ha"].astype(float).sum() == pytest.approx(
            summary["totals"]["grazed_area_ha"], abs=1e-3
        )
        missed = verdicts[(verdicts["holding"] == holding) & (verdicts["met"] == "no")]
        assert int(row["requirements_missed"]) == len(missed)
        assert row["falls_short"] == "; ".join(missed["requirement"])


def test_the_three_formats_hold_the_same(made: Path, run: Run, tmp_path: Path) -> None:
    run(made, tmp_path / "out")
    for name in ("holdings", "fields", "verdicts"):
        text = pd.read_csv(tmp_path / "out" / f"{name}.csv")
        packed = pyogrio.read_dataframe(tmp_path / "out" / "results.gpkg", layer=name)
        if name == "verdicts":
            column = pd.read_parquet(tmp_path / "out" / f"{name}.parquet")
        else:
            column = gpd.read_parquet(tmp_path / "out" / f"{name}.parquet")
            assert (
                column.crs.to_epsg() == packed.crs.to_epsg() or column.crs.name == "WGS 84 (CRS84)"
            )
            assert shapely.equals_exact(column.geometry.array, packed.geometry.array, 1e-9).all()
        assert len(text) == len(packed) == len(column) > 0
        for heading in column.columns.drop("geometry", errors="ignore"):
            assert packed[heading].astype(str).replace(
                {"None": "nan", "<NA>": "nan"}
            ).tolist() == (
                column[heading].astype(str).replace({"None": "nan", "<NA>": "nan"}).tolist()
            ), heading
        numbers = text.select_dtypes("number").columns.difference(["longitude", "latitude"])
        for heading in numbers:
            assert text[heading].tolist() == pytest.approx(
                column[heading].astype(float).tolist(), nan_ok=True
            )


def test_a_template_plans_the_same_as_project_files(made: Path, run: Run, tmp_path: Path) -> None:
    template = synthetic.write_template(tmp_path / "given", HOLDINGS)
    report = run(
        template, tmp_path / "out",
        holdings=Rows(str(tmp_path / "given" / "fields.gpkg"), None, "holding"),
        sources=Rows(str(tmp_path / "given" / "sources.gpkg"), None, "holding"),
    )  # fmt: skip
    assert report.holdings == HOLDINGS
    run(made, tmp_path / "files")
    split, alone = by_holding(tmp_path / "out"), by_holding(tmp_path / "files")
    for row in split.values():
        other = alone[row["name"].replace(" ", "-")]
        for key in ("grazed_area_ha", "source_kind", "water_level_m"):
            assert row[key] == other[key]


def test_boundaries_of_any_format_give_the_same(run: Run, tmp_path: Path) -> None:
    template = synthetic.write_template(tmp_path / "given", 2)
    fields = gpd.read_file(tmp_path / "given" / "fields.gpkg")
    fields.to_file(tmp_path / "given" / "fields.geojson", driver="GeoJSON")
    sources = Rows(str(tmp_path / "given" / "sources.gpkg"), None, "holding")
    for ending in ("gpkg", "geojson"):
        rows = Rows(str(tmp_path / "given" / f"fields.{ending}"), None, "holding")
        run(template, tmp_path / ending, holdings=rows, sources=sources)
    first, second = by_holding(tmp_path / "gpkg"), by_holding(tmp_path / "geojson")
    assert [row["outlets"] for row in first.values()] == [r["outlets"] for r in second.values()]


def test_the_nearest_point_of_a_main_is_the_source(run: Run, tmp_path: Path) -> None:
    template = synthetic.write_template(tmp_path / "given", 1)
    west, south = synthetic.WEST, synthetic.SOUTH
    main = LineString([(west - 200.0, south - 80.0), (west + 900.0, south - 80.0)])
    far = LineString([(west - 200.0, south - 900.0), (west + 900.0, south - 900.0)])
    gpd.GeoDataFrame(
        {"kind": ["mains", "mains"], "static_pressure_bar": [3.0, 9.0]},
        geometry=[main, far], crs=synthetic.CRS,
    ).to_file(tmp_path / "mains.gpkg")  # fmt: skip
    run(
        template, tmp_path / "out", processes=1, head_per_ha=2.0,
        holdings=Rows(str(tmp_path / "given" / "fields.gpkg"), None, "holding"),
        sources=Rows(str(tmp_path / "mains.gpkg")),
    )  # fmt: skip
    [row] = table(tmp_path / "out")
    summary = json.loads((tmp_path / "out" / row["folder"] / "summary.json").read_text())
    [source] = summary["settings"]["source"]
    assert source["static_pressure_bar"] == 3.0
    assert source["at"][1] == pytest.approx(south - 80.0)
    area_ha = summary["totals"]["grazed_area_ha"]
    assert summary["settings"]["mob"][0]["head"] == round(2.0 * area_ha)


def test_finished_work_is_not_redone(made: Path, run: Run, tmp_path: Path) -> None:
    run(made, tmp_path / "out")
    before = tree(tmp_path / "out")
    times = {path: path.stat().st_mtime_ns for path in (tmp_path / "out/holdings").rglob("*")}
    report = run(made, tmp_path / "out")
    assert report.stood == HOLDINGS
    assert tree(tmp_path / "out") == before
    assert times == {path: path.stat().st_mtime_ns for path in times}


def test_only_what_changed_is_planned_anew(mine: Path, run: Run, tmp_path: Path) -> None:
    run(mine, tmp_path / "out")
    changed = mine / "holding-00002.toml"
    changed.write_text(changed.read_text().replace("weight_kg = 350.0", "weight_kg = 351.0"))
    boundaries = gpd.read_file(mine / "holding-00003.geojson")
    boundaries.geometry = boundaries.geometry.scale(0.99, 0.99)
    boundaries.to_file(mine / "holding-00003.geojson", driver="GeoJSON")
    same = mine / "holding-00001.toml"
    same.write_text("# a comment changes nothing\n" + same.read_text())
    assert run(mine, tmp_path / "out").stood == HOLDINGS - 2


@pytest.mark.slow
def test_another_raster_or_other_results_change_every_plan(
    mine: Path, run: Run, tmp_path: Path
) -> None:
    run(mine, tmp_path / "out")
    synthetic.write_elevation(mine / "terrain.tif", 3, 2, posting_m=12.0)
    assert run(mine, tmp_path / "out").stood == 0
    assert run(mine, tmp_path / "out", documents=True).stood == 0
    assert run(mine, tmp_path / "out", documents=True).stood == HOLDINGS


def test_a_result_that_was_cut_short_is_planned_anew(
    made: Path, undisturbed: dict[str, str], run: Run, tmp_path: Path
) -> None:
    run(made, tmp_path / "out")
    cut = tmp_path / "out" / "holdings" / "holding-00000" / "plan.geojson"
    cut.write_bytes(cut.read_bytes()[:100])
    (tmp_path / "out" / "work" / "records" / "holding-00001.json").write_text('{"holding": "h')
    assert run(made, tmp_path / "out").stood == HOLDINGS - 2
    assert tree(tmp_path / "out") == undisturbed


def test_bad_holdings_cost_only_themselves(
    mine: Path, undisturbed: dict[str, str], run: Run, tmp_path: Path
) -> None:
    (mine / "sub folder").mkdir()
    (mine / "sub folder" / "no toml at all.toml").write_text("[[[")
    text = (mine / "holding-00000.toml").read_text()
    (mine / "far.toml").write_text(text.replace("at = [", "at = [9"))
    report = run(mine, tmp_path / "out")
    assert report.by_status["failed"] == 2
    assert not report.met
    rows = by_holding(tmp_path / "out")
    assert "is not valid TOML" in rows["sub folder/no toml at all"]["reason"]
    assert "lies far outside the holding" in rows["far"]["reason"]
    assert rows["far"]["cost"] == ""
    results = tree(tmp_path / "out")
    own = {name: digest for name, digest in results.items() if name.startswith("holdings/")}
    assert own == {n: d for n, d in undisturbed.items() if n.startswith("holdings/")}
    (mine / "far.toml").unlink()
    shutil.rmtree(mine / "sub folder")
    report = run(mine, tmp_path / "out")
    assert report.stood == HOLDINGS
    assert report.gone == ("far", "sub folder/no toml at all")
    assert tree(tmp_path / "out") == undisturbed


def test_names_no_disk_would_take_get_folders_of_their_own(run: Run, tmp_path: Path) -> None:
    template = synthetic.write_template(tmp_path / "given", 3)
    fields = gpd.read_file(tmp_path / "given" / "fields.gpkg")
    names = dict(
        zip(fields["holding"].unique(), ["../a/b", '=HYPERLINK("x")', "Ä" * 300], strict=True)
    )
    for name in ("fields", "sources"):
        data = gpd.read_file(tmp_path / "given" / f"{name}.gpkg")
        data["holding"] = data["holding"].map(names)
        data.to_file(tmp_path / "given" / f"{name}.gpkg", layer=name)
    report = run(
        template, tmp_path / "out",
        holdings=Rows(str(tmp_path / "given" / "fields.gpkg"), None, "holding"),
        sources=Rows(str(tmp_path / "given" / "sources.gpkg"), None, "holding"),
    )  # fmt: skip
    assert report.by_status.get("failed", 0) == 0
    rows = table(tmp_path / "out")
    assert '\'=HYPERLINK("x")' in [row["holding"] for row in rows]
    folders = [tmp_path / "out" / row["folder"] for row in rows]
    assert len(set(folders)) == 3
    assert all(folder.parent == tmp_path / "out" / "holdings" for folder in folders)
    assert all((folder / "summary.json").is_file() for folder in folders)


class TestFaultsOfTheBatch:
    def test_no_holdings(self, run: Run, tmp_path: Path) -> None:
        (tmp_path / "given").mkdir()
        with pytest.raises(InputError, match="holds no project file"):
            run(tmp_path / "given", tmp_path / "out")

    def test_a_folder_with_other_files(self, made: Path, run: Run, tmp_path: Path) -> None:
        (tmp_path / "out").mkdir()
        (tmp_path / "out" / "letter.txt").write_text("dear sir")
        with pytest.raises(InputError, match="no part of a batch"):
            run(made, tmp_path / "out")
        assert [path.name for path in (tmp_path / "out").iterdir()] == ["letter.txt"]

    def test_an_unknown_field(self, run: Run, tmp_path: Path) -> None:
        template = synthetic.write_template(tmp_path / "given", 1)
        rows = Rows(str(tmp_path / "given" / "fields.gpkg"), None, "holdings")
        with pytest.raises(InputError, match='did you mean "holding"'):
            run(template, tmp_path / "out", holdings=rows)

    def test_a_missing_file(self, made: Path, run: Run, tmp_path: Path) -> None:
        rows = Rows(str(tmp_path / "none.gpkg"), None, "holding")
        with pytest.raises(InputError, match="does not exist"):
            run(made / "holding-00000.toml", tmp_path / "out", holdings=rows)

    def test_options_that_will_not_do_come_at_once(self) -> None:
        with pytest.raises(InputError) as caught:
            BatchOptions(processes=0, memory_mb=1, holding_s=-1.0, head_per_ha=2.0)
        assert len(caught.value.faults) == 4

    def test_two_runs_into_one_folder(self, made: Path, tmp_path: Path) -> None:
        def again(whole: int, outcome: object) -> None:
            if outcome is not None:
                with pytest.raises(InputError, match="in use by another run"):
                    plan_batch(made, tmp_path / "out", BatchOptions(processes=1))

        plan_batch(made, tmp_path / "out", BatchOptions(processes=1), progress=again)
