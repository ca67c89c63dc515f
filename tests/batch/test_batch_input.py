"""Files of all holdings with something amiss: every fault at once, and one holding's alone."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pytest

from batch import synthetic
from batch.results import by_holding
from dewpond.base.errors import InputError
from dewpond.batch import BatchOptions, BatchReport, Rows, plan_batch

Run = Callable[..., BatchReport]


@pytest.fixture
def fields(tmp_path: Path) -> gpd.GeoDataFrame:
    """Return the fields of two holdings, whose template and sources stand in the folder."""
    synthetic.write_template(tmp_path, 2)
    return gpd.read_file(tmp_path / "fields.gpkg", layer="fields")


def told(tmp_path: Path, **options: object) -> list[str]:
    with pytest.raises(InputError) as caught:
        plan_batch(tmp_path / "template.toml", tmp_path / "out", BatchOptions(**options))
    assert not (tmp_path / "out").exists()
    return [str(fault) for fault in caught.value.faults]


def test_all_faults_of_the_files_are_told_before_anything_is_made(
    fields: gpd.GeoDataFrame, tmp_path: Path
) -> None:
    fields.to_file(tmp_path / "bare.shp")
    (tmp_path / "bare.prj").unlink()
    pd.DataFrame({"farm": ["holding 00000"], "head": [30]}).to_csv(
        tmp_path / "mobs.csv", index=False
    )
    faults = told(
        tmp_path,
        holdings=Rows(str(tmp_path / "bare.shp"), None, "holdng"),
        sources=Rows(str(tmp_path / "mobs.csv")),
        mobs=Rows(str(tmp_path / "none.csv"), None, "holding"),
    )
    assert len(faults) == 4
    assert faults[0].startswith("--holdings: ")
    assert faults[0].endswith('did you mean "holding"?')
    assert "bare.shp has no CRS" in faults[1]
    assert "mobs.csv is a table without shapes" in faults[2]
    assert "none.csv does not exist" in faults[3]


def test_of_several_layers_one_must_be_named(fields: gpd.GeoDataFrame, tmp_path: Path) -> None:
    fields.to_file(tmp_path / "fields.gpkg", layer="others")
    (fault,) = told(tmp_path, holdings=Rows(str(tmp_path / "fields.gpkg"), None, "holding"))
    assert "name it with --holdings-layer" in fault
    assert "fields, others" in fault


def test_rows_without_a_name_are_counted(
    fields: gpd.GeoDataFrame, run: Run, tmp_path: Path
) -> None:
    nameless = fields["holding"] == "holding 00001"
    fields.loc[nameless, "holding"] = None
    fields.to_file(tmp_path / "some.gpkg", layer="fields")
    report = run(
        tmp_path / "template.toml", tmp_path / "out",
        holdings=Rows(str(tmp_path / "some.gpkg"), "fields", "holding"),
        sources=Rows(str(tmp_path / "sources.gpkg"), "sources", "holding"),
    )  # fmt: skip
    assert (report.holdings, report.nameless) == (1, int(nameless.sum()))


def test_a_holding_without_a_source_or_mob_says_which_file_lacks_it(
    fields: gpd.GeoDataFrame, run: Run, tmp_path: Path
) -> None:
    renamed = fields["holding"].replace("holding 00001", "Nab End")
    # GeoJSON is copied to be read by rows, and messages must name the file that was given.
    fields.assign(holding=renamed).to_crs(4326).to_file(tmp_path / "fields.geojson")
    sources = gpd.read_file(tmp_path / "sources.gpkg", layer="sources")
    sources.to_crs(4326).to_file(tmp_path / "sources.geojson")
    given = {
        "holdings": Rows(str(tmp_path / "fields.geojson"), None, "holding"),
        "sources": Rows(str(tmp_path / "sources.geojson"), None, "holding"),
    }
    report = run(tmp_path / "template.toml", tmp_path / "out", **given)
    ((holding, reason),) = report.failures
    assert holding == "Nab End"
    assert "sources.geojson: has no source of this holding, and the template has none" in reason
    assert "no row with its name in the field holding" in reason
    assert by_holding(tmp_path / "out")["holding 00000"]["status"] != "failed"
